//! From a step to the question a person reads.

use std::time::Duration;

use super::MachineReport;
use crate::checklist::{Evidence, ScanOf, Step, Steps};
use crate::prompt::{Place, Question, Wants};

/// The question for the step at `at` (card and step index), `picture` above it.
pub fn question(
    steps: &Steps,
    at: (usize, usize),
    elapsed: Duration,
    picture: Vec<String>,
    machine: &dyn MachineReport,
) -> Option<Question> {
    let card = steps.cards.get(at.0)?;
    let step = card.steps.get(at.1)?;
    Some(Question {
        name: step.id.0.clone(),
        place: place(steps, at, elapsed),
        slot: step.shown_slot().map(ToString::to_string),
        caution: step.caution.clone(),
        warns: step.warns,
        text: step.text.clone(),
        wants: wants(step, machine),
        help: step.help.clone(),
        critical: step.critical,
        picture,
    })
}

/// Where the step at `at` is.
pub fn place(steps: &Steps, at: (usize, usize), elapsed: Duration) -> Option<Place> {
    let card = steps.cards.get(at.0)?;
    Some(Place {
        card: (at.0 + 1, steps.cards.len()),
        card_name: card.name.clone(),
        item: (at.1 + 1, card.steps.len()),
        elapsed,
    })
}

fn wants(step: &Step, machine: &dyn MachineReport) -> Wants {
    match &step.evidence {
        Evidence::Confirm { state } => Wants::Confirm { state: state.clone() },
        Evidence::Reading { unit, .. } => Wants::Number { unit: unit.clone() },
        Evidence::Scan { of, .. } => Wants::Scan { what: scan_words(*of).to_owned() },
        Evidence::Word { word, meaning } => Wants::Word { word: word.clone(), meaning: meaning.clone() },
        Evidence::Count { .. } | Evidence::Tally | Evidence::TallyBack { .. } => {
            Wants::Count { what: "how many".to_owned() }
        }
        Evidence::Choice { options, .. } => Wants::Choice { options: options.clone() },
        Evidence::Text { optional } => Wants::Line { what: "it in your words".to_owned(), optional: *optional },
        Evidence::Time { seconds } => {
            Wants::Time { at_least: Duration::from_secs(u64::from(machine.seconds(*seconds))) }
        }
        Evidence::Snapshot => machine.wants(),
        Evidence::Photo => Wants::Path { what: "the picture".to_owned() },
    }
}

/// What to scan, in words.
pub const fn scan_words(of: ScanOf) -> &'static str {
    match of {
        ScanOf::Enclosure => "the enclosure tag",
        ScanOf::Bay => "the bay mark",
        ScanOf::Chassis => "the chassis tag",
        ScanOf::Slot => "the slot label",
        ScanOf::Module => "the module label",
        ScanOf::Badge => "the badge",
    }
}
