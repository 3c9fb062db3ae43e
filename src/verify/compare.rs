//! The comparison, slot by slot.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::board::{Board, SlotLabel, SlotRef};
use crate::text::by_hand;

use super::finding::Finding;
use super::identities::{twice, unreadable};
use super::identity::serial_key;
use super::input::Input;
use super::machine_wide::{counted, uneven_nodes};
use super::matching::{Matched, match_slots};
use super::place::{Place, Serials};
use super::rates::slower;
use super::slots::{module_finding, no_slot_known, state_finding, strangers, unlisted};
use super::{exchange, stale, totals};

/// What came out of a comparison.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Comparison {
    /// The gravest first, then in board order.
    pub findings: Vec<Finding>,
    pub compared: Compared,
    /// What could not be checked, and what is odd but known from sound machines.
    pub notes: Vec<String>,
}

/// How much was compared, and by what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Compared {
    /// Slots of the board that the report has.
    pub slots: u32,
    /// Planned modules that the report shows as working.
    pub modules: u32,
    /// Of these, told by serial.
    pub by_serial: u32,
    /// Of these, told by part number alone.
    pub by_part: u32,
    /// Of these, told by size, kind and ranks alone.
    pub by_description: u32,
    /// Of these, with a rate to compare.
    pub speeds: u32,
}

/// All differences between plan and snapshot.
pub fn compare(input: &Input<'_>) -> Vec<Finding> {
    compare_all(input).findings
}

/// All differences between plan and snapshot, with how much was compared.
pub fn compare_all(input: &Input<'_>) -> Comparison {
    let mut notes = Vec::new();
    let mut compared = Compared::default();
    if let Some(finding) = stale::find(input, &mut notes) {
        return Comparison { findings: vec![finding], compared, notes };
    }
    let (plan, snapshot) = (input.plan, input.snapshot);
    let mut findings = Vec::new();
    if snapshot.slots.is_empty() {
        findings.push(totals::against_plan(plan, snapshot));
        findings.extend(uneven_nodes(input, &findings));
        return Comparison { findings, compared, notes };
    }
    let matched = match_slots(&plan.board, &snapshot.slots);
    if matched.report_of.iter().all(Option::is_none) {
        findings.push(no_slot_known(&plan.board, &snapshot.slots));
        return Comparison { findings, compared, notes };
    }
    let mut places = places(input, &matched);
    compared.slots = places.iter().filter(|place| place.report.is_some()).count() as u32;
    findings.extend(exchange::find(&mut places));
    let used_though_off = totals::used_though_off(snapshot);
    for place in &places {
        let own = [state_finding(place, &places, used_though_off.as_deref()), module_finding(place)];
        // What is wrong in a slot takes hands to put right.
        findings.extend(own.into_iter().flatten().map(|own| Finding { next: by_hand(&own.next), ..own }));
        count(place, plan.mts.is_some(), &mut compared);
    }
    let strange = strangers(&matched, &snapshot.slots);
    findings.extend(unlisted(input, &places, strange.len()));
    findings.extend(strange);
    findings.extend(unreadable(&places));
    findings.extend(twice(&places, &mut notes));
    slower(input, &places, &mut findings);
    findings.extend(counted(input, &places));
    findings.extend(totals::against_slots(snapshot, &mut notes));
    findings.extend(uneven_nodes(input, &findings));
    notes.extend(snapshot.watched().unknown());
    sort(&mut findings, &plan.board);
    Comparison { findings, compared, notes }
}

fn places<'a>(input: &'a Input<'a>, matched: &Matched) -> Vec<Place<'a>> {
    let place = |at: SlotRef<'a>| Place {
        at,
        planned: input.plan.module_at(at.slot.label.as_str()),
        scanned: input.scanned.get(&at.slot.label),
        report: matched.report_of[at.index].map(|line| &input.snapshot.slots[line]),
        serial_tells: true,
        displaced: false,
        found_elsewhere: false,
    };
    let mut places: Vec<Place<'_>> = input.plan.board.slots().map(place).collect();
    let mut wanted: BTreeMap<String, u32> = BTreeMap::new();
    for serial in places.iter().filter_map(Place::wanted_serial) {
        *wanted.entry(serial_key(serial)).or_default() += 1;
    }
    for place in &mut places {
        place.serial_tells =
            place.wanted_serial().is_none_or(|serial| wanted.get(&serial_key(serial)).is_none_or(|count| *count == 1));
    }
    places
}

fn count(place: &Place<'_>, mts_known: bool, compared: &mut Compared) {
    if place.planned.is_none() || !place.is_fitted() {
        return;
    }
    compared.modules += 1;
    match place.serials() {
        Serials::Same | Serials::Differ => compared.by_serial += 1,
        _ if place.expected_part().is_some() && place.reported_part().is_some() => compared.by_part += 1,
        _ => compared.by_description += 1,
    }
    if mts_known && place.report.is_some_and(|report| report.configured_mts.is_some()) {
        compared.speeds += 1;
    }
}

fn sort(findings: &mut [Finding], board: &Board) {
    let order: BTreeMap<&SlotLabel, usize> = board.slots().map(|at| (&at.slot.label, at.index)).collect();
    findings.sort_by_key(|finding| {
        let at = finding.slot.as_ref().and_then(|slot| order.get(slot)).copied();
        (finding.grave, at.is_none(), at, finding.kind)
    });
}
