//! `slotwise practice`: the whole job on an invented machine with an invented fault.

mod auto;
mod bench;
mod machine;

use std::path::PathBuf;

use super::install::{open, say_where};
use super::{CommandError, Exit, files, job};
use crate::board::Board;
use crate::env::Env;
use crate::order::Order;
use crate::plan::explain::explain;
use crate::plan::search::{Prefer, Problem, Target, search};
use crate::plan::{Plan, Seat, cpus_of, draft};
use crate::prompt::{Ask, Message, Status, Wish, choose};
use crate::record::{Opened, Practice, RECORD_FORMAT, job_id};
use crate::source::{Text, from_toml};
use crate::stock::from_csv;

pub use machine::PracticeMachine;

const STOCK: &str = include_str!("../../../checklists/practice/stock.csv");
const ORDER: &str = include_str!("../../../checklists/practice/order.toml");
const BOARD: &str = include_str!("../../../checklists/boards/heron.toml");

/// The id the practice job signs with.
const TECHNICIAN: &str = "practice";

/// Plays the whole job on an invented machine, with a fault in it
///
/// Nothing real is touched: the machine, its maker, the modules and the house are invented. What your hands would find,
/// the lines that begin with BENCH say. Where stdin is no terminal, or with --auto, the answers are played as well.
#[derive(Debug, clap::Args)]
pub struct PracticeArgs {
    /// What is wrong with the machine
    #[arg(long, value_enum, default_value = "seating")]
    pub fault: FaultName,
    /// How the firmware shows the fault
    #[arg(long, value_enum, default_value = "slot")]
    pub report: ReportName,
    /// The spare module on the bench
    #[arg(long, value_enum, default_value = "good")]
    pub spare: SpareName,
    /// Chooses which slot or module the fault strikes [default: another each time]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Play the answers as well
    #[arg(long)]
    pub auto: bool,
    /// Folder for the record
    #[arg(long, value_name = "DIR", default_value = "records")]
    pub records: PathBuf,
    /// Plain lines, also on a terminal
    #[arg(long)]
    pub plain: bool,
}

/// The faults of the practice machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum FaultName {
    /// A module is not fully latched
    Seating,
    /// A module is bad
    Module,
    /// A slot is bad
    Slot,
    /// A channel is bad
    Channel,
    /// The contacts of a processor are bad
    Socket,
    /// Nothing is wrong
    None,
}

impl FaultName {
    const fn word(self) -> &'static str {
        match self {
            Self::Seating => "seating",
            Self::Module => "module",
            Self::Slot => "slot",
            Self::Channel => "channel",
            Self::Socket => "socket",
            Self::None => "none",
        }
    }
}

/// How the practice machine's firmware shows a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum ReportName {
    /// It leaves out the slot
    Slot,
    /// It leaves out the whole channel
    Channel,
    /// The machine does not start
    Blind,
}

/// What lies on the practice bench as known-good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum SpareName {
    /// It is good
    Good,
    /// It is bad itself
    Bad,
    /// Nothing
    None,
}

/// Plays the job.
pub fn run(env: &mut Env, args: &PracticeArgs) -> Result<Exit, CommandError> {
    let seed = args.seed.unwrap_or(env.seed);
    let plan = plan()?;
    let report = match args.report {
        ReportName::Slot => "slot",
        ReportName::Channel => "channel",
        ReportName::Blind => "blind",
    };
    let spare = match args.spare {
        SpareName::Good => "good",
        SpareName::Bad => "bad",
        SpareName::None => "none",
    };
    let practice = Practice {
        fault: args.fault.word().to_owned(),
        seed: seed.to_string(),
        report: Some(report.to_owned()),
        spare: Some(spare.to_owned()),
    };
    let mut machine = PracticeMachine::of(&practice, env)?;
    let auto = args.auto || !env.terminal.stdin_is_terminal;
    let mut ask: Box<dyn Ask> = if auto {
        machine.play();
        Box::new(auto::Auto::new(env, &machine))
    } else {
        choose(env, &Wish { answers: None, plain: args.plain })?
    };
    let planned = format!("planned from the stock of tray 12: {}", plan.reasons.first().map_or("", String::as_str));
    for line in INTRODUCTION.iter().copied().chain([planned.as_str()]) {
        ask.say(&Message { status: Status::Info, text: line.to_owned() })?;
    }
    let now = env.clock.now();
    let unit = plan.order.unit.first().map(|unit| unit.chassis.clone()).unwrap_or_default();
    let opened = Opened {
        format: RECORD_FORMAT.to_owned(),
        job: job_id(now, &unit, env.seed),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        technician: TECHNICIAN.to_owned(),
        unit,
        practice: Some(practice),
        board: plan.board.clone(),
        plan,
        checklist: files::read_checklist(env, None, None)?,
    };
    let journal = open(&files::located(env, &args.records), opened, now)?;
    say_where(ask.as_mut(), &journal)?;
    job::walk(env, ask.as_mut(), journal, &mut machine, TECHNICIAN, false)
}

const INTRODUCTION: &[&str] = &[
    "practice job at Larkfield: a Heron node, eight modules from tray 12, and something may be wrong with it",
    "nothing real is touched; what your hands would find stands in the lines that begin with BENCH",
];

/// The practice job's plan: searched for in the practice stock, as `slotwise plan` would.
fn plan() -> Result<Plan, CommandError> {
    let bad = |what: String| CommandError::new(Exit::BadData, what);
    let mut order: Order = from_toml(&Text { file: "order.toml (built in)", bytes: ORDER.as_bytes() })?;
    let board: Board = from_toml(&Text { file: "heron.toml (built in)", bytes: BOARD.as_bytes() })?;
    let mut stock = from_csv("stock.csv (built in)", STOCK.as_bytes()).map_err(|error| bad(error.to_string()))?;
    for lot in &mut stock.lots {
        // A stock list of this house has modules of its boards' generation only.
        lot.spec.generation = Some(board.generation);
        lot.volts = Seat::of(&lot.spec).volts;
    }
    order.stand_ins = false;
    let cpus = cpus_of(&board, order.unit.first()).map_err(|error| bad(error.to_string()))?;
    let slots = board.slots().count();
    let problem = Problem {
        board: &board,
        cpus: &cpus,
        lots: &stock.lots,
        fitted: &vec![None; slots],
        units: 1,
        target: Target::AtLeast(order.gib.unwrap_or_default()),
        budget: None,
        prefer: Prefer::Bandwidth,
        alternatives: 0,
    };
    let found = search(&problem, &mut || false).map_err(|error| bad(error.to_string()))?;
    let Some(best) = found.plans.first() else {
        return Err(bad("the practice stock does not fit its board".to_owned()));
    };
    let name = format!("{}, {}", board.name, best.score.capacity);
    Ok(draft(&name, &problem, best, &vec![None; slots], &order, &explain(&problem, best, "")))
}
