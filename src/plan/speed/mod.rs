//! What the memory runs at, and what held it there.
//!
//! MT/s is the lowest of every module's rating, every processor's limit and the board's table for kind x ranks x modules
//! per channel; all channels run at one rate (printed rule of the makers' guides: the slowest common speed for all).

use std::fmt;

use super::seat::{Cpus, Seat};
use crate::board::{Board, SlotLabel};
use crate::module::Kind;
use crate::units::Mts;

/// One thing that holds the rate down.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum LimitedBy {
    /// A module's own rating.
    Module { slot: SlotLabel },
    /// The processor in this socket.
    Cpu { socket: String },
    /// The board's table.
    Board { kind: Kind, ranks: Option<u8>, per_channel: u8 },
}

impl fmt::Display for LimitedBy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Module { slot } => write!(f, "the rating of the module in {slot}"),
            Self::Cpu { socket } => write!(f, "the processor in {}", crate::text::shown(socket)),
            Self::Board { kind, ranks, per_channel } => {
                f.write_str("the board's limit for ")?;
                if let Some(ranks) = ranks {
                    write!(f, "{ranks}R ")?;
                }
                write!(f, "{kind} with {per_channel} on a channel")
            }
        }
    }
}

/// The rate and its limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Speed {
    /// `None` when nothing that is known limits it: an empty machine, or no rating, limit or table at hand.
    pub mts: Option<Mts>,
    /// Everything that stands at the lowest value; the first of each sort.
    pub limited_by: Vec<LimitedBy>,
    /// The lowest rating among the modules.
    pub rated: Option<Mts>,
    /// Whether the board's table and the processors were looked up; without them the rate is the modules' own.
    pub table_known: bool,
}

impl Speed {
    /// `rated 2666, this board's limit 2400: the faster module buys nothing`; `None` when the modules are the limit.
    pub fn remark(&self) -> Option<String> {
        let (mts, rated) = (self.mts?, self.rated?);
        if rated <= mts {
            return None;
        }
        let whose = match self.limited_by.first()? {
            LimitedBy::Cpu { .. } => "this processor's",
            _ => "this board's",
        };
        Some(format!("rated {}, {whose} limit {}: the faster module buys nothing", rated.0, mts.0))
    }
}

/// What the board's table says of a module in a channel with so many modules.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rate {
    Mts(Mts),
    /// The table covers this number per channel, and this kind and ranks, but not together.
    NotAllowed,
    /// Not looked up.
    Unknown,
}

/// The table's entry for kind x ranks x modules per channel. A row for the very ranks goes before a row for any; for a
/// module whose ranks are not known the lowest row holds.
pub fn table(board: &Board, kind: Kind, ranks: Option<u8>, per_channel: u8) -> Rate {
    let of_kind = || board.speed.iter().filter(move |row| row.kind == kind);
    let fits = |row: &&crate::board::SpeedRow| row.ranks.is_none() || ranks.is_none() || row.ranks == ranks;
    let here = of_kind().filter(fits).filter(|row| row.per_channel == per_channel);
    let exact = here.clone().filter(|row| ranks.is_some() && row.ranks == ranks).map(|row| row.mts).min();
    if let Some(mts) = exact.or_else(|| here.map(|row| row.mts).min()) {
        return Rate::Mts(mts);
    }
    let looked_up = board.speed.iter().any(|row| row.per_channel == per_channel);
    if looked_up && of_kind().any(|row| fits(&row)) { Rate::NotAllowed } else { Rate::Unknown }
}

/// The rate of a population.
pub fn speed(board: &Board, cpus: &Cpus, seats: &[Option<Seat>]) -> Speed {
    let mut limits: Vec<(Mts, LimitedBy)> = Vec::new();
    let mut per_channel = vec![vec![0u8; 0]; board.socket.len()];
    for (socket, counts) in board.socket.iter().zip(&mut per_channel) {
        counts.resize(socket.channel.len(), 0);
    }
    let fitted = || board.slots().filter_map(|at| seats.get(at.index)?.as_ref().map(|seat| (at, seat)));
    for (at, _) in fitted() {
        per_channel[at.socket_index][at.channel_index] =
            per_channel[at.socket_index][at.channel_index].saturating_add(1);
    }
    let mut rated: Option<Mts> = None;
    let mut table_known = true;
    let mut sockets = vec![false; board.socket.len()];
    for (at, seat) in fitted() {
        sockets[at.socket_index] = true;
        if let Some(mts) = seat.spec.mts {
            rated = Some(rated.map_or(mts, |r| r.min(mts)));
            limits.push((mts, LimitedBy::Module { slot: at.slot.label.clone() }));
        }
        let Some(kind) = seat.spec.kind else { continue };
        let count = per_channel[at.socket_index][at.channel_index];
        match table(board, kind, seat.spec.ranks, count) {
            Rate::Mts(mts) => {
                let ranks = board
                    .speed
                    .iter()
                    .any(|row| row.kind == kind && row.per_channel == count && row.ranks.is_some())
                    .then_some(seat.spec.ranks)
                    .flatten();
                limits.push((mts, LimitedBy::Board { kind, ranks, per_channel: count }));
            }
            Rate::NotAllowed | Rate::Unknown => table_known = false,
        }
    }
    for (index, cpu) in cpus.iter().enumerate() {
        if let (Some(Some(mts)), Some(true)) = (cpu.as_ref().map(|c| c.mts), sockets.get(index)) {
            let socket = board.socket.get(index).map_or_else(String::new, |s| s.label.clone());
            limits.push((mts, LimitedBy::Cpu { socket }));
        }
    }
    let mts = limits.iter().map(|limit| limit.0).min();
    let mut limited_by: Vec<LimitedBy> = Vec::new();
    for (value, limit) in &limits {
        let sort = std::mem::discriminant(limit);
        if Some(*value) == mts && !limited_by.iter().any(|l| std::mem::discriminant(l) == sort) {
            limited_by.push(limit.clone());
        }
    }
    Speed { mts, limited_by, rated, table_known }
}
