//! The parts of a job's state.

use chrono::{DateTime, FixedOffset};

use crate::board::SlotLabel;
use crate::checklist::StepId;
use crate::record::{How, Passed, Role};
use crate::verify::Finding;

/// An answer that stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    pub line: u64,
    pub at: DateTime<FixedOffset>,
    pub answer: Answer,
}

/// How a step was closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// With its evidence.
    Given {
        value: String,
        how: How,
        /// From question to answer, in milliseconds.
        took_ms: u64,
        serial: Option<String>,
    },
    /// Without it, by name and with a reason.
    Passed { as_what: Passed, why: String, name: String },
}

/// The module a slot holds by its standing scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bound<'a> {
    pub serial: &'a str,
    pub line: u64,
    pub step: &'a StepId,
}

/// An answer that no longer stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    pub line: u64,
    pub step: StepId,
    pub corrects: u64,
    pub why: String,
}

/// A time the machine was opened again after findings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Round {
    pub line: u64,
    /// 1, 2, 3 …
    pub round: u64,
    pub slots: Vec<SlotLabel>,
    /// The slots among them whose modules did not work by the findings it was opened for.
    pub failing: Vec<SlotLabel>,
    /// The snapshot that was the reason.
    pub snapshot_line: u64,
    /// Boot id and system UUID of that snapshot: a later report must be of another boot.
    pub boot_id: Option<String>,
    pub uuid: Option<String>,
}

/// A note.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    pub line: u64,
    pub step: Option<StepId>,
    pub text: String,
}

/// A problem the technician reported.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    pub line: u64,
    pub step: StepId,
    pub slot: Option<SlotLabel>,
    pub text: String,
    /// What put it right, once that was said.
    pub settled: Option<String>,
}

/// A time away from the job.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Pause {
    /// The line that says so; `None` when the program ended without a word.
    pub paused: Option<u64>,
    /// The line of the return; `None` while away.
    pub resumed: Option<u64>,
    pub step: Option<StepId>,
    pub why: Option<String>,
    /// As recorded at the return, in milliseconds.
    pub away_ms: Option<u64>,
    pub clock_note: Option<String>,
}

/// A line that is dated before the line ahead of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClockNote {
    pub line: u64,
    /// How far the clock went back, in milliseconds.
    pub back_ms: u64,
}

/// A snapshot against the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    pub line: u64,
    pub snapshot_line: u64,
    pub findings: Vec<Finding>,
}

/// A statement that the job is done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Declaration {
    pub line: u64,
    pub at: DateTime<FixedOffset>,
    /// Who wrote the line; the program writes who signs.
    pub by: String,
    pub name: String,
    pub role: Role,
    pub statement: String,
    /// Why a supervisor took the job although findings were open.
    pub reason: Option<String>,
    /// The fingerprint of the key that was to sign it; `None` for a typed name.
    pub key: Option<String>,
    /// The line that holds its signature. Whether that is good is for an audit to say.
    pub signed: Option<u64>,
    /// The correction or amendment that opened the job again after it.
    pub reopened_by: Option<u64>,
    /// The later declaration of the same role that took its place.
    pub replaced_by: Option<u64>,
}

impl Declaration {
    /// Whether it is still what its role says of the job.
    pub const fn stands(&self) -> bool {
        self.reopened_by.is_none() && self.replaced_by.is_none()
    }

    /// Whether a key was named that has not signed: a sign-off that never came to its end, or a record that was cut.
    pub const fn lacks_its_signature(&self) -> bool {
        self.key.is_some() && self.signed.is_none()
    }

    /// Its last line: that of its signature, or its own.
    pub fn end(&self) -> u64 {
        self.signed.unwrap_or(self.line)
    }
}

/// What turned out to be otherwise after a sign-off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Amendment {
    pub line: u64,
    pub at: DateTime<FixedOffset>,
    pub by: String,
    pub amends: u64,
    pub was: Option<String>,
    pub now: String,
    pub why: String,
}

/// A torn tail that was set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    pub line: u64,
    pub file: String,
    pub bytes: u64,
    pub why: String,
}
