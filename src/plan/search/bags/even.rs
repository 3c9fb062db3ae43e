//! Whether a bag can be shared out so that every socket is as wide as it can be: all of its memory in regions over the
//! most channels that can be spread over.
//!
//! Socket by socket: sockets are alike, so the largest module left stands in the next one. A socket as wide as can be holds
//! `wide` times its height, no channel more than its height; most often `wide` channels of just that height. So arrangements
//! with few other channels are looked at first, then all. What could not be shared out over so many sockets is remembered.

use std::collections::HashSet;

use super::Bag;
use super::ground::Ground;
use crate::plan::search::instance::MOST_CHANNELS;
use crate::plan::search::work::Work;

/// How many channels may hold less than the height of their socket, and the steps that are spent so on one bag.
const PASSES: [(usize, u64); 3] = [(0, 1_500), (4, 4_000), (usize::MAX, 6_000)];

/// Sockets that are few.
const FEW: usize = 2;

/// Bags remembered.
const KEPT: usize = 150_000;

/// What is known of a bag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Split {
    /// The rows of each socket.
    Rows(Vec<Vec<usize>>),
    /// It cannot be.
    Never,
    /// It was not found out.
    Open,
}

/// Splits bags; what it finds out about one bag serves for the next.
#[derive(Debug)]
pub struct Even<'g, 'i> {
    pub ground: &'g Ground<'i>,
    /// Channels a region is spread over, channels of a socket.
    pub wide: u32,
    pub channels: usize,
    /// Rows by falling capacity.
    by_cap: Vec<usize>,
    /// The smallest module, in granules.
    smallest: u32,
    /// With this many sockets to come it cannot be; only of passes that looked at all.
    never: HashSet<(usize, Bag)>,
    /// The same for the pass under way.
    tried: HashSet<(usize, Bag)>,
    others: usize,
    steps: u64,
    /// Moves left for guesses that nearly came out, beside those every guess has.
    pub more: usize,
}

/// What stands in the socket under way.
#[derive(Debug)]
struct Here {
    height: u32,
    /// Granules to come.
    left: u32,
    others: usize,
    rows: Vec<usize>,
}

impl<'g, 'i> Even<'g, 'i> {
    /// `None` where sockets are not alike or the controller takes whole channels.
    pub fn new(ground: &'g Ground<'i>) -> Option<Self> {
        let sockets = &ground.instance.sockets;
        let channels = *ground.channels.first()?;
        let wide = u32::try_from(ground.instance.widest(channels as u32)).ok()?;
        if !ground.instance.slices()
            || channels > MOST_CHANNELS
            || sockets.iter().any(|kind| *kind != sockets[0])
            || wide == 0
        {
            return None;
        }
        let mut by_cap: Vec<usize> = (0..ground.rows.len()).collect();
        // Of one capacity those of fewer modules first.
        by_cap.sort_by_key(|&at| (std::cmp::Reverse(ground.rows[at].cap), ground.rows[at].depth));
        Some(Self {
            ground,
            wide,
            channels,
            by_cap,
            smallest: ground.instance.classes.iter().map(|c| c.size).min()?,
            never: HashSet::new(),
            tried: HashSet::new(),
            others: 0,
            steps: 0,
            more: 0,
        })
    }

    /// Shares a bag out.
    pub fn split(&mut self, bag: &[u16], work: &mut Work<'_>) -> Split {
        self.split_over(bag, self.ground.channels.len(), work)
    }

    /// Shares a bag out over the last `sockets` sockets.
    pub fn split_over(&mut self, bag: &[u16], sockets: usize, work: &mut Work<'_>) -> Split {
        // Over few sockets all there is is looked through faster than guessed.
        if sockets > FEW
            && let Some(rows) = self.guess(bag, sockets, &mut 0, work)
        {
            return Split::Rows(rows);
        }
        let found = self.by_sockets(bag, sockets, work);
        if found != Split::Open || self.more == 0 {
            return found;
        }
        let mut more = self.more;
        let rows = self.guess(bag, sockets, &mut more, work);
        self.more = more;
        rows.map_or(Split::Open, Split::Rows)
    }

