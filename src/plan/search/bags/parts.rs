//! The best way to divide one bag over many sockets that are alike, by what each part of it is worth on one socket.
//!
//! Every part a socket may hold is listed with the most it can give. Modules are priced: any prices give a valid bound, and
//! what a part falls short of the best by these prices no whole arrangement gets back. So arrangements are made part by part,
//! those that fall short least first; what a part really gives is found out only when it stands in one of them.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap};

use super::arrange::Arranged;
use super::ground::Ground;
use super::most::{least_time, most_mb_s};
use super::socket::Sockets;
use crate::plan::search::instance::INF;
use crate::plan::search::work::Work;

/// Parts listed at most.
const PARTS: usize = 150_000;

/// Arrangements half made at most.
const HALVES: usize = 1_000_000;

/// Steps in which prices are looked for.
const PIVOTS: usize = 400;

/// Prices are in so many parts of a MB/s.
const FINE: i64 = 1024;

/// Parts of a bag. Counts are of the classes the bag has modules of.
struct Parts<'g, 'i> {
    ground: &'g Ground<'i>,
    /// Classes the bag has modules of, and how many.
    classes: Vec<usize>,
    bag: Vec<u16>,
    /// Of each part the counts, one after the other.
    counts: Vec<u16>,
    /// The most MB/s a part gives; what it gives where that is known.
    most: Vec<i64>,
    known: Vec<bool>,
}

/// MB/s of a part no socket may hold: less than any arrangement can make up for.
const FORBIDDEN: i64 = -(1 << 40);

/// Prices of the modules, and what follows from them.
struct Prices {
    each: Vec<i64>,
    /// What the best part is worth beyond its modules.
    top: i64,
    /// No arrangement gives more.
    bound: i64,
}

/// An arrangement half made: the modules left are known by their number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Half {
    short: i64,
    sockets: usize,
    left: usize,
    /// The part added last and where it was added.
    part: usize,
    from: usize,
}

/// The arrangement of the most MB/s, when it gives at least `wanted`. `Err` where it was not found out.
pub fn divide(
    ground: &Ground<'_>,
    bag: &[u16],
    wanted: u64,
    sockets: &mut Sockets,
    work: &mut Work<'_>,
) -> Result<Option<Arranged>, ()> {
    let mut parts = Parts::new(ground, bag).ok_or(())?;
    let prices = parts.prices(sockets, work)?;
    let gap = prices.bound - i64::try_from(wanted).map_err(|_| ())? * FINE;
    let mut reach = ground.instance.channel_mb_s as i64 * FINE / 8;
    loop {
        let within = reach.min(gap);
        if within < 0 {
            return Ok(None);
        }
        if let Some(found) = parts.arrange(&prices, within, sockets, work)? {
            return Ok(Some(found));
        }
        if within == gap {
            return Ok(None);
        }
        reach = reach.saturating_mul(2);
    }
}

/// Whether all sockets are alike and what they give follows from what their channels hold.
pub fn applies(ground: &Ground<'_>) -> bool {
    let sockets = &ground.instance.sockets;
    ground.instance.slices() && ground.mb_s > 0 && sockets.len() > 2 && sockets.iter().all(|kind| *kind == sockets[0])
}

impl<'g, 'i> Parts<'g, 'i> {
    fn new(ground: &'g Ground<'i>, bag: &[u16]) -> Option<Self> {
        let classes: Vec<usize> = (0..bag.len()).filter(|&c| bag[c] > 0).collect();
        let bag: Vec<u16> = classes.iter().map(|&c| bag[c]).collect();
        let all = bag.iter().try_fold(1usize, |all, &n| all.checked_mul(usize::from(n) + 1))?;
        if all > PARTS || !applies(ground) {
            return None;
        }
        let (mut counts, mut most) = (Vec::new(), Vec::new());
        let mut part = vec![0u16; bag.len()];
        let mut sizes = Vec::new();
        loop {
            sizes.clear();
            for (&n, &class) in part.iter().zip(&classes) {
                sizes.extend(std::iter::repeat_n(ground.instance.classes[class].size, usize::from(n)));
            }
            if let Some(mb_s) = most_of(ground, &sizes) {
                counts.extend_from_slice(&part);
                most.push(i64::try_from(mb_s).ok()?);
            }
            if !super::arrange::count(&mut part, &bag) {
                break;
            }
        }
        let known = vec![false; most.len()];
        Some(Self { ground, classes, bag, counts, most, known })
    }

