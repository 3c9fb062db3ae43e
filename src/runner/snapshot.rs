//! The machine's own report: taken, compared with the plan, and what is done about findings.

use std::collections::BTreeMap;
use std::time::Duration;

use super::isolate::Found;
use super::walk::{Heard, Runner, choice, millis, side_question};
use super::{Report, RunError, compare, trial};
use crate::board::SlotLabel;
use crate::checklist::{Evidence, Step};
use crate::isolate::Seen;
use crate::prompt::{Status, Wants};
use crate::record::{Changed, Event, How, Isolation};
use crate::snapshot::Snapshot;
use crate::text::shown_within;
use crate::verify::{Finding, Grave};

/// What the technician does about findings.
#[derive(Clone, Copy)]
enum Next {
    Search,
    PutBack,
    Round,
    Again,
    Leave,
}

/// What a start came to.
enum Start<'a> {
    /// A report with its line.
    Reported(u64, &'a Snapshot),
    /// No report: it did not start, or slots were read off its screen.
    Told(Seen),
}

impl Runner<'_> {
    /// A report for the open step. The step is answered when nothing stands in the way of handing the machine back; with
    /// findings, the technician searches for the fault, opens the machine again, takes another report, or leaves them open by
    /// name and reason.
    pub(super) fn snapshot(&mut self, step: &Step, text: &str, how: How, took: Duration) -> Result<(), RunError> {
        let snapshot = match self.machine.read(text, &self.steps, self.journal.job()) {
            Ok(Report::Snapshot(snapshot)) => snapshot,
            Ok(Report::Told(seen)) => return self.told(step, seen),
            Err(error) => {
                let why = error.to_string();
                let refused = Event::Refused { step: step.id.clone(), value: text.to_owned(), how, why: why.clone() };
                self.record(refused)?;
                return self.say(Status::Refused, why);
            }
        };
        let mut findings = compare::comparison(self.journal.job(), &self.steps, &snapshot).findings;
        let line = self.record(Event::SnapshotTaken { step: Some(step.id.clone()), snapshot: snapshot.clone() })?;
        let in_trial = self.journal.job().isolation().is_some_and(|search| search.open_trial().is_some());
        let counts = in_trial && !crate::verify::is_no_evidence(&findings);
        if counts {
            // First what was moved: what is missing is told by where the modules now stand.
            self.trial_done(None, Some((line, &snapshot)))?;
            findings = compare::comparison(self.journal.job(), &self.steps, &snapshot).findings;
        }
        self.record(Event::Compared { snapshot_line: line, findings: findings.clone() })?;
        if in_trial && !counts {
            for text in findings.iter().flat_map(Finding::lines) {
                self.say(Status::Attention, text)?;
            }
            return self.say(Status::Attention, "the trial still waits for the report of its own start".to_owned());
        }
        if counts {
            match self.next_trial(step)? {
                Found::Over => {}
                Found::Trial | Found::Paused => return Ok(()),
            }
        }
        if findings.is_empty() {
            if self.settle(step, format!("line {line}, no findings"), how, took)? {
                self.say(Status::Recorded, "the machine reports what the plan says, slot by slot".to_owned())?;
            }
            return Ok(());
        }
        // Right after a verdict its words stay in view; the question that follows names the findings in short.
        for text in findings.iter().filter(|_| !counts).flat_map(Finding::lines) {
            self.say(Status::Attention, text)?;
        }
        if findings.iter().all(|finding| finding.grave == Grave::Note) {
            return self.settle(step, format!("line {line}, {} to know", findings.len()), how, took).map(|_| ());
        }
        self.act_on(step, &findings, Start::Reported(line, &snapshot))
    }

    /// Begins or goes on with a search: from `report` where one is given, else from the last report on record.
    ///
    /// # Errors
    /// As [`Runner::walk`].
    pub fn search_on(&mut self, report: Option<&str>) -> Result<(), RunError> {
        if self.journal.job().isolation().is_some_and(Isolation::is_open) {
            self.bring_named()?;
        }
        let Some(step) = self.next_step().and_then(|at| self.step(at)).cloned() else { return Ok(()) };
        if step.evidence != Evidence::Snapshot {
            return Ok(());
        }
        if let Some(report) = report {
            return self.snapshot(&step, report, How::Typed, Duration::ZERO);
        }
        let job = self.journal.job();
        if job.isolation().is_some_and(Isolation::is_open) {
            if job.isolation().is_some_and(|search| search.open_trial().is_none()) {
                return self.next_trial(&step).map(|_| ());
            }
            return Ok(());
        }
        let last = job.snapshot().map(|(line, snapshot)| (line, snapshot.clone()));
        let Some((line, snapshot)) = last.filter(|(line, _)| {
            job.comparison().is_some_and(|last| last.snapshot_line == *line && !last.findings.is_empty())
        }) else {
            return Ok(());
        };
        let findings = job.comparison().map(|last| last.findings.clone()).unwrap_or_default();
        self.act_on(&step, &findings, Start::Reported(line, &snapshot))
    }

    /// Puts the trial once more that was on offer when the job was paused.
    ///
    /// # Errors
    /// As [`Runner::walk`].
    pub fn offer_again(&mut self) -> Result<(), RunError> {
        let search = self.journal.job().isolation();
        if search.is_some_and(|search| search.is_open() && search.open_trial().is_none()) {
            return self.search_on(None);
        }
        Ok(())
    }

    /// A start without a report: it goes into the open trial, or is a problem that the technician acts on.
    fn told(&mut self, step: &Step, seen: Seen) -> Result<(), RunError> {
        if self.journal.job().isolation().is_some_and(|search| search.open_trial().is_some()) {
            self.trial_done(Some(seen.clone()), None)?;
            match self.next_trial(step)? {
                Found::Over => {}
                Found::Trial | Found::Paused => return Ok(()),
            }
        }
        let text = match &seen {
            Seen::NoPost => "the machine does not start: no report".to_owned(),
            Seen::Slots(slots) if slots.is_empty() => {
                let text = "all is well by the screen; the job is closed by the machine's report alone".to_owned();
                return self.say(Status::Info, text);
            }
            Seen::Slots(slots) => {
                let slots: Vec<&str> = slots.iter().map(SlotLabel::as_str).collect();
                format!("by its screen the machine does not use {}", slots.join(", "))
            }
        };
        let known = |problem: &&crate::record::Problem| problem.step == step.id && problem.settled.is_none();
        if !self.journal.job().problems().iter().any(|problem| known(&problem) && problem.text == text) {
            self.record(Event::ProblemReported { step: step.id.clone(), slot: None, text: text.clone() })?;
        }
        self.say(Status::Attention, text)?;
        self.act_on(step, &[], Start::Told(seen))
    }

    fn act_on(&mut self, step: &Step, findings: &[Finding], start: Start<'_>) -> Result<(), RunError> {
        let first = match &start {
            // A report of another start or another machine shows no fault of this one.
            Start::Reported(..) if crate::verify::is_no_evidence(findings) => Seen::Slots(Vec::new()),
            Start::Reported(_, snapshot) => self.failing_now(snapshot),
            Start::Told(seen) => seen.clone(),
        };
        loop {
            let next = self.decide(step, findings, &first)?;
            if let Some(Next::Search) = next {
                let is_open = self.journal.job().isolation().is_some_and(Isolation::is_open);
                let line = match start {
                    Start::Reported(line, _) => Some(line),
                    Start::Told(_) => None,
                };
                let found =
                    if is_open { self.next_trial(step)? } else { self.begin_search(step, first.clone(), line)? };
                if let Found::Over = found {
                    // The findings are still there, and now there is a verdict to act by.
                    continue;
                }
                return Ok(());
            }
            return self.act(step, findings, &start, next);
        }
    }

    fn act(
        &mut self,
        step: &Step,
        findings: &[Finding],
        start: &Start<'_>,
        next: Option<Next>,
    ) -> Result<(), RunError> {
        match next {
            Some(Next::PutBack) => {
                let changes = self.way_back();
                self.put_back(changes)
            }
            Some(Next::Round) => {
                let Start::Reported(line, _) = *start else { return Ok(()) };
                let changed = self.journal.job().changed_before(u64::MAX);
                let slots = slots_of(findings, &changed);
                let round = self.journal.job().rounds().len() as u64 + 1;
                self.record(Event::RoundOpened { round, slots, snapshot_line: line })?;
                self.steps_changed()?;
                self.say(
                    Status::Info,
                    "the cards for opening the machine again come next; then a new report is compared".to_owned(),
                )
            }
            Some(Next::Leave) => self.settle_by_override(step, matches!(start, Start::Reported(..))),
            Some(Next::Again | Next::Search) | None => Ok(()),
        }
    }

    /// The slots that fail by this report, where the modules stand now.
    fn failing_now(&self, snapshot: &Snapshot) -> Seen {
        let job = self.journal.job();
        let opened = super::isolate::open_search(job, &self.steps, &self.search, Seen::NoPost, None, Vec::new());
        let search = Isolation { line: 0, opened, trials: Vec::new(), verdict: None };
        trial::seen(job, &self.steps, &search.arrangement(0), snapshot)
    }

    /// What brings the modules back to where the plan has them, once a search is over; empty when they stand there.
    fn way_back(&self) -> Vec<crate::isolate::Step> {
        let Some(search) = self.journal.job().isolation() else { return Vec::new() };
        let Some(reached) = &search.verdict else { return Vec::new() };
        trial::put_back(self.journal.job(), search, &reached.verdict)
    }

    /// Whether the step has its answer now.
    fn settle(&mut self, step: &Step, value: String, how: How, took: Duration) -> Result<bool, RunError> {
        if !self.put_right(step)? {
            return Ok(false);
        }
        self.record(Event::Answered { step: step.id.clone(), value, how, took_ms: millis(took), serial: None })?;
        Ok(true)
    }

    /// Leaves the findings open, by name and with a reason. Where the machine came up, what kept it from starting before is
    /// asked for first: that is no longer so.
    fn settle_by_override(&mut self, step: &Step, came_up: bool) -> Result<(), RunError> {
        if !came_up {
            // There is no report: the step itself is passed.
            return self.pass(step).map(|_| ());
        }
        if !self.put_right(step)? && self.journal.job().is_paused() {
            return Ok(());
        }
        self.leave_open(step)
    }

    /// `None` when the technician paused or wants the step itself again.
    fn decide(&mut self, step: &Step, findings: &[Finding], first: &Seen) -> Result<Option<Next>, RunError> {
        if *first == Seen::Slots(Vec::new())
            && std::mem::take(&mut self.searches)
            && !crate::verify::is_no_evidence(findings)
        {
            let counted = findings.iter().any(|finding| finding.counted_note().is_some());
            let alone = if counted { " A count of corrected errors alone convicts no module." } else { "" };
            let none = "By this report every module works, so there is no fault to search for.";
            self.say(Status::Info, format!("{none}{alone}"))?;
        }
        let mut options: Vec<(&str, Next)> = Vec::new();
        let over = self.journal.job().isolation().is_some_and(|search| !search.is_open());
        if over && !self.way_back().is_empty() {
            options.push(("put the modules back as planned, without what the verdict names as bad", Next::PutBack));
        }
        if *first != Seen::Slots(Vec::new()) && !over {
            if std::mem::take(&mut self.searches) {
                return Ok(Some(Next::Search));
            }
            options.push(("search for the cause, one change and one start at a time", Next::Search));
        }
        // What was put back still fails: a spare that is bad itself, or a second fault.
        if *first != Seen::Slots(Vec::new()) && over && self.way_back().is_empty() {
            options.push(("begin a new search, for what still fails", Next::Search));
        }
        let changed = self.journal.job().changed_before(u64::MAX);
        if !slots_of(findings, &changed).is_empty() {
            options.push(("open the machine again and seat the named modules anew", Next::Round));
        }
        options.push(("take another report first", Next::Again));
        options.push(("leave the findings open, by name and reason", Next::Leave));
        let already =
            if self.journal.job().rounds().is_empty() { "" } else { ", and the machine was opened again already" };
        let what = match first {
            Seen::NoPost => "The machine does not start",
            Seen::Slots(_) => "The report differs from the plan",
        };
        let mut asked = side_question(step, "findings", format!("{what}{already}. What now?"));
        asked.slot = None;
        asked.picture = headlines(findings, &changed);
        asked.wants = Wants::Choice { options: options.iter().map(|(words, _)| (*words).to_owned()).collect() };
        loop {
            match self.hear(&asked, Some(step))? {
                Heard::Value { text, .. } => match choice(&options, &text) {
                    Some(next) => return Ok(Some(next)),
                    None => self.say(Status::Refused, "one of these, by number or in words".to_owned())?,
                },
                Heard::Again => {}
                Heard::Override => return Ok(Some(Next::Leave)),
                Heard::Back | Heard::Paused => return Ok(None),
            }
        }
    }
}

