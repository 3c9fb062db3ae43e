//! Modules that run slower than planned.

use std::collections::BTreeMap;

use super::finding::{Finding, FindingKind, Grave};
use super::input::Input;
use super::place::Place;
use super::wording::{about, list, short_name};

/// Modules that run below the planned rate. Some firmware reports 2933 as 2934, so one MT/s is no difference. Where a
/// wrong module explains the rate, its own finding says so.
pub(super) fn slower(input: &Input<'_>, places: &[Place<'_>], findings: &mut Vec<Finding>) {
    let Some(planned) = input.plan.mts else { return };
    let running: Vec<(&Place<'_>, u32)> = places
        .iter()
        .filter(|place| place.is_fitted())
        .filter_map(|place| Some((place, place.report?.configured_mts?)))
        .collect();
    let mut by_rate: BTreeMap<u32, Vec<&Place<'_>>> = BTreeMap::new();
    for (place, mts) in &running {
        if mts + 1 < planned.0 {
            by_rate.entry(*mts).or_default().push(place);
        }
    }
    // A module more on a channel than planned slows it, and a wrong one slows it where its own rate is that low.
    let one_more = places.iter().any(|place| place.planned.is_none() && place.is_fitted());
    let slows = |finding: &Finding, mts: u32| match finding.kind {
        FindingKind::Unplanned | FindingKind::Exchanged => one_more,
        FindingKind::WrongModule | FindingKind::WrongSize | FindingKind::WrongKind => places.iter().any(|place| {
            finding.slot.as_ref() == Some(place.label())
                && place.report.and_then(|report| report.rated_mts).is_some_and(|rated| rated <= mts + 1)
        }),
        _ => false,
    };
    for (mts, slow) in by_rate {
        let culprit = findings.iter_mut().find(|finding| slows(finding, mts));
        if let Some(culprit) = culprit {
            culprit
                .next
                .push_str(&format!(" It also holds {} at {mts} MT/s in place of {planned}.", slots_word(slow.len())));
            continue;
        }
        let all = slow.len() == running.len();
        let labels = list(slow.iter().map(|place| place.label()));
        let whom = if all && slow.len() > 1 { "All modules".to_owned() } else { labels.clone() };
        let next = format!(
            "{whom} run at {mts} MT/s, planned {planned}. Look in the firmware's setup for a memory speed limit or a power \
             saving profile, and whether all modules of the channel are those of the plan."
        );
        findings.push(Finding {
            slot: (slow.len() == 1).then(|| slow[0].label().clone()),
            module: (slow.len() == 1).then(|| slow[0].planned.map(|p| short_name(p, slow[0].scanned))).flatten(),
            planned: Some(planned.to_string()),
            reported: Some(format!("{mts} MT/s in {labels}")),
            ..about(FindingKind::Slower, slow[0], Grave::Look, ("configured_mts", "configured speed"), next)
        });
    }
}

fn slots_word(count: usize) -> String {
    if count == 1 { "1 module".to_owned() } else { format!("{count} modules") }
}
