//! The least a socket still adds when its channels are filled in order, the largest first: what is to come is no larger than
//! what stands last, and when nothing more comes that is the emptiest.

use super::Bound;
use crate::plan::search::instance::{INF, Instance};

/// Cells the tables of one largest channel may have .
const ORDERED_CELLS: usize = 60_000;

/// Tables of [`Bound::ordered`].
#[derive(Debug)]
pub struct Ordered {
    /// What a channel may hold, the largest first.
    caps: Vec<u32>,
    channels: usize,
    cells: usize,
    least: Vec<i128>,
}

impl Ordered {
    /// Least worth to come when `k` channels are filled, the last with `cap` granules, `cell` coarse granules standing.
    pub fn at(&self, cap: u32, k: usize, cell: usize) -> i128 {
        let at = self.caps.partition_point(|&c| c > cap);
        if cell > self.cells || self.caps.get(at) != Some(&cap) {
            return INF;
        }
        self.least[(at * (self.channels + 1) + k) * (self.cells + 1) + cell]
    }
}

impl Bound {
    /// For one socket kind and largest channel: least worth still to come, by what the last channel holds, channels filled
    /// and capacity standing, when the other sockets follow `others`. `None` where channels are not all alike, or where the
    /// tables would be large.
    pub fn ordered(&self, instance: &Instance<'_>, kind: usize, largest: u32, others: &[i128]) -> Option<Ordered> {
        let kind = &instance.kinds[kind];
        let &[(t, run)] = &kind.runs[..] else { return None };
        let (cells, channels) = (self.cells(instance, kind), run as usize);
        let mut caps: Vec<u32> = instance.symbols.iter().map(|s| s.cap).filter(|&cap| cap <= largest).collect();
        caps.dedup();
        let mut tables = Ordered { caps, channels, cells, least: Vec::new() };
        let size = (channels + 1) * (cells + 1);
        if largest == 0 || tables.caps.len() * size > ORDERED_CELLS {
            return None;
        }
        tables.least = vec![INF; tables.caps.len() * size];
        let others = self.tail(others, cells);
        let place = |k: usize, cell: usize| k * (cells + 1) + cell;
        // What is least from here on when the next channel is one of those looked at.
        let mut more = vec![INF; size];
        for at in (0..tables.caps.len()).rev() {
            let cap = tables.caps[at];
            let alike = (0..instance.symbols.len()).filter(|&s| instance.symbols[s].cap == cap);
            let g = alike.map(|s| self.g[t][s]).min().unwrap_or(INF);
            if g >= INF {
                continue;
            }
            let step = cap.div_ceil(self.coarse) as usize;
            let highest = tables.caps[0].div_ceil(self.coarse) as usize;
            for k in (1..=channels).rev() {
                let idle = self.empty[t].saturating_mul((channels - k) as i128).min(INF);
                let idle = if k == channels { 0 } else { idle };
                for cell in k * step..=(k * highest).min(cells) {
                    let mut least = more[place(k, cell)];
                    if k < channels && cell + step <= cells {
                        let next = tables.least[at * size + place(k + 1, cell + step)];
                        if next < INF {
                            least = least.min(g + next);
                        }
                    }
                    more[place(k, cell)] = least;
                    if idle < INF && others[cell] < INF {
                        let gain = self.gain_with(instance, (k as u32, cell), largest, Some(cap));
                        least = least.min(idle + others[cell] - gain);
                    }
                    tables.least[at * size + place(k, cell)] = least;
                }
            }
        }
        Some(tables)
    }
}
