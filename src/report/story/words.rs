//! The words of a story's marks, states and kinds.

use super::types::{NotableKind, SlotMark, Stand};
use crate::record::{How, Passed};

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

impl Stand {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Open => "not signed off: steps are open",
            Self::Paused => "not signed off: paused",
            Self::Declared => "signed off by the technician",
            Self::Countersigned => "signed off by technician and supervisor",
        }
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
            Self::NotSigned => "not signed off",
            Self::Reopened => "reopened",
            Self::Amended => "amended",
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
