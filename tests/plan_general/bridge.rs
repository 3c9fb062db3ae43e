//! The same instance in the project's words.

use super::plan_general::Model;
use slotwise::board::Board;
use slotwise::module::{Generation, Kind, ModuleSpec};
use slotwise::plan::search::{Prefer, Problem, Target};
use slotwise::plan::{CpuLimit, Cpus};
use slotwise::stock::{Lot, Money};
use slotwise::units::{Mts, Size};

/// Board, processors and lots of an instance.
pub struct Ours {
    pub board: Board,
    pub cpus: Cpus,
    pub lots: Vec<Lot>,
    pub fitted: Vec<Option<slotwise::plan::search::FittedSeat>>,
    target: Target,
    units: u32,
    budget: Option<Money>,
    prefer: Prefer,
}

impl Ours {
    /// Puts an instance into the project's words.
    pub fn new(model: &Model) -> Self {
        let mut text = String::from("format = \"slotwise-board/1\"\nname = \"b\"\ngeneration = \"DDR4\"\n");
        for s in 0..model.sockets {
            text += &format!("[[socket]]\nlabel = \"P{s}\"\n");
            for c in 0..model.channels {
                text += &format!("[[socket.channel]]\nlabel = \"{c}\"\n");
                for p in 1..=model.slots {
                    text += &format!("[[socket.channel.slot]]\nlabel = \"{s}-{c}-{p}\"\nposition = {p}\n");
                }
            }
        }
        text += "[limits]\nkinds = [\"RDIMM\"]\nmixing = \"free\"\n";
        for (n, mts) in model.rates.iter().enumerate() {
            text += &format!("[[speed]]\nkind = \"RDIMM\"\nper_channel = {}\nmts = {mts}\n", n + 1);
        }
        text += &format!("[interleave]\nways = {:?}\nstyle = \"slice\"\n", model.ways);
        let board: Board = toml::from_str(&text).expect("the board is well formed");
        let lots = model
            .lots
            .iter()
            .enumerate()
            .map(|(n, l)| Lot {
                name: format!("lot {n}"),
                part: None,
                spec: ModuleSpec {
                    generation: Some(Generation::DDR4),
                    kind: Some(Kind::RDIMM),
                    gib: Size::from_gib(u64::from(l.gib)),
                    ranks: Some(2),
                    width: Some(4),
                    mts: Some(Mts(l.mts)),
                },
                volts: None,
                count: l.count,
                pack: l.pack,
                price: Money(u64::from(l.price)),
                serials: Vec::new(),
            })
            .collect();
        Self {
            cpus: vec![Some(CpuLimit::default()); model.sockets],
            fitted: vec![None; board.slots().count()],
            board,
            lots,
            target: Target::AtLeast(Size::from_gib(u64::from(model.gib))),
            units: model.units,
            budget: model.budget.map(|b| Money(u64::from(b))),
            prefer: if model.bandwidth_first { Prefer::Bandwidth } else { Prefer::Cost },
        }
    }

    /// The problem with no alternatives asked for.
    pub fn problem(&self) -> Problem<'_> {
        Problem {
            board: &self.board,
            cpus: &self.cpus,
            lots: &self.lots,
            fitted: &self.fitted,
            units: self.units,
            target: self.target,
            budget: self.budget,
            prefer: self.prefer,
            alternatives: 0,
        }
    }
}
