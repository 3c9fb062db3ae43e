//! A guess how a bag is shared out with every socket as wide as it can be.
//!
//! Modules are stacked into bars. Bars of one height, as many as a socket is wide, make a block, and a block is read as wide
//! as can be; a bar may lie on two channels where channels are left. Modules are moved and exchanged at random until every
//! height has whole blocks. The numbers are drawn from a fixed seed: the same question gets the same answer.

use super::even::Even;
use crate::plan::search::work::Work;

/// Moves tried for one number of blocks.
const MOVES: usize = 100_000;

/// Numbers of blocks tried.
const BLOCKS: usize = 3;

/// The heat at which moves are taken that leave more bars over.
const HEAT: f64 = 0.5;

/// How few bars are over where it is worth going on.
const NEAR: u32 = 2;

/// Bars drawn anew where one is in a whole block.
const DRAWS: usize = 3;

/// Bars and how many there are of each height.
struct Bars<'e, 'g, 'i> {
    even: &'e Even<'g, 'i>,
    /// Classes, the largest first.
    bars: Vec<Vec<usize>>,
    heights: Vec<u32>,
    of_height: Vec<u32>,
    /// Bars on two channels, in all and of each height, and how many may be: in all and to a block.
    doubles: usize,
    doubles_of: Vec<u32>,
    most_doubles: usize,
    spare: Option<u32>,
    /// Sockets they are shared out over.
    sockets: usize,
}

/// The rows of each socket, when they were found; `more` moves are left for bags that were nearly shared out.
pub fn guess(
    even: &Even<'_, '_>,
    bag: &[u16],
    sockets: usize,
    more: &mut usize,
    work: &mut Work<'_>,
) -> Option<Vec<Vec<usize>>> {
    let ground = even.ground;
    let wide = even.wide as usize;
    let modules: usize = bag.iter().map(|&n| usize::from(n)).sum();
    let per_socket = even.channels / wide;
    let least = sockets.max(modules.div_ceil(ground.depth * wide));
    // Bars on two channels let fewer blocks do.
    let first = if even.channels > per_socket * wide { sockets } else { least };
    (first..=per_socket * sockets).take(BLOCKS).find_map(|blocks| {
        let mut bars = Bars::new(even, bag, (blocks, sockets))?;
        if bars.shake(blocks, more, work) { bars.out() } else { None }
    })
}

impl<'e, 'g, 'i> Bars<'e, 'g, 'i> {
    /// The largest module first, each on the lowest bar that takes it.
    fn new(even: &'e Even<'g, 'i>, bag: &[u16], (blocks, sockets): (usize, usize)) -> Option<Self> {
        let ground = even.ground;
        let number = blocks * even.wide as usize;
        let classes = &ground.instance.classes;
        let all: u32 = bag.iter().zip(classes).map(|(&n, class)| u32::from(n) * class.size).sum();
        let mut bars = Self {
            even,
            bars: vec![Vec::new(); number],
            heights: vec![0; number],
            of_height: vec![0; all as usize + 1],
            doubles: 0,
            doubles_of: vec![0; all as usize + 1],
            sockets,
            most_doubles: (even.channels * sockets).checked_sub(number)?,
            // With one block to a socket it is known how many channels are left over beside each.
            spare: (blocks == sockets).then(|| even.channels as u32 - even.wide),
        };
        for (class, &n) in bag.iter().enumerate() {
            for _ in 0..n {
                let mut order: Vec<usize> = (0..number).collect();
                order.sort_by_key(|&bar| bars.heights[bar]);
                let into = order.into_iter().find(|&bar| {
                    let more = usize::from(bars.bars[bar].len() == ground.depth);
                    bars.bars[bar].len() < 2 * ground.depth && bars.doubles + more <= bars.most_doubles
                })?;
                bars.doubles += usize::from(bars.bars[into].len() == ground.depth);
                bars.bars[into].push(class);
                bars.heights[into] += classes[class].size;
            }
        }
        for (bar, &height) in bars.bars.iter().zip(&bars.heights) {
            bars.of_height[height as usize] += 1;
            bars.doubles_of[height as usize] += u32::from(bar.len() > ground.depth);
        }
        Some(bars)
    }

    /// Bars over or missing to whole blocks of a height, and those on two channels for which there are no channels.
    fn over(&self, height: u32) -> u32 {
        let (number, wide) = (self.of_height[height as usize], self.even.wide);
        let over = number % wide;
        let room = self.spare.map_or(u32::MAX, |spare| spare * number.div_ceil(wide));
        over.min(wide - over) + self.doubles_of[height as usize].saturating_sub(room)
    }

