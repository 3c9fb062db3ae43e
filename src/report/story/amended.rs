//! What was amended after a sign-off, put beside the lines it is about. The lines themselves stay as they are.

use std::collections::BTreeSet;

use super::fold::Input;
use super::types::{Amended, CardTold, RoundTold, SlotTold, Trial, Verdict};
use crate::checklist::{Evidence, ScanOf};
use crate::record::{Amendment, Event, Line, time};

/// The amendments of a record, each with all lines it is about.
pub(super) struct Amendments<'a> {
    input: &'a Input<'a>,
    all: Vec<(BTreeSet<u64>, Amended)>,
}

impl<'a> Amendments<'a> {
    pub(super) fn of(input: &'a Input<'a>) -> Self {
        let mut all: Vec<(BTreeSet<u64>, Amended)> = Vec::new();
        for amendment in input.job.amendments() {
            let mut about = BTreeSet::from([amendment.amends]);
            // One that amends an amendment is about what that was about.
            let earlier = all.iter().find(|(_, one)| one.line == amendment.amends);
            about.extend(earlier.map(|(about, _)| about.clone()).unwrap_or_default());
            all.push((about, Amended::of(amendment)));
        }
        Self { input, all }
    }

    fn at(&self, line: u64) -> Vec<Amended> {
        self.all.iter().filter(|(about, _)| about.contains(&line)).map(|(_, one)| one.clone()).collect()
    }

    /// Marks what is told of the lines that were amended.
    pub(super) fn mark(&self, slots: &mut [SlotTold], cards: &mut [CardTold], verdicts: &mut [Verdict]) {
        for seen in slots.iter_mut().flat_map(|slot| &mut slot.history) {
            seen.amended = self.at(seen.line);
        }
        for entry in cards.iter_mut().flat_map(|card| &mut card.items).flat_map(|item| &mut item.entries) {
            entry.amended = self.at(entry.line);
        }
        for verdict in verdicts {
            verdict.amended = self.of_verdict(verdict.line);
        }
    }

    /// The same of what was tried.
    pub(super) fn mark_tried(&self, rounds: &mut [RoundTold], trials: &mut [Trial]) {
        for round in rounds {
            round.amended = self.at(round.line);
        }
        for trial in trials {
            trial.amended = self.at(trial.line);
        }
    }

    pub(super) fn told(self) -> Vec<Amended> {
        self.all.into_iter().map(|(_, one)| one).collect()
    }

    /// What was amended of a verdict's own line and of the lines it rests on, and which of these answers were taken back
    /// after it.
    fn of_verdict(&self, verdict: u64) -> Vec<Amended> {
        let lines = self.input.lines;
        let search = lines.iter().rev().find_map(|line| match &line.event {
            Event::IsolationOpened(opened) if line.n < verdict => Some(opened.snapshot_line.unwrap_or(line.n)),
            _ => None,
        });
        let begun = search.unwrap_or(verdict);
        let rests_on = |n: u64| {
            let line = lines.iter().find(|line| line.n == n);
            n <= verdict && line.is_some_and(|line| self.is_evidence(line, begun))
        };
        let amended = self.all.iter().filter(|(about, _)| about.iter().any(|n| rests_on(*n)));
        let mut told: Vec<Amended> = amended.map(|(_, one)| one.clone()).collect();
        for line in lines.iter().filter(|line| line.n > verdict) {
            let Event::Corrected { corrects, why, .. } = &line.event else { continue };
            if rests_on(*corrects) {
                told.push(Amended {
                    line: line.n,
                    at: time::text(&line.at),
                    by: line.by.clone(),
                    amends: *corrects,
                    was: None,
                    now: "this answer is taken back".to_owned(),
                    why: why.clone(),
                });
            }
        }
        told.sort_by_key(|one| one.line);
        told
    }

    /// Whether a line up to a verdict is part of what it rests on: the search, all of it; before the search the job itself,
    /// which module was read where, and what the machine reported.
    fn is_evidence(&self, line: &Line, begun: u64) -> bool {
        match &line.event {
            Event::Opened(_)
            | Event::SnapshotTaken { .. }
            | Event::Compared { .. }
            | Event::RoundOpened { .. }
            | Event::TrialDone { .. } => true,
            Event::Answered { step, .. } | Event::Overridden { step, .. } if line.n < begun => {
                self.input.steps.iter().any(|(_, _, told)| {
                    told.id == *step && matches!(told.evidence, Evidence::Scan { of: ScanOf::Module, .. })
                })
            }
            Event::Noted { .. }
            | Event::Paused { .. }
            | Event::Resumed { .. }
            | Event::TailSetAside { .. }
            | Event::Declared { .. }
            | Event::Signed { .. }
            | Event::Amended { .. } => false,
            _ => line.n >= begun,
        }
    }
}

impl Amended {
    /// As it is told.
    pub fn of(amendment: &Amendment) -> Self {
        Self {
            line: amendment.line,
            at: time::text(&amendment.at),
            by: amendment.by.clone(),
            amends: amendment.amends,
            was: amendment.was.clone(),
            now: amendment.now.clone(),
            why: amendment.why.clone(),
        }
    }
}
