//! What a record says of one module: where it was, what was seen there, and whether that is reason to send it back.

mod conclusion;
mod text;

use serde::Serialize;

pub use conclusion::Conclusion;
pub use text::slip_text;
pub(super) use text::{check, identity, record};

use super::story::{About, Amended, Hands, PlannedModule, Seen, Story, What};
use crate::verify::serials_equal;

/// The slip of one module.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Slip {
    pub record: About,
    /// As plan, label or report write it; the label's form where there are several.
    pub serial: String,
    pub maker: Option<String>,
    pub part: Option<String>,
    pub date: Option<String>,
    pub spec: Option<String>,
    /// The lot of the stock it came from.
    pub lot: Option<String>,
    /// Who says so: the plan, the label, the machine.
    pub known_from: Vec<&'static str>,
    pub stays: Vec<Stay>,
    pub conclusion: Conclusion,
    /// What else of the record was amended after a sign-off; who reads the slip judges whether it concerns this module.
    pub also_amended: Vec<Amended>,
}

/// One slot the module was in, or was due in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Stay {
    pub slot: String,
    pub socket: String,
    pub channel: String,
    pub position: u8,
    /// Whether the plan wants it there.
    pub planned: bool,
    /// Whether it is there by the end of the record.
    pub there_now: bool,
    pub seen: Vec<Seen>,
}

/// The slip of the module with this serial; `None` when the record never names it. Then [`serials`] tells whom it names.
pub fn slip(story: &Story, serial: &str) -> Option<Slip> {
    let serial = serial.trim();
    let planned = |list: &[PlannedModule]| -> Option<PlannedModule> {
        list.iter().find(|module| module.serial.as_deref().is_some_and(|own| serials_equal(own, serial))).cloned()
    };
    let of_plan = planned(&story.planned.modules).or_else(|| planned(&story.planned.removed));
    let stays: Vec<Stay> = story.slots.iter().filter_map(|slot| stay(story, slot, serial)).collect();
    let all: Vec<&Seen> = stays.iter().flat_map(|stay| &stay.seen).collect();
    let label = all.iter().find_map(|seen| match &seen.what {
        What::Scanned { serial: own, .. } if serials_equal(own, serial) => Some(own.clone()),
        _ => None,
    });
    let report = all.iter().rev().find_map(|seen| match &seen.what {
        What::Reported { serial: Some(own), maker, part, .. } if serials_equal(own, serial) => {
            Some((own.clone(), maker.clone(), part.clone()))
        }
        _ => None,
    });
    let known_from: Vec<&'static str> = [
        (of_plan.is_some(), "plan"),
        (label.is_some(), "label, read in this job"),
        (report.is_some(), "report of the machine"),
    ]
    .into_iter()
    .filter_map(|(known, who)| known.then_some(who))
    .collect();
    if known_from.is_empty() {
        return None;
    }
    let (reported_serial, maker, part) = report.unwrap_or_default();
    let from_plan = |of: fn(&PlannedModule) -> &Option<String>| of_plan.as_ref().and_then(|module| of(module).clone());
    let mut stays = stays;
    stays.sort_by_key(|stay| stay.seen.first().map_or(u64::MAX, |seen| seen.line));
    let conclusion = conclusion::of(story, serial, &stays);
    let told = |one: &&Amended| !conclusion.amended.contains(one);
    Some(Slip {
        also_amended: story.amendments.iter().filter(told).cloned().collect(),
        record: story.record.clone(),
        serial: label.or_else(|| from_plan(|m| &m.serial)).unwrap_or(reported_serial),
        maker: from_plan(|m| &m.maker).or(maker),
        part: from_plan(|m| &m.part).or(part),
        date: from_plan(|m| &m.date),
        spec: of_plan.as_ref().map(|module| module.spec.clone()),
        lot: from_plan(|m| &m.lot),
        known_from,
        conclusion,
        stays,
    })
}

/// All serials a record names, in the order of the slots.
pub fn serials(story: &Story) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let planned = story.planned.modules.iter().chain(&story.planned.removed).filter_map(|module| module.serial.clone());
    let seen = story.slots.iter().flat_map(|slot| &slot.history).filter_map(|seen| match &seen.what {
        What::Scanned { serial, .. } => Some(serial.clone()),
        What::Reported { serial, .. } => serial.clone(),
        _ => None,
    });
    for serial in planned.chain(seen) {
        if !found.iter().any(|own| serials_equal(own, &serial)) {
            found.push(serial);
        }
    }
    found
}

/// What concerns the module at one slot; `None` when it was never there nor due there.
fn stay(story: &Story, slot: &super::story::SlotTold, serial: &str) -> Option<Stay> {
    let is_it = |own: &Option<String>| own.as_deref().is_some_and(|own| serials_equal(own, serial));
    let planned = story.planned.modules.iter().any(|module| module.slot == slot.slot && is_it(&module.serial));
    let at_first = story.planned.modules.iter().chain(&story.planned.removed).any(|module| {
        let place = match module.action {
            "keep" | "remove" => Some(&module.slot),
            "move" => module.from.as_ref(),
            _ => None,
        };
        place == Some(&slot.slot) && is_it(&module.serial)
    });
    let mut there = at_first;
    let mut seen = Vec::new();
    for entry in &slot.history {
        let concerns = match &entry.what {
            What::Scanned { serial: own, hands, corrected_by, .. } => {
                let own = serials_equal(own, serial);
                let before = there;
                if corrected_by.is_none() {
                    there = own && *hands != Hands::Out || there && !own && *hands == Hands::Out;
                }
                // What takes its place ends its stay and belongs to it.
                own || (before && !there)
            }
            What::Reported { serial: own, .. } => there || is_it(own),
            What::Found { finding } => there || finding.module.as_deref().is_some_and(|module| names(module, serial)),
            What::TakenOut { serial: own, .. } | What::Started { serial: own, .. } => serials_equal(own, serial),
            What::Problem { .. } | What::Skipped { .. } => there,
        };
        if concerns {
            seen.push(entry.clone());
        }
    }
    (planned || at_first || !seen.is_empty()).then(|| Stay {
        slot: slot.slot.clone(),
        socket: slot.socket.clone(),
        channel: slot.channel.clone(),
        position: slot.position,
        planned,
        there_now: there,
        seen,
    })
}

/// Whether a finding's description of a module names this serial as a word of its own.
fn names(module: &str, serial: &str) -> bool {
    module.split([' ', ',']).any(|word| serials_equal(word, serial))
}