    /// Moves and exchanges modules; whether all bars are in whole blocks.
    fn shake(&mut self, seed: usize, more: &mut usize, work: &mut Work<'_>) -> bool {
        let classes = &self.even.ground.instance.classes;
        let depth = self.even.ground.depth;
        // Asked once more, it looks elsewhere.
        let mut rng = fastrand::Rng::with_seed((seed + *more) as u64);
        let mut over: u32 = (0..self.of_height.len()).map(|height| self.over(height as u32)).sum();
        let mut near = false;
        for turn in 0..MOVES + *more {
            if turn >= MOVES {
                if !near {
                    return false;
                }
                *more -= 1;
            }
            if over == 0 && self.bars.iter().all(|bar| !bar.is_empty()) {
                return true;
            }
            near |= over <= NEAR;
            if turn % 64 == 0 && !work.step() {
                return false;
            }
            let (mut a, b) = (rng.usize(0..self.bars.len()), rng.usize(0..self.bars.len()));
            // Rather a bar that is in no whole block.
            for _ in 0..DRAWS {
                if self.over(self.heights[a]) > 0 {
                    break;
                }
                a = rng.usize(0..self.bars.len());
            }
            if a == b || self.bars[a].is_empty() {
                continue;
            }
            let i = rng.usize(0..self.bars[a].len());
            // One place more than there are modules: the module moves, nothing comes back.
            let j = rng.usize(0..=self.bars[b].len());
            let go = self.bars[a][i];
            let back = self.bars[b].get(j).copied();
            if back == Some(go) {
                continue;
            }
            let up = |from: u32, out: Option<usize>, into: Option<usize>| {
                from + into.map_or(0, |c| classes[c].size) - out.map_or(0, |c| classes[c].size)
            };
            let (old_a, old_b) = (self.heights[a], self.heights[b]);
            let (new_a, new_b) = (up(old_a, Some(go), back), up(old_b, back, Some(go)));
            let double = |modules: usize| u32::from(modules > depth);
            let before = (double(self.bars[a].len()), double(self.bars[b].len()));
            let mut after = before;
            if back.is_none() {
                if self.bars[a].len() == 1 || self.bars[b].len() == 2 * depth {
                    continue;
                }
                after = (double(self.bars[a].len() - 1), double(self.bars[b].len() + 1));
            }
            let doubles = self.doubles + (after.0 + after.1) as usize - (before.0 + before.1) as usize;
            if doubles > self.most_doubles {
                continue;
            }
            let (old, new) = ([(old_a, before.0), (old_b, before.1)], [(new_a, after.0), (new_b, after.1)]);
            let mut touched = [old_a, old_b, new_a, new_b];
            touched.sort_unstable();
            let sum = |bars: &Self| -> u32 {
                (0..4).filter(|&n| n == 0 || touched[n] != touched[n - 1]).map(|n| bars.over(touched[n])).sum()
            };
            let before = sum(self);
            self.count(old, new);
            let after = sum(self);
            // Floats only choose where to look.
            if after > before && rng.f64() >= (-f64::from(after - before) / HEAT).exp() {
                self.count(new, old);
                continue;
            }
            over = over + after - before;
            (self.heights[a], self.heights[b], self.doubles) = (new_a, new_b, doubles);
            self.bars[a].remove(i);
            self.bars[b].push(go);
            if let Some(back) = back {
                self.bars[b].remove(j);
                self.bars[a].push(back);
            }
        }
        false
    }

    /// Counts two bars by height and by whether they lie on two channels.
    fn count(&mut self, old: [(u32, u32); 2], new: [(u32, u32); 2]) {
        for (height, double) in old {
            self.of_height[height as usize] -= 1;
            self.doubles_of[height as usize] -= double;
        }
        for (height, double) in new {
            self.of_height[height as usize] += 1;
            self.doubles_of[height as usize] += double;
        }
    }

    /// Whole blocks, put on sockets: each gets one, then those with most channels go where most are left.
    fn out(&self) -> Option<Vec<Vec<usize>>> {
        let (wide, sockets) = (self.even.wide as usize, self.sockets);
        let mut order: Vec<usize> = (0..self.bars.len()).collect();
        // Of one height the bars on two channels are dealt out to the blocks evenly.
        order.sort_by_key(|&bar| (self.heights[bar], self.bars[bar].len()));
        let mut blocks: Vec<Vec<usize>> = Vec::new();
        let mut at = 0;
        while at < order.len() {
            let height = self.heights[order[at]];
            let alike: Vec<usize> =
                order[at..].iter().copied().take_while(|&bar| self.heights[bar] == height).collect();
            let number = alike.len() / wide;
            for block in 0..number {
                let bars = alike.iter().skip(block).step_by(number);
                blocks.push(bars.map(|&bar| self.channels(bar)).collect::<Option<Vec<_>>>()?.concat());
            }
            at += alike.len();
        }
        blocks.sort_by_key(|block| std::cmp::Reverse(block.len()));
        let mut out: Vec<Vec<usize>> = vec![Vec::new(); sockets];
        for block in blocks {
            let into = (0..sockets).min_by_key(|&socket| out[socket].len())?;
            out[into].extend(block);
        }
        let good = |rows: &Vec<usize>| rows.len() <= self.even.channels && self.even.as_wide_as_can_be(rows);
        out.iter().all(good).then_some(out)
    }

    /// The rows of a bar: one, or two.
    fn channels(&self, bar: usize) -> Option<Vec<usize>> {
        let ground = self.even.ground;
        let mut classes = self.bars[bar].clone();
        classes.sort_unstable();
        if classes.len() <= ground.depth {
            return Some(vec![*ground.by_classes.get(&classes)?]);
        }
        let (first, second) = classes.split_at(classes.len() / 2);
        Some(vec![*ground.by_classes.get(first)?, *ground.by_classes.get(second)?])
    }
}