    fn part(&self, at: usize) -> &[u16] {
        &self.counts[at * self.bag.len()..][..self.bag.len()]
    }

    /// What a part is worth beyond its modules.
    fn beyond(&self, at: usize, each: &[i64]) -> i64 {
        let own: i64 = self.part(at).iter().zip(each).map(|(&n, price)| i64::from(n) * price).sum();
        self.most[at] * FINE - own
    }

    /// The bound that follows from any prices.
    fn bound(&self, each: Vec<i64>) -> Prices {
        let top = (0..self.most.len()).map(|at| self.beyond(at, &each)).max().unwrap_or(0);
        let own: i64 = self.bag.iter().zip(&each).map(|(&n, price)| i64::from(n) * price).sum();
        Prices { bound: own + top * self.ground.channels.len() as i64, each, top }
    }

    /// Prices whose bound is low: those of the best mixture of parts.
    fn prices(&mut self, sockets: &mut Sockets, work: &mut Work<'_>) -> Result<Prices, ()> {
        let mut mixture = Mixture::new(self);
        for _ in 0..PIVOTS {
            if !work.step() {
                return Err(());
            }
            let prices = mixture.prices();
            let (mut best, mut enter) = (1e-6, None);
            for at in 0..self.most.len() {
                let own: f64 = self.part(at).iter().zip(&prices).map(|(&n, price)| f64::from(n) * price).sum();
                let gain = self.most[at] as f64 - own - prices[self.bag.len()];
                if gain > best {
                    (best, enter) = (gain, Some(at));
                }
            }
            match enter {
                Some(at) => {
                    if !mixture.enter(self, at) {
                        break;
                    }
                }
                // What is in the mixture must give what it is said to.
                None => {
                    let mut lower = false;
                    for place in 0..mixture.basis.len() {
                        if let Some(at) = mixture.basis[place] {
                            lower |= self.find_out(at, sockets, work)?;
                            mixture.worth[place] = self.most[at] as f64;
                        }
                    }
                    if !lower {
                        break;
                    }
                }
            }
        }
        let prices = mixture.prices();
        // Floats only choose the prices.
        Ok(self.bound(prices[..self.bag.len()].iter().map(|p| (p * FINE as f64).round() as i64).collect()))
    }

    /// Finds out what a part gives; whether that is less than it was said to.
    fn find_out(&mut self, at: usize, sockets: &mut Sockets, work: &mut Work<'_>) -> Result<bool, ()> {
        if self.known[at] {
            return Ok(false);
        }
        let found = sockets.best(self.ground, 0, &self.whole(at), INF, work)?;
        let mb_s = found.map_or(FORBIDDEN, |(_, rows)| self.ground.mb_s_of(&rows) as i64);
        let lower = mb_s < self.most[at];
        self.most[at] = mb_s;
        self.known[at] = true;
        Ok(lower)
    }

    /// A part by all classes.
    fn whole(&self, at: usize) -> Vec<u16> {
        let mut whole = vec![0; self.ground.instance.classes.len()];
        self.classes.iter().zip(self.part(at)).for_each(|(&class, &n)| whole[class] = n);
        whole
    }

