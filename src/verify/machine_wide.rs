//! What is seen beside the slots: errors counted, and sockets with unequal memory.

use std::collections::BTreeMap;

use crate::plan::PlanSlot;
use crate::text::{by_hand, shown};
use crate::units::Size;

use super::finding::{Finding, FindingKind, Grave};
use super::input::Input;
use super::place::Place;
use super::wording::short_name;

/// Errors counted since boot.
pub(super) fn counted(input: &Input<'_>, places: &[Place<'_>]) -> Vec<Finding> {
    let counts = input.snapshot.counts.iter().filter(|count| count.any());
    counts
        .map(|count| {
            let mut named = places.iter().filter(|place| {
                let locator = place.report.and_then(|report| report.locator.as_deref()).unwrap_or_default();
                locator.trim() == count.locator.trim() || place.label().as_str() == count.locator.trim()
            });
            // A locator that two slots share names neither.
            let place = named.next().filter(|_| named.next().is_none());
            let uncorrected = count.uncorrected > Some(0);
            let grave = if uncorrected { Grave::Stop } else { Grave::Look };
            Finding {
                kind: FindingKind::ErrorsCounted,
                slot: place.map(|place| place.label().clone()),
                module: place.and_then(|place| place.planned.map(|planned: &PlanSlot| short_name(planned, place.scanned))),
                planned: Some("no errors".to_owned()),
                reported: Some(format!("{} at {}", count.words(), shown(&count.locator))),
                source: format!("{}, error counts", shown(&count.source)),
                grave,
                next: by_hand(if uncorrected {
                    "Do not hand the machine back. Reseat the module and load the memory; if errors come again, exchange it \
                     with one that works, to see whether they go with the module or stay with the slot."
                } else {
                    "A count of corrected errors alone convicts no module. Load the memory and compare the counts. If they \
                     grow, reseat the module."
                }),
            }
        })
        .collect()
}

/// Nodes of sockets that the plan fills alike and that differ by a module or more, where no finding on a slot explains it.
pub(super) fn uneven_nodes(input: &Input<'_>, findings: &[Finding]) -> Option<Finding> {
    use FindingKind::{Slower, UnreadableIdentity};
    let explained =
        findings.iter().any(|finding| !matches!(finding.kind, Slower | UnreadableIdentity) && finding.slot.is_some());
    let short_of_slots = !input.snapshot.slots.is_empty()
        && findings.iter().any(|f| matches!(f.kind, FindingKind::ShortTotal | FindingKind::UnknownSlot));
    if explained || short_of_slots {
        return None;
    }
    let mut planned: BTreeMap<usize, u64> = BTreeMap::new();
    for at in input.plan.board.slots() {
        if let Some(slot) = input.plan.module_at(at.slot.label.as_str()) {
            *planned.entry(at.socket_index).or_default() += slot.module.spec.gib.mib();
        }
    }
    let first = planned.values().next()?;
    let nodes: Vec<u64> = input.snapshot.totals.nodes_kib.values().map(|kib| kib / 1024).collect();
    // With fewer or an odd number of nodes it is open which socket each belongs to.
    if planned.len() < 2
        || planned.values().any(|mib| mib != first)
        || nodes.is_empty()
        || !nodes.len().is_multiple_of(planned.len())
    {
        return None;
    }
    // Nodes are numbered by socket (from memory); several nodes a socket are added up.
    let sums: Vec<u64> = nodes.chunks(nodes.len() / planned.len()).map(|part| part.iter().sum()).collect();
    let (least, most) = (sums.iter().min()?, sums.iter().max()?);
    let smallest = input.plan.slot.iter().map(|slot| slot.module.spec.gib.mib()).min()?;
    // The kernel itself, and a crash kernel, come out of one node alone.
    let common = 2048 + 64 + 4096 + most / 50;
    // A node shows a little less than the modules behind it have.
    if most - least < (smallest - smallest / 16).max(common) {
        return None;
    }
    let shown: Vec<String> = sums.iter().map(|mib| format!("{:.1} GiB", *mib as f64 / 1024.0)).collect();
    Some(Finding {
        kind: FindingKind::Unbalanced,
        slot: None,
        module: None,
        planned: Some(format!("{} a socket", Size::from_mib(*first))),
        reported: Some(shown.join(", ")),
        source: "numa, MemTotal of each node".to_owned(),
        grave: Grave::Look,
        next: "The sockets have unequal memory though the plan fills them alike: compare the slots of both with the plan, and \
               look in the firmware's error log."
            .to_owned(),
    })
}