/// All findings in a few rows, kind by kind: a page keeps only the last of what was said in view, and the question is about
/// all of them.
fn headlines(findings: &[Finding], changed: &BTreeMap<SlotLabel, Changed>) -> Vec<String> {
    if findings.is_empty() {
        return Vec::new();
    }
    let mut kinds: Vec<(&str, Vec<String>)> = Vec::new();
    for finding in findings {
        let why = finding.slot.as_ref().and_then(|slot| changed.get(slot));
        let name = match why.filter(|why| why.explains(finding)) {
            Some(Changed::LeftOut) => "left out after the verdict",
            Some(_) => "taken out or moved by the search",
            None => finding.kind.name(),
        };
        let slot = finding.slot.as_ref().map(ToString::to_string);
        match kinds.iter_mut().find(|(kind, _)| *kind == name) {
            Some((_, slots)) => slots.extend(slot),
            None => kinds.push((name, slot.into_iter().collect())),
        }
    }
    let head = crate::source::counted(findings.len(), "finding");
    let rows = kinds.iter().flat_map(|(kind, slots)| {
        let row = if slots.is_empty() { format!("  {kind}") } else { format!("  {kind} at {}", slots.join(", ")) };
        shown_within(&row, ROW * 12).wrapped(ROW).into_iter().map(str::to_owned).collect::<Vec<_>>()
    });
    std::iter::once(head).chain(rows).collect()
}

/// Columns of a row above a question; less than the narrowest page.
const ROW: usize = 58;

/// The slots where seating a module again may help, each once, in the order of the findings: not those that a search changed.
fn slots_of(findings: &[Finding], changed: &BTreeMap<SlotLabel, Changed>) -> Vec<SlotLabel> {
    let mut slots: Vec<SlotLabel> = Vec::new();
    for finding in findings.iter().filter(|finding| finding.grave != Grave::Note) {
        let Some(slot) = finding.slot.as_ref().filter(|slot| !slots.contains(slot)) else { continue };
        if !changed.get(slot).is_some_and(|why| why.explains(finding)) {
            slots.push(slot.clone());
        }
    }
    slots
}
