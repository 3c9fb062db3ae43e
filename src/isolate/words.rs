//! Changes in words.

use super::evidence::{Finding, Stood};
use super::fault::Mode;
use super::state::{Seen, Step};
use crate::text::shown;

/// A probability in words: per cent with one decimal, rounded down and never up to certainty.
pub fn per_cent(chance: f64) -> String {
    // What was written as a decimal number is not to lose a digit to the binary one.
    let ppm = (chance.clamp(0.0, 1.0) * 1e6).round() as u32;
    match ppm {
        999_001.. => "more than 99.9 %".to_owned(),
        1..1_000 => "less than 0.1 %".to_owned(),
        _ => format!("{}.{} %", ppm / 10_000, ppm / 1_000 % 10),
    }
}

/// The probability of a verdict or an explanation in words; `None` where none was worked out.
pub fn sure_words(what: &str, probability: &str) -> Option<String> {
    let computed = !matches!(what, "undecided" | "none" | "rules");
    probability.parse().ok().filter(|_| computed).map(per_cent)
}

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

/// All changes of a trial in words; what is done alike to several modules is said once.
pub fn trial_words(changes: &[Step]) -> String {
    if changes.is_empty() {
        return "change nothing and start the machine again".to_owned();
    }
    let mut parts: Vec<String> = Vec::new();
    let mut rest = changes;
    while let Some(first) = rest.first() {
        let alike =
            rest.iter().take_while(|other| std::mem::discriminant(*other) == std::mem::discriminant(first)).count();
        let (group, after) = rest.split_at(alike);
        rest = after;
        let slots = |of: fn(&Step) -> Option<&crate::board::SlotLabel>| {
            let slots: Vec<&str> = group.iter().filter_map(of).map(crate::board::SlotLabel::as_str).collect();
            slots.join(", ")
        };
        match first {
            Step::Reseat(_) if alike > 1 => {
                let slots = slots(|step| if let Step::Reseat(slot) = step { Some(slot) } else { None });
                parts.push(format!("seat the modules of {slots} anew"));
            }
            Step::Remove(_) if alike > 1 => {
                let slots = slots(|step| if let Step::Remove(slot) = step { Some(slot) } else { None });
                parts.push(format!("take the modules of {slots} out"));
            }
            Step::Substitute(..) if alike > 1 => {
                let each = group.iter().filter_map(|step| match step {
                    Step::Substitute(slot, serial) => Some(format!("{} into {slot}", shown(serial))),
                    _ => None,
                });
                parts.push(format!("put modules {}", each.collect::<Vec<_>>().join(", ")));
            }
            _ => parts.extend(group.iter().map(change_words)),
        }
    }
    parts.join("; ")
}

/// A trial as it is put to a person: the change, then why. A reason that begins with the change is not preceded by it.
pub fn trial_told(trial: &super::Trial) -> String {
    let change = super::why::sentence(&trial_words(&trial.changes));
    if trial.why.starts_with(&change) { trial.why.clone() } else { format!("{change}. {}", trial.why) }
}

/// How modules that did not stand level stood before they were touched, in words; `None` where all did, or nobody looked.
pub fn stood_words(found: &[Finding]) -> Option<String> {
    let open = found.iter().filter(|finding| finding.stood == Some(Stood::Open));
    let mut slots: Vec<&str> = Vec::new();
    for slot in open.map(|finding| finding.slot.as_str()) {
        if !slots.contains(&slot) {
            slots.push(slot);
        }
    }
    match slots.as_slice() {
        [] => None,
        [slot] => {
            Some(format!("before it was touched, the module of {slot} stood with a latch open or its edge not level"))
        }
        several => Some(format!(
            "before they were touched, the modules of {} stood with a latch open or the edge not level",
            several.join(", ")
        )),
    }
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

/// How a machine shows a fault, in words.
pub const fn mode_words(mode: Mode) -> &'static str {
    match mode {
        Mode::Slot => "it names the slot that fails",
        Mode::Channel => "it drops a whole channel for one bad slot, so slots of one channel are not told apart",
        Mode::Blind => "it does not start with the fault in it, and names no slot",
    }
}
