//! `slotwise isolate --learn`: a shop's own rates from the records it keeps.
//!
//! Counted is what a record proves: it is whole (audited as `slotwise audit` does), of a real machine, signed off, and its
//! search ended in a verdict that nobody amended. Everything else is left out by name, with the reason.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::IsolateArgs;
use crate::commands::audit::{Verdict, audit_files, records_in};
use crate::commands::files::{self, named};
use crate::commands::output::Output;
use crate::commands::review::print_json;
use crate::commands::{CommandError, Exit};
use crate::env::Env;
use crate::isolate::learnt::{Outcome, PRIOR_VERDICTS, learnt};
use crate::isolate::rates::Rates;
use crate::record::{Isolation, Job, read};
use crate::source::counted as in_number;

use crate::text::shown_within;

/// The fewest verdicts that rates are learnt from: half of what the rates gone by so far count as. Below that what is learnt is
/// mostly what was assumed, under another name.
pub const LEAST_VERDICTS: u32 = PRIOR_VERDICTS / 2;

/// The name of what is learnt.
const NAME: &str = "own";

/// A record that does not count, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct LeftOut {
    record: String,
    why: String,
}

/// What the records of a folder came to.
#[derive(Debug, Default, Serialize)]
struct Counted {
    /// Records read.
    records: usize,
    /// Verdicts counted; of a record with two searches each counts.
    verdicts: u32,
    /// Verdicts by what they name.
    by_verdict: Vec<(String, u32)>,
    left_out: Vec<LeftOut>,
    #[serde(skip)]
    outcomes: Vec<Outcome>,
}

/// Reads the records below a folder and writes the rates they teach.
///
/// # Errors
/// No records, too few verdicts among them, a file that cannot be written.
pub(super) fn run(env: &mut Env, args: &IsolateArgs, folder: &Path, base: &Rates) -> Result<Exit, CommandError> {
    let judges = [&args.judges.signers, &args.judges.revoked].into_iter().flatten();
    let inputs: Vec<&Path> = judges.map(PathBuf::as_path).chain([folder, Path::new(&args.rates)]).collect();
    let begun = args.output.as_deref().map(|path| Output::begin(env, path, args.over, &inputs)).transpose()?;
    let counted = count(env, args, folder)?;
    if counted.verdicts < LEAST_VERDICTS {
        for one in counted.left_out.iter().take(MOST_NAMED) {
            writeln!(env.stderr, "left out: {}", left_out_words(one))?;
        }
        if counted.left_out.len() > MOST_NAMED {
            writeln!(env.stderr, "and {} more left out", counted.left_out.len() - MOST_NAMED)?;
        }
        let count = in_number(counted.verdicts as usize, "verdict");
        let what = format!("{count} in {}: at least {LEAST_VERDICTS} are needed to learn rates from", named(folder));
        return Err(CommandError::new(Exit::BadData, what)
            .way_out("until then go on with the rates that come with the program; nothing was written"));
    }
    let mut rates = learnt(base, NAME, &counted.outcomes);
    rates.about = Some(format!(
        "learnt from {} in {} of this shop; what is not learnt is as in `{}`",
        in_number(counted.verdicts as usize, "verdict"),
        in_number(counted.records, "record"),
        base.name
    ));
    let text = file(&counted, &rates)?;
    match (&args.output, begun) {
        (Some(path), Some(mut output)) => {
            output.put(text.as_bytes())?;
            output.finish()?;
            if args.json {
                print_json(env, &counted)?;
            } else {
                show(env, &counted, base, &rates)?;
                writeln!(
                    env.stdout,
                    "WRITTEN {}; go by it with `slotwise isolate RECORD --rates {}`",
                    named(path),
                    named(path)
                )?;
            }
        }
        _ => write!(env.stdout, "{text}")?,
    }
    env.stdout.flush()?;
    Ok(Exit::Done)
}

/// The most records that an error names.
const MOST_NAMED: usize = 8;

fn left_out_words(one: &LeftOut) -> String {
    format!("{}: {}", shown_within(&one.record, 80), shown_within(&one.why, 300))
}

/// The rates file, with what it was counted from on top.
fn file(counted: &Counted, rates: &Rates) -> Result<String, CommandError> {
    let body = toml::to_string(rates)
        .map_err(|error| CommandError::new(Exit::Io, "the rates cannot be written as TOML").because(&error))?;
    let mut text = format!(
        "# Learnt by `slotwise isolate --learn` from {} in {}.\n",
        in_number(counted.verdicts as usize, "verdict"),
        in_number(counted.records, "record")
    );
    for (what, n) in &counted.by_verdict {
        text.push_str(&format!("# {what}: {n}\n"));
    }
    text.push_str("# Every number says what it is from; one that is not learnt keeps its source.\n");
    Ok(text + &body)
}

