//! `slotwise verify`: a machine's report against a plan, or against the job that was done on it.

use std::io::Read;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::files::{self, named};
use super::{CommandError, Exit};
use crate::env::Env;
use crate::record::read;
use crate::runner::{all_steps, comparison};
use crate::snapshot::{Snapshot, ascii_json, read_json};
use crate::source::counted;
use crate::text::{shown, shown_within};
use crate::verify::{Comparison, Finding, Grave, Input, compare_all};

/// Compares what a machine reports with its plan, slot by slot, and lists what to do
///
/// With a record in place of the plan, what was scanned into each slot is compared as well, and a report from before the
/// last power-on is refused. Exit code 0: as planned; 1: there are findings.
#[derive(Debug, Clone, clap::Args)]
pub struct VerifyArgs {
    /// The plan, or the record of the job (.jsonl)
    #[arg(value_name = "PLAN|RECORD")]
    pub against: PathBuf,
    /// The snapshot that `slotwise capture -o FILE` wrote on the machine
    pub snapshot: PathBuf,
    /// Chassis tag of the machine the report must be of [default: the plan's only unit]
    #[arg(long, value_name = "TAG")]
    pub unit: Option<String>,
    /// Print findings and what was compared as JSON
    #[arg(long)]
    pub json: bool,
}

/// Compares, shows the findings on stdout.
pub fn run(env: &mut Env, args: &VerifyArgs) -> Result<Exit, CommandError> {
    let snapshot = read_snapshot(env, &args.snapshot)?;
    let compared = if is_record(&files::located(env, &args.against)) {
        let told = read::job(&files::located(env, &args.against))?;
        let steps = all_steps(&told.job).map_err(|error| {
            CommandError::new(Exit::BadData, format!("the steps of {} cannot be made", named(&args.against)))
                .because(&error)
        })?;
        comparison(&told.job, &steps, &snapshot)
    } else {
        let plan = files::read_plan(env, &args.against)?;
        if let Some(tag) = &args.unit
            && !plan.order.stand_ins
            && plan.order.unit.iter().all(|unit| unit.chassis != *tag)
        {
            return Err(CommandError::new(Exit::Usage, format!("the order has no unit {}", shown(tag)))
                .way_out("give the tag as the order has it, or leave --unit out"));
        }
        let chassis = args.unit.as_deref().or(plan.order.only_tag());
        let mut compared = compare_all(&Input { chassis, ..Input::new(&plan, &snapshot) });
        if chassis.is_none() {
            compared.notes.push(
                "the plan names no single machine, so nothing shows whose report this is; give --unit TAG".to_owned(),
            );
        }
        compared
    };
    if args.json {
        let json = serde_json::to_string_pretty(&Shown::from(&compared))
            .map_err(|error| CommandError::new(Exit::Io, "cannot write JSON").because(&error))?;
        writeln!(env.stdout, "{}", ascii_json(&json))?;
    } else {
        for line in text(&compared) {
            writeln!(env.stdout, "{line}")?;
        }
    }
    env.stdout.flush()?;
    let clean = compared.findings.iter().all(|finding| finding.grave == Grave::Note);
    Ok(if clean { Exit::Done } else { Exit::Findings })
}

/// A record by its name or by how it begins, which no plan does; a plan may come through a pipe.
fn is_record(path: &Path) -> bool {
    let mut start = Vec::new();
    let read = files::open_plain(path).and_then(|file| file.take(16).read_to_end(&mut start));
    path.extension().is_some_and(|extension| extension == "jsonl")
        || (read.is_ok() && read::begins_like_a_record(&start))
}

fn read_snapshot(env: &Env, path: &Path) -> Result<Snapshot, CommandError> {
    let bytes = files::bytes(&files::located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
    read_json(&bytes).map_err(|error| {
        CommandError::new(Exit::BadData, format!("{} is no snapshot", named(path)))
            .because(&error)
            .way_out("take it anew on the machine: slotwise capture -o FILE")
    })
}

/// What `--json` gives. Stable: keys are added, never renamed.
#[derive(Serialize)]
struct Shown<'a> {
    findings: &'a [Finding],
    compared: crate::verify::Compared,
    notes: &'a [String],
}

impl<'a> From<&'a Comparison> for Shown<'a> {
    fn from(comparison: &'a Comparison) -> Self {
        Self { findings: &comparison.findings, compared: comparison.compared, notes: &comparison.notes }
    }
}

/// A short list to act on: the gravest first, each with its next thing to do.
fn text(comparison: &Comparison) -> Vec<String> {
    let mut lines = Vec::new();
    for (grave, head) in [
        (Grave::Stop, "STOP: do not hand the machine back like this"),
        (Grave::Look, "LOOK: someone must look and decide"),
        (Grave::Note, "NOTE: worth knowing"),
    ] {
        let group: Vec<&Finding> = comparison.findings.iter().filter(|finding| finding.grave == grave).collect();
        if group.is_empty() {
            continue;
        }
        lines.push(head.to_owned());
        for finding in group {
            let mut parts = finding.lines().into_iter();
            lines.extend(parts.next().map(|line| format!("  {line}")));
            lines.extend(parts.map(|line| format!("      {line}")));
            lines.push(format!("      from: {}", shown_within(&finding.source, 120)));
        }
    }
    let compared = comparison.compared;
    let basis = format!(
        "{} and {} compared: {} told by serial, {} by part number, {} by description",
        counted(compared.slots as usize, "slot"),
        counted(compared.modules as usize, "module"),
        compared.by_serial,
        compared.by_part,
        compared.by_description
    );
    if comparison.findings.is_empty() {
        lines.push("AS PLANNED: the machine reports what the plan says".to_owned());
    }
    lines.push(basis);
    lines.extend(comparison.notes.iter().map(|note| format!("note: {}", shown_within(note, 300))));
    lines
}
