//! How values and sources are named in findings.

use crate::board::SlotLabel;
use crate::module::Identity;
use crate::plan::PlanSlot;
use crate::snapshot::SlotReport;
use crate::text::shown;
use crate::units::Size;

use super::finding::{Finding, FindingKind, Grave};
use super::place::Place;

/// `OM4R32-2R4-2666, serial 0C0DE001, 32 GiB DDR4 RDIMM 2Rx4 2666 MT/s`: what is known of the planned module.
pub(super) fn planned_module(place: &Place<'_>) -> String {
    let Some(planned) = place.planned else { return "empty".to_owned() };
    let mut parts = Vec::new();
    parts.extend(place.expected_part().map(|part| shown(part).to_string()));
    parts.extend(place.expected_serial().map(|serial| format!("serial {}", shown(serial))));
    parts.push(planned.module.spec.to_string());
    parts.join(", ")
}

/// What the report says of a slot's module.
pub(super) fn reported_module(report: &SlotReport) -> String {
    let mut parts = Vec::new();
    parts.extend(report.part.as_deref().map(|part| shown(part).to_string()));
    parts.extend(report.serial.as_deref().map(|serial| format!("serial {}", shown(serial))));
    let mut described = Vec::new();
    described.extend(report.size_mib.filter(|mib| *mib > 0).map(|mib| Size::from_mib(mib).to_string()));
    described.extend(report.generation.map(|generation| generation.to_string()));
    described.extend(report.kind.map(|kind| kind.to_string()));
    described.extend(report.ranks.map(|ranks| format!("{ranks}R")));
    described.extend(report.rated_mts.map(|mts| format!("{mts} MT/s")));
    if !described.is_empty() {
        parts.push(described.join(" "));
    }
    if parts.is_empty() { "a module of which nothing is said".to_owned() } else { parts.join(", ") }
}

/// The shortest name of a planned module: serial, else part, else what it is.
pub(super) fn short_name(planned: &PlanSlot, scanned: Option<&Identity>) -> String {
    let pick = |of: fn(&Identity) -> Option<&str>| scanned.and_then(of).or_else(|| of(&planned.module.identity));
    if let Some(serial) = pick(|identity| identity.serial.as_deref()) {
        return format!("serial {}", shown(serial));
    }
    match pick(|identity| identity.part.as_deref()) {
        Some(part) => shown(part).to_string(),
        None => planned.module.spec.to_string(),
    }
}

/// `smbios type 17 handle 0x0038, size`: where a field of a report was read.
pub(super) fn source_of(report: &SlotReport, field: &str, word: &str) -> String {
    let said = report.sources.get(field).map_or("", String::as_str);
    match report.handle {
        Some(handle) if said.is_empty() || said.starts_with("smbios") => {
            format!("smbios type 17 handle {handle:#06x}, {word}")
        }
        _ if said.is_empty() => format!("snapshot, {word}"),
        _ => format!("{}, {word}", shown(said)),
    }
}

/// `0A1`, `0A1 and 0B1`, `0A1, 0B1 and 0C1`; from the ninth on only their number.
pub(super) fn list<'a>(labels: impl IntoIterator<Item = &'a SlotLabel>) -> String {
    let mut names: Vec<String> = labels.into_iter().map(ToString::to_string).collect();
    const MOST: usize = 8;
    if names.len() > MOST {
        let more = names.len() - MOST;
        names.truncate(MOST);
        return format!("{} and {more} more", names.join(", "));
    }
    match names.pop() {
        None => String::new(),
        Some(only) if names.is_empty() => only,
        Some(last) => format!("{} and {last}", names.join(", ")),
    }
}

/// A finding about a planned or reported module, with what is the same in all of them filled in.
pub(super) fn about(
    kind: FindingKind,
    place: &Place<'_>,
    grave: Grave,
    (field, word): (&str, &str),
    next: String,
) -> Finding {
    Finding {
        kind,
        slot: Some(place.label().clone()),
        module: match (place.planned, place.report) {
            (Some(planned), _) => Some(short_name(planned, place.scanned)),
            (None, Some(report)) => Some(reported_module(report)),
            (None, None) => None,
        },
        planned: Some(planned_module(place)),
        reported: place.report.map(reported_module),
        source: place.report.map_or_else(|| "snapshot, slots".to_owned(), |report| source_of(report, field, word)),
        grave,
        next,
    }
}
