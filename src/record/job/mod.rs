//! The state of a job: a fold over the lines of its record.

mod isolation;
mod parts;
mod rules;
mod signing;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use chrono::{DateTime, FixedOffset};

pub use isolation::*;
pub use parts::*;
pub use rules::RuleFault;

use super::{Event, Line, Opened, Passed};
use crate::board::SlotLabel;
use crate::checklist::{Each, Evidence, ScanOf, StepId, Steps};
use crate::snapshot::Snapshot;

/// What the lines of a record say, up to some line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    opened: Opened,
    opened_at: DateTime<FixedOffset>,
    lines: u64,
    last_at: DateTime<FixedOffset>,
    last_by: String,
    answers: BTreeMap<StepId, Standing>,
    refused: BTreeMap<StepId, u32>,
    corrections: Vec<Correction>,
    notes: Vec<Remark>,
    problems: Vec<Problem>,
    pauses: Vec<Pause>,
    paused: bool,
    worked: Duration,
    clock_notes: Vec<ClockNote>,
    snapshot: Option<(u64, Snapshot)>,
    snapshot_lines: BTreeSet<u64>,
    comparison: Option<Comparison>,
    rounds: Vec<Round>,
    isolations: Vec<Isolation>,
    declarations: Vec<Declaration>,
    amendments: Vec<Amendment>,
    workers: BTreeSet<String>,
    /// The step whose report came last, as long as nothing was done at the machine since.
    reported: Option<StepId>,
    left_open: BTreeSet<u64>,
    tails: Vec<SetAside>,
}

impl Job {
    /// The state behind the last of `lines`.
    ///
    /// # Errors
    /// The first rule a line breaks, with that line's number.
    pub fn replay(lines: impl IntoIterator<Item = Line>) -> Result<Self, (u64, RuleFault)> {
        let mut lines = lines.into_iter();
        let Some(first) = lines.next() else { return Err((1, RuleFault::NotOpened)) };
        let mut job = Self::open(first).map_err(|fault| (1, fault))?;
        for line in lines {
            let n = job.lines + 1;
            job.apply(line).map_err(|fault| (n, fault))?;
        }
        Ok(job)
    }

    /// The state behind the first line.
    ///
    /// # Errors
    /// When it opens no job or is not line 1.
    pub fn open(first: Line) -> Result<Self, RuleFault> {
        if first.n != 1 {
            return Err(RuleFault::OutOfOrder { last: 0, found: first.n });
        }
        let Event::Opened(opened) = first.event else { return Err(RuleFault::NotOpened) };
        let workers = BTreeSet::from([signing::person(&opened.technician)]);
        Ok(Self {
            opened: *opened,
            opened_at: first.at,
            lines: 1,
            last_at: first.at,
            last_by: first.by,
            answers: BTreeMap::new(),
            refused: BTreeMap::new(),
            corrections: Vec::new(),
            notes: Vec::new(),
            problems: Vec::new(),
            pauses: Vec::new(),
            paused: false,
            worked: Duration::ZERO,
            clock_notes: Vec::new(),
            snapshot: None,
            snapshot_lines: BTreeSet::new(),
            comparison: None,
            rounds: Vec::new(),
            isolations: Vec::new(),
            declarations: Vec::new(),
            amendments: Vec::new(),
            workers,
            reported: None,
            left_open: BTreeSet::new(),
            tails: Vec::new(),
        })
    }

