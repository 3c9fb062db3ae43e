//! `slotwise amend`: what turns out to be otherwise after a sign-off.

use std::path::PathBuf;

use serde::Serialize;

use super::files::{self, named};
use super::job::quoted;
use super::review::print_json;
use super::{CommandError, Exit, wrap};
use crate::checklist::StepId;
use crate::env::Env;
use crate::record::chain::fingerprint;
use crate::record::{Event, Job, Journal, PROGRAM, Role};
use crate::text::shown;

/// Adds to a signed record what turned out to be otherwise; nothing that stands in it is changed
///
/// `--line` and `--now` say what is true in place of what a line says. `--step` takes an item's answer back, so that
/// `resume` asks for it again. Either way the sign-offs so far no longer stand, and stay readable; who signed signs again.
#[derive(Debug, Clone, clap::Args)]
#[command(override_usage = "slotwise amend RECORD --line N --now TEXT|--step STEP --why TEXT --name NAME [OPTIONS]")]
#[command(group = clap::ArgGroup::new("what").required(true).args(["line", "step"]))]
pub struct AmendArgs {
    /// The record of the job
    pub record: PathBuf,
    /// The line that is amended
    #[arg(long, value_name = "N", requires = "now")]
    pub line: Option<u64>,
    /// What that line says
    #[arg(long, value_name = "TEXT", requires = "line")]
    pub was: Option<String>,
    /// What is true instead
    #[arg(long, value_name = "TEXT", requires = "line")]
    pub now: Option<String>,
    /// The item that is to be answered again
    #[arg(long, value_name = "STEP")]
    pub step: Option<String>,
    /// How it is known
    #[arg(long, value_name = "TEXT")]
    pub why: String,
    /// Who amends
    #[arg(long, value_name = "NAME")]
    pub name: String,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Serialize)]
struct Told {
    record: String,
    line: u64,
    fingerprint: String,
    next: String,
}

/// Writes the one line.
///
/// # Errors
/// A record that cannot be read or has nothing to amend, a disk that fails.
pub fn run(env: &mut Env, args: &AmendArgs) -> Result<Exit, CommandError> {
    let name = args.name.trim();
    if name.is_empty() || name == PROGRAM {
        return Err(CommandError::new(Exit::Usage, "--name says who amends"));
    }
    let path = files::located(env, &args.record);
    let columns = wrap::columns(env, env.terminal.stdout_is_terminal);
    let mut journal = Journal::look(&path)?;
    let event = event(journal.job(), args)?;
    let countersigned = journal.job().standing_declarations().any(|standing| standing.role == Role::Supervisor);
    let what = if args.step.is_some() { "that the answer is taken back" } else { "the amendment" };
    let line = journal
        .append(name, env.clock.now(), event)
        .map_err(|error| CommandError::not_recorded(&args.record, what, error))?;
    files::say_repaired(env, journal.repaired())?;
    let record = named(&args.record);
    let next = match args.step {
        Some(_) => format!("slotwise resume {}", quoted(&args.record)),
        None => {
            format!("slotwise sign {} --role technician --key FILE (or --agent, or --typed)", quoted(&args.record))
        }
    };
    let told = Told { record, line, fingerprint: fingerprint(&journal.head().hash), next };
    if args.json {
        print_json(env, &told)?;
        return Ok(Exit::Done);
    }
    let again = if countersigned { "; the supervisor countersigns again after that" } else { "" };
    let text = format!(
        "AMENDED by line {line} of {}; what was signed before stays readable and no longer stands\n\
         fingerprint of the record: {}\nnext: {}{again}\n",
        told.record, told.fingerprint, told.next
    );
    write!(env.stdout, "{}", wrap::wrapped(&text, columns, 2))?;
    env.stdout.flush()?;
    Ok(Exit::Done)
}

fn event(job: &Job, args: &AmendArgs) -> Result<Event, CommandError> {
    let why = args.why.trim().to_owned();
    match (&args.step, args.line, &args.now) {
        (Some(step), _, _) => {
            let step = StepId(step.clone());
            let Some(standing) = job.answer(&step) else {
                return Err(CommandError::new(
                    Exit::BadData,
                    format!("`{}` has no answer to take back", shown(&step.0)),
                )
                .way_out("`slotwise review RECORD --items` shows the items"));
            };
            Ok(Event::Corrected { step, corrects: standing.line, why })
        }
        (None, Some(amends), Some(now)) => {
            Ok(Event::Amended { amends, was: args.was.clone(), now: now.trim().to_owned(), why })
        }
        _ => Err(CommandError::new(Exit::Usage, "--line with --now, or --step, says what is amended")),
    }
}
