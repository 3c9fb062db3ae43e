//! A search driven by a script: what comes next, and what a start showed.

use std::path::Path;

use super::IsolateArgs;
use crate::board::SlotLabel;
use crate::checklist::Steps;
use crate::commands::files::{self, named};
use crate::commands::{CommandError, Exit};
use crate::draw::Look;
use crate::env::Env;
use crate::isolate::{self, Answer, Seen, Step, Trial};
use crate::module::Module;
use crate::record::{Event, FittedModule, Isolation, Job, Journal};
use crate::runner::{
    Search, all_steps, called_bad, comparison, open_search, read_trial, spare, table, trial, undecided, verdict_lines,
};
use crate::snapshot::{Snapshot, ascii_json, read_json};
use crate::text::{HANDS, shown, shown_within};
use crate::verify::Finding;

/// What a start showed.
enum Start {
    Report(Box<Snapshot>),
    Told(Seen),
}

/// Answers one call.
pub(super) fn run(env: &mut Env, args: &IsolateArgs, record: &Path, search: &Search) -> Result<Exit, CommandError> {
    let path = files::located(env, record);
    let start = start(env, args)?;
    let answer = if args.next {
        let job = crate::record::read::job(&path)?.job;
        let counted = counted(&job, start.as_ref())?;
        let mut answer = next(&job, args, search, start)?;
        answer.notes.extend(counted);
        answer
    } else {
        let Some(start) = start else {
            return Err(CommandError::new(Exit::Usage, "--done needs what the start showed")
                .way_out("--snapshot FILE, --report SLOT,SLOT, --report none, or --no-post"));
        };
        let mut journal = Journal::look(&path)?;
        let mut answer = done(env, args, search, &mut journal, &start)?;
        answer.notes.extend(counted(journal.job(), Some(&start))?);
        files::say_repaired(env, journal.repaired())?;
        answer
    };
    show(env, args, &answer)
}

/// The corrected errors that the start counted, or the last one on record: notes, and no fault to search for.
fn counted(job: &Job, start: Option<&Start>) -> Result<Vec<String>, CommandError> {
    let findings = match start {
        Some(Start::Report(snapshot)) => comparison(job, &steps_of(job)?, snapshot).findings,
        Some(Start::Told(_)) => Vec::new(),
        None => job.comparison().map(|last| last.findings.clone()).unwrap_or_default(),
    };
    Ok(findings.iter().filter_map(Finding::counted_note).collect())
}

/// Whether the spares named can be taken into the search of a record.
///
/// # Errors
/// As for a script.
pub(super) fn may_bring(job: &Job, args: &IsolateArgs) -> Result<(), CommandError> {
    brought(job, args).map(|_| ())
}