    /// Moves on by one line.
    ///
    /// # Errors
    /// The rule it breaks; the job is then as it was.
    pub fn apply(&mut self, line: Line) -> Result<(), RuleFault> {
        self.check(&line)?;
        self.count_time(&line);
        let Line { n, at, by, event, .. } = line;
        // Whoever stands there as written needs no second look.
        if signing::is_work(&event) && !self.workers.contains(&by) {
            self.workers.insert(signing::person(&by));
        }
        match event {
            // Refused by the check.
            Event::Opened(_) => {}
            Event::Answered { step, value, how, took_ms, serial } => {
                let answer = Answer::Given { value, how, took_ms, serial };
                self.answers.insert(step, Standing { line: n, at, answer });
            }
            Event::Overridden { step, as_what, why, name } => {
                // A report that the open trial did not take for its own is of a start before, or of another machine.
                let in_trial = self.isolations.last().is_some_and(|search| search.open_trial().is_some());
                if as_what == Passed::CouldNot && self.reported.as_ref() == Some(&step) && !in_trial {
                    self.left_open.insert(n);
                }
                let answer = Answer::Passed { as_what, why, name };
                self.answers.insert(step, Standing { line: n, at, answer });
            }
            Event::Refused { step, .. } => {
                let count = self.refused.entry(step).or_default();
                *count = count.saturating_add(1);
            }
            Event::Corrected { step, corrects, why } => {
                self.answers.remove(&step);
                self.reopen(n);
                self.corrections.push(Correction { line: n, step, corrects, why });
            }
            Event::Noted { step, text } => self.notes.push(Remark { line: n, step, text }),
            Event::ProblemReported { step, slot, text } => {
                self.reported.take_if(|reported| *reported == step);
                self.problems.push(Problem { line: n, step, slot, text, settled: None });
            }
            Event::ProblemSettled { problem, how, .. } => {
                if let Some(open) = self.problems.iter_mut().find(|reported| reported.line == problem) {
                    open.settled = Some(how);
                }
            }
            Event::Paused { step, why } => {
                self.paused = true;
                self.pauses.push(Pause { paused: Some(n), step, why: Some(why), ..Pause::default() });
            }
            Event::Resumed { step, away_ms, clock_note } => self.resume(n, step, away_ms, clock_note),
            Event::SnapshotTaken { step, snapshot } => {
                self.reported = step;
                self.snapshot_lines.insert(n);
                self.snapshot = Some((n, *snapshot));
            }
            Event::Compared { snapshot_line, findings } => {
                self.comparison = Some(Comparison { line: n, snapshot_line, findings });
            }
            Event::RoundOpened { round, slots, snapshot_line } => {
                self.reported = None;
                let host = self.snapshot.as_ref().map(|(_, snapshot)| &snapshot.host);
                let findings = self.comparison.iter().flat_map(|compared| &compared.findings);
                let failing: Vec<&SlotLabel> = findings.filter(|f| f.fails()).filter_map(|f| f.slot.as_ref()).collect();
                self.rounds.push(Round {
                    line: n,
                    round,
                    failing: slots.iter().filter(|slot| failing.contains(slot)).cloned().collect(),
                    slots,
                    snapshot_line,
                    boot_id: host.and_then(|host| host.boot_id.clone()),
                    uuid: host.and_then(|host| host.uuid.clone()),
                });
            }
            Event::IsolationOpened(opened) => {
                self.isolations.push(Isolation { line: n, opened: *opened, trials: Vec::new(), verdict: None });
            }
            Event::SpareBrought { module } => {
                // At the end: the modules before it keep their numbers.
                self.isolations.last_mut().into_iter().for_each(|search| search.opened.spares.push(module.clone()));
            }
            Event::TrialOpened { trial, changes, minutes, why, guided } => {
                self.reported = None;
                let host = self.snapshot.as_ref().map(|(_, snapshot)| &snapshot.host);
                let boot_id = host.and_then(|host| host.boot_id.clone());
                let uuid = host.and_then(|host| host.uuid.clone());
                if let Some(search) = self.isolations.last_mut() {
                    // After the modules were put back, the search may go on: a trial takes minutes, putting back is none.
                    let puts_back = search.verdict.is_some() && minutes == 0;
                    let done = None;
                    search.trials.push(TrialRun {
                        line: n,
                        trial,
                        changes,
                        minutes,
                        why,
                        guided,
                        puts_back,
                        boot_id,
                        uuid,
                        done,
                    });
                }
            }
            Event::TrialDone { done, seen, found, snapshot_line, .. } => {
                if snapshot_line.is_none() {
                    // A start without a report: what an earlier one showed is no longer how the machine stands.
                    self.comparison = None;
                }
                let trials = self.isolations.last_mut().map(|search| &mut search.trials);
                if let Some(run) = trials.and_then(|trials| trials.last_mut()) {
                    run.done = Some(TrialDone { line: n, done, seen, found, snapshot_line });
                }
            }
            Event::VerdictReached { verdict, explanations } => {
                if let Some(search) = self.isolations.last_mut() {
                    search.verdict = Some(Reached { line: n, verdict, explanations });
                }
            }
            Event::TailSetAside { file, bytes, why } => self.tails.push(SetAside { line: n, file, bytes, why }),
            Event::Declared { name, role, statement, reason, key } => {
                for earlier in self.declarations.iter_mut().filter(|earlier| earlier.role == role && earlier.stands()) {
                    earlier.replaced_by = Some(n);
                }
                self.declarations.push(Declaration {
                    line: n,
                    at,
                    by: by.clone(),
                    name,
                    role,
                    statement,
                    reason,
                    key,
                    signed: None,
                    reopened_by: None,
                    replaced_by: None,
                });
            }
            Event::Signed { .. } => {
                if let Some(declaration) = self.declarations.last_mut() {
                    declaration.signed = Some(n);
                }
            }
            Event::Amended { amends, was, now, why } => {
                self.reopen(n);
                self.amendments.push(Amendment { line: n, at, by: by.clone(), amends, was, now, why });
            }
        }
        self.lines = n;
        self.last_at = at;
        self.last_by = by;
        Ok(())
    }