    /// A guess that the rules about sockets let stand.
    fn guess(&self, bag: &[u16], sockets: usize, more: &mut usize, work: &mut Work<'_>) -> Option<Vec<Vec<usize>>> {
        let before = self.ground.channels.len() - sockets;
        let rows = super::bars::guess(self, bag, sockets, more, work)?;
        let stands = rows.iter().enumerate().all(|(s, rows)| self.ground.judge(before + s, rows).is_some());
        stands.then_some(rows)
    }

    /// Shares a bag out socket by socket.
    fn by_sockets(&mut self, bag: &[u16], sockets: usize, work: &mut Work<'_>) -> Split {
        for (others, steps) in PASSES {
            self.tried.clear();
            self.others = others;
            self.steps = steps;
            let mut left = bag.to_vec();
            let mut out = Vec::new();
            match self.sockets(&mut left, sockets, &mut out, work) {
                Some(true) => return Split::Rows(out),
                Some(false) if others == usize::MAX => return Split::Never,
                Some(false) => {}
                None if work.left().is_none() => return Split::Open,
                None => {}
            }
        }
        Split::Open
    }

    /// Fills the next of `sockets` sockets; whether all went in. `None` when the steps ran out.
    fn sockets(
        &mut self,
        left: &mut [u16],
        sockets: usize,
        out: &mut Vec<Vec<usize>>,
        work: &mut Work<'_>,
    ) -> Option<bool> {
        let classes = &self.ground.instance.classes;
        let Some(first) = left.iter().position(|&n| n > 0) else { return Some(sockets == 0) };
        if sockets == 0 {
            return Some(false);
        }
        let (mut all, mut modules) = (0u32, 0usize);
        for (&n, class) in left.iter().zip(classes) {
            all += u32::from(n) * class.size;
            modules += usize::from(n);
        }
        let wide = self.wide;
        let heights = all / wide;
        // Every socket is at least as high as the smallest module.
        let Some(highest) = heights.checked_sub(self.smallest * (sockets as u32 - 1)) else { return Some(false) };
        if !all.is_multiple_of(wide)
            || modules < wide as usize * sockets
            || modules > self.channels * self.ground.depth * sockets
            || classes[first].size > highest
        {
            return Some(false);
        }
        let key = (sockets, Bag::from(&*left));
        if self.never.contains(&key) || self.tried.contains(&key) {
            return Some(false);
        }
        // The last socket takes what is left.
        let lowest = if sockets == 1 { heights } else { classes[first].size };
        for height in lowest..=highest {
            for at in 0..self.ground.by_first[first].len() {
                let row = self.ground.by_first[first][at];
                let cap = self.ground.rows[row].cap;
                if cap > height || !self.take(left, row) {
                    continue;
                }
                let others = usize::from(cap < height);
                if others <= self.others {
                    let mut here = Here { height, left: wide * height - cap, others, rows: vec![row] };
                    if self.channel(left, &mut here, 0, sockets, out, work)? {
                        return Some(true);
                    }
                }
                self.put_back(left, row);
            }
        }
        let known = if self.others == usize::MAX { &mut self.never } else { &mut self.tried };
        if known.len() < KEPT {
            known.insert(key);
        }
        Some(false)
    }

    /// Fills the next channel of the socket under way with a row not before `from`.
    fn channel(
        &mut self,
        left: &mut [u16],
        here: &mut Here,
        from: usize,
        sockets: usize,
        out: &mut Vec<Vec<usize>>,
        work: &mut Work<'_>,
    ) -> Option<bool> {
        if self.steps == 0 || !work.step() {
            return None;
        }
        self.steps -= 1;
        if here.left == 0 {
            let socket = self.ground.channels.len() - sockets;
            if !self.as_wide_as_can_be(&here.rows) || self.ground.judge(socket, &here.rows).is_none() {
                return Some(false);
            }
            out.push(here.rows.clone());
            if self.sockets(left, sockets - 1, out, work)? {
                return Some(true);
            }
            out.pop();
            return Some(false);
        }
        let empty = self.channels - here.rows.len();
        for at in from..self.by_cap.len() {
            let row = self.by_cap[at];
            let cap = self.ground.rows[row].cap;
            // No row from here on is larger.
            if u64::from(cap) * (empty as u64) < u64::from(here.left) {
                break;
            }
            let other = usize::from(cap < here.height);
            if here.others + other > self.others {
                break;
            }
            if cap > here.height || cap > here.left || !self.take(left, row) {
                continue;
            }
            here.rows.push(row);
            here.left -= cap;
            here.others += other;
            if self.channel(left, here, at, sockets, out, work)? {
                return Some(true);
            }
            here.others -= other;
            here.left += cap;
            here.rows.pop();
            self.put_back(left, row);
        }
        Some(false)
    }

