//! What starts after a verdict show of what it names. A verdict weighs what came before it; what comes after may speak against it.

use super::types::{Came, Since, SlotTold, Verdict, What};
use crate::verify::serials_equal;

/// One module in one slot at one start of the machine.
#[derive(Debug, Clone, Copy)]
pub struct AtStart<'a> {
    pub line: u64,
    pub slot: &'a str,
    pub serial: &'a str,
    pub came: Came,
}

/// Every start on record, with each module whose slot is known: by line, then in board order.
pub fn starts(slots: &[SlotTold]) -> Vec<AtStart<'_>> {
    let all = slots.iter().flat_map(|slot| slot.history.iter().map(move |seen| (slot, seen)));
    let mut starts: Vec<AtStart<'_>> = all
        .filter_map(|(slot, seen)| match &seen.what {
            What::Started { serial, came, .. } => {
                Some(AtStart { line: seen.line, slot: &slot.slot, serial, came: *came })
            }
            _ => None,
        })
        .collect();
    starts.sort_by_key(|start| start.line);
    starts
}

/// Notes at each verdict what starts after it show against it, unless a later verdict names the same.
pub(super) fn mark(verdicts: &mut [Verdict], slots: &[SlotTold]) {
    let starts = starts(slots);
    let same = |one: &Verdict, other: &Verdict| {
        (&one.kind, &one.slot, &one.serial) == (&other.kind, &other.slot, &other.serial)
    };
    for n in 0..verdicts.len() {
        let (earlier, later) = verdicts.split_at_mut(n + 1);
        if let Some(verdict) = earlier.last_mut().filter(|verdict| !later.iter().any(|other| same(verdict, other))) {
            verdict.since = against(verdict, &starts);
        }
    }
}

fn against(verdict: &Verdict, starts: &[AtStart<'_>]) -> Option<Since> {
    let slots: Option<Vec<&str>> = verdict.slot.as_deref().map(|slots| slots.split(' ').collect());
    let named = |start: &AtStart<'_>| match (&verdict.serial, &slots) {
        (Some(serial), _) => serials_equal(start.serial, serial),
        (None, Some(slots)) => slots.contains(&start.slot),
        (None, None) => true,
    };
    let later: Vec<AtStart<'_>> = starts.iter().filter(|s| s.line > verdict.line && named(s)).copied().collect();
    match verdict.kind.as_str() {
        // Bad: it works.
        "module" | "slot" | "channel" | "socket" => Since::of(&later, false),
        // Put right, or nothing wrong: it fails.
        "seating" | "settings" | "seating or settings" | "none" => Since::of(&later, true),
        _ => None,
    }
}

impl Since {
    /// The starts of these that failed, or all of whose modules worked; `None` where there are none.
    pub fn of(starts: &[AtStart<'_>], failed: bool) -> Option<Self> {
        let mut lines: Vec<u64> = starts.iter().map(|start| start.line).collect();
        lines.dedup();
        let at = |line: u64| starts.iter().filter(move |start| start.line == line);
        let speaks = |line: &u64| at(*line).any(|start| start.came != Came::Worked) == failed;
        let against: Vec<u64> = lines.iter().copied().filter(speaks).collect();
        let mut slots: Vec<String> = Vec::new();
        for start in starts.iter().filter(|start| against.contains(&start.line)) {
            let counts = !failed || start.came == Came::Failed;
            if counts && !slots.iter().any(|slot| slot == start.slot) {
                slots.push(start.slot.to_owned());
            }
        }
        (!against.is_empty()).then_some(Self { starts: lines.len(), lines: against, failed, slots })
    }
}
