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

use std::collections::BTreeSet;

use super::seat::{Cpus, Seat};
use crate::board::{Board, Interleave};
use crate::units::{Mts, Size, gcd};

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

/// The rates the board's best population may run at, each with the sockets that hold modules then: its table and its
/// processors; `fallback` where neither was looked up. A slower processor limits nothing while its socket is empty, where the
/// board lets it be.
fn best_rates(board: &Board, cpus: &Cpus, fallback: Mts) -> Vec<(Mts, Vec<usize>)> {
    let table = board.speed.iter().filter(|row| board.limits.kinds.contains(&row.kind)).map(|row| row.mts).max();
    // A processor without a limit holds nothing back.
    let limit = |s: usize| cpus.get(s).copied().flatten().map(|cpu| cpu.mts.unwrap_or(Mts(u32::MAX)));
    let limits: BTreeSet<Mts> = (0..board.socket.len()).filter_map(limit).collect();
    let counts = &board.limits.counts_per_socket;
    let may_be_empty = board.limits.sockets_match != Some(true) && (counts.is_empty() || counts.contains(&0));
    let rate = |at: Mts| match table {
        Some(table) => table.min(at),
        None if at == Mts(u32::MAX) => fallback,
        None => at,
    };
    let rates = limits.iter().take(if may_be_empty { limits.len() } else { 1 });
    rates
        .map(|&at| (rate(at), (0..board.socket.len()).filter(|&s| limit(s).is_some_and(|l| l >= at)).collect()))
        .collect()
}

/// The best MB/s of a socket: alike channels, as many as are widest together. That may leave some empty: over five channels a
/// controller that takes four or two at most gives less than over four.
fn best_of(controllers: &[Option<u8>], interleave: Option<&Interleave>, mts: Mts) -> u64 {
    // Controller by controller, or one channel of each in turn: what may be spread evenly is one of the two.
    let filled = |n: usize| {
        let mut in_turn: Vec<usize> = (0..controllers.len()).collect();
        in_turn.sort_by_key(|&c| controllers[..c].iter().filter(|other| **other == controllers[c]).count());
        let mut by_controller: Vec<usize> = (0..controllers.len()).collect();
        by_controller.sort_by_key(|&c| controllers[c]);
        [in_turn, by_controller].map(|order| {
            let mut caps = vec![0; controllers.len()];
            order[..n].iter().for_each(|&channel| caps[channel] = 1);
            effective_mb_s(&regions(&caps, controllers, interleave), mts)
        })
    };
    (1..=controllers.len()).flat_map(filled).max().unwrap_or(0)
}

/// The bandwidth of a population at `mts`.
pub fn bandwidth(board: &Board, cpus: &Cpus, seats: &[Option<Seat>], mts: Mts) -> Bandwidth {
    let mut caps: Vec<Vec<u64>> = board.socket.iter().map(|s| vec![0; s.channel.len()]).collect();
    for at in board.slots() {
        // The slots of a socket without a processor are dead.
        let live = cpus.get(at.socket_index).is_some_and(Option::is_some);
        if let (Some(Some(seat)), true) = (seats.get(at.index), live) {
            caps[at.socket_index][at.channel_index] += seat.spec.gib.mib();
        }
    }
    let controllers = |socket: usize| -> Vec<Option<u8>> {
        board.socket.get(socket).map_or_else(Vec::new, |s| s.channel.iter().map(|c| c.controller).collect())
    };
    let of_sockets = |(at, sockets): (Mts, Vec<usize>)| -> u64 {
        sockets.into_iter().map(|s| best_of(&controllers(s), board.interleave.as_ref(), at)).sum()
    };
    let best_mb_s = best_rates(board, cpus, mts).into_iter().map(of_sockets).max().unwrap_or(0);
    let mut sockets = Vec::new();
    for (index, socket) in board.socket.iter().enumerate() {
        let found = regions(&caps[index], &controllers(index), board.interleave.as_ref());
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
    let effective_mb_s = sockets.iter().map(|s| s.effective_mb_s).sum();
    Bandwidth {
        effective_mb_s,
        // What leaves a slower processor's socket empty against the rules may be above what keeps them.
        best_mb_s: best_mb_s.max(effective_mb_s),
        narrowest: sockets.iter().flat_map(|s| &s.regions).map(|r| r.ways).min().unwrap_or(0),
        ways_known: board.interleave.is_some(),
        sockets,
    }
}

/// All memory of these regions.
pub fn total(regions: &[Region]) -> Size {
    regions.iter().map(|r| r.size).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_above_the_best_of_a_socket_with_channels_alike() {
        let any =
            |ways: &[u8]| Interleave { ways: ways.to_vec(), style: crate::board::InterleaveStyle::Slice, across: None };
        // Five channels, regions over four, two or one: four channels alike are read faster than five.
        assert_eq!(best_of(&[None; 5], Some(&any(&[1, 2, 4])), Mts(1000)), 4 * 8000);
        assert_eq!(best_of(&[None; 8], Some(&any(&[1, 2, 4, 8])), Mts(1000)), 8 * 8000);
        assert_eq!(best_of(&[None; 3], None, Mts(1000)), 3 * 8000);
        let equal = Interleave { across: Some(crate::board::Across::Equal), ..any(&[1, 2, 4]) };
        assert_eq!(best_of(&[Some(0), Some(0), Some(0), Some(1), Some(1)], Some(&equal), Mts(1000)), 4 * 8000);
    }
}