fn show(env: &mut Env, counted: &Counted, base: &Rates, rates: &Rates) -> Result<(), CommandError> {
    writeln!(
        env.stdout,
        "{} read, {} counted:",
        in_number(counted.records, "record"),
        in_number(counted.verdicts as usize, "verdict")
    )?;
    for (what, n) in &counted.by_verdict {
        writeln!(env.stdout, "  {what}: {n}")?;
    }
    for one in &counted.left_out {
        writeln!(env.stdout, "left out: {}", left_out_words(one))?;
    }
    writeln!(env.stdout, "share of faults, before and now:")?;
    let pairs = [
        ("seating", &base.share.seating, &rates.share.seating),
        ("module", &base.share.module, &rates.share.module),
        ("slot", &base.share.slot, &rates.share.slot),
        ("channel", &base.share.channel, &rates.share.channel),
        ("socket", &base.share.socket, &rates.share.socket),
        ("settings", &base.share.setting, &rates.share.setting),
    ];
    for (what, before, now) in pairs {
        writeln!(env.stdout, "  {what:8} {:8} {}", before.value, now.value)?;
    }
    let (before, now) = (&base.seating.clears, &rates.seating.clears);
    writeln!(
        env.stdout,
        "an insertion clears a bad seating: {} before, {} now ({})",
        before.value, now.value, now.source
    )?;
    Ok(())
}

fn count(env: &mut Env, args: &IsolateArgs, folder: &Path) -> Result<Counted, CommandError> {
    let located = files::located(env, folder);
    let files = records_in(&located, folder).map_err(|error| CommandError::reading(folder, &error))?;
    if files.is_empty() {
        return Err(CommandError::new(Exit::NoInput, format!("no record (*.jsonl) in {}", named(folder))));
    }
    let against = args.judges.against(env)?;
    let reports = audit_files(&files, &against, &|_| {});
    let mut counted = Counted { records: files.len(), ..Counted::default() };
    let mut jobs: Vec<String> = Vec::new();
    for (file, report) in files.iter().zip(&reports) {
        let record = file.name.display().to_string();
        let why = if report.verdict == Verdict::Wrong {
            let first = report.troubles.first().map_or_else(String::new, |trouble| format!(": {}", trouble.what));
            Some(format!("the audit finds it wrong{first}"))
        } else if args.judges.signers.is_some() && report.verdict != Verdict::Proven {
            let first = report.troubles.first().map_or_else(String::new, |trouble| format!(": {}", trouble.what));
            Some(format!("not proven by the signers named{first}"))
        } else {
            match read::job(&file.path) {
                Err(error) => Some(CommandError::from(error).as_given(&file.path, &file.name).what),
                Ok(read) if jobs.contains(&read.job.opened().job) => Some("the same job is counted already".to_owned()),
                Ok(read) => {
                    jobs.push(read.job.opened().job.clone());
                    outcomes(&read.job).map(|found| counted.outcomes.extend(found)).err()
                }
            }
        };
        counted.left_out.extend(why.map(|why| LeftOut { record, why }));
    }
    for outcome in &counted.outcomes {
        counted.verdicts += outcome.records;
        match counted.by_verdict.iter_mut().find(|(what, _)| *what == outcome.verdict) {
            Some((_, n)) => *n += outcome.records,
            None => counted.by_verdict.push((outcome.verdict.clone(), outcome.records)),
        }
    }
    counted.by_verdict.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    Ok(counted)
}

/// What the searches of a job came to, or why none of them counts.
fn outcomes(job: &Job) -> Result<Vec<Outcome>, String> {
    if job.opened().practice.is_some() {
        return Err("a practice job: its machine is invented".to_owned());
    }
    if !job.is_done() {
        return Err("not signed off".to_owned());
    }
    if job.isolations().is_empty() {
        return Err("no search for a fault in it".to_owned());
    }
    let found: Vec<Outcome> = job.isolations().iter().filter_map(|search| outcome(job, search)).collect();
    if found.is_empty() { Err("no verdict on a fault that stands".to_owned()) } else { Ok(found) }
}

fn outcome(job: &Job, search: &Isolation) -> Option<Outcome> {
    /// What a verdict can name that is a fault of a kind.
    const FAULTS: [&str; 6] = ["seating", "module", "slot", "channel", "socket", "settings"];
    let reached = search.verdict.as_ref()?;
    let verdict = &reached.verdict;
    let amended = job.amendments().iter().any(|amendment| amendment.amends == reached.line);
    if amended || !verdict.what.split(" and ").all(|what| FAULTS.contains(&what)) {
        return None;
    }
    // Insertions in the slot the verdict names; of a channel in the one that saw most. Where none is named, none is counted.
    let state = search.state(&job.opened().board).ok()?;
    let slots = verdict.which.split(' ').filter(|_| verdict.what == "seating");
    let insertions = slots.filter_map(|slot| state.insertions_of(&slot.into())).max().unwrap_or(0);
    Some(Outcome { verdict: verdict.what.clone(), cause: None, insertions, records: 1 })
}
