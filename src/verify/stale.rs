//! Whether the snapshot is of this machine, after this work.

use crate::text::shown;

use super::finding::{Finding, FindingKind, Grave};
use super::input::Input;

/// The first reason why the snapshot is no evidence; and what could not be checked.
pub(super) fn find(input: &Input<'_>, notes: &mut Vec<String>) -> Option<Finding> {
    other_machine(input, notes).or_else(|| same_boot(input)).or_else(|| too_old(input))
}

fn finding(kind: FindingKind, planned: String, reported: String, source: &str, next: &str) -> Finding {
    Finding {
        kind,
        slot: None,
        module: None,
        planned: Some(planned),
        reported: Some(reported),
        source: source.to_owned(),
        grave: Grave::Stop,
        next: next.to_owned(),
    }
}

/// The asset tag is what a house sets itself; a chassis serial is the maker's and need not be the tag on the job, so it
/// can confirm but not contradict.
fn other_machine(input: &Input<'_>, notes: &mut Vec<String>) -> Option<Finding> {
    let host = &input.snapshot.host;
    let known =
        |text: &Option<String>| text.as_deref().map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned);
    if let Some(expected) = input.chassis.map(str::trim) {
        let tag = known(&host.chassis_tag);
        let serials = [known(&host.chassis_serial), known(&host.serial)];
        let confirmed = tag.as_deref() == Some(expected) || serials.iter().flatten().any(|serial| serial == expected);
        match tag {
            _ if confirmed => {}
            Some(tag) => {
                return Some(finding(
                    FindingKind::OtherMachine,
                    format!("chassis {}", shown(expected)),
                    format!("chassis {}", shown(&tag)),
                    "smbios type 3, asset tag",
                    "This report is of another machine. Check the tag on the chassis, and capture on the right one.",
                ));
            }
            None => notes.push(format!(
                "the machine does not say its chassis tag, so nothing shows that the report is of {}",
                shown(expected)
            )),
        }
    }
    let uuid = known(&host.uuid)?;
    let before = input.earlier.iter().filter_map(|earlier| known(&earlier.uuid)).find(|before| *before != uuid)?;
    Some(finding(
        FindingKind::OtherMachine,
        format!("machine {}", shown(&before)),
        format!("machine {}", shown(&uuid)),
        "smbios type 1, UUID",
        "This report is of another machine than the one captured before the work. Capture on the right one.",
    ))
}

fn same_boot(input: &Input<'_>) -> Option<Finding> {
    let boot = input.snapshot.host.boot_id.as_deref()?.trim();
    input.earlier.iter().any(|earlier| earlier.boot_id.as_deref().map(str::trim) == Some(boot)).then(|| {
        finding(
            FindingKind::StaleSnapshot,
            "a boot after the work".to_owned(),
            format!("boot {}, the same as before the work", shown(boot)),
            "proc/sys/kernel/random/boot_id",
            "The machine has not been started since: this shows the memory as it was before. Start it and capture again.",
        )
    })
}

fn too_old(input: &Input<'_>) -> Option<Finding> {
    let on = input.powered_on?;
    let taken = input.snapshot.taken;
    (taken < on).then(|| {
        finding(
            FindingKind::StaleSnapshot,
            format!("taken after power-on at {}", on.to_rfc3339()),
            format!("taken at {}", taken.to_rfc3339()),
            "snapshot, taken",
            "The report is older than the last power-on, or the machine's clock is wrong. Capture again.",
        )
    })
}
