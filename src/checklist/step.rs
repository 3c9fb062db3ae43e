//! The steps of one job, after expansion.

use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Each, ScanOf};
use crate::board::SlotLabel;

/// Names one step of a job, stable over pauses and replays: `card/step` or `card/slot/step`, lower case.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct StepId(pub String);

/// All steps of one job in the order they are done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Steps {
    pub cards: Vec<Card>,
}

/// One card after expansion: at most ten steps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    pub name: String,
    pub steps: Vec<Step>,
}

/// One step after expansion.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    pub id: StepId,
    pub text: String,
    pub caution: Option<String>,
    pub help: Option<String>,
    /// The slot the hands are at.
    pub slot: Option<SlotLabel>,
    /// The slot with its socket, channel and position, and the module this card puts there or takes out: for someone who
    /// comes back in the midst of the card.
    pub place: Option<String>,
    /// The slot a module comes from, for a move.
    pub from: Option<SlotLabel>,
    pub evidence: Evidence,
    pub critical: bool,
    pub recheck: bool,
    /// Whether this step is only there to warn that something differs from the slot before; drawn loud.
    pub warns: bool,
    /// What its card is repeated over.
    pub each: Option<Each>,
}

/// What proves that a step was done. The expected value is in here and never in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Evidence {
    /// The answer names the state.
    Confirm {
        state: String,
    },
    /// A number within limits, in `unit`. A limit that nobody filled in is `None` and is said to be so.
    Reading {
        unit: String,
        lowest: Option<Bound>,
        highest: Option<Bound>,
    },
    Scan {
        of: ScanOf,
        expected: Expected,
    },
    /// Exactly this word, typed; `meaning` says what typing it states.
    Word {
        word: String,
        meaning: String,
    },
    Count {
        expected: u32,
    },
    /// A count that is kept and compared later.
    Tally,
    /// A count that must be the same as the answer to `first`.
    TallyBack {
        first: StepId,
    },
    Choice {
        options: Vec<String>,
        good: Vec<String>,
    },
    Text {
        optional: bool,
    },
    /// Let this many seconds pass.
    Time {
        seconds: u32,
    },
    /// The machine's own report.
    Snapshot,
    /// The path of a picture.
    Photo,
}

/// One limit with where it is from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bound {
    pub value: Decimal,
    pub source: String,
}

/// What a scan must match.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Expected {
    /// Exactly this text (a tag, a slot label, a serial).
    Exactly(String),
    /// A module of this part number; the scan must carry the part, or a serial follows that is bound to the slot.
    Part { part: String },
    /// Any module label not used before in this job; binds what is read to the slot.
    AnyModule,
    /// Anything that can be read; kept, not compared.
    Anything,
}

impl Step {
    /// The slot to show with the question: none while the step asks which slot it is, so that the answer comes from
    /// the label on the board and not from the screen.
    pub fn shown_slot(&self) -> Option<&SlotLabel> {
        match self.evidence {
            Evidence::Scan { of: ScanOf::Slot, .. } => None,
            _ => self.slot.as_ref(),
        }
    }
}

impl Steps {
    /// Card and step index of a step.
    pub fn find(&self, id: &StepId) -> Option<(usize, usize)> {
        self.cards
            .iter()
            .enumerate()
            .find_map(|(card, c)| c.steps.iter().position(|step| step.id == *id).map(|step| (card, step)))
    }

    /// All steps in order with card and step index.
    pub fn iter(&self) -> impl Iterator<Item = (usize, usize, &Step)> {
        self.cards
            .iter()
            .enumerate()
            .flat_map(|(card, c)| c.steps.iter().enumerate().map(move |(step, s)| (card, step, s)))
    }
}