    /// Takes the modules of a row; false when they are not there.
    fn take(&self, left: &mut [u16], row: usize) -> bool {
        let uses = &self.ground.rows[row].uses;
        if uses.iter().any(|&(c, n)| left[c] < n) {
            return false;
        }
        uses.iter().for_each(|&(c, n)| left[c] -= n);
        true
    }

    fn put_back(&self, left: &mut [u16], row: usize) {
        self.ground.rows[row].uses.iter().for_each(|&(c, n)| left[c] += n);
    }

    /// Whether regions over `wide` channels take all there is.
    pub fn as_wide_as_can_be(&self, rows: &[usize]) -> bool {
        let caps = rows.iter().map(|&at| self.ground.rows[at].cap);
        let instance = self.ground.instance;
        instance.sliced(caps).is_some_and(|mb_s| mb_s >= u64::from(self.wide) * instance.channel_mb_s)
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::build::Shared;
    use super::super::super::family::{Best, search_even};
    use super::super::arrange::{Known, arrange};
    use super::super::bridge::Ours;
    use super::super::plan_general::Model;
    use super::super::{evens, ground::Ground};
    use super::*;
    use crate::plan::search::instance::INF;

    const SHAPES: [(usize, usize, usize); 4] = [(3, 3, 2), (3, 4, 1), (3, 5, 1), (4, 3, 1)];

    fn model(seed: u64) -> Model {
        let mut rng = fastrand::Rng::with_seed(seed);
        let shape = SHAPES[rng.usize(0..SHAPES.len())];
        let lots = rng.usize(3..8);
        let mut model = Model::random(&mut rng, shape, lots, &[16, 32, 48, 64]);
        // Two of five channels, two of three, all.
        model.ways = [vec![2, 1], vec![4, 2, 1], vec![5, 4, 3, 2, 1]][rng.usize(0..3)].clone();
        model
    }

    #[test]
    fn a_bag_is_shared_out_evenly_just_when_the_best_way_to_arrange_it_is_even() {
        let (mut even, mut never) = (0, 0);
        for seed in 0..400 {
            let ours = Ours::new(&model(seed));
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let families = shared.families();
            let Some(built) = families.last().and_then(|f| shared.build(f)) else { continue };
            let ground = Ground::new(&built.instance).unwrap();
            let mut rng = fastrand::Rng::with_seed(seed);
            let bag: Vec<u16> = ground.own.iter().map(|own| rng.u16(0..own.len().min(9) as u16)).collect();
            let stop = &mut || false;
            let mut work = Work::new(stop);
            let found = Even::new(&ground).unwrap().split(&bag, &mut work);
            let Ok(best) = arrange(&ground, &bag, INF, &mut Known::default(), &mut work) else { continue };
            let widest = |worth: i128| worth - ground.mb_s < -ground.most_gain();
            match found {
                Split::Rows(rows) => {
                    even += 1;
                    let worth: i128 = rows.iter().enumerate().map(|(s, rows)| ground.judge(s, rows).unwrap()).sum();
                    assert!(widest(worth), "seed {seed}: {bag:?}");
                    let mut used = vec![0; bag.len()];
                    let uses = rows.iter().flatten().flat_map(|&at| &ground.rows[at].uses);
                    uses.for_each(|&(c, n)| used[c] += n);
                    assert_eq!(used, bag, "seed {seed}");
                }
                Split::Never => {
                    never += 1;
                    assert!(best.is_none_or(|b| !widest(b.worth)), "seed {seed}: {bag:?}");
                }
                Split::Open => {}
            }
        }
        assert!(even > 10 && never > 100, "{even} even, {never} never");
    }

    #[test]
    fn what_was_put_together_evenly_is_not_refused() {
        let mut found = 0;
        for seed in 0..3000 {
            let ours = Ours::new(&model(seed));
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let families = shared.families();
            let Some(built) = families.last().and_then(|f| shared.build(f)) else { continue };
            let ground = Ground::new(&built.instance).unwrap();
            let mut even = Even::new(&ground).unwrap();
            let mut rng = fastrand::Rng::with_seed(seed);
            let mut bag = vec![0u16; ground.own.len()];
            for _ in 0..ground.channels.len() {
                // A block of one height, each bar of it made in any way.
                let cap = ground.rows[rng.usize(0..ground.rows.len())].cap;
                let alike: Vec<usize> = (0..ground.rows.len()).filter(|&at| ground.rows[at].cap == cap).collect();
                for _ in 0..even.wide {
                    let row = &ground.rows[alike[rng.usize(0..alike.len())]];
                    row.uses.iter().for_each(|&(c, n)| bag[c] += n);
                }
            }
            let stop = &mut || false;
            let mut work = Work::new(stop);
            let split = even.by_sockets(&bag, ground.channels.len(), &mut work);
            assert_ne!(split, Split::Never, "seed {seed}: {bag:?}");
            found += u32::from(split != Split::Open);
        }
        assert!(found > 2000, "only {found} were found");
    }

    #[test]
    fn bags_of_a_large_board_that_nearly_come_out_even_do_with_more_moves() {
        // Bars on two channels are only as many beside a block as its socket has channels left.
        for (seed, bag) in [(0, [12, 18, 23, 21, 22, 29]), (8, [34, 16, 24, 19, 22, 3])] {
            let sizes = [16, 32, 48, 64, 96, 128];
            let ours = Ours::new(&Model::random(&mut fastrand::Rng::with_seed(seed), (8, 12, 2), 200, &sizes));
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let built = shared.build(shared.families().last().unwrap()).unwrap();
            let ground = Ground::new(&built.instance).unwrap();
            let granules: Vec<u32> = built.instance.classes.iter().map(|c| c.size).collect();
            assert_eq!(granules, [8, 6, 4, 3, 2, 1]);
            let mut even = Even::new(&ground).unwrap();
            even.more = evens::MORE;
            let stop = &mut || false;
            let Split::Rows(rows) = even.split(&bag, &mut Work::new(stop)) else { panic!("seed {seed}: {bag:?}") };
            let mut used = [0; 6];
            rows.iter().flatten().flat_map(|&at| &ground.rows[at].uses).for_each(|&(c, n)| used[c] += n);
            assert_eq!(used, bag, "seed {seed}");
            assert!(rows.iter().all(|rows| rows.len() <= 12 && even.as_wide_as_can_be(rows)), "seed {seed}: {rows:?}");
        }
    }

    #[test]
    fn bag_by_bag_and_by_prices_the_best_even_plan_is_the_same() {
        let (mut found, mut none) = (0, 0);
        for seed in 0..300 {
            let mut model = model(seed);
            (model.bandwidth_first, model.gib) = (true, model.gib / 2);
            let ours = Ours::new(&model);
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            for (index, family) in shared.families().iter().enumerate() {
                let Some(built) = shared.build(family) else { continue };
                let Some(ground) = Ground::new(&built.instance) else { continue };
                let stop = &mut || false;
                let mut work = Work::new(stop);
                let limit = |best: &Best<'_>| best.limit();
                let (mut bags, mut prices) = (Best::new(1, shared.weights), Best::new(1, shared.weights));
                if !evens::search(&ground, 2_000, index, &mut bags, &mut work)
                    || !search_even(&built.instance, index, &mut prices, &mut work)
                {
                    continue;
                }
                let even = |best: &Best<'_>| {
                    let rate = i128::from(ground.wide[0][ground.slots] * built.instance.channel_mb_s);
                    let mb_s = best.plans.first().map(|(_, plan)| {
                        let places = plan.sockets.iter().enumerate();
                        let sockets = places.map(|(s, choice)| {
                            let kind = &built.instance.kinds[built.instance.sockets[s]];
                            super::super::super::columns::judge(&built.instance, kind, choice).unwrap().mb_s
                        });
                        i128::from(sockets.sum::<u64>())
                    });
                    (mb_s == Some(rate)).then(|| limit(best))
                };
                assert_eq!(even(&bags), even(&prices), "seed {seed}, family {index}");
                found += u32::from(even(&bags).is_some());
                none += u32::from(even(&bags).is_none());
            }
        }
        assert!(found > 50 && none > 50, "{found} found, {none} without");
    }
}
