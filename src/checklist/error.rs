//! Why there are no steps.

use super::TemplateError;
use crate::board::SlotLabel;
use crate::text::shown;

/// Why a checklist, a plan and a unit give no steps.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ExpandError {
    #[error("the order has no unit {}; it has {}", shown(unit), list(known))]
    UnknownUnit { unit: String, known: Vec<String> },
    #[error("the plan names slot {slot}, which the board does not have")]
    SlotNotOnBoard { slot: SlotLabel },
    #[error("the plan moves a module to {slot} without naming the other slot it comes from")]
    MoveFromNowhere { slot: SlotLabel },
    #[error("the plan takes a module out of {slot} twice")]
    TakenTwice { slot: SlotLabel },
    #[error("the plan puts a module in {slot}, which is not free by then; remove or move what is in it first")]
    Occupied { slot: SlotLabel },
    #[error(
        "step {} asks for a scan of the {what}, but the order names none for this unit; write it in the order",
        shown(step)
    )]
    NothingToCompare { step: String, what: &'static str },
    #[error("step {} gives its own answer away: {what} stands in its text; leave it out there", shown(step))]
    Leaks { step: String, what: &'static str },
    #[error("step {}: {error}", shown(step))]
    Template { step: String, error: TemplateError },
    #[error("step {}: {} is no {what}", shown(step), shown(value))]
    NotANumber { step: String, value: String, what: &'static str },
    #[error("step {} compares with {}, which is no earlier tally", shown(step), shown(first))]
    NoSuchTally { step: String, first: String },
    #[error("card {} has {steps} steps; ten is the most", shown(card))]
    TooLong { card: String, steps: usize },
    #[error("two steps have the name {}; every name must be unique on its card", shown(step))]
    SameName { step: String },
    #[error("the site sets {}, which this checklist does not have{}", shown(limit), match nearest { Some(n) => format!("; nearest known: {}", shown(n)), None => String::new() })]
    UnknownLimit { limit: String, nearest: Option<String> },
    #[error("the site sets {} in {}; the checklist wants {}", shown(limit), shown(unit), shown(wanted))]
    OtherUnit { limit: String, unit: String, wanted: String },
}

fn list(names: &[String]) -> String {
    let names: Vec<String> = names.iter().map(|name| shown(name).to_string()).collect();
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}