/// What the options say a start showed.
fn start(env: &Env, args: &IsolateArgs) -> Result<Option<Start>, CommandError> {
    if let Some(path) = &args.snapshot {
        let bytes = files::bytes(&files::located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
        let snapshot = read_json(&bytes).map_err(|error| {
            CommandError::new(Exit::BadData, format!("{} is no snapshot", named(path)))
                .because(&error)
                .way_out("take it anew on the machine: slotwise capture -o FILE")
        })?;
        return Ok(Some(Start::Report(Box::new(snapshot))));
    }
    if args.no_post {
        return Ok(Some(Start::Told(Seen::NoPost)));
    }
    if args.report.is_empty() {
        return Ok(None);
    }
    let all_well = args.report.len() == 1 && args.report[0].eq_ignore_ascii_case("none");
    let slots =
        if all_well { Vec::new() } else { args.report.iter().map(|slot| SlotLabel::from(slot.trim())).collect() };
    Ok(Some(Start::Told(Seen::Slots(slots))))
}

fn steps_of(job: &Job) -> Result<Steps, CommandError> {
    all_steps(job)
        .map_err(|error| CommandError::new(Exit::BadData, "the steps of the job cannot be made").because(&error))
}

/// The search the record has, or the one that would begin with this start or with the last report on record.
fn begun(job: &Job, args: &IsolateArgs, search: &Search, start: Option<&Start>) -> Result<Isolation, CommandError> {
    if let Some(open) = job.isolation().filter(|open| open.is_open()) {
        let mut open = open.clone();
        let new = brought(job, args)?;
        if args.next && !new.is_empty() {
            // The trial it leads to would not be the one that --done then takes as asked for.
            return Err(CommandError::new(
                Exit::Usage,
                "--next writes nothing, so a spare that came to hand would be lost",
            )
            .way_out("give it with --done, when the trial at hand is done; it counts from the next trial on")
            .way_out("or take the search on at the bench: slotwise isolate RECORD --spare SERIAL"));
        }
        open.opened.spares.extend(new);
        return Ok(open);
    }
    let steps = steps_of(job)?;
    let spares = spares(job, &args.spare);
    let make = |first: Seen, line: Option<u64>| Isolation {
        line: 0,
        opened: open_search(job, &steps, search, first, line, spares.clone()),
        trials: Vec::new(),
        verdict: None,
    };
    let seen = |snapshot: &Snapshot| {
        let stands = make(Seen::NoPost, None).arrangement(0);
        trial::seen(job, &steps, &stands, snapshot)
    };
    let begun = match (start, job.snapshot()) {
        (Some(Start::Told(told)), _) => make(told.clone(), None),
        (Some(Start::Report(snapshot)), _) => make(seen(snapshot), None),
        (None, Some((line, snapshot))) => make(seen(snapshot), Some(line)),
        (None, None) => {
            return Err(CommandError::new(Exit::BadData, "the record holds no report of the machine")
                .way_out("give the start that showed the fault: --snapshot FILE, --report SLOT,SLOT or --no-post"));
        }
    };
    from_outside(&begun.opened.fitted, &begun.opened.spares)?;
    not_bad(job, &begun.opened.spares)?;
    Ok(begun)
}

/// The named spares, each once.
fn spares(job: &Job, serials: &[String]) -> Vec<Module> {
    let mut spares: Vec<Module> = Vec::new();
    for module in serials.iter().filter_map(|serial| spare(job, serial)) {
        if !spares.iter().any(|known| same_serial(known, &module)) {
            spares.push(module);
        }
    }
    spares
}

fn same_serial(one: &Module, other: &Module) -> bool {
    let serials = (one.identity.serial.as_deref(), other.identity.serial.as_deref());
    matches!(serials, (Some(one), Some(other)) if crate::verify::serials_equal(one, other))
}

/// Refuses as a spare a module that a verdict calls bad.
fn not_bad(job: &Job, spares: &[Module]) -> Result<(), CommandError> {
    let mut serials = spares.iter().filter_map(|spare| spare.identity.serial.as_deref());
    let Some(serial) = serials.find(|serial| called_bad(job, serial)) else { return Ok(()) };
    Err(CommandError::new(Exit::BadData, format!("a verdict of this job calls module {} bad", shown(serial)))
        .way_out("name another module as the spare, or none"))
}

/// Refuses a module that stands in the machine as a spare: it would be taken for good, and may be what is searched for.
fn from_outside(fitted: &[FittedModule], spares: &[Module]) -> Result<(), CommandError> {
    let Some(own) = spares.iter().find(|spare| fitted.iter().any(|one| same_serial(&one.module, spare))) else {
        return Ok(());
    };
    let serial = own.identity.serial.as_deref().unwrap_or_default();
    Err(CommandError::new(Exit::BadData, format!("module {} is one of the machine's own", shown(serial)))
        .way_out("a spare comes from outside the machine; give the serial on its label"))
}

/// The named spares that an open search does not know yet: they came to hand since it began.
///
/// # Errors
/// A module that stands in the machine is no spare; a search that is over takes none.
fn brought(job: &Job, args: &IsolateArgs) -> Result<Vec<Module>, CommandError> {
    let Some(search) = job.isolation() else { return Ok(Vec::new()) };
    let named = spares(job, &args.spare);
    from_outside(&search.opened.fitted, &named)?;
    let new: Vec<Module> = named.into_iter().filter(|spare| !search.knows(spare)).collect();
    not_bad(job, &new)?;
    if let Some(spare) = new.first().filter(|_| !search.is_open()) {
        let serial = spare.identity.serial.as_deref().unwrap_or_default();
        return Err(CommandError::new(
            Exit::BadData,
            format!("the search is over, so spare {} helps nothing", shown(serial)),
        )
        .way_out("its verdict stands in the record: `slotwise review RECORD`"));
    }
    Ok(new)
}

fn answer_of(job: &Job, search: &Isolation) -> Result<Answer, CommandError> {
    let state = search.state(&job.opened().board).map_err(refused)?;
    let mut answer = isolate::answer(&state);
    // What was asked for already stays asked for.
    if let Some(open) = search.open_trial() {
        answer.verdict = None;
        answer.undecided = None;
        answer.trial = Some(Trial { changes: open.changes.clone(), minutes: open.minutes, why: open.why.clone() });
    }
    Ok(answer)
}

fn refused(error: isolate::IsolateError) -> CommandError {
    CommandError::new(Exit::BadData, error.to_string())
        .way_out("nothing was written; give labels and serials as the job has them")
}

fn next(job: &Job, args: &IsolateArgs, search: &Search, start: Option<Start>) -> Result<Answer, CommandError> {
    if let Some(over) = job.isolation().filter(|over| !over.is_open() && start.is_none()) {
        brought(job, args)?;
        return answer_of(job, over);
    }
    answer_of(job, &begun(job, args, search, start.as_ref())?)
}

/// Writes what a start showed, and what follows from it.
fn done(
    env: &Env,
    args: &IsolateArgs,
    search: &Search,
    journal: &mut Journal,
    start: &Start,
) -> Result<Answer, CommandError> {
    let by = args.technician.clone().unwrap_or_else(|| journal.job().opened().technician.clone());
    let steps = steps_of(journal.job())?;
    // Everything is judged before the first line is written.
    let open = journal.job().isolation().filter(|open| open.is_open()).cloned();
    // After a verdict, a start that is told begins a search of its own.
    let on_record = open.is_none() && journal.job().isolation().is_none() && shows_a_fault(journal.job());
    let in_cards = open.as_ref().and_then(Isolation::open_trial).filter(|run| run.guided && args.did.is_none());
    if let Some(run) = in_cards
        && let Some(step) =
            journal.job().open_step(&steps).and_then(|(card, step)| steps.cards.get(card)?.steps.get(step))
        && step.evidence != crate::checklist::Evidence::Snapshot
    {
        return Err(CommandError::new(
            Exit::BadData,
            format!("trial {} is in progress, at `{}`", run.trial, shown(&step.id.0)),
        )
        .way_out("finish its cards with `slotwise resume`, or say with --did what was really done")
        .way_out("nothing was written"));
    }
    let new = if open.is_some() { brought(journal.job(), args)? } else { Vec::new() };
    let first_start = open.is_none() && !on_record;
    let begun = begun(journal.job(), args, search, if first_start { Some(start) } else { None })?;
    // What was asked for was asked for without a spare that came to hand since.
    let asked_of = open.as_ref().unwrap_or(&begun);
    let asked = if first_start { None } else { answer_of(journal.job(), asked_of)?.trial };
    if asked.is_none() && !first_start {
        return Err(CommandError::new(Exit::BadData, "no trial is due in this record")
            .way_out("--next says where the search stands"));
    }
    let changes = asked.as_ref().map(|trial| trial.changes.clone()).unwrap_or_default();
    let mut did = match &args.did {
        Some(json) => serde_json::from_str::<Vec<Step>>(json).map_err(|error| {
            CommandError::new(Exit::BadData, "--did is no list of changes")
                .because(&error)
                .way_out(r#"such as [{"reseat":"A1"},{"swap":["A1","B1"]}]"#)
        })?,
        None => changes.clone(),
    };
    let seen = match start {
        Start::Told(seen) => seen.clone(),
        Start::Report(snapshot) => {
            let findings = comparison(journal.job(), &steps, snapshot).findings;
            if let Some(finding) = findings.iter().find(|_| crate::verify::is_no_evidence(&findings)) {
                let lines = finding.lines();
                return Err(CommandError::new(Exit::BadData, "the report is not of the start after this trial")
                    .way_out(lines.join("; "))
                    .way_out("nothing was written"));
            }
            let boot = |snapshot: &Snapshot| (snapshot.host.uuid.clone(), snapshot.host.boot_id.clone());
            let last = journal.job().snapshot().filter(|(_, last)| last.host.boot_id.is_some());
            if let Some((line, _)) = last.filter(|(_, last)| asked.is_some() && boot(last) == boot(snapshot)) {
                return Err(CommandError::new(Exit::BadData, "the report is not of the start after this trial")
                    .way_out(format!(
                        "it is of the same start as the report in line {line}: start the machine, then capture"
                    ))
                    .way_out("nothing was written"));
            }
            if first_start {
                begun.opened.first.clone()
            } else {
                read_trial(journal.job(), &steps, &begun, &mut did, snapshot).0
            }
        }
    };
    if let Start::Told(Seen::Slots(slots)) = start {
        let mut stands = begun.arrangement(begun.trials.len());
        crate::record::carry_out(&mut stands, &did);
        let holds = |slot: &SlotLabel| stands.iter().any(|one| one.slot.as_ref() == Some(slot));
        if let Some(empty) = slots.iter().find(|slot| !holds(slot)) {
            let filled: Vec<&str> = stands.iter().filter_map(|one| Some(one.slot.as_ref()?.as_str())).collect();
            return Err(CommandError::new(Exit::BadData, format!("slot {} holds no module", shown(empty.as_str())))
                .way_out(format!("modules stand in {}; letter case counts", shown(&filled.join(" "))))
                .way_out("where the trial was done otherwise than asked, say with --did what was really done")
                .way_out("nothing was written"));
        }
    }
    if asked.is_some() {
        begun
            .state(&journal.job().opened().board)
            .and_then(|mut state| state.observe(&changes, did.clone(), seen.clone()))
            .map_err(refused)?;
    }
    let now = || env.clock.now();
    let was_paused = journal.job().is_paused();
    if was_paused {
        journal.append(&by, now(), Event::Resumed { step: None, away_ms: None, clock_note: None })?;
    }
    for module in new {
        journal.append(&by, now(), Event::SpareBrought { module })?;
    }
    if open.is_none() && !first_start {
        journal.append(&by, now(), Event::IsolationOpened(Box::new(begun.opened.clone())))?;
    }
    if let Some(Trial { changes, minutes, why }) = asked
        && begun.open_trial().is_none()
    {
        let trial = begun.trials.len() as u64 + 1;
        journal.append(&by, now(), Event::TrialOpened { trial, changes, minutes, why, guided: false })?;
    }
    let mut snapshot_line = None;
    if let Start::Report(snapshot) = start {
        let line = journal.append(&by, now(), Event::SnapshotTaken { step: None, snapshot: snapshot.clone() })?;
        if first_start {
            let findings = comparison(journal.job(), &steps, snapshot).findings;
            journal.append(&by, now(), Event::Compared { snapshot_line: line, findings })?;
        }
        snapshot_line = Some(line);
    }
    if first_start {
        let opened = crate::record::IsolationOpened { snapshot_line, ..begun.opened.clone() };
        journal.append(&by, now(), Event::IsolationOpened(Box::new(opened)))?;
    } else if let Some((search, open)) = journal.job().isolation().and_then(|one| Some((one, one.open_trial()?))) {
        let trial = open.trial;
        let found = trial::stood(journal.job(), &steps, &trial::id(journal.job(), search, open));
        journal.append(&by, now(), Event::TrialDone { trial, done: did, seen, found, snapshot_line })?;
        if let Start::Report(snapshot) = start
            && let Some(line) = snapshot_line
        {
            let findings = comparison(journal.job(), &steps, snapshot).findings;
            journal.append(&by, now(), Event::Compared { snapshot_line: line, findings })?;
        }
    }
    let Some(search) = journal.job().isolation().cloned() else {
        return Err(CommandError::new(Exit::BadData, "no search was begun"));
    };
    let answer = answer_of(journal.job(), &search)?;
    let reached = answer.verdict.clone().or_else(|| answer.undecided.as_deref().map(undecided));
    if let Some(verdict) = reached {
        let explanations = answer.explanations.clone();
        journal.append(&by, now(), Event::VerdictReached { verdict, explanations })?;
    }
    if was_paused {
        journal.append(&by, now(), Event::Paused { step: None, why: "between two trials".to_owned() })?;
    }
    Ok(answer)
}

/// Whether the last report on record shows a fault that a search could begin with.
fn shows_a_fault(job: &Job) -> bool {
    job.snapshot().is_some()
        && job.comparison().is_some_and(|last| last.findings.iter().any(|one| one.fails() && one.slot.is_some()))
}

/// A text whole, over as many lines as it needs.
fn say(env: &mut Env, width: usize, text: &str) -> Result<(), CommandError> {
    for line in shown_within(text, LONGEST).wrapped(width.max(20)) {
        writeln!(env.stdout, "{line}")?;
    }
    Ok(())
}

/// The longest reason or note that is shown whole, in characters: what is ours is shorter, and a record may hold anything.
const LONGEST: usize = 4_000;

fn show(env: &mut Env, args: &IsolateArgs, answer: &Answer) -> Result<Exit, CommandError> {
    let mut answer = answer.clone();
    // Nothing leads through a trial that is asked for by a script.
    if answer.trial.as_ref().is_some_and(|trial| trial.changes.iter().any(|change| !trial::slots_of(change).is_empty()))
    {
        answer.notes.push(HANDS.to_owned());
    }
    if args.json {
        let json = serde_json::to_string(&answer)
            .map_err(|error| CommandError::new(Exit::Io, "cannot write JSON").because(&error))?;
        writeln!(env.stdout, "{}", ascii_json(&json))?;
    } else {
        let width = env.terminal.size.map_or(80, |(columns, _)| usize::from(columns));
        let look = Look { width, unicode: env.unicode() };
        if let Some(verdict) = &answer.verdict {
            for line in verdict_lines(verdict) {
                say(env, width, &line)?;
            }
        }
        if let Some(trial) = &answer.trial {
            say(env, width, &format!("NEXT, about {} min: {}", trial.minutes, isolate::trial_told(trial)))?;
        }
        if let Some(undecided) = &answer.undecided {
            say(env, width, &format!("UNDECIDED: {undecided}"))?;
        }
        if !answer.explanations.is_empty() {
            for line in table(&answer.explanations, look) {
                writeln!(env.stdout, "{line}")?;
            }
        }
        for note in &answer.notes {
            say(env, width, &format!("note: {note}"))?;
        }
        if !answer.reporting.is_empty() && answer.verdict.is_none() {
            say(env, width, &answer.reporting)?;
        }
    }
    env.stdout.flush()?;
    Ok(match (&answer.verdict, &answer.trial) {
        (Some(verdict), _) if verdict.what == "none" => Exit::Done,
        (None, Some(_)) => Exit::Paused,
        _ => Exit::Findings,
    })
}
