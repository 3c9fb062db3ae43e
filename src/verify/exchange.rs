//! Modules that are in the machine, in each other's places.

use std::collections::{BTreeMap, BTreeSet};

use crate::board::SlotLabel;
use crate::snapshot::SlotState;
use crate::text::by_hand;

use super::finding::{Finding, FindingKind, Grave};
use super::place::{Level, Place, Serials};
use super::wording::{list, planned_module, reported_module, short_name, source_of};

/// Finds exchanged and moved modules, marks their places, and says so in one finding each.
///
/// By serial, any ring or chain of modules is followed. By part number and by size only two slots that hold what the
/// other should, or a module that stands in a slot planned to be empty while its own is empty, are taken as exchanged.
pub(super) fn find(places: &mut [Place<'_>]) -> Vec<Finding> {
    let mut findings = by_serial(places);
    for level in [Level::Part, Level::Size] {
        findings.extend(in_pairs(places, level));
        findings.extend(into_empty(places, level));
    }
    findings
}

fn by_serial(places: &mut [Place<'_>]) -> Vec<Finding> {
    let homes = unique(places.iter().enumerate().filter_map(|(n, place)| Some((place.key(Level::Serial).0?, n))));
    let stands = unique(places.iter().enumerate().filter_map(|(n, place)| Some((place.key(Level::Serial).1?, n))));
    // Home of a module -> where it stands.
    let moved: BTreeMap<usize, usize> =
        homes.iter().filter_map(|(serial, home)| Some((*home, *stands.get(serial)?))).filter(|(h, s)| h != s).collect();
    let mut left: BTreeSet<usize> = moved.keys().copied().collect();
    let targets: BTreeSet<usize> = moved.values().copied().collect();
    let mut findings = Vec::new();
    // A chain starts at a home into which nothing of the plan came; what is left after the chains are rings.
    let starts: Vec<usize> = left.iter().copied().filter(|home| !targets.contains(home)).collect();
    for start in starts.into_iter().chain(moved.keys().copied()) {
        if !left.contains(&start) {
            continue;
        }
        let mut way = vec![start];
        let mut home = start;
        while let Some(next) = left.take(&home).and_then(|home| moved.get(&home)).copied() {
            places[home].found_elsewhere = true;
            places[next].displaced = true;
            if next == start {
                break;
            }
            way.push(next);
            home = next;
        }
        findings.push(finding(places, &way, Level::Serial));
    }
    findings
}

fn in_pairs(places: &mut [Place<'_>], level: Level) -> Vec<Finding> {
    let wrong: Vec<(usize, String, String)> = (0..places.len())
        .filter(|n| places[*n].is_fitted() && is_open(&places[*n], level))
        .filter_map(|n| match places[n].key(level) {
            (Some(expected), Some(reported)) if expected != reported => Some((n, expected, reported)),
            _ => None,
        })
        .collect();
    let mut findings = Vec::new();
    for (i, (one, expected, reported)) in wrong.iter().enumerate() {
        if places[*one].displaced {
            continue;
        }
        let other = wrong[i + 1..]
            .iter()
            .find(|(n, theirs, shows)| !places[*n].displaced && theirs == reported && shows == expected);
        let Some((other, ..)) = other else { continue };
        for n in [*one, *other] {
            places[n].displaced = true;
            places[n].found_elsewhere = true;
        }
        findings.push(finding(places, &[*one, *other], level));
    }
    findings
}

/// A module in a slot that should be empty, while a slot that should hold just such a module is empty.
fn into_empty(places: &mut [Place<'_>], level: Level) -> Vec<Finding> {
    let mut findings = Vec::new();
    for hole in 0..places.len() {
        let place = &places[hole];
        if place.state() != Some(SlotState::Empty) || place.found_elsewhere {
            continue;
        }
        let Some(expected) = place.key(level).0 else { continue };
        let extra = (0..places.len()).find(|n| {
            let other = &places[*n];
            other.planned.is_none() && other.is_fitted() && !other.displaced && fits(place, other, level, &expected)
        });
        let Some(extra) = extra else { continue };
        places[hole].found_elsewhere = true;
        places[extra].displaced = true;
        findings.push(finding(places, &[hole, extra], level));
    }
    findings
}

/// Whether the module reported in `other` can be the one planned for `hole`, as far as `level` tells.
fn fits(hole: &Place<'_>, other: &Place<'_>, level: Level, expected: &str) -> bool {
    if other.key(level).1.as_deref() != Some(expected) {
        return false;
    }
    let finer: &[Level] = match level {
        Level::Serial => &[],
        Level::Part => &[Level::Serial],
        Level::Size => &[Level::Serial, Level::Part],
    };
    finer.iter().all(|finer| match (hole.key(*finer).0, other.key(*finer).1) {
        (Some(expected), Some(reported)) => expected == reported,
        _ => true,
    })
}

/// Whether nothing finer than `level` decides which module this is.
fn is_open(place: &Place<'_>, level: Level) -> bool {
    if place.displaced || place.found_elsewhere {
        return false;
    }
    let by_serial = matches!(place.serials(), Serials::Same | Serials::Differ);
    let by_part = place.expected_part().is_some() && place.reported_part().is_some();
    !(by_serial || level == Level::Size && by_part)
}

/// Entries whose key occurs once: what stands twice tells nothing.
fn unique(entries: impl Iterator<Item = (String, usize)>) -> BTreeMap<String, usize> {
    let mut found: BTreeMap<String, Option<usize>> = BTreeMap::new();
    for (key, n) in entries {
        found.entry(key).and_modify(|slot| *slot = None).or_insert(Some(n));
    }
    found.into_iter().filter_map(|(key, n)| Some((key, n?))).collect()
}

/// One finding for a ring or a chain: `way` lists the homes, each module standing in the next place of the list.
fn finding(places: &[Place<'_>], way: &[usize], level: Level) -> Finding {
    let labels: Vec<&SlotLabel> = way.iter().map(|n| places[*n].label()).collect();
    let ring = way.iter().all(|n| places[*n].found_elsewhere && places[*n].displaced);
    let first = &places[way[0]];
    let holder = way.get(1).map_or(first, |n| &places[*n]);
    let (field, word) = match level {
        Level::Serial => ("serial", "serial number"),
        Level::Part => ("part", "part number"),
        Level::Size => ("size_mib", "size"),
    };
    let next = if ring && way.len() == 2 {
        format!("Exchange the modules of {}, then start and capture again.", list(labels.iter().copied()))
    } else if ring {
        format!(
            "The modules of {} stand in a ring, each in the next slot of this list: put each back, then \
             start and capture again.",
            list(labels.iter().copied())
        )
    } else {
        let moves: Vec<String> =
            way.windows(2).map(|pair| format!("{} to {}", places[pair[1]].label(), places[pair[0]].label())).collect();
        format!("Move the module of {}, then start and capture again.", moves.join(", and of "))
    };
    Finding {
        kind: FindingKind::Exchanged,
        slot: Some(first.label().clone()),
        module: first.planned.map(|planned| short_name(planned, first.scanned)),
        planned: Some(planned_module(first)),
        reported: Some(format!(
            "in {}: {}",
            holder.label(),
            holder.report.map_or_else(|| "nothing".to_owned(), reported_module)
        )),
        source: holder.report.map_or_else(|| "snapshot".to_owned(), |report| source_of(report, field, word)),
        grave: Grave::Stop,
        next: by_hand(&next),
    }
}