    /// The arrangement that falls short least, if that is at most `within`.
    fn arrange(
        &mut self,
        prices: &Prices,
        within: i64,
        sockets: &mut Sockets,
        work: &mut Work<'_>,
    ) -> Result<Option<Arranged>, ()> {
        let short = |parts: &Self, at: usize| prices.top - parts.beyond(at, &prices.each);
        // By the first class there is of them: the first module left always goes into the next part.
        let mut by_first: Vec<Vec<(i64, usize)>> = vec![Vec::new(); self.bag.len() + 1];
        for at in 0..self.most.len() {
            let short = short(self, at);
            if short <= within {
                let first = self.part(at).iter().position(|&n| n > 0).unwrap_or(self.bag.len());
                by_first[first].push((short, at));
            }
        }
        by_first.iter_mut().for_each(|parts| parts.sort_unstable());
        let radix: Vec<usize> =
            (0..self.bag.len()).map(|c| self.bag[c + 1..].iter().map(|&n| usize::from(n) + 1).product()).collect();
        let number = |counts: &[u16]| counts.iter().zip(&radix).map(|(&n, r)| usize::from(n) * r).sum::<usize>();
        let mut done: Vec<Half> = Vec::new();
        let mut seen: HashMap<(usize, usize), ()> = HashMap::new();
        let mut heap = BinaryHeap::new();
        let start = Half {
            short: 0,
            sockets: self.ground.channels.len(),
            left: number(&self.bag),
            part: usize::MAX,
            from: usize::MAX,
        };
        heap.push(Reverse(start));
        let mut left = vec![0u16; self.bag.len()];
        while let Some(Reverse(half)) = heap.pop() {
            if !work.step() {
                return Err(());
            }
            if seen.contains_key(&(half.sockets, half.left)) {
                continue;
            }
            if half.part < self.most.len() && self.find_out(half.part, sockets, work)? {
                let before: &Half = &done[half.from];
                let short = before.short + short(self, half.part);
                if short <= within {
                    heap.push(Reverse(Half { short, ..half }));
                }
                continue;
            }
            seen.insert((half.sockets, half.left), ());
            if half.sockets == 0 {
                if half.left == 0 {
                    return self.whole_arrangement(&done, half, sockets, work);
                }
                continue;
            }
            let from = done.len();
            done.push(half);
            let mut number_left = half.left;
            for (n, r) in left.iter_mut().zip(&radix) {
                *n = (number_left / r) as u16;
                number_left %= r;
            }
            let first = left.iter().position(|&n| n > 0).unwrap_or(self.bag.len());
            for &(least, at) in &by_first[first] {
                if half.short + least > within {
                    break;
                }
                if self.part(at).iter().zip(&left).any(|(n, left)| n > left) {
                    continue;
                }
                let short = half.short + short(self, at);
                let (next, sockets) = (half.left - number(self.part(at)), half.sockets - 1);
                if short <= within && !seen.contains_key(&(sockets, next)) && (sockets > 0 || next == 0) {
                    heap.push(Reverse(Half { short, sockets, left: next, part: at, from }));
                }
            }
            if heap.len() > HALVES {
                return Err(());
            }
        }
        Ok(None)
    }

    /// The rows of every part.
    fn whole_arrangement(
        &self,
        done: &[Half],
        last: Half,
        sockets: &mut Sockets,
        work: &mut Work<'_>,
    ) -> Result<Option<Arranged>, ()> {
        let mut out = Arranged { worth: 0, sockets: Vec::new() };
        let mut half = last;
        while let Some(before) = done.get(half.from) {
            let bag = self.whole(half.part);
            let found = sockets.best(self.ground, 0, &bag, INF, work)?;
            let (worth, rows) = found.ok_or(())?;
            out.worth += worth;
            out.sockets.push(rows);
            half = *before;
        }
        Ok(Some(out))
    }
}

/// The most MB/s a socket gives with modules of these sizes, in granules, the largest first.
fn most_of(ground: &Ground<'_>, sizes: &[u32]) -> Option<u64> {
    let channels = ground.channels[0];
    let most = most_mb_s(ground.instance, channels, ground.depth, sizes)?;
    let all = sizes.iter().sum();
    let time = least_time(ground.instance, channels.min(sizes.len()), all);
    Some((ground.instance.channel_mb_s * u64::from(all)).checked_div(time).map_or(0, |mb_s| mb_s.min(most)))
}

/// The best mixture of parts that uses the modules up, in floats: the simplex method.
struct Mixture {
    /// Parts in it; `None` for what stands in for a module or socket that is left over.
    basis: Vec<Option<usize>>,
    worth: Vec<f64>,
    inverse: Vec<Vec<f64>>,
    share: Vec<f64>,
}

