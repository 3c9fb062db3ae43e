//! What was seen at a slot, in words. The values in them are as the record has them: they are cleaned where they leave.

use super::story::{Came, Hands, Seen, What};
use super::words::counted;
use crate::snapshot::SlotState;
use crate::units::Size;

/// One line: what happened.
pub fn words(seen: &Seen) -> String {
    match &seen.what {
        What::Scanned { serial, value, how, hands, corrected_by } => {
            let hands = match hands {
                Hands::In => "put in",
                Hands::Out => "taken out",
                Hands::Anew => "seated anew",
            };
            let read = if serial == value { String::new() } else { format!(", label read as {value}") };
            let back = corrected_by.map_or_else(String::new, |line| format!("; taken back in line {line}"));
            format!("{hands}: {serial} ({}{read}){back}", how.words())
        }
        What::Reported { .. } => reported(&seen.what),
        What::Found { finding } => {
            let mut text = format!("FINDING {}", finding.kind.name());
            if let Some(planned) = &finding.planned {
                text.push_str(&format!(": planned {planned}"));
            }
            if let Some(reported) = &finding.reported {
                text.push_str(&format!("; reported {reported}"));
            }
            text
        }
        What::TakenOut { serial, why } => format!("{serial} {why}"),
        What::Started { serial, trial, came } => {
            let when = trial.map_or_else(String::new, |trial| format!(" in trial {trial}"));
            match came {
                Came::Worked => format!("{serial} works here{when}"),
                Came::Failed => format!("{serial} FAILS here{when}"),
                Came::Dark => format!("the machine does not start{when}, with {serial} here"),
            }
        }
        What::Problem { text } => format!("PROBLEM reported: {text}"),
        What::Skipped { as_what, why, name, corrected_by, .. } => {
            let back = corrected_by.map_or_else(String::new, |line| format!("; taken back in line {line}"));
            format!("SKIPPED, {}: {why} ({name}){back}", as_what.words())
        }
    }
}

fn reported(what: &What) -> String {
    let What::Reported { state, size_mib, configured_mts, part, serial, corrected, uncorrected, because, .. } = what
    else {
        return String::new();
    };
    let state = state_word(*state);
    let mut parts = Vec::new();
    parts.extend(size_mib.filter(|mib| *mib > 0).map(|mib| Size::from_mib(mib).to_string()));
    parts.extend(part.clone());
    parts.extend(serial.as_ref().map(|serial| format!("serial {serial}")));
    parts.extend(configured_mts.filter(|mts| *mts > 0).map(|mts| format!("{mts} MT/s")));
    for (count, word) in [(*corrected, "corrected error"), (*uncorrected, "uncorrected error")] {
        if let Some(count) = count.filter(|count| *count > 0) {
            parts.push(counted(usize::try_from(count).unwrap_or(usize::MAX), word));
        }
    }
    parts.extend(because.clone());
    let told = if parts.is_empty() { String::new() } else { format!(": {}", parts.join(", ")) };
    format!("machine reports {state}{told}")
}

/// A slot's state in words.
pub const fn state_word(state: SlotState) -> &'static str {
    match state {
        SlotState::Fitted => "fitted",
        SlotState::Empty => "empty",
        SlotState::ShutOff => "shut off",
        SlotState::Unknown => "unknown",
    }
}

/// Whether it speaks against what is in the slot.
pub fn is_bad(seen: &Seen) -> bool {
    if !seen.amended.is_empty() {
        return true;
    }
    match &seen.what {
        What::Found { .. } | What::Problem { .. } => true,
        What::Skipped { corrected_by, .. } => corrected_by.is_none(),
        What::Reported { uncorrected, corrected, .. } => (*uncorrected).max(*corrected) > Some(0),
        What::Started { came, .. } => *came == Came::Failed,
        What::Scanned { .. } | What::TakenOut { .. } => false,
    }
}
