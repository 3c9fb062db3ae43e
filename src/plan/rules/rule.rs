//! The rules by name.

use std::fmt;

use serde::Serialize;

use crate::board::SlotLabel;

/// One population rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// The module is of another DRAM generation than the slots.
    Generation,
    /// The board does not take this kind.
    Kind,
    /// Two kinds on one board.
    KindsMixed,
    /// Another supply voltage.
    Voltage,
    /// Larger than the largest module of its kind.
    Largest,
    /// A slot is filled before one that goes first in its channel.
    Order,
    /// More ranks on a channel than it carries.
    RanksPerChannel,
    /// A module with more ranks behind one with fewer.
    MoreRanksFirst,
    /// The table has no rate for so many of this kind and ranks on one channel.
    PerChannel,
    /// Sizes mixed further than the board allows.
    Mixing,
    /// Ranks differ where all must be the same.
    SameRanks,
    /// Device widths differ where all must be the same.
    SameWidth,
    /// Channels in use hold different numbers of modules.
    SameDepth,
    /// Sockets filled differently.
    SocketsMatch,
    /// A module in a socket without a processor.
    NoProcessor,
    /// A module count the board does not list.
    Count,
    /// More memory than the processor addresses.
    CpuCapacity,
    /// A line about a fitted module, and the order lists none.
    NotFitted,
}

impl Rule {
    /// All rules.
    pub const ALL: [Self; 18] = [
        Self::Generation,
        Self::Kind,
        Self::KindsMixed,
        Self::Voltage,
        Self::Largest,
        Self::Order,
        Self::RanksPerChannel,
        Self::MoreRanksFirst,
        Self::PerChannel,
        Self::Mixing,
        Self::SameRanks,
        Self::SameWidth,
        Self::SameDepth,
        Self::SocketsMatch,
        Self::NoProcessor,
        Self::Count,
        Self::CpuCapacity,
        Self::NotFitted,
    ];

    /// Its name in files and on screen.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Generation => "generation",
            Self::Kind => "kind",
            Self::KindsMixed => "kinds-mixed",
            Self::Voltage => "voltage",
            Self::Largest => "largest",
            Self::Order => "order",
            Self::RanksPerChannel => "ranks-per-channel",
            Self::MoreRanksFirst => "more-ranks-first",
            Self::PerChannel => "per-channel",
            Self::Mixing => "mixing",
            Self::SameRanks => "same-ranks",
            Self::SameWidth => "same-width",
            Self::SameDepth => "same-depth",
            Self::SocketsMatch => "sockets-match",
            Self::NoProcessor => "no-processor",
            Self::Count => "count",
            Self::CpuCapacity => "cpu-capacity",
            Self::NotFitted => "not-fitted",
        }
    }

    /// The key of the board or order file it is read from.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Generation => "generation",
            Self::Kind | Self::KindsMixed => "limits.kinds",
            Self::Voltage => "limits.volts",
            Self::Largest => "limits.largest",
            Self::Order => "slot.position",
            Self::RanksPerChannel => "limits.ranks_per_channel",
            Self::MoreRanksFirst => "limits.more_ranks_first",
            Self::PerChannel => "speed",
            Self::Mixing => "limits.mixing",
            Self::SameRanks => "limits.same_ranks",
            Self::SameWidth => "limits.same_width",
            Self::SameDepth => "limits.same_depth",
            Self::SocketsMatch => "limits.sockets_match",
            Self::NoProcessor => "order unit.processor",
            Self::Count => "limits.counts_per_socket",
            Self::CpuCapacity => "cpu.gib",
            Self::NotFitted => "order.fitted",
        }
    }
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// One broken rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Breach {
    pub rule: Rule,
    /// The slots it is about, in board order; empty for a whole socket that should hold something.
    pub slots: Vec<SlotLabel>,
    /// What is wrong, in one line.
    pub what: String,
    /// Where the rule is from: the key of the board file, and what the board file itself names as its source.
    pub source: String,
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} [{}]", self.rule, self.what, self.source)
    }
}

/// What the rules say of a population.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Verdict {
    pub breaches: Vec<Breach>,
    /// What could not be judged, because nobody looked the limit up or the module's fact is not known.
    pub unknown: Vec<String>,
}
