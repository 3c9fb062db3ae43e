//! The parts of a story. All of them serialize: `--json` gives exactly this. Texts are as the record has them, uncleaned.

use serde::Serialize;

use crate::record::{How, Passed, Role};
use crate::snapshot::{SlotState, Watched};
use crate::verify::{Finding, FindingKind, Grave};

/// One record, told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Story {
    pub record: About,
    /// What a supervisor must not miss, the gravest first.
    pub stands_out: Vec<Notable>,
    pub planned: Planned,
    pub cards: Vec<CardTold>,
    pub measured: Vec<Measured>,
    pub reports: Vec<Report>,
    /// Times the machine was opened again after findings.
    pub rounds: Vec<RoundTold>,
    pub trials: Vec<Trial>,
    pub verdicts: Vec<Verdict>,
    /// In board order.
    pub slots: Vec<SlotTold>,
    pub notes: Vec<NoteTold>,
    pub declarations: Vec<Declared>,
    /// What turned out to be otherwise after a sign-off.
    pub amendments: Vec<Amended>,
    /// Events this version has no words for, by name, so that none goes missing.
    pub other: Vec<Other>,
}

/// Which record it is and where it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct About {
    pub job: String,
    /// The version of the program that opened it.
    pub version: String,
    /// Who opened it.
    pub technician: String,
    /// Everyone who wrote a line, in order of appearance; the program itself left out.
    pub people: Vec<String>,
    /// Those of them who worked on the job; who only looked it through, noted or amended is left out.
    pub workers: Vec<String>,
    pub unit: String,
    pub enclosure: Option<String>,
    pub bay: Option<String>,
    pub board: String,
    /// Set for a practice job: what was wrong with its machine.
    pub practice: Option<String>,
    /// RFC 3339.
    pub opened_at: String,
    /// RFC 3339.
    pub last_at: String,
    /// Time worked in milliseconds: absences left out.
    pub worked_ms: u64,
    pub lines: u64,
    /// SHA-256 (hex) of the last line.
    pub head: String,
    /// The head in short, to compare by eye.
    pub fingerprint: String,
    pub state: Stand,
    /// Who stands to it, and how each signed: technician first.
    pub signed: Vec<SignedAs>,
    /// What stands behind the last whole line, never confirmed to anyone.
    pub torn: Option<String>,
}

/// How one role signed, by the record's own word: no signature is checked here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct SignedAs {
    pub role: Role,
    pub by: SignedBy,
}

/// What a sign-off rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignedBy {
    /// A signature stands behind it, unchecked.
    Key,
    /// Nothing but a typed name.
    TypedName,
    /// A key is named, and its signature is missing.
    NoSignature,
}

/// A line that turned out to be otherwise after a sign-off; the line itself stays as it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Amended {
    /// The line that says so.
    pub line: u64,
    /// RFC 3339.
    pub at: String,
    pub by: String,
    /// The line it is about.
    pub amends: u64,
    /// What that line said, in the words of who amended it.
    pub was: Option<String>,
    pub now: String,
    pub why: String,
}

/// How far the job is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stand {
    /// Steps are open and nobody said "pause".
    Open,
    Paused,
    /// No step is open, and nobody signed yet.
    Unsigned,
    /// It was signed, then something was amended; no step is open, and nobody signed again.
    Amended,
    /// It was signed, then an answer was taken back and given anew; nobody signed again.
    Reopened,
    /// The technician has signed off.
    Declared,
    /// The supervisor has countersigned too.
    Countersigned,
}

/// Something to be seen first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Notable {
    pub kind: NotableKind,
    pub grave: Grave,
    /// In our words.
    pub title: String,
    /// What the record says about it, each value with what it is.
    pub facts: Vec<Fact>,
    /// The line that says so.
    pub line: Option<u64>,
}

/// One value with its name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fact {
    pub name: &'static str,
    pub value: String,
}

/// Why something stands out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotableKind {
    Tail,
    FindingOpen,
    Verdict,
    TrialOpen,
    NotCompared,
    NotSigned,
    Reopened,
    Amended,
    LeftOpen,
    Skipped,
    Problem,
    Corrected,
    Refused,
    Clock,
    Fast,
    Scripted,
    Stopped,
    OtherHands,
    OpenedAgain,
    Unknown,
}

/// The plan in short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Planned {
    pub plan: String,
    pub order: String,
    /// As text with its unit.
    pub capacity: String,
    /// MT/s, where the plan says.
    pub mts: Option<u32>,
    pub reasons: Vec<String>,
    pub modules: Vec<PlannedModule>,
    pub removed: Vec<PlannedModule>,
}

/// One module of the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlannedModule {
    pub slot: String,
    /// `insert`, `keep`, `move`, `remove`.
    pub action: &'static str,
    pub from: Option<String>,
    pub maker: Option<String>,
    pub part: Option<String>,
    pub serial: Option<String>,
    pub date: Option<String>,
    /// `32 GiB DDR4 RDIMM 2Rx4 2666 MT/s`.
    pub spec: String,
    pub lot: Option<String>,
}

