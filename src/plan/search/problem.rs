//! What is searched for, and what comes back.

use thiserror::Error;

use crate::board::Board;
use crate::plan::seat::{Cpus, Seat, Seats};
use crate::stock::{Lot, Money};
use crate::units::{Mts, Size};

/// How much memory is asked for, per unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    AtLeast(Size),
    Exactly(Size),
}

impl Target {
    /// The size asked for.
    pub const fn size(self) -> Size {
        match self {
            Self::AtLeast(size) | Self::Exactly(size) => size,
        }
    }
}

/// One thing a plan is better or worse in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Criterion {
    /// More effective bandwidth.
    Bandwidth,
    /// Less to pay.
    Cost,
    /// Fewer handlings: modules taken out and seated.
    Moves,
    /// Fewer modules, so more free slots.
    Modules,
    /// More memory; only to find the nearest target.
    MoreMemory,
    /// Less memory; only to find the nearest target.
    LessMemory,
}

/// What goes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Prefer {
    /// Bandwidth, then cost, then fewest moves, then free slots.
    Bandwidth,
    /// Cost, then bandwidth, then fewest moves, then free slots.
    Cost,
    /// Free slots, then bandwidth, then cost, then fewest moves.
    Room,
    /// The most memory that fits, then as `Cost`.
    MostMemory,
    /// The least memory that meets the target, then as `Cost`.
    LeastMemory,
}

impl Prefer {
    /// The criteria, the first one first. What is left equal is settled by more channels in use, then by the most
    /// even sockets.
    pub const fn order(self) -> [Criterion; 5] {
        use Criterion::{Bandwidth, Cost, LessMemory, Modules, MoreMemory, Moves};
        match self {
            // The last place is taken by a criterion that settles what the four named ones leave equal.
            Self::Bandwidth => [Bandwidth, Cost, Moves, Modules, MoreMemory],
            Self::Cost => [Cost, Bandwidth, Moves, Modules, MoreMemory],
            Self::Room => [Modules, Bandwidth, Cost, Moves, MoreMemory],
            Self::MostMemory => [MoreMemory, Cost, Bandwidth, Moves, Modules],
            Self::LeastMemory => [LessMemory, Cost, Bandwidth, Moves, Modules],
        }
    }
}

/// A module that is fitted already.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FittedSeat {
    pub seat: Seat,
    /// Must stay where it is.
    pub stays: bool,
}

/// One search.
#[derive(Debug, Clone)]
pub struct Problem<'a> {
    pub board: &'a Board,
    pub cpus: &'a Cpus,
    pub lots: &'a [Lot],
    /// One entry per slot of the board, the same in every unit.
    pub fitted: &'a [Option<FittedSeat>],
    /// Machines filled alike.
    pub units: u32,
    pub target: Target,
    /// The most all units together may cost.
    pub budget: Option<Money>,
    pub prefer: Prefer,
    /// How many next best plans are wanted.
    pub alternatives: usize,
}

/// The measures of a plan; per unit except cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Score {
    /// Estimated effective bandwidth, MB/s.
    pub mb_s: u64,
    /// What is bought for all units.
    pub cost: Money,
    /// Modules taken out plus modules seated.
    pub moves: u32,
    pub modules: u32,
    pub capacity: Size,
    pub mts: Mts,
}

/// Where the module of a slot comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum From {
    /// The fitted module of this slot (board order).
    Fitted(usize),
    /// A lot for each unit, or one lot for all of them when there is only one entry.
    Lots(Vec<usize>),
}

/// One plan found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// In board order.
    pub seats: Seats,
    pub from: Vec<Option<From>>,
    pub score: Score,
    /// Modules bought or taken per lot for all units together, whole packs; lots not used are left out.
    pub bought: Vec<(usize, u32)>,
}

/// What a search ends with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Best first; the others differ from it and from one another in what was asked for.
    pub plans: Vec<Found>,
    /// Whether every arrangement was searched or ruled out by a bound: no plan is better in what was asked for. What only
    /// settles ties is looked for as far as a few steps go.
    pub exhausted: bool,
    /// Whether the others are the next best: no other arrangement (what each channel holds, kind, rate), with the modules that
    /// are best for it, lies between them, and where there are fewer than were asked for there are no more.
    pub alternatives_exhausted: bool,
    /// When the search was cut short: the effective MB/s (or hundredths of currency, or modules: the first criterion) no
    /// plan can beat.
    pub bound: Option<i128>,
    /// Sockets' arrangements looked at.
    pub nodes: u64,
    /// What was set aside and why.
    pub notes: Vec<String>,
    /// Whether the time or a limit ended it.
    pub cut: bool,
    /// What is not known of modules and keeps the best found from being proven; see [`super::unlike()`].
    pub unlike: Vec<String>,
}

/// A problem that cannot be searched.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SearchError {
    #[error("board {} has no channel with a slot: there is nothing to plan", crate::text::shown(.0))]
    NoSlots(String),
    #[error("no socket holds a processor: every slot is dead; name the processors in the order")]
    NoProcessor,
    #[error("a plan is for at least one unit and at most 10000, not {0}")]
    Units(u32),
    #[error("a target of 0 GiB needs no plan; give --capacity")]
    NoTarget,
    #[error("board {} wants its sockets filled alike, and they are not built alike", crate::text::shown(.0))]
    SocketsDiffer(String),
    #[error("prices and counts are too large to be compared exactly")]
    TooLarge,
}