    /// Counts the time since the line before as worked, unless the technician was away: paused, signed off, or returning to a
    /// job that ended without a word. A clock that was set back adds nothing and is noted.
    fn count_time(&mut self, line: &Line) {
        let gap = line.at.signed_duration_since(self.last_at);
        match gap.to_std() {
            Ok(gap) => {
                let returning = matches!(line.event, Event::Resumed { .. } | Event::TailSetAside { .. });
                let signed_off = self.declarations.last().map(|last| last.line) > self.last_resumed();
                if !self.paused && !signed_off && !returning {
                    self.worked = self.worked.saturating_add(gap);
                }
            }
            Err(_) => self.clock_notes.push(ClockNote { line: line.n, back_ms: gap.num_milliseconds().unsigned_abs() }),
        }
    }

    fn resume(&mut self, n: u64, step: Option<StepId>, away_ms: Option<u64>, clock_note: Option<String>) {
        self.paused = false;
        match self.pauses.last_mut() {
            Some(pause) if pause.resumed.is_none() => {
                pause.resumed = Some(n);
                pause.away_ms = away_ms;
                pause.clock_note = clock_note;
            }
            // Nobody could say "pause": the program was killed or the power went.
            _ => self.pauses.push(Pause { resumed: Some(n), step, away_ms, clock_note, ..Pause::default() }),
        }
    }

    /// What the job was opened with.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// When it was opened.
    pub fn opened_at(&self) -> DateTime<FixedOffset> {
        self.opened_at
    }

    /// How many lines were folded.
    pub fn lines(&self) -> u64 {
        self.lines
    }

    /// When and by whom the last line was written.
    pub fn last(&self) -> (DateTime<FixedOffset>, &str) {
        (self.last_at, &self.last_by)
    }

    /// The standing answer of a step: the latest one, unless it was corrected.
    pub fn answer(&self, step: &StepId) -> Option<&Standing> {
        self.answers.get(step)
    }

    /// All standing answers, by step.
    pub fn answers(&self) -> &BTreeMap<StepId, Standing> {
        &self.answers
    }

    /// Card and step index of the first step without a standing answer; `None` when all have one.
    pub fn open_step(&self, steps: &Steps) -> Option<(usize, usize)> {
        steps.iter().find(|(_, _, step)| !self.answers.contains_key(&step.id)).map(|(card, step, _)| (card, step))
    }

    /// Whether the line that passes a step leaves findings open: the report is there, and what it shows stays as it is.
    pub fn leaves_findings_open(&self, line: u64) -> bool {
        self.left_open.contains(&line)
    }

    /// Steps passed without their evidence whose override still stands, in the order they were passed.
    pub fn overrides(&self) -> Vec<(&StepId, &Standing)> {
        let mut passed: Vec<_> =
            self.answers.iter().filter(|(_, standing)| matches!(standing.answer, Answer::Passed { .. })).collect();
        passed.sort_by_key(|(_, standing)| standing.line);
        passed
    }

