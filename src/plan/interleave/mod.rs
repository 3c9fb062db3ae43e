//! Regions of address space and the bandwidth they give.
//!
//! From the capacity of each channel of a socket follow the regions and over how many channels each is spread. Slicing
//! controllers: the widest allowed region over the channels with most left, as high as the smallest of them, again until
//! nothing is left (a maker's memory guide: as many four-channel regions as possible, then two, then one). Whole-channel
//! controllers group only channels of equal size (an open firmware's published grouping). The effective bandwidth is that
//! of a stream that walks all memory evenly: capacity / sum(region / ways) channels' worth. It is an estimate: clock and
//! interleave only. All arithmetic is in whole numbers; MB/s are rounded down.

mod measured;
mod regions;

pub use measured::{Estimate, estimate};
pub use regions::{Region, regions};

use super::seat::{Cpus, Seat};
use crate::board::Board;
use crate::units::{Mts, Size};

/// MB/s of one 64-bit channel at 1 MT/s (DDR5's two 32-bit halves counted together).
pub const MB_S_PER_MTS: u64 = 8;

/// What one socket's memory gives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SocketBandwidth {
    pub label: String,
    pub regions: Vec<Region>,
    /// MT/s x 8 x channels that hold a module, in MB/s.
    pub peak_mb_s: u64,
    /// Estimated for one stream over all of it, in MB/s.
    pub effective_mb_s: u64,
    /// What many streams at once can reach: every channel loaded by what it holds, in MB/s.
    pub loaded_mb_s: u64,
}

/// What a population gives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bandwidth {
    pub sockets: Vec<SocketBandwidth>,
    /// Sum over the sockets, each streaming its own memory, in MB/s.
    pub effective_mb_s: u64,
    /// The same of the board's best population, in MB/s.
    pub best_mb_s: u64,
    /// Ways of the narrowest region.
    pub narrowest: u8,
    /// Whether the ways the controller allows were looked up; else any number is assumed.
    pub ways_known: bool,
}

impl Bandwidth {
    /// Effective bandwidth in hundredths of the board's best, rounded down. No more digits: it is an estimate.
    pub fn percent(&self) -> u64 {
        self.effective_mb_s.saturating_mul(100).checked_div(self.best_mb_s).unwrap_or(0)
    }
}

/// Effective MB/s of a socket with these regions at `mts`, rounded down.
pub fn effective_mb_s(regions: &[Region], mts: Mts) -> u64 {
    // sum(size / ways) as a fraction over the least common multiple of the ways.
    let lcm = regions.iter().fold(1u128, |lcm, region| {
        let ways = u128::from(region.ways.max(1));
        lcm / gcd(lcm, ways) * ways
    });
    let total: u128 = regions.iter().map(|r| u128::from(r.size.mib())).sum();
    let time: u128 = regions.iter().map(|r| u128::from(r.size.mib()) * (lcm / u128::from(r.ways.max(1)))).sum();
    let rate = u128::from(mts.0) * u128::from(MB_S_PER_MTS);
    (total * lcm * rate).checked_div(time).and_then(|mb_s| u64::try_from(mb_s).ok()).unwrap_or(0)
}

/// The highest rate the board runs anything at: its table and its processors; `fallback` where neither was looked up.
pub fn best_mts(board: &Board, cpus: &Cpus, fallback: Mts) -> Mts {
    let table = board.speed.iter().filter(|row| board.limits.kinds.contains(&row.kind)).map(|row| row.mts).max();
    let cpu = cpus.iter().flatten().filter_map(|cpu| cpu.mts).min();
    match (table, cpu) {
        (Some(table), Some(cpu)) => table.min(cpu),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => fallback,
    }
}

/// The bandwidth of a population at `mts`.
pub fn bandwidth(board: &Board, cpus: &Cpus, seats: &[Option<Seat>], mts: Mts) -> Bandwidth {
    let mut caps: Vec<Vec<u64>> = board.socket.iter().map(|s| vec![0; s.channel.len()]).collect();
    for at in board.slots() {
        if let Some(Some(seat)) = seats.get(at.index) {
            caps[at.socket_index][at.channel_index] += seat.spec.gib.mib();
        }
    }
    let best = best_mts(board, cpus, mts);
    let mut best_mb_s = 0;
    let mut sockets = Vec::new();
    for (index, socket) in board.socket.iter().enumerate() {
        let controllers: Vec<Option<u8>> = socket.channel.iter().map(|c| c.controller).collect();
        if cpus.get(index).is_some_and(Option::is_some) {
            let full = regions(&vec![1; socket.channel.len()], &controllers, board.interleave.as_ref());
            best_mb_s += effective_mb_s(&full, best);
        }
        let found = regions(&caps[index], &controllers, board.interleave.as_ref());
        let used = caps[index].iter().filter(|&&cap| cap > 0).count() as u64;
        let (held, fullest) = (caps[index].iter().sum::<u64>(), caps[index].iter().copied().max().unwrap_or(0));
        let loaded = (u128::from(held) * u128::from(mts.0) * u128::from(MB_S_PER_MTS)).checked_div(u128::from(fullest));
        sockets.push(SocketBandwidth {
            loaded_mb_s: loaded.and_then(|mb_s| u64::try_from(mb_s).ok()).unwrap_or(0),
            label: socket.label.clone(),
            peak_mb_s: used * u64::from(mts.0) * MB_S_PER_MTS,
            effective_mb_s: effective_mb_s(&found, mts),
            regions: found,
        });
    }
    Bandwidth {
        effective_mb_s: sockets.iter().map(|s| s.effective_mb_s).sum(),
        best_mb_s,
        narrowest: sockets.iter().flat_map(|s| &s.regions).map(|r| r.ways).min().unwrap_or(0),
        ways_known: board.interleave.is_some(),
        sockets,
    }
}

/// All memory of these regions.
pub fn total(regions: &[Region]) -> Size {
    regions.iter().map(|r| r.size).sum()
}

fn gcd(a: u128, b: u128) -> u128 {
    if b == 0 { a } else { gcd(b, a % b) }
}
