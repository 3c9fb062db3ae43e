//! The technician's typed sign-off, which ends the job.

use super::RunError;
use super::walk::{Heard, Runner};
use crate::prompt::{Question, Status, Wants};
use crate::record::{Event, Role};

/// What a technician states with a sign-off. It is in the record with each one, so that its meaning needs no other file.
pub const STATEMENT: &str = "I did the work in this record. What it says I confirmed, I saw; what I passed, it names.";

/// What is said of it once it is on record: what it is worth, and what comes next where keys are in use.
const TYPED: &str = "signed off by typed name only, which is weaker than a key. Where your shop signs with keys, next: \
                     slotwise sign RECORD --role technician --key FILE";

/// How a sign-off ended.
pub(super) enum Signed {
    Declared {
        findings: usize,
    },
    Paused,
    /// An answer was taken back: the walk goes on from it.
    Reopened,
}

impl Runner<'_> {
    /// Sums the job up, then asks for the id, which states it.
    pub(super) fn sign_off(&mut self) -> Result<Signed, RunError> {
        for line in self.summary() {
            self.say(Status::Info, line)?;
        }
        if let Some(badge) = self.machine.badge() {
            self.say(Status::Bench, badge)?;
        }
        let asked = Question {
            name: "sign-off/id".to_owned(),
            place: None,
            slot: None,
            caution: None,
            warns: false,
            text: format!("Sign-off. You state: \"{STATEMENT}\" Type or scan your id to state it."),
            wants: Wants::Line { what: "your id".to_owned(), optional: false },
            help: Some("The id the job was opened with. b takes back the answer before; p pauses.".to_owned()),
            critical: true,
            picture: Vec::new(),
        };
        loop {
            match self.hear(&asked, None)? {
                Heard::Value { text, .. } if text.trim() == self.technician() => break,
                Heard::Value { .. } => self.say(
                    Status::Refused,
                    "that is not the id this job was opened with; the technician of the job signs off".to_owned(),
                )?,
                Heard::Again => {}
                Heard::Back => {
                    self.back(None)?;
                    if self.journal.job().is_paused() {
                        return Ok(Signed::Paused);
                    }
                }
                Heard::Override => {
                    self.say(Status::Refused, "a sign-off cannot be passed; pause instead".to_owned())?;
                }
                Heard::Paused => return Ok(Signed::Paused),
            }
            if self.journal.job().open_step(&self.steps).is_some() {
                return Ok(Signed::Reopened);
            }
        }
        let name = self.technician().to_owned();
        self.record(Event::Declared {
            name,
            role: Role::Technician,
            statement: STATEMENT.to_owned(),
            reason: None,
            key: None,
        })?;
        let job = self.journal.job();
        let reported = job.comparison().map_or(0, |comparison| comparison.findings.len());
        // A machine that does not start has no report to find anything in: the problem stands for it.
        let findings = reported + job.open_problems().count();
        self.say(Status::Recorded, TYPED.to_owned())?;
        Ok(Signed::Declared { findings })
    }

    fn summary(&self) -> Vec<String> {
        let job = self.journal.job();
        let mut lines = vec![format!(
            "all {} items have their answer; worked {}",
            job.answers().len(),
            crate::prompt::Hms(job.worked())
        )];
        for (step, standing) in job.overrides() {
            if let crate::record::Answer::Passed { why, name, .. } = &standing.answer {
                let what = match job.leaves_findings_open(standing.line) {
                    true => "LEFT OPEN, what the report shows",
                    false => "PASSED without evidence",
                };
                lines.push(format!("{what}: {} by {name}: {why}", step.0));
            }
        }
        for problem in job.problems() {
            let right = problem
                .settled
                .as_ref()
                .map_or_else(|| "nothing says that it was put right".to_owned(), |how| format!("put right: {how}"));
            lines.push(format!("PROBLEM at {}: {}; {right}", problem.step.0, problem.text));
        }
        if job.refused_in_all() > 0 {
            let refused = crate::source::counted(job.refused_in_all() as usize, "answer");
            lines.push(format!("refused on the way: {refused}"));
        }
        match job.comparison() {
            Some(comparison) if comparison.findings.is_empty() => {
                lines.push("the last report of the machine agrees with the plan".to_owned());
            }
            Some(comparison) => lines.push(format!("OPEN FINDINGS: {}", comparison.findings.len())),
            None => lines.push("the machine's own report was never compared".to_owned()),
        }
        lines
    }
}