    /// The serial bound to each slot: what was read with (or as) the standing module scan at that slot.
    pub fn bound<'a>(&'a self, steps: &'a Steps) -> BTreeMap<&'a SlotLabel, Bound<'a>> {
        let mut scans: Vec<(&SlotLabel, bool, Bound<'_>)> = Vec::new();
        for (_, _, step) in steps.iter() {
            let (Some(slot), Evidence::Scan { of: ScanOf::Module, .. }) = (&step.slot, &step.evidence) else {
                continue;
            };
            let Some(standing) = self.answers.get(&step.id) else { continue };
            let Answer::Given { value, serial, .. } = &standing.answer else { continue };
            let serial = serial.as_deref().unwrap_or(value);
            let out = matches!(step.each, Some(Each::Lift | Each::Remove));
            scans.push((slot, out, Bound { serial, line: standing.line, step: &step.id }));
        }
        scans.sort_by_key(|(_, _, scan)| scan.line);
        let mut bound = BTreeMap::new();
        for (slot, out, scan) in scans {
            if out {
                bound.remove(slot);
            } else {
                bound.insert(slot, scan);
            }
        }
        bound
    }

    /// How often answers to a step were refused, over the whole job.
    pub fn refused(&self, step: &StepId) -> u32 {
        self.refused.get(step).copied().unwrap_or(0)
    }

    /// Refused answers of all steps.
    pub fn refused_in_all(&self) -> u32 {
        self.refused.values().fold(0, |sum, count| sum.saturating_add(*count))
    }

    /// Corrections in order.
    pub fn corrections(&self) -> &[Correction] {
        &self.corrections
    }

    /// Notes in order.
    pub fn notes(&self) -> &[Remark] {
        &self.notes
    }

    /// Reported problems in order.
    pub fn problems(&self) -> &[Problem] {
        &self.problems
    }

    /// Reported problems that nothing put right: their step was passed.
    pub fn open_problems(&self) -> impl Iterator<Item = &Problem> {
        self.problems.iter().filter(|problem| problem.settled.is_none())
    }

    /// Pauses in order, those nobody announced included.
    pub fn pauses(&self) -> &[Pause] {
        &self.pauses
    }

    /// Whether the job is paused by name.
    pub fn is_paused(&self) -> bool {
        self.paused
    }

    /// The line of the last `resumed`; answers before it to steps that ask for it are checked again.
    pub fn last_resumed(&self) -> Option<u64> {
        self.pauses.iter().rev().find_map(|pause| pause.resumed)
    }

    /// Time spent on the job: the gaps between lines, pauses and absences left out. Never shrinks.
    pub fn worked(&self) -> Duration {
        self.worked
    }

    /// Where the clock was set back.
    pub fn clock_notes(&self) -> &[ClockNote] {
        &self.clock_notes
    }

    /// The last snapshot with its line.
    pub fn snapshot(&self) -> Option<(u64, &Snapshot)> {
        self.snapshot.as_ref().map(|(line, snapshot)| (*line, snapshot))
    }

    /// The last comparison of a snapshot with the plan.
    pub fn comparison(&self) -> Option<&Comparison> {
        self.comparison.as_ref()
    }

    /// The times the machine was opened again after findings, in order.
    pub fn rounds(&self) -> &[Round] {
        &self.rounds
    }

    /// The searches for faults, in order.
    pub fn isolations(&self) -> &[Isolation] {
        &self.isolations
    }

    /// The search that goes on or was the last.
    pub fn isolation(&self) -> Option<&Isolation> {
        self.isolations.last()
    }

    /// Tails that were set aside.
    pub fn tails(&self) -> &[SetAside] {
        &self.tails
    }

    /// All declarations, those that no longer stand included.
    pub fn declarations(&self) -> &[Declaration] {
        &self.declarations
    }

    /// The declarations that neither a correction nor an amendment has reopened and no later one replaced.
    pub fn standing_declarations(&self) -> impl Iterator<Item = &Declaration> {
        self.declarations.iter().filter(|declaration| declaration.stands())
    }

    /// Amendments in order.
    pub fn amendments(&self) -> &[Amendment] {
        &self.amendments
    }

    /// Whether the job stands declared as done.
    pub fn is_done(&self) -> bool {
        self.standing_declarations().next().is_some()
    }
}

#[cfg(test)]
mod tests;
