//! Changes in words.

use super::state::{Seen, Step};
use crate::text::shown;

/// A change in words: `seat the module of 1C-3 anew`.
pub fn change_words(change: &Step) -> String {
    match change {
        Step::Reseat(slot) => format!("seat the module of {slot} anew"),
        Step::Swap(one, other) => format!("let the modules of {one} and {other} change places"),
        Step::Move(from, to) => format!("move the module of {from} to {to}"),
        Step::Remove(slot) => format!("take the module of {slot} out"),
        Step::Substitute(slot, serial) => format!("put module {} into {slot}", shown(serial)),
        Step::ClearSettings(_) => "set the firmware's settings for memory back".to_owned(),
    }
}

/// All changes of a trial in words.
pub fn trial_words(changes: &[Step]) -> String {
    if changes.is_empty() {
        return "change nothing and start the machine again".to_owned();
    }
    let each: Vec<String> = changes.iter().map(change_words).collect();
    each.join("; ")
}

/// What a start showed, in words.
pub fn seen_words(seen: &Seen) -> String {
    match seen {
        Seen::NoPost => "the machine did not start".to_owned(),
        Seen::Slots(slots) if slots.is_empty() => "every module worked".to_owned(),
        Seen::Slots(slots) => {
            let slots: Vec<&str> = slots.iter().map(crate::board::SlotLabel::as_str).collect();
            format!("failing: {}", slots.join(", "))
        }
    }
}
