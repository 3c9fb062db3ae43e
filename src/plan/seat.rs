//! What sits where: the modules of a population and the processors of a unit, in the form rules, speed and interleave read.

use thiserror::Error;

use crate::board::Board;
use crate::module::{Generation, ModuleSpec};
use crate::order::Unit;
use crate::stock::Lot;
use crate::units::{Mts, Size};

/// One module in a slot, as far as the rules read it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seat {
    pub spec: ModuleSpec,
    /// Supply voltage in volts, where known.
    pub volts: Option<String>,
}

impl Seat {
    /// A module whose voltage follows from its generation; unknown for DDR3, which has several.
    pub fn of(spec: &ModuleSpec) -> Self {
        let volts = spec.generation.and_then(Generation::volts).map(str::to_owned);
        Self { spec: spec.clone(), volts }
    }

    /// A module of this voltage; without one, see [`Seat::of`].
    pub fn with(spec: &ModuleSpec, volts: Option<&str>) -> Self {
        match volts {
            Some(volts) => Self { spec: spec.clone(), volts: Some(volts.to_owned()) },
            None => Self::of(spec),
        }
    }

    /// A module of a lot, in a slot of this board.
    pub fn from_lot(lot: &Lot, board: &Board) -> Self {
        Self { spec: lot.spec.clone(), volts: lot.volts.clone() }.on(board)
    }

    /// The module as one of this board: without a generation it is of the only one its slots take, and without a voltage it
    /// has that of the generation, where it has one alone. Whoever judges modules of a list, of a snapshot or of a plan takes
    /// them this way, so that none of them knows more than another.
    #[must_use]
    pub fn on(mut self, board: &Board) -> Self {
        let generation = *self.spec.generation.get_or_insert(board.generation);
        self.volts = self.volts.or_else(|| generation.volts().map(str::to_owned));
        self
    }

    /// The voltage as a plan file carries it: only where it does not follow from the generation, so that a file without
    /// one says as much as it did before files could have one.
    pub fn volts_beyond_generation(&self) -> Option<String> {
        let follows = self.spec.generation.and_then(Generation::volts);
        self.volts.clone().filter(|volts| follows.is_none_or(|follows| !same_volts(volts, follows)))
    }
}

/// Whether two voltages are one: `1.2` and `1.20 V` are.
pub fn same_volts(a: &str, b: &str) -> bool {
    let plain = |s: &str| {
        let s = s.trim().trim_end_matches(['V', 'v']).trim().to_owned();
        if s.contains('.') { s.trim_end_matches('0').trim_end_matches('.').to_owned() } else { s }
    };
    plain(a) == plain(b)
}

/// A population: one entry per slot of the board, in board order.
pub type Seats = Vec<Option<Seat>>;

/// What one processor allows; unknown where `None`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct CpuLimit {
    pub mts: Option<Mts>,
    pub gib: Option<Size>,
}

/// One entry per socket of the board; `None` where there is no processor.
pub type Cpus = Vec<Option<CpuLimit>>;

/// A processor of an order that the board does not know.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum UnknownProcessor {
    #[error("the order puts a processor in socket `{}`; the board has {known}", crate::text::shown(.socket))]
    Socket { socket: String, known: String },
    #[error("the board has no [[cpu]] named `{}`; it has {known}", crate::text::shown(.cpu))]
    Cpu { cpu: String, known: String },
}

/// The processors of a unit.
///
/// # Errors
/// When the order names a socket or a processor the board has not.
pub fn cpus_of(board: &Board, unit: Option<&Unit>) -> Result<Cpus, UnknownProcessor> {
    let listed = unit.map_or(&[][..], |unit| &unit.processor[..]);
    if listed.is_empty() {
        return Ok(vec![Some(CpuLimit::default()); board.socket.len()]);
    }
    let list = |names: Vec<&str>| {
        if names.is_empty() { "none".to_owned() } else { crate::text::shown(&names.join(", ")).to_string() }
    };
    let mut cpus = vec![None; board.socket.len()];
    for processor in listed {
        let Some(socket) = board.socket.iter().position(|s| s.label == processor.socket) else {
            let known = list(board.socket.iter().map(|s| s.label.as_str()).collect());
            return Err(UnknownProcessor::Socket { socket: processor.socket.clone(), known });
        };
        let limit = match &processor.cpu {
            None => CpuLimit::default(),
            Some(name) => match board.cpu.iter().find(|c| c.name == *name) {
                Some(cpu) => CpuLimit { mts: cpu.mts, gib: cpu.gib },
                None => {
                    let known = list(board.cpu.iter().map(|c| c.name.as_str()).collect());
                    return Err(UnknownProcessor::Cpu { cpu: name.clone(), known });
                }
            },
        };
        cpus[socket] = Some(limit);
    }
    Ok(cpus)
}
