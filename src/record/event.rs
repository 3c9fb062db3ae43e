//! What can happen in a job, one event a line.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::chain::LineHash;
use crate::board::{Board, SlotLabel};
use crate::checklist::{Checklist, StepId};
use crate::isolate::rates::Rates;
use crate::isolate::{Done, Explanation, Seen, Step, Verdict};
use crate::module::Module;
use crate::plan::Plan;
use crate::snapshot::Snapshot;
use crate::verify::Finding;

/// The format a record names in its first event.
pub const RECORD_FORMAT: &str = "slotwise-record/1";

/// One line of a record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Line {
    /// 1, 2, 3 …
    pub n: u64,
    /// RFC 3339 with offset, in milliseconds.
    #[serde(with = "super::time")]
    #[schemars(with = "String")]
    pub at: DateTime<FixedOffset>,
    /// Who did it: the technician's id, or `slotwise` for what the program did by itself.
    pub by: String,
    #[serde(flatten)]
    pub event: Event,
    /// SHA-256 (hex) of the bytes of the line before without its newline; 64 zeros on the first.
    pub prev: LineHash,
}

/// How a value came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum How {
    /// Came faster than a hand types; a hint, never proof, of a scanner.
    Scanned,
    Typed,
    /// From an answers file.
    Scripted,
    /// Read by the program itself.
    Read,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Event {
    /// The first line: everything the job needs, whole.
    Opened(Box<Opened>),
    /// A step has its evidence.
    Answered {
        step: StepId,
        /// The answer as given: the state named, the reading as digits, what was scanned, the count, the choice.
        value: String,
        how: How,
        /// From question to answer, in milliseconds.
        took_ms: u64,
        /// What else was read with it (a module's serial beside its part number).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        serial: Option<String>,
    },
    /// An answer did not do; the step stays open.
    Refused {
        step: StepId,
        value: String,
        how: How,
        why: String,
    },
    /// An earlier answer no longer stands; the step is open again. The line it corrects stays.
    Corrected {
        step: StepId,
        corrects: u64,
        why: String,
    },
    /// A step was passed without its evidence, by name and with a reason.
    Overridden {
        step: StepId,
        /// `not-done`, `not-applicable` or `could-not`.
        as_what: Passed,
        why: String,
        /// Who takes responsibility, as typed.
        name: String,
    },
    Noted {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step: Option<StepId>,
        text: String,
    },
    /// The technician reports something wrong.
    ProblemReported {
        step: StepId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        slot: Option<SlotLabel>,
        text: String,
    },
    /// What put a reported problem right, said before its step is answered.
    ProblemSettled {
        step: StepId,
        /// The line that reported it.
        problem: u64,
        how: String,
    },
    Paused {
        step: Option<StepId>,
        why: String,
    },
    Resumed {
        step: Option<StepId>,
        away_ms: Option<u64>,
        clock_note: Option<String>,
    },
    /// What the machine reports.
    SnapshotTaken {
        step: Option<StepId>,
        snapshot: Box<Snapshot>,
    },
    /// Snapshot against plan.
    Compared {
        snapshot_line: u64,
        findings: Vec<Finding>,
    },
    /// After findings the machine is opened again: the cards of this round come next, for these slots.
    RoundOpened {
        /// 1, 2, 3 …
        round: u64,
        slots: Vec<SlotLabel>,
        /// The line of the snapshot whose findings are the reason.
        snapshot_line: u64,
    },
    /// The search for what the fault is begins. All it starts from stands here, so that it can be followed from this line.
    IsolationOpened(Box<IsolationOpened>),
    /// A known-good module came to hand after the search had begun.
    SpareBrought {
        module: Module,
    },
    /// One power cycle with a stated change is asked for.
    TrialOpened {
        /// 1, 2, 3 …
        trial: u64,
        /// None: the machine is only started again.
        changes: Vec<Step>,
        /// What it was expected to take.
        minutes: u32,
        why: String,
        /// The cards of this trial come next; without them it is done by hand and reported.
        guided: bool,
    },
    /// What was changed, and what the start after it showed.
    TrialDone {
        trial: u64,
        /// What was done, which may be less than, or other than, what was asked for.
        done: Vec<Step>,
        seen: Seen,
        /// How the modules stood before they were touched, where somebody looked.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        found: Vec<crate::isolate::Finding>,
        /// The report it was read from; none where the machine did not start or slots were told.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        snapshot_line: Option<u64>,
    },
    /// What the fault turned out to be, or `undecided`.
    VerdictReached {
        verdict: Verdict,
        explanations: Vec<Explanation>,
    },
    /// A damaged tail was found at opening and put aside.
    TailSetAside {
        file: String,
        bytes: u64,
        why: String,
    },
    /// The technician states that the job is done, or the supervisor that the record was looked through.
    Declared {
        name: String,
        role: Role,
        statement: String,
        /// Why a supervisor takes the job although findings are open.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reason: Option<String>,
        /// The key whose signature the next line holds (`SHA256:…` as `ssh-keygen -l` shows it); without one the statement
        /// rests on a typed name. It stands here so that a signature that was cut off, or exchanged, is missed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        key: Option<String>,
    },
    /// The signature that seals the line before, and with it all bytes of the record up to the end of that line. It
    /// repeats that line's `at` and `by`: nothing in this line is free, so that its every bit is checked.
    Signed {
        /// The line it seals.
        declared: u64,
        /// The public key, or the certificate, as `authorized_keys` writes it: type and base64.
        key: String,
        /// The signature (PROTOCOL.sshsig) in base64, without the armour's frame and line breaks.
        signature: String,
    },
    /// After a sign-off something in the record turns out to be otherwise. The line it amends stays; whoever signed before
    /// signs again.
    Amended {
        /// The line that is amended.
        amends: u64,
        /// What the line says now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        was: Option<String>,
        /// What is true instead.
        now: String,
        why: String,
    },
}

/// What a search for a fault starts from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct IsolationOpened {
    /// How likely each kind of fault is, and what trials cost: with a source beside every number.
    pub rates: Rates,
    /// The probability a verdict needs, as text.
    pub sure: String,
    /// Which module stands where.
    pub fitted: Vec<FittedModule>,
    /// Modules on hand that are taken for good.
    pub spares: Vec<Module>,
    /// What the start that showed the fault reported.
    pub first: Seen,
    /// The report it was read from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub snapshot_line: Option<u64>,
    /// What was tried before, in the job's own rounds.
    pub before: Vec<Done>,
    /// Sockets that hold no processor, by their order on the board, from 0.
    pub without_processor: Vec<usize>,
    /// Population rules that the modules fitted break.
    pub broken_rules: Vec<String>,
}

/// A module in its slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FittedModule {
    pub slot: SlotLabel,
    pub module: Module,
}

/// Why a step was passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Passed {
    NotDone,
    NotApplicable,
    CouldNot,
}

/// In which role someone signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    Technician,
    Supervisor,
}

/// The first line's content.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Opened {
    /// `slotwise-record/1`.
    pub format: String,
    /// The job's id: `[a-z0-9-]`, sorts by date.
    pub job: String,
    /// The program's version.
    pub version: String,
    pub technician: String,
    /// The chassis tag of the unit worked on.
    pub unit: String,
    /// Set for the practice job only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub practice: Option<Practice>,
    pub plan: Plan,
    pub board: Board,
    pub checklist: Checklist,
}

/// What the practice machine does wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Practice {
    pub fault: String,
    pub seed: String,
    /// How its firmware shows a fault: `slot`, `channel`, `blind`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub report: Option<String>,
    /// What lies on the bench as known-good: `good`, `bad`, `none`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spare: Option<String>,
}