impl Mixture {
    fn new(parts: &Parts<'_, '_>) -> Self {
        let n = parts.bag.len() + 1;
        let inverse = (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
        let share = parts.bag.iter().map(|&n| f64::from(n)).chain([parts.ground.channels.len() as f64]).collect();
        // Worse than anything a socket gives.
        let worst = -10.0 * (parts.ground.channels[0] as u64 * parts.ground.instance.channel_mb_s) as f64;
        Self { basis: vec![None; n], worth: vec![worst; n], inverse, share }
    }

    /// Of each class, and of a socket.
    fn prices(&self) -> Vec<f64> {
        let n = self.basis.len();
        (0..n).map(|j| (0..n).map(|i| self.worth[i] * self.inverse[i][j]).sum()).collect()
    }

    /// Takes a part in; false when nothing can leave for it.
    fn enter(&mut self, parts: &Parts<'_, '_>, at: usize) -> bool {
        let n = self.basis.len();
        let column: Vec<f64> = parts.part(at).iter().map(|&n| f64::from(n)).chain([1.0]).collect();
        let by: Vec<f64> = (0..n).map(|i| (0..n).map(|j| self.inverse[i][j] * column[j]).sum()).collect();
        let ratio = |i: usize| self.share[i].max(0.0) / by[i];
        let leaving = (0..n).filter(|&i| by[i] > 1e-9).min_by(|&a, &b| ratio(a).total_cmp(&ratio(b)));
        let Some(out) = leaving else { return false };
        let pivot = by[out];
        self.inverse[out].iter_mut().for_each(|x| *x /= pivot);
        self.share[out] = self.share[out].max(0.0) / pivot;
        let (row, share) = (self.inverse[out].clone(), self.share[out]);
        for i in (0..n).filter(|&i| i != out) {
            self.inverse[i].iter_mut().zip(&row).for_each(|(x, y)| *x -= by[i] * y);
            self.share[i] -= by[i] * share;
        }
        self.basis[out] = Some(at);
        self.worth[out] = parts.most[at] as f64;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::build::Shared;
    use super::super::arrange::{Known, spread};
    use super::super::bridge::Ours;
    use super::super::odd;
    use super::super::plan_general::Model;
    use super::*;

    /// Bags on small boards with sockets alike, and the best arrangement of each by looking at all.
    fn bags(seeds: u64, mut check: impl FnMut(u64, &Ground<'_>, &[u16], &Arranged)) {
        let shapes = [(3, 3, 2), (3, 4, 1), (3, 5, 1), (4, 3, 1), (4, 2, 2), (3, 4, 2)];
        for seed in 0..seeds {
            let mut rng = fastrand::Rng::with_seed(seed);
            let shape = shapes[rng.usize(0..shapes.len())];
            let mut model = Model::random(&mut rng, shape, 8, &[16, 32, 48, 64, 96, 128]);
            model.ways = [vec![2, 1], vec![3, 2, 1], vec![4, 2, 1], vec![5, 4, 3, 2, 1]][rng.usize(0..4)].clone();
            let ours = Ours::new(&model);
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let families = shared.families();
            let Some(built) = families.last().and_then(|f| shared.build(f)) else { continue };
            let ground = Ground::new(&built.instance).unwrap();
            if !applies(&ground) {
                continue;
            }
            let most = rng.u16(2..5);
            let bag: Vec<u16> = ground.own.iter().map(|own| rng.u16(0..(own.len() as u16).min(most))).collect();
            let never = &mut || false;
            let mut work = Work::new(never);
            work.limit(300_000);
            if let Ok(Some(best)) = spread(&ground, 0, &bag, INF, None, &mut Known::default(), &mut work) {
                check(seed, &ground, &bag, &best);
            }
        }
    }

    fn mb_s(ground: &Ground<'_>, found: &Arranged) -> u64 {
        found.sockets.iter().map(|rows| ground.mb_s_of(rows)).sum()
    }

    fn holds(ground: &Ground<'_>, found: &Arranged, bag: &[u16]) -> bool {
        let mut used = vec![0; bag.len()];
        let uses = found.sockets.iter().flatten().flat_map(|&at| &ground.rows[at].uses);
        uses.for_each(|&(c, n)| used[c] += n);
        let worth: Option<i128> = found.sockets.iter().enumerate().map(|(s, rows)| ground.judge(s, rows)).sum();
        used == bag && worth == Some(found.worth)
    }

    #[test]
    fn a_bag_divided_by_parts_gives_as_much_as_the_best_of_all_arrangements() {
        let mut checked = 0;
        bags(400, |seed, ground, bag, best| {
            let best = mb_s(ground, best);
            let never = &mut || false;
            let mut work = Work::new(never);
            for wanted in [0, best] {
                let found = divide(ground, bag, wanted, &mut Sockets::default(), &mut work).unwrap().unwrap();
                assert_eq!(mb_s(ground, &found), best, "seed {seed}: {bag:?}, at least {wanted}");
                assert!(holds(ground, &found, bag), "seed {seed}: {bag:?}");
            }
            let more = divide(ground, bag, best + 1, &mut Sockets::default(), &mut work).unwrap();
            assert!(more.is_none(), "seed {seed}: {bag:?}");
            checked += 1;
        });
        assert!(checked > 150, "only {checked} were checked");
    }

    #[test]
    fn no_arrangement_is_above_the_bound_of_any_prices() {
        let mut tight = 0;
        bags(300, |seed, ground, bag, best| {
            let best = mb_s(ground, best);
            let parts = Parts::new(ground, bag).unwrap();
            let mut rng = fastrand::Rng::with_seed(seed);
            for round in 0..20 {
                let dear = ground.instance.channel_mb_s as i64 * FINE * round / 10;
                let each = parts.classes.iter().map(|_| rng.i64(-dear / 4..=dear)).collect();
                let bound = parts.bound(each).bound;
                assert!(bound >= best as i64 * FINE, "seed {seed}: {bag:?}");
                tight += u32::from(bound < (best as i64 + ground.instance.channel_mb_s as i64) * FINE);
            }
        });
        assert!(tight > 100, "{tight} bounds were within one channel");
    }

    #[test]
    fn no_arrangement_is_above_what_its_granules_allow() {
        let (mut tight, mut guessed, mut best_guesses, mut alike) = (0, 0, 0, 0);
        bags(600, |seed, ground, bag, best| {
            let one = odd::by_granules(ground, bag);
            for rows in &best.sockets {
                let granules: u32 = rows.iter().map(|&at| ground.rows[at].cap).sum();
                let most = one.get(granules as usize).copied();
                assert!(most >= Some(ground.mb_s_of(rows)), "seed {seed}: {bag:?}");
            }
            let largest = bag.iter().zip(&ground.instance.classes).filter(|(n, _)| **n > 0).map(|(_, c)| c.size).max();
            let modules: usize = bag.iter().map(|&n| usize::from(n)).sum();
            if bag.iter().filter(|&&n| n > 0).count() == 1 {
                let places = ground.channels[0] * ground.depth;
                assert_eq!(one.len() - 1, modules.min(places) * largest.unwrap() as usize, "seed {seed}: {bag:?}");
                alike += 1;
            }
            let best = mb_s(ground, best);
            let most = odd::most_mb_s(ground, bag);
            assert!(most >= best, "seed {seed}: {bag:?} gives {best} MB/s, not {most}");
            tight += u32::from(most == best);
            let never = &mut || false;
            let mut work = Work::new(never);
            let Some(found) = odd::guess(ground, bag, 0, &mut Sockets::default(), &mut work) else { return };
            assert!(holds(ground, &found, bag) && mb_s(ground, &found) <= best, "seed {seed}: {bag:?}");
            guessed += 1;
            best_guesses += u32::from(mb_s(ground, &found) == best);
        });
        assert!(
            tight > 30 && guessed > 20 && best_guesses > 15 && alike > 5,
            "{tight} tight, {best_guesses} of {guessed} the best"
        );
    }
}