/// One card with what happened on it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CardTold {
    pub name: String,
    /// RFC 3339; `None` when nothing happened on it.
    pub began: Option<String>,
    pub ended: Option<String>,
    /// Time worked on it in milliseconds.
    pub took_ms: u64,
    pub items: Vec<Item>,
}

/// One step with all that was entered at it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Item {
    pub step: String,
    pub text: String,
    pub slot: Option<String>,
    pub stand: ItemStand,
    pub entries: Vec<Entry>,
}

/// Where a step stands at the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ItemStand {
    Answered,
    Skipped,
    /// The report was taken, and what it shows was left as it is.
    LeftOpen,
    Open,
}

/// One line of the record at a step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Entry {
    pub line: u64,
    /// RFC 3339.
    pub at: String,
    pub by: String,
    #[serde(flatten)]
    pub did: Did,
    /// What turned out to be otherwise after a sign-off.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub amended: Vec<Amended>,
}

/// What was entered at a step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "did", rename_all = "kebab-case")]
pub enum Did {
    Answered {
        value: String,
        how: How,
        took_ms: u64,
        serial: Option<String>,
        /// The line that took it back.
        corrected_by: Option<u64>,
    },
    Refused {
        value: String,
        how: How,
        why: String,
    },
    Corrected {
        corrects: u64,
        why: String,
    },
    Skipped {
        as_what: Passed,
        why: String,
        name: String,
        corrected_by: Option<u64>,
    },
    LeftOpen {
        why: String,
        name: String,
        corrected_by: Option<u64>,
    },
    Problem {
        slot: Option<String>,
        text: String,
        /// What put it right, where that was said.
        put_right: Option<String>,
    },
    Noted {
        text: String,
    },
    Paused {
        why: String,
    },
    Resumed {
        away_ms: Option<u64>,
    },
    Reported,
}

/// A reading or a count, as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Measured {
    pub line: u64,
    pub card: String,
    pub text: String,
    pub value: String,
    pub unit: String,
    /// What it had to be; `None` where nothing judged it.
    pub wanted: Option<String>,
    /// Where each limit is from.
    pub sources: Vec<String>,
}

/// What the machine reported at one moment, and what of it differs from the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Report {
    pub line: u64,
    /// RFC 3339, when it came into the record.
    pub at: String,
    /// RFC 3339, by the clock of the machine.
    pub taken: String,
    pub host: Option<String>,
    pub boot_id: Option<String>,
    pub firmware: Option<String>,
    /// Slots with a working module.
    pub fitted: u32,
    /// MiB, as the firmware sums it.
    pub firmware_mib: Option<u64>,
    /// KiB, as the system counts it.
    pub os_kib: Option<u64>,
    /// For how many modules errors were counted.
    pub watched: Watched,
    /// What could not be read, and what that costs.
    pub gaps: Vec<String>,
    /// `None` when it was never compared with the plan.
    pub compared_line: Option<u64>,
    pub findings: Vec<Finding>,
    /// Findings that are what a search did to their slot, with why: no fault is there.
    pub on_purpose: Vec<OnPurpose>,
}

/// A slot that is not as planned because a search changed it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OnPurpose {
    pub slot: String,
    /// The kind of the finding it explains.
    pub kind: FindingKind,
    pub why: String,
}

impl Report {
    /// The findings that nothing was done on purpose for.
    pub fn faults(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| {
            let slot = finding.slot.as_ref().map(|slot| slot.0.as_str());
            self.on_purpose.iter().all(|one| one.kind != finding.kind || Some(one.slot.as_str()) != slot)
        })
    }
}

/// A time the machine was opened again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RoundTold {
    pub line: u64,
    pub at: String,
    pub round: u64,
    pub slots: Vec<String>,
    /// The report that was the reason.
    pub snapshot_line: u64,
    /// In words: what became of the findings at these slots.
    pub outcome: String,
    pub amended: Vec<Amended>,
}

/// One power cycle with a stated change.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trial {
    pub line: u64,
    pub at: String,
    pub by: String,
    pub change: String,
    pub outcome: String,
    pub amended: Vec<Amended>,
}

/// What a fault turned out to be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Verdict {
    pub line: u64,
    pub at: String,
    /// `seating`, `module`, `slot`, `channel`, `socket`, `settings`, `rules`, `undecided`.
    pub kind: String,
    pub slot: Option<String>,
    pub serial: Option<String>,
    /// Probability in parts of a million; `None` where none was computed.
    pub ppm: Option<u32>,
    pub why: Vec<String>,
    /// What was amended of its own line, or of a line it rests on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub amended: Vec<Amended>,
    /// Starts after it that speak against it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Since>,
}

/// Starts after a verdict that speak against it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Since {
    /// Starts after the verdict with what it names in the machine.
    pub starts: usize,
    /// The lines of those that speak against it.
    pub lines: Vec<u64>,
    /// Whether they failed; else they worked.
    pub failed: bool,
    /// The slots in which they did.
    pub slots: Vec<String>,
}

