//! The machine's own report: taken, compared with the plan, and what is done about findings.

use std::time::Duration;

use super::walk::{Heard, Runner, choice, millis, side_question};
use super::{RunError, compare};
use crate::board::SlotLabel;
use crate::checklist::Step;
use crate::prompt::{Status, Wants};
use crate::record::{Event, How};
use crate::verify::{Finding, Grave};

/// What the technician does about findings.
#[derive(Clone, Copy)]
enum Next {
    Round,
    Again,
    Leave,
}

impl Runner<'_> {
    /// A snapshot for the open step. The step is answered when nothing stands in the way of handing the machine back; with
    /// findings, the technician opens the machine again, takes another snapshot, or leaves them open by name and reason.
    pub(super) fn snapshot(&mut self, step: &Step, text: &str, how: How, took: Duration) -> Result<(), RunError> {
        let snapshot = match self.machine.read(text, &self.steps, self.journal.job()) {
            Ok(snapshot) => snapshot,
            Err(error) => {
                let why = error.to_string();
                let refused = Event::Refused { step: step.id.clone(), value: text.to_owned(), how, why: why.clone() };
                self.record(refused)?;
                return self.say(Status::Refused, why);
            }
        };
        let findings = compare::comparison(self.journal.job(), &self.steps, &snapshot).findings;
        let line = self.record(Event::SnapshotTaken { step: Some(step.id.clone()), snapshot: Box::new(snapshot) })?;
        self.record(Event::Compared { snapshot_line: line, findings: findings.clone() })?;
        if findings.is_empty() {
            if self.settle(step, format!("line {line}, no findings"), how, took)? {
                self.say(Status::Recorded, "the machine reports what the plan says, slot by slot".to_owned())?;
            }
            return Ok(());
        }
        for text in findings.iter().flat_map(Finding::lines) {
            self.say(Status::Attention, text)?;
        }
        if findings.iter().all(|finding| finding.grave == Grave::Note) {
            return self.settle(step, format!("line {line}, {} to know", findings.len()), how, took).map(|_| ());
        }
        match self.decide(step, &findings)? {
            Some(Next::Round) => {
                let slots = slots_of(&findings);
                let round = self.journal.job().rounds().len() as u64 + 1;
                self.record(Event::RoundOpened { round, slots, snapshot_line: line })?;
                self.steps_changed()?;
                self.say(
                    Status::Info,
                    "the cards for opening the machine again come next; then a new report is compared".to_owned(),
                )
            }
            Some(Next::Leave) => self.settle_by_override(step),
            Some(Next::Again) | None => Ok(()),
        }
    }

    /// Whether the step has its answer now.
    fn settle(&mut self, step: &Step, value: String, how: How, took: Duration) -> Result<bool, RunError> {
        if !self.put_right(step)? {
            return Ok(false);
        }
        self.record(Event::Answered { step: step.id.clone(), value, how, took_ms: millis(took), serial: None })?;
        Ok(true)
    }

    fn settle_by_override(&mut self, step: &Step) -> Result<(), RunError> {
        self.pass(step).map(|_| ())
    }

    /// `None` when the technician paused or wants the step itself again.
    fn decide(&mut self, step: &Step, findings: &[Finding]) -> Result<Option<Next>, RunError> {
        let mut options: Vec<(&str, Next)> = Vec::new();
        if !slots_of(findings).is_empty() {
            options.push(("open the machine again and seat the named modules anew", Next::Round));
        }
        options.push(("take another report first", Next::Again));
        options.push(("leave the findings open, by name and reason", Next::Leave));
        let already =
            if self.journal.job().rounds().is_empty() { "" } else { ", and the machine was opened again already" };
        let mut asked =
            side_question(step, "findings", format!("The report differs from the plan{already}. What now?"));
        asked.slot = None;
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

/// The slots that hands can do something about, each once, in the order of the findings.
fn slots_of(findings: &[Finding]) -> Vec<SlotLabel> {
    let mut slots: Vec<SlotLabel> = Vec::new();
    for slot in findings.iter().filter(|finding| finding.grave != Grave::Note).filter_map(|f| f.slot.as_ref()) {
        if !slots.contains(slot) {
            slots.push(slot.clone());
        }
    }
    slots
}
