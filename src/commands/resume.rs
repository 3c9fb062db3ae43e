//! `slotwise resume`: back to a job, at the step where it stopped.

use std::path::PathBuf;

use super::files;
use super::install::{Asking, say_where};
use super::{CommandError, Exit, job};
use crate::env::Env;
use crate::record::Journal;

/// Goes on with a paused or interrupted job, at the same step
///
/// What a crash or a power cut left half-written at the end of the record is put aside and said; nothing before it is
/// lost. The open item is checked once more first.
#[derive(Debug, clap::Args)]
pub struct ResumeArgs {
    /// The record of the job
    pub record: PathBuf,
    /// Your id, when someone else goes on with the job [default: the technician who opened it]
    #[arg(long, value_name = "ID")]
    pub technician: Option<String>,
    #[command(flatten)]
    pub asking: Asking,
}

/// Opens the record and walks on.
pub fn run(env: &mut Env, args: &ResumeArgs) -> Result<Exit, CommandError> {
    let path = files::located(env, &args.record);
    let journal = Journal::look(&path)?;
    let opened = journal.job().opened();
    if journal.job().is_done() {
        files::say_torn(env, &args.record, journal.torn())?;
        return Err(CommandError::new(Exit::BadData, format!("{} is signed off", files::named(&args.record)))
            .way_out("the job is done; there is nothing to go on with"));
    }
    let technician = args.technician.clone().unwrap_or_else(|| opened.technician.clone());
    let practice = opened.practice.clone();
    let mut ask = args.asking.choose(env)?;
    say_where(ask.as_mut(), &journal)?;
    let mut machine = job::machine(env, practice.as_ref())?;
    job::walk(env, ask.as_mut(), journal, machine.as_mut(), &technician, true)
}
