//! The best arrangement of one socket that holds exactly these modules.

use std::collections::HashMap;

use super::Bag;
use super::ground::Ground;
use super::most::most_mb_s;
use crate::plan::search::instance::INF;
use crate::plan::search::work::Work;

/// What is known of a socket's bag.
#[derive(Debug, Clone)]
enum Known {
    /// Its best worth and the rows.
    Best(i128, Vec<usize>),
    /// Not below this.
    NotBelow(i128),
}

/// What was found before, by kind of socket and bag.
#[derive(Debug, Default)]
pub struct Sockets {
    known: HashMap<(usize, Bag), Known>,
    most: HashMap<(usize, Bag), Option<u64>>,
}

/// Answers kept.
const KEPT: usize = 200_000;

impl Sockets {
    /// The least worth socket `socket` can have with this bag; `None` when it does not fit.
    pub fn least(&mut self, ground: &Ground<'_>, socket: usize, bag: &[u16]) -> Option<i128> {
        let kind = ground.instance.sockets[socket];
        let most = match self.most.get(&(kind, Bag::from(bag))) {
            Some(most) => *most,
            None => {
                let sizes: Vec<u32> = bag
                    .iter()
                    .zip(&ground.instance.classes)
                    .flat_map(|(&n, class)| std::iter::repeat_n(class.size, usize::from(n)))
                    .collect();
                let most = most_mb_s(ground.instance, ground.channels[socket], ground.depth, &sizes);
                if self.most.len() < KEPT {
                    self.most.insert((kind, Bag::from(bag)), most);
                }
                most
            }
        };
        most.map(|mb_s| -ground.mb_s * i128::from(mb_s))
    }

    /// The best arrangement worth less than `below`: its worth and rows. `Err` when the work ran out.
    pub fn best(
        &mut self,
        ground: &Ground<'_>,
        socket: usize,
        bag: &[u16],
        below: i128,
        work: &mut Work<'_>,
    ) -> Result<Option<(i128, Vec<usize>)>, ()> {
        let key = (ground.instance.sockets[socket], Bag::from(bag));
        match self.known.get(&key) {
            Some(Known::Best(worth, rows)) => return Ok((*worth < below).then(|| (*worth, rows.clone()))),
            Some(Known::NotBelow(least)) if *least >= below => return Ok(None),
            _ => {}
        }
        let floor = self.least(ground, socket, bag);
        let found = match floor {
            Some(floor) if floor < below => {
                let mut walk = Walk::new(ground, socket, bag, floor, below);
                walk.step(0, 0, work).ok_or(())?;
                walk.found.map(|rows| (walk.below, rows))
            }
            _ => None,
        };
        if self.known.len() < KEPT {
            let known = found.clone().map_or(Known::NotBelow(below), |(worth, rows)| Known::Best(worth, rows));
            self.known.insert(key, known);
        }
        Ok(found)
    }
}

struct Walk<'g, 'i> {
    ground: &'g Ground<'i>,
    socket: usize,
    left: Vec<u16>,
    modules: usize,
    rows: Vec<usize>,
    /// Modules and granules of the whole bag.
    total: usize,
    all: u64,
    /// Granules a channel may hold at most, and must hold at least.
    most: u64,
    least: u64,
    floor: i128,
    below: i128,
    found: Option<Vec<usize>>,
}

impl<'g, 'i> Walk<'g, 'i> {
    fn new(ground: &'g Ground<'i>, socket: usize, bag: &[u16], floor: i128, below: i128) -> Self {
        let classes = &ground.instance.classes;
        let all = bag.iter().zip(classes).map(|(&n, class)| u64::from(n) * u64::from(class.size)).sum();
        let modules = bag.iter().map(|&n| usize::from(n)).sum();
        let mut walk = Self {
            ground,
            socket,
            left: bag.to_vec(),
            modules,
            rows: Vec::new(),
            total: modules,
            all,
            most: u64::MAX,
            least: 0,
            floor,
            below,
            found: None,
        };
        walk.tighten();
        walk
    }

    /// What channels must hold for the worth to be less than `below`.
    fn tighten(&mut self) {
        let instance = self.ground.instance;
        if self.below >= INF || self.ground.mb_s <= 0 || self.below > 0 {
            return;
        }
        // What else counts only adds to the worth, so there must be more than this.
        let wanted = u64::try_from((-self.below).div_euclid(self.ground.mb_s) + 1).unwrap_or(u64::MAX);
        // The stream takes at most so long, and no less than the fullest channel.
        self.most = instance.channel_mb_s * self.all / wanted;
        let channels = self.ground.channels[self.socket].min(self.total) as u32;
        let wide = instance.widest(channels);
        let next = if channels > 0 { instance.widest(channels - 1) } else { 0 };
        if wide == u64::from(channels) && next > 0 && next * instance.channel_mb_s < wanted {
            // Only all channels at once are wide enough: time >= least + (all - least * wide) / next.
            let over = (self.all * wanted).saturating_sub(next * instance.channel_mb_s * self.all);
            self.least = over.div_ceil(((wide - next) * wanted).max(1));
        }
    }

    /// Fills the next channel with the largest module left; rows of the same first class in order.
    fn step(&mut self, first_row: usize, filled: usize, work: &mut Work<'_>) -> Option<()> {
        if !work.step() {
            return None;
        }
        let Some(class) = self.left.iter().position(|&n| n > 0) else {
            // Most are ruled out by their bandwidth alone, told in short.
            let ground = self.ground;
            if ground.instance.slices() && -ground.mb_s * i128::from(ground.mb_s_of(&self.rows)) >= self.below {
                return Some(());
            }
            if let Some(worth) = self.ground.judge(self.socket, &self.rows)
                && worth < self.below
            {
                self.below = worth;
                self.found = Some(self.rows.clone());
                self.tighten();
            }
            return Some(());
        };
        let channels = self.ground.channels[self.socket];
        if filled == channels || self.modules > (channels - filled) * self.ground.depth {
            return Some(());
        }
        for &at in &self.ground.by_first[class] {
            let row = &self.ground.rows[at];
            let cap = u64::from(row.cap);
            if at < first_row || cap > self.most || cap < self.least {
                continue;
            }
            if row.uses.iter().any(|&(c, n)| self.left[c] < n) {
                continue;
            }
            for &(c, n) in &row.uses {
                self.left[c] -= n;
            }
            self.modules -= usize::from(row.depth);
            self.rows.push(at);
            let again = if self.left[class] > 0 { at } else { 0 };
            let go_on = self.step(again, filled + 1, work);
            self.rows.pop();
            self.modules += usize::from(row.depth);
            for &(c, n) in &row.uses {
                self.left[c] += n;
            }
            go_on?;
            // Ties are settled when the plan is whole.
            if self.found.is_some() && self.ground.instance.weights.as_good(self.below) <= self.floor {
                return Some(());
            }
        }
        Some(())
    }
}
