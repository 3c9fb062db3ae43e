//! The best bag that can be shared out so that every socket is as wide as it can be.
//!
//! Bags come one after the other, the best first, out of a heap of bags half made, each with what the rest adds at least.
//! Only bags that may be even are made: granules in a multiple of the width, and so many modules that every socket has as
//! many as it is wide. A socket with just as many holds modules of one size. So each module gives a point, and each whole
//! width of modules of one size one more; every socket has a point more than it is wide, by a module more or by modules
//! alike. The points are priced out: any price gives a valid bound, and the best is looked for.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::arrange::{Arranged, settle};
use super::even::{Even, Split};
use super::ground::Ground;
use crate::plan::search::family::Best;
use crate::plan::search::instance::INF;
use crate::plan::search::work::Work;

/// Bags half made at most.
const HEAP: usize = 250_000;

/// Moves for all guesses that nearly come out.
pub const MORE: usize = 6_000_000;

/// Rounds in which a price of a module is looked for.
const ROUNDS: usize = 24;

/// What is worth what it is, whatever modules are worth: the least from each class on, by what is still needed.
struct Rest {
    tables: Vec<Vec<i128>>,
    /// Taken off for each point.
    price: i128,
}

/// Bags as even as can be.
struct Evens<'g, 'i> {
    ground: &'g Ground<'i>,
    wide: usize,
    /// The least multiple of the width that is enough, in granules.
    need: usize,
    /// Nothing above it is allowed.
    exact: bool,
    /// Whether no two classes are of one size.
    sizes: bool,
    /// Points there must be.
    points: usize,
}

/// A bag half made.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Half {
    /// Not worth less than this.
    least: i128,
    bag: Vec<u16>,
    left: usize,
    modules: usize,
    points: usize,
    own: i128,
}

impl<'g, 'i> Evens<'g, 'i> {
    fn new(ground: &'g Ground<'i>, wide: usize) -> Self {
        let instance = ground.instance;
        let mut sizes: Vec<u32> = instance.classes.iter().map(|c| c.size).collect();
        sizes.sort_unstable();
        let sizes = sizes.windows(2).all(|two| two[0] != two[1]);
        Self {
            ground,
            wide,
            need: (instance.need as usize).next_multiple_of(wide),
            exact: instance.most == instance.need,
            sizes,
            points: (wide + usize::from(sizes)) * ground.channels.len(),
        }
    }

    /// Points of so many modules of a class.
    fn points(&self, modules: usize) -> usize {
        modules + if self.sizes { modules / self.wide } else { 0 }
    }

    /// What is needed after `n` granules more; beyond the need the next multiple of the width.
    fn after(&self, left: usize, granules: usize) -> Option<usize> {
        match left.checked_sub(granules) {
            Some(left) => Some(left),
            None if self.exact => None,
            None => Some((self.wide - (granules - left) % self.wide) % self.wide),
        }
    }

    fn rest(&self, price: i128) -> Rest {
        let classes = &self.ground.instance.classes;
        let mut tables = vec![vec![INF; self.need + 1]; classes.len() + 1];
        tables[classes.len()][0] = 0;
        for (c, class) in classes.iter().enumerate().rev() {
            let (before, after) = tables.split_at_mut(c + 1);
            for (left, cell) in before[c].iter_mut().enumerate() {
                for (n, own) in self.ground.own[c].iter().enumerate() {
                    let Some(to) = self.after(left, n * class.size as usize) else { break };
                    if after[0][to] < INF {
                        *cell = (*cell).min(after[0][to] + own - price * self.points(n) as i128);
                    }
                }
            }
        }
        Rest { tables, price }
    }

    /// No bag is worth less than this by these prices.
    fn bound(&self, rest: &Rest) -> i128 {
        let least = rest.tables[0][self.need];
        if least >= INF { INF } else { least + rest.price * self.points as i128 }
    }

    /// The tables whose bound is highest. The bound has one top: the price goes where it rises.
    fn best_rest(&self) -> Rest {
        let dearest = self.ground.own.iter().filter_map(|own| own.last().copied()).max().unwrap_or(0);
        let (mut low, mut high) = (0i128, dearest.max(1));
        for _ in 0..ROUNDS {
            let third = (high - low) / 3;
            if third == 0 {
                break;
            }
            let (a, b) = (low + third, high - third);
            if self.bound(&self.rest(a)) < self.bound(&self.rest(b)) { low = a } else { high = b }
        }
        self.rest(low)
    }

    /// What a bag half made is worth at least.
    fn least(&self, rest: &Rest, class: usize, half: &Half) -> i128 {
        let more = rest.tables[class][half.left];
        if more >= INF {
            return INF;
        }
        half.own + more + rest.price * self.points.saturating_sub(half.points) as i128
    }
}

/// Looks for the best plan with every socket as wide as can be, in `most` bags; whether all that are better were looked at.
pub fn search(ground: &Ground<'_>, most: usize, family: usize, best: &mut Best<'_>, work: &mut Work<'_>) -> bool {
    let Some(mut even) = Even::new(ground) else { return false };
    even.more = MORE;
    let instance = ground.instance;
    let wide = even.wide as usize;
    let evens = Evens::new(ground, wide);
    if evens.exact && evens.need != instance.need as usize {
        return true;
    }
    let rest = evens.best_rest();
    let mut heap = BinaryHeap::new();
    let start = Half { least: 0, bag: Vec::new(), left: evens.need, modules: 0, points: 0, own: 0 };
    heap.push(Reverse(Half { least: evens.least(&rest, 0, &start), ..start }));
    let (mut open, mut looks): (Vec<i128>, usize) = (Vec::new(), 0);
    while let Some(Reverse(half)) = heap.pop() {
        if half.least >= INF || half.least - ground.most_gain() >= best.limit() {
            break;
        }
        if !work.step() {
            return false;
        }
        let class = half.bag.len();
        if class == instance.classes.len() {
            if half.points < evens.points || !ground.affords(&half.bag) {
                continue;
            }
            // Now it is known what it is worth; others may be better.
            if half.own > half.least {
                heap.push(Reverse(Half { least: half.own, ..half }));
                continue;
            }
            match even.split(&half.bag, work) {
                Split::Rows(sockets) => {
                    let judged = sockets.iter().enumerate().map(|(s, rows)| ground.judge(s, rows));
                    let Some(worth) = judged.sum::<Option<i128>>() else { continue };
                    let mut found = Arranged { worth, sockets };
                    settle(ground, &mut found);
                    best.offer(family, ground.plan(half.own + found.worth, &found.sockets));
                }
                Split::Never => {}
                Split::Open => open.push(half.own),
            }
            looks += 1;
            if looks >= most {
                return false;
            }
            continue;
        }
        let size = instance.classes[class].size as usize;
        for (n, own) in ground.own[class].iter().enumerate() {
            let modules = half.modules + n;
            let Some(left) = evens.after(half.left, n * size) else { break };
            if modules > ground.slots {
                break;
            }
            let bag: Vec<u16> = half.bag.iter().copied().chain([n as u16]).collect();
            let points = half.points + evens.points(n);
            let next = Half { least: 0, bag, left, modules, points, own: half.own + own };
            let least = evens.least(&rest, class + 1, &next);
            if least < INF && least - ground.most_gain() < best.limit() {
                heap.push(Reverse(Half { least: least.max(half.least), ..next }));
            }
        }
        if heap.len() > HEAP {
            return false;
        }
    }
    let limit = best.limit();
    open.into_iter().all(|own| own - ground.most_gain() >= limit)
}
