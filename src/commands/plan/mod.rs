//! `slotwise plan` and `slotwise plan check`.

mod agree;
mod answer;
mod asked;
mod check;
mod complete;
mod considered;
mod input;
mod json;
mod short;
mod show;

use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::time::Duration;

use super::output::{Output, Over};
use super::{CommandError, Exit, files, wrap};
use crate::env::{Clock, Env};
use crate::plan::explain::{Told, explain, unlike_rates};
use crate::plan::front::front;
use crate::plan::search::{Found, Prefer, Problem, Target, search};
use crate::plan::shortage::{bounded, shortage};
use crate::plan::{cpus_of, draft};
use crate::snapshot::ascii_json;
use crate::stock::from_csv;

/// Finds which module goes in which slot, and proves that nothing is better
///
/// From a board, a stock list and a target it gives the best plan, the next best and why they are worse, what to buy,
/// and the order of handlings. Exit code 0: a plan; 1: nothing fits, with what is in the way.
#[derive(Debug, Clone, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct PlanArgs {
    #[command(subcommand)]
    pub command: Option<PlanCommand>,
    /// The board file
    #[arg(long, value_name = "FILE", required = true)]
    pub board: Option<PathBuf>,
    /// The stock list (CSV)
    #[arg(long, value_name = "FILE", required = true)]
    pub stock: Option<PathBuf>,
    /// Memory each unit must have at least, such as 512GiB
    #[arg(long, value_name = "SIZE", allow_hyphen_values = true)]
    pub capacity: Option<String>,
    /// Exactly that much, not more
    #[arg(long)]
    pub exactly: bool,
    /// The order: units, their processors, what is fitted, what must stay
    #[arg(long, value_name = "FILE")]
    pub order: Option<PathBuf>,
    /// Units filled alike
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    pub units: Option<u32>,
    /// What is fitted already: a snapshot (JSON) or a list (CSV: slot and the columns of a stock list)
    #[arg(long, value_name = "FILE")]
    pub fitted: Option<PathBuf>,
    /// The most all units together may cost, in the currency of the stock list
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    pub budget: Option<String>,
    /// What goes first
    #[arg(long, value_enum, default_value = "bandwidth")]
    pub prefer: Preference,
    /// How many next best plans to show, 50 at most
    #[arg(long, value_name = "K", default_value_t = 3, value_parser = clap::value_parser!(u16).range(..=50))]
    pub alternatives: u16,
    /// Stop searching after so many seconds and say what is not proven
    #[arg(long, value_name = "S", default_value_t = 20)]
    pub seconds: u64,
    /// Name of the plan
    #[arg(long)]
    pub name: Option<String>,
    /// Write the best plan to this file
    #[arg(short, long, value_name = "PLAN")]
    pub output: Option<PathBuf>,
    #[command(flatten)]
    pub over: Over,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// What else is done with a plan.
#[derive(Debug, Clone, clap::Subcommand)]
pub enum PlanCommand {
    Check(check::CheckArgs),
}

/// What goes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Preference {
    /// Bandwidth, then cost, then fewest handlings, then free slots
    Bandwidth,
    /// Cost, then bandwidth, then fewest handlings, then free slots
    Cost,
    /// Free slots for later, then bandwidth, then cost
    Room,
}