/// One slot with its plan, its end and its history.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SlotTold {
    pub slot: String,
    pub socket: String,
    pub channel: String,
    pub position: u8,
    pub tab: Option<String>,
    pub mark: SlotMark,
    /// What is in it when the job ends, as plan and scans have it.
    pub serial: Option<String>,
    pub history: Vec<Seen>,
}

/// How a slot stands at the end of the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SlotMark {
    /// The last report differs from the plan here.
    Finding,
    /// A step at it was passed without its evidence.
    Skipped,
    /// Planned, and not all of its steps are answered.
    ToDo,
    /// A finding was here, and the last report shows none.
    Cured,
    Done,
    Kept,
    Removed,
    Empty,
}

/// One thing that happened at a slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Seen {
    pub line: u64,
    pub at: String,
    pub by: String,
    #[serde(flatten)]
    pub what: What,
    /// What turned out to be otherwise after a sign-off.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub amended: Vec<Amended>,
}

/// What happened at a slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "seen", rename_all = "kebab-case")]
pub enum What {
    /// A module's label was read.
    Scanned {
        serial: String,
        value: String,
        how: How,
        hands: Hands,
        corrected_by: Option<u64>,
    },
    /// The machine's report of the slot.
    Reported {
        state: SlotState,
        size_mib: Option<u64>,
        configured_mts: Option<u32>,
        maker: Option<String>,
        part: Option<String>,
        serial: Option<String>,
        /// `None` where no counter was read for the slot.
        corrected: Option<u64>,
        uncorrected: Option<u64>,
        because: Option<String>,
    },
    Found {
        finding: Finding,
    },
    /// Its module is not in it because a search took it out, or left it out, on purpose.
    TakenOut {
        serial: String,
        why: String,
    },
    /// A start of the machine in a search, with this module in the slot.
    Started {
        serial: String,
        /// `None`: the start that showed the fault, or the one after the modules were put back.
        trial: Option<u64>,
        came: Came,
    },
    Problem {
        text: String,
    },
    Skipped {
        step: String,
        as_what: Passed,
        why: String,
        name: String,
        corrected_by: Option<u64>,
    },
}

/// What a start showed of a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Came {
    Worked,
    Failed,
    /// The machine did not start, which says nothing of one slot.
    Dark,
}

/// What the hands did with a module whose label was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Hands {
    In,
    Out,
    /// Taken out and put back.
    Anew,
}

/// A note of the record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NoteTold {
    pub line: u64,
    pub at: String,
    pub by: String,
    pub step: Option<String>,
    pub text: String,
}

/// A statement that the job is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Declared {
    pub line: u64,
    pub at: String,
    pub name: String,
    pub role: Role,
    pub statement: String,
    /// Why a supervisor took the job although findings were open.
    pub reason: Option<String>,
    /// The fingerprint of the key it was to be signed with; `None` for a typed name.
    pub key: Option<String>,
    /// The line with the signature.
    pub signed: Option<u64>,
    /// The correction or amendment that opened the job again after it.
    pub reopened_by: Option<u64>,
    /// The later one of the same role that took its place.
    pub replaced_by: Option<u64>,
}

/// An event this room has no words for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Other {
    pub line: u64,
    pub at: String,
    pub by: String,
    pub event: String,
    /// Its fields as JSON.
    pub fields: String,
}

impl Story {
    /// The findings of the last report.
    pub fn open_findings(&self) -> &[Finding] {
        self.reports.last().map_or(&[], |report| &report.findings)
    }

    /// Whether someone has to look before the machine is handed back.
    pub fn has_open_findings(&self) -> bool {
        self.open_findings().iter().any(|finding| finding.grave != Grave::Note)
    }

    /// The declarations that stand.
    pub fn standing(&self) -> impl Iterator<Item = &Declared> {
        self.declarations.iter().filter(|declared| declared.reopened_by.is_none() && declared.replaced_by.is_none())
    }

    /// How many steps stand so.
    pub fn items(&self, stand: ItemStand) -> usize {
        self.cards.iter().map(|card| card.count(stand)).sum()
    }
}

impl CardTold {
    /// How many of its items stand so.
    pub fn count(&self, stand: ItemStand) -> usize {
        self.items.iter().filter(|item| item.stand == stand).count()
    }

    /// What a reader of the card should know, in words.
    pub fn remarks(&self) -> String {
        let count = |of: fn(&Did) -> bool| {
            self.items.iter().flat_map(|item| &item.entries).filter(|entry| of(&entry.did)).count()
        };
        let parts = [
            (self.count(ItemStand::Skipped), "skipped"),
            (self.count(ItemStand::LeftOpen), "left open with its findings"),
            (self.count(ItemStand::Open), "open"),
            (count(|did| matches!(did, Did::Corrected { .. })), "corrected"),
            (count(|did| matches!(did, Did::Refused { .. })), "refused"),
            (count(|did| matches!(did, Did::Problem { .. })), "problem reported"),
        ];
        let told: Vec<String> = parts.iter().filter(|(n, _)| *n > 0).map(|(n, word)| format!("{n} {word}")).collect();
        told.join(", ")
    }
}
