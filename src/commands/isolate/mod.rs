//! `slotwise isolate`: what the fault is, one change and one start at a time.

mod learn;
mod script;

use std::path::{Path, PathBuf};

use super::audit::Judges;
use super::files::{self, named};
use super::install::{Asking, say_where};
use super::job::quoted;
use super::{CommandError, Exit, job, output};
use crate::checklist::Evidence;
use crate::env::Env;
use crate::isolate::rates::{SHIPPED, shipped};
use crate::record::{Isolation, Journal};
use crate::runner::{Search, all_steps};
use crate::text::shown;

/// Finds out what a fault is: seating, module, slot, channel, processor contacts or a setting
///
/// Each trial is one change and one start of the machine: the one that is expected to tell most for its minutes. No module is
/// called bad unless its trouble followed it, or another worked in its place. Everything goes into the record, and the job
/// goes on from there. With --next or --done it is driven by a script, one call a start. With --learn it writes a shop's own
/// rates from the records of its searches.
///
/// Exit code with --next and --done: 0 every module works, 1 there is a verdict, 3 a trial is to be done.
#[derive(Debug, clap::Args)]
pub struct IsolateArgs {
    /// The record of the job
    #[arg(required_unless_present = "learn", conflicts_with = "learn")]
    pub record: Option<PathBuf>,
    /// The report of the start: what `slotwise capture` wrote
    #[arg(long, value_name = "FILE")]
    pub snapshot: Option<PathBuf>,
    /// Say what comes next and write nothing
    #[arg(long, conflicts_with = "done")]
    pub next: bool,
    /// Take in what the start after the trial showed: with --snapshot, --report or --no-post
    #[arg(long)]
    pub done: bool,
    /// The slots that the machine's screen names as failing, where there is no snapshot; `none` if it names none
    #[arg(long, value_name = "SLOT,SLOT", value_delimiter = ',', conflicts_with = "snapshot")]
    pub report: Vec<String>,
    /// The machine did not start
    #[arg(long, conflicts_with_all = ["snapshot", "report"])]
    pub no_post: bool,
    /// What was changed, where it was not what was asked for: JSON as --next gives it under `changes`
    #[arg(long, value_name = "JSON", requires = "done")]
    pub did: Option<String>,
    /// Serial of a known-good module on hand, like those in the machine; one that came to hand during the search counts from
    /// then on
    #[arg(long, value_name = "SERIAL")]
    pub spare: Vec<String>,
    /// How likely each kind of fault is: install, service, flat, or a file of the shop's own
    #[arg(long, value_name = "NAME|FILE", default_value = "install")]
    pub rates: String,
    /// The probability a verdict needs, from 0.5 to 0.9999
    #[arg(long, value_name = "P", default_value = "0.99")]
    pub sure: String,
    /// Your id, when someone else goes on with the job [default: the technician who opened it]
    #[arg(long, value_name = "ID")]
    pub technician: Option<String>,
    /// Learn rates from the finished records below this folder; they are audited first
    #[arg(
        long,
        value_name = "FOLDER",
        conflicts_with_all = ["next", "done", "snapshot", "report", "no_post", "did", "spare", "technician"]
    )]
    pub learn: Option<PathBuf>,
    /// Where to write what was learnt [default: stdout]
    #[arg(short, long, value_name = "FILE", requires = "learn")]
    pub output: Option<PathBuf>,
    #[command(flatten)]
    pub over: output::Over,
    #[command(flatten)]
    pub judges: Judges,
    /// Print the answer of --next, --done and --learn as JSON
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    pub asking: Asking,
}

/// Walks the search, or answers a script.
///
/// # Errors
/// A record that is not at its report, rates that are not valid, reports that are of another machine or of an earlier start.
pub fn run(env: &mut Env, args: &IsolateArgs) -> Result<Exit, CommandError> {
    let search = search(env, args)?;
    if let Some(folder) = &args.learn {
        return learn::run(env, args, folder, &search.rates);
    }
    if args.judges.signers.is_some() || args.judges.revoked.is_some() {
        return Err(CommandError::new(Exit::Usage, "--signers and --revoked go with --learn")
            .way_out("whose signatures a record has says `slotwise audit`"));
    }
    let Some(record) = &args.record else {
        return Err(CommandError::new(Exit::Usage, "a search is of one record").way_out("slotwise isolate RECORD"));
    };
    if args.next || args.done {
        return script::run(env, args, record, &search);
    }
    if args.no_post || !args.report.is_empty() || args.json {
        return Err(CommandError::new(Exit::Usage, "--report, --no-post and --json go with --done or --next")
            .way_out("without them the search is walked through with the technician, step by step"));
    }
    let path = files::located(env, record);
    let journal = Journal::look(&path)?;
    stands_at_report(&journal, record)?;
    script::may_bring(journal.job(), args)?;
    let opened = journal.job().opened();
    let technician = args.technician.clone().unwrap_or_else(|| opened.technician.clone());
    let practice = opened.practice.clone();
    let mut ask = args.asking.choose(env)?;
    say_where(ask.as_mut(), &journal)?;
    let mut machine = job::machine(env, practice.as_ref())?;
    let begin = job::Begin::Search {
        search: Box::new(search),
        report: args.snapshot.as_ref().map(|path| path.display().to_string()),
    };
    job::walk_from(env, ask.as_mut(), journal, machine.as_mut(), &technician, begin)
}

/// A search is for a job whose machine is to report: before that there is nothing to explain, after sign-off it is closed.
fn stands_at_report(journal: &Journal, record: &Path) -> Result<(), CommandError> {
    let job = journal.job();
    if job.is_done() {
        return Err(CommandError::new(Exit::BadData, format!("{} is signed off", named(record))).way_out(
            "for a fault after that, open a new job on the machine: its plan, with `do = \"keep\"` in every slot",
        ));
    }
    if job.isolation().is_some_and(Isolation::is_open) {
        return Ok(());
    }
    let steps = all_steps(job).map_err(|error| {
        CommandError::new(Exit::BadData, format!("the steps of {} cannot be made", named(record))).because(&error)
    })?;
    let open = job.open_step(&steps).and_then(|(card, step)| steps.cards.get(card)?.steps.get(step));
    match open {
        Some(step) if step.evidence == Evidence::Snapshot => Ok(()),
        Some(step) => Err(CommandError::new(Exit::BadData, format!("the job is still at `{}`", shown(&step.id.0)))
            .way_out(format!("go on to the machine's report first: slotwise resume {}", quoted(record)))),
        None => Err(CommandError::new(Exit::BadData, "the machine's report was accepted; only the sign-off is left")
            .way_out("take the report's answer back first: resume the job and answer `b` at the sign-off")),
    }
}

/// Rates and threshold as asked for.
fn search(env: &Env, args: &IsolateArgs) -> Result<Search, CommandError> {
    let sure: f64 = args.sure.parse().unwrap_or(f64::NAN);
    if !(0.5..=0.9999).contains(&sure) {
        return Err(CommandError::new(
            Exit::Usage,
            format!("--sure {} is no probability a verdict can rest on", shown(&args.sure)),
        )
        .way_out("a number from 0.5 to 0.9999, such as 0.99"));
    }
    let rates = match shipped(&args.rates) {
        Some(rates) => rates?,
        None => files::read(env, Path::new(&args.rates)).map_err(|error| {
            error.way_out(format!("the rates that come with the program are {}", SHIPPED.join(", ")))
        })?,
    };
    Ok(Search { rates, sure: args.sure.clone(), spares: args.spare.clone() })
}