/// Searches for a plan, shows it, writes it.
///
/// # Errors
/// Files that cannot be read or are wrong, and problems that cannot be searched.
pub fn run(env: &mut Env, args: &PlanArgs) -> Result<Exit, CommandError> {
    if let Some(PlanCommand::Check(args)) = &args.command {
        return check::run(env, args);
    }
    let usage = |what: String| CommandError::new(Exit::Usage, what);
    let (Some(board_file), Some(stock_file)) = (&args.board, &args.stock) else {
        return Err(usage("--board and --stock are needed".to_owned()));
    };
    let board: crate::board::Board = files::read(env, board_file)?;
    let bytes = files::bytes(&files::located(env, stock_file)).map_err(|e| CommandError::reading(stock_file, &e))?;
    let mut stock = from_csv(&stock_file.to_string_lossy(), &bytes)
        .map_err(|error| CommandError::new(Exit::BadData, error.to_string()))?;
    stock.notes.extend(complete::lots_on_board(&board, &stock.lots));
    let order = input::order(env, args, &board)?;
    let target = match (&args.capacity, order.gib) {
        (Some(text), _) => asked::capacity(text).map_err(usage)?,
        (None, Some(gib)) => gib,
        (None, None) => return Err(usage("--capacity SIZE is needed, or an order that names one".to_owned())),
    };
    let budget = match &args.budget {
        Some(text) => Some(asked::budget(text, stock.currency.as_deref()).map_err(usage)?),
        None => None,
    };
    if args.name.as_ref().is_some_and(|name| name.trim().is_empty()) {
        return Err(usage("--name: a plan has a name; leave --name out to have it made up".to_owned()));
    }
    if budget.is_some() && stock.lots.iter().all(|lot| lot.price.0 == 0) {
        return Err(CommandError::new(Exit::BadData, "a budget cannot be kept: the stock list names no price")
            .way_out("give the lots a price, or leave --budget out"));
    }
    let fitted = input::fitted(env, args, &board, &order, &stock)?;
    let cpus = cpus_of(&board, order.unit.first()).map_err(|error| {
        let order = args.order.as_deref().map_or_else(|| "the order".to_owned(), files::named);
        CommandError::new(Exit::BadData, format!("{order}: unit.processor: {error}"))
            .way_out("write it as the board file does, or leave `processor` out where any may be there")
    })?;
    if order.unit.iter().any(|unit| cpus_of(&board, Some(unit)).ok().as_ref() != Some(&cpus)) {
        return Err(CommandError::new(Exit::BadData, "the order's units do not hold the same processors")
            .way_out("make one order for each sort of unit: units of one plan are filled alike"));
    }
    agree::agree(args, &board, &cpus, &order, &fitted)?;
    let input::Fitted { modules, seats, notes } = fitted;
    // A search may take long; that its plan cannot be kept is told before.
    let inputs: Vec<&Path> =
        [&args.board, &args.stock, &args.order, &args.fitted].into_iter().flatten().map(PathBuf::as_path).collect();
    let begun = args.output.as_deref().map(|path| Output::begin(env, path, args.over, &inputs)).transpose()?;
    let problem = Problem {
        board: &board,
        cpus: &cpus,
        lots: &stock.lots,
        fitted: &seats,
        units: order.unit.len() as u32,
        target: if args.exactly { Target::Exactly(target) } else { Target::AtLeast(target) },
        budget,
        prefer: match args.prefer {
            Preference::Bandwidth => Prefer::Bandwidth,
            Preference::Cost => Prefer::Cost,
            Preference::Room => Prefer::Room,
        },
        alternatives: usize::from(args.alternatives),
    };
    let currency = stock.currency.as_deref().unwrap_or("");
    let bad = |error: crate::plan::search::SearchError| CommandError::new(Exit::BadData, error.to_string());
    let mut stop = timer(env, args.seconds);
    let outcome = search(&Problem { target: bounded(&problem), ..problem.clone() }, &mut stop).map_err(bad)?;
    let units: Vec<String> = order.unit.iter().map(|unit| unit.chassis.clone()).collect();
    let mut answer = answer::Answer {
        problem: &problem,
        stock: &stock,
        before: crate::plan::rules::check(&board, &cpus, &input::seats_of(&seats)),
        told: outcome.plans.iter().map(|found| told_of(&problem, found, currency, &units)).collect(),
        outcome,
        front: None,
        shortage: None,
        modules: &modules,
        notes,
        units,
    };
    let mut stop = timer(env, args.seconds.div_ceil(2));
    if answer.outcome.plans.is_empty() {
        answer.shortage = Some(shortage(&problem, currency, &mut stop).map_err(bad)?);
    } else {
        answer.front = Some(front(&problem, 18, &mut stop).map_err(bad)?);
    }
    if order.stand_ins && args.output.is_some() && !answer.outcome.plans.is_empty() {
        let note = "no order was given: the plan carries stand-ins for the tags, and install asks for the real one";
        answer.notes.push(note.to_owned());
    }
    if let (Some(output), Some(found), Some(told)) = (begun, answer.outcome.plans.first(), answer.told.first()) {
        let name = args.name.clone().unwrap_or_else(|| format!("{}, {}", board.name, found.score.capacity));
        // What was searched for, wherever it was said.
        let order =
            crate::order::Order { gib: Some(target), fitted: input::listed(args, &problem, &modules, &order), ..order };
        let mut plan = draft(&name, &problem, found, &modules, &order, told);
        let made_for = Some(crate::plan::MadeFor::of(&plan));
        plan.considered =
            considered::considered(&answer).map(|considered| crate::plan::Considered { made_for, ..considered });
        write(output, &plan)?;
    }
    if args.json {
        let json = serde_json::to_string_pretty(&json::json(&answer))
            .map_err(|error| CommandError::new(Exit::Io, "cannot write JSON").because(&error))?;
        writeln!(env.stdout, "{}", ascii_json(&json))?;
    } else {
        let colour = env.colour(env.terminal.stdout_is_terminal);
        let width = env.terminal.size.map_or(crate::draw::Look::PLAIN.width, |(c, _)| usize::from(c).max(40));
        let look = crate::draw::Look { width, unicode: env.unicode() };
        let columns = wrap::columns(env, env.terminal.stdout_is_terminal);
        for line in show::text(&answer, show::Page { look, colour, columns }) {
            writeln!(env.stdout, "{line}")?;
        }
        if let (Some(path), Some(_)) = (&args.output, answer.outcome.plans.first()) {
            writeln!(env.stdout, "written to {}", files::named(path))?;
        }
    }
    env.stdout.flush()?;
    Ok(if answer.outcome.plans.is_empty() { Exit::Findings } else { Exit::Done })
}

/// What there is to say of a plan; units that run unlike are told after the rate.
fn told_of(problem: &Problem<'_>, found: &Found, currency: &str, units: &[String]) -> Told {
    let mut told = explain(problem, found, currency);
    if let Some(unlike) = unlike_rates(problem, found, units) {
        let after = told.reasons.iter().position(|reason| reason.starts_with("runs at ")).map_or(0, |at| at + 1);
        told.reasons.insert(after, unlike);
    }
    told
}

fn write(mut output: Output, plan: &crate::plan::Plan) -> Result<(), CommandError> {
    let text = toml::to_string(plan)
        .map_err(|error| CommandError::new(Exit::Io, "cannot write the plan as TOML").because(&error))?;
    output.put(text.as_bytes())?;
    output.finish()
}

/// Says when so many seconds from now are over.
fn timer(env: &Env, seconds: u64) -> impl FnMut() -> bool + use<> {
    let clock: Rc<dyn Clock> = Rc::clone(&env.clock);
    let end = clock.steady() + Duration::from_secs(seconds);
    move || clock.steady() >= end
}
