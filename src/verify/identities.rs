//! Serials that cannot be read, and serials that are there twice.

use std::collections::BTreeMap;

use crate::text::{by_hand, shown};

use super::finding::{Finding, FindingKind, Grave};
use super::identity::{parts_equal, serial_key};
use super::place::{Place, Serials};
use super::wording::{about, list};

/// Modules whose serial is expected and cannot be read; one finding when the firmware reads none at all.
pub(super) fn unreadable(places: &[Place<'_>]) -> Vec<Finding> {
    let expecting: Vec<&Place<'_>> =
        places.iter().filter(|p| p.is_fitted() && !p.displaced && p.expected_serial().is_some()).collect();
    let mute: Vec<&Place<'_>> = expecting.iter().copied().filter(|p| p.serials() == Serials::Unreadable).collect();
    let field = ("serial", "serial number");
    let mut findings = Vec::new();
    if mute.len() == expecting.len() && mute.len() > 1 {
        let first = mute[0];
        let next = by_hand("This firmware reads no serials: compare the labels with the plan by eye or by scanner.");
        findings.push(Finding {
            slot: None,
            module: None,
            planned: Some(format!("serials in {}", list(mute.iter().map(|place| place.label())))),
            reported: Some("none".to_owned()),
            ..about(FindingKind::UnreadableIdentity, first, Grave::Look, field, next)
        });
    } else {
        findings.extend(mute.into_iter().map(|place| {
            let next =
                format!("The firmware reads no serial in {}: compare its label by eye or by scanner.", place.label());
            about(FindingKind::UnreadableIdentity, place, Grave::Look, field, by_hand(&next))
        }));
    }
    findings.extend(expecting.into_iter().filter(|p| p.serials() == Serials::OtherForm).map(|place| {
        let next = format!(
            "Label and firmware write the serial of {} in different forms, so they cannot be compared; the part is the same. \
             Compare the label by eye.",
            place.label()
        );
        about(FindingKind::UnreadableIdentity, place, Grave::Look, field, by_hand(&next))
    }));
    findings
}

/// The same serial reported in two slots, by modules that do not say they are of different parts. What the plan itself
/// wants twice is no difference; and a serial that three or more slots and all of them carry is none.
pub(super) fn twice(places: &[Place<'_>], notes: &mut Vec<String>) -> Vec<Finding> {
    let fitted: Vec<&Place<'_>> = places.iter().filter(|place| place.is_fitted()).collect();
    let mut by_serial: BTreeMap<String, Vec<&Place<'_>>> = BTreeMap::new();
    for place in &fitted {
        if let Some(serial) = place.reported_serial() {
            by_serial.entry(serial_key(serial)).or_default().push(place);
        }
    }
    let mut findings = Vec::new();
    for (serial, same) in by_serial {
        let first = same[0];
        let parts_alike = same.iter().all(|place| match (place.reported_part(), first.reported_part()) {
            (Some(one), Some(other)) => parts_equal(one, other),
            _ => true,
        });
        let planned_so =
            same.iter().all(|place| place.wanted_serial().is_some_and(|wanted| serial_key(wanted) == serial));
        if same.len() < 2 || !parts_alike || planned_so {
            continue;
        }
        if same.len() > 2 && same.len() == fitted.len() {
            notes.push(format!(
                "all slots report serial {}, so it is the machine's and not the modules'",
                shown(&serial)
            ));
            continue;
        }
        let labels = list(same.iter().map(|place| place.label()));
        let next =
            format!("{labels} report the same serial. Compare their labels: one may be a copy or wrongly programmed.");
        findings.push(Finding {
            planned: None,
            reported: Some(format!("serial {} in {labels}", shown(&serial))),
            module: Some(format!("serial {}", shown(&serial))),
            ..about(FindingKind::DuplicateSerial, first, Grave::Look, ("serial", "serial number"), by_hand(&next))
        });
    }
    findings
}
