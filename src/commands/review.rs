//! `slotwise review`: one record as a story in the terminal.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::files::{self, named};
use super::{CommandError, Exit};
use crate::draw::{Drawing, Look};
use crate::env::Env;
use crate::record::read::Lines;
use crate::record::{Event, Job, Line, RecordError};
use crate::report::{Input, Story, Wish, review, story};
use crate::runner::all_steps;
use crate::snapshot::ascii_json;

/// Tells one job from its record: what stands out, what was planned, done, measured, found, tried and concluded
///
/// What a supervisor must not miss comes first: open findings, skipped items, problems, corrections, refused answers,
/// answers faster than hands can move, clocks that jumped. Exit code 0: nothing is open; 1: the last report of the machine
/// differs from the plan. That the record was not changed is for `audit` to say.
#[derive(Debug, Clone, clap::Args)]
pub struct ReviewArgs {
    /// The record of the job
    pub record: PathBuf,
    /// Every item too, with all that was entered at it
    #[arg(long)]
    pub items: bool,
    /// Print the story as JSON
    #[arg(long)]
    pub json: bool,
}

/// Reads the record and tells it on stdout.
///
/// # Errors
/// A record that cannot be read or is damaged; a stream that fails.
pub fn run(env: &mut Env, args: &ReviewArgs) -> Result<Exit, CommandError> {
    let (job, story) = told(env, &args.record)?;
    if args.json {
        print_json(env, &story)?;
    } else {
        let look = look(env);
        print(env, &review(&story, &job.opened().board, Wish { look, items: args.items }))?;
    }
    Ok(if story.has_open_findings() { Exit::Findings } else { Exit::Done })
}

/// A record and its story.
pub(super) fn told(env: &Env, path: &Path) -> Result<(Job, Story), CommandError> {
    let located = files::located(env, path);
    let mut reading = Lines::open(&located)?;
    let mut lines: Vec<Line> = Vec::new();
    let mut job: Option<Job> = None;
    for scanned in &mut reading {
        let mut line = scanned?.line;
        let n = line.n;
        if let Event::SnapshotTaken { snapshot, .. } = &mut line.event {
            // Megabytes of raw tables: their hash is in the chain, and no story shows them.
            snapshot.sources.iter_mut().for_each(|source| source.raw = String::new());
        }
        let folded = match &mut job {
            Some(job) => job.apply(line.clone()),
            None => Job::open(line.clone()).map(|opened| job = Some(opened)),
        };
        folded.map_err(|fault| RecordError::Damaged { file: located.clone(), line: n, wrong: fault.into() })?;
        lines.push(line);
    }
    let job = job.ok_or_else(|| RecordError::Empty { file: located.clone() })?;
    let steps = all_steps(&job).map_err(|error| {
        CommandError::new(Exit::BadData, format!("the steps of {} cannot be made", named(path))).because(&error)
    })?;
    let input = Input { lines: &lines, job: &job, steps: &steps, head: reading.head(), torn: reading.torn() };
    let story = story(&input);
    Ok((job, story))
}

/// How pictures and texts are drawn on stdout.
pub(super) fn look(env: &Env) -> Look {
    let columns = env.terminal.size.filter(|_| env.terminal.stdout_is_terminal).map_or(80, |(columns, _)| columns);
    Look { width: usize::from(columns).clamp(40, 100), unicode: env.unicode() && env.terminal.stdout_is_terminal }
}

/// Lines to stdout.
pub(super) fn print(env: &mut Env, drawing: &Drawing) -> Result<(), CommandError> {
    let colour = env.colour(env.terminal.stdout_is_terminal);
    for line in drawing.shown(colour) {
        writeln!(env.stdout, "{line}")?;
    }
    env.stdout.flush()?;
    Ok(())
}

/// JSON to stdout, in ASCII, so that no string in it reaches a terminal as it is.
pub(super) fn print_json(env: &mut Env, value: &impl Serialize) -> Result<(), CommandError> {
    let json = serde_json::to_string_pretty(value)
        .map_err(|error| CommandError::new(Exit::Io, "cannot write JSON").because(&error))?;
    writeln!(env.stdout, "{}", ascii_json(&json))?;
    env.stdout.flush()?;
    Ok(())
}
