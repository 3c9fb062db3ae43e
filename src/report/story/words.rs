//! The words of a story's marks, states and kinds.

use super::types::{About, Amended, NotableKind, SignedBy, Since, SlotMark, Stand, Verdict};
use crate::record::{How, Passed};
use crate::report::words::{counted, list, moment};

impl SlotMark {
    /// The word beside the sign.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Finding => "finding",
            Self::Skipped => "skipped",
            Self::ToDo => "to do",
            Self::Cured => "cured",
            Self::Done => "done",
            Self::Kept => "kept",
            Self::Removed => "removed",
            Self::Empty => "empty",
        }
    }

    /// What the legend says.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Finding => "the last report differs from the plan",
            Self::Skipped => "an item was passed without its evidence",
            Self::ToDo => "planned, not done yet",
            Self::Cured => "a finding was here and is gone",
            Self::Done => "module put in, all items done",
            Self::Kept => "module was there and stays",
            Self::Removed => "module taken out",
            Self::Empty => "no module, none planned",
        }
    }

    /// All of them, in the order of the legend.
    pub const ALL: [Self; 8] =
        [Self::Finding, Self::Skipped, Self::ToDo, Self::Cured, Self::Done, Self::Kept, Self::Removed, Self::Empty];
}

impl About {
    /// How far the job is, and who signed how, in words. No signature is checked here, and it says so.
    pub fn stand(&self) -> String {
        let early = match self.state {
            Stand::Open => "not signed off: steps are open",
            Stand::Paused => "not signed off: paused",
            Stand::Unsigned => "not signed off: no step is open",
            Stand::Amended => "not signed off: amended after the sign-off, a new signature is needed",
            Stand::Reopened => "not signed off: an answer was given anew after the sign-off, a new signature is needed",
            Stand::Declared | Stand::Countersigned => "",
        };
        if !early.is_empty() {
            return early.to_owned();
        }
        let told: Vec<String> =
            self.signed.iter().map(|one| format!("{} ({})", one.role.name(), one.by.words())).collect();
        let unchecked = match self.signed.iter().any(|one| one.by == SignedBy::Key) {
            true => ", signatures not checked here",
            false => "",
        };
        format!("signed off by {}{unchecked}", list(&told))
    }

    /// What a reader has to know of the signatures, and what checks them.
    pub fn signatures(&self) -> String {
        match (self.signed.is_empty(), self.signed.iter().any(|one| one.by == SignedBy::Key)) {
            (true, _) => "none that stands; `slotwise audit RECORD` checks the whole record".to_owned(),
            (false, true) => "not checked here; `slotwise audit RECORD --signers FILE` checks them".to_owned(),
            (false, false) => {
                "none: a typed name can be anyone's; `slotwise audit RECORD` says what is proven".to_owned()
            }
        }
    }
}

impl SignedBy {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Key => "by key",
            Self::TypedName => "typed name only, weaker",
            Self::NoSignature => "its signature is missing",
        }
    }
}

impl Amended {
    /// In words, beside what is told of the line it is about.
    pub fn beside(&self) -> String {
        let said = self.was.as_ref().map_or_else(String::new, |was| format!(" It said: \"{was}\"."));
        format!(
            "AMENDED: line {}, by {}, {}, in line {}: now \"{}\".{said} Why: \"{}\".",
            self.amends,
            self.by,
            moment(&self.at),
            self.line,
            self.now,
            self.why
        )
    }
}

impl Since {
    /// In words: `it worked at 6 of 6 starts since, in A1`.
    pub fn words(&self, what: &str) -> String {
        let did = if self.failed { "failed" } else { "worked" };
        let places = if self.slots.is_empty() { String::new() } else { format!(", in {}", list(&self.slots)) };
        format!("{what} {did} at {} of {}{places}", self.lines.len(), counted(self.starts, "start"))
    }

    /// What to do about it.
    pub const NEXT: &'static str =
        "Run the fault search again (slotwise isolate RECORD, or a new job), or test the part in another slot.";
}

impl Verdict {
    /// What starts after it show against it, in words.
    pub fn changed(&self) -> Option<String> {
        let since = self.since.as_ref()?;
        let what = match (&self.serial, &self.slot) {
            (Some(serial), _) => format!("module {serial}"),
            (None, Some(_)) => format!("what the verdict names ({})", self.kind),
            (None, None) => "the machine".to_owned(),
        };
        Some(format!("EVIDENCE CHANGED since this verdict: {}. {}", since.words(&what), Since::NEXT))
    }
}

impl NotableKind {
    /// The word in front of it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Tail => "tail set aside",
            Self::FindingOpen => "finding open",
            Self::NotCompared => "not compared",
            Self::Verdict => "verdict",
            Self::TrialOpen => "trial open",
            Self::NotSigned => "not signed off",
            Self::Reopened => "reopened",
            Self::Amended => "amended",
            Self::LeftOpen => "left open",
            Self::Skipped => "skipped",
            Self::Problem => "problem",
            Self::Corrected => "corrected",
            Self::Refused => "refused",
            Self::Clock => "clock",
            Self::Fast => "fast answers",
            Self::Scripted => "from a file",
            Self::Stopped => "stopped",
            Self::OtherHands => "other hands",
            Self::OpenedAgain => "opened again",
            Self::Unknown => "unknown event",
        }
    }
}

impl Passed {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotDone => "not done",
            Self::NotApplicable => "does not apply",
            Self::CouldNot => "could not be done",
        }
    }
}

impl How {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Scanned => "scanned",
            Self::Typed => "typed",
            Self::Scripted => "from a file",
            Self::Read => "read by the program",
        }
    }
}
