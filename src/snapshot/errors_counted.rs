//! `/sys/devices/system/edac/mc/mcX/dimmY`: errors the kernel counted per module since boot.

use std::collections::BTreeMap;

use super::folder::unpack;
use super::merge::source_name;
use super::smbios::as_text;
use super::{ErrorCount, SlotReport};

/// One count per module, named as the kernel's driver names it, and notes on what belongs to no module.
pub(super) fn read(raw: &[u8]) -> (Vec<ErrorCount>, Vec<String>) {
    let files = unpack(raw);
    let text = |path: &str| files.get(path).map(|bytes| as_text(bytes).trim_ascii().to_owned());
    let number = |path: &str| text(path).and_then(|text| text.parse::<u64>().ok());
    let mut counts = Vec::new();
    let mut notes = Vec::new();
    // Numbered folders in the order of their numbers, not of their letters.
    let folders: BTreeMap<(usize, &str), ()> =
        files.keys().filter_map(|path| path.rsplit_once('/')).map(|(folder, _)| ((folder.len(), folder), ())).collect();
    for ((_, folder), ()) in folders {
        if folder.contains('/') {
            let corrected = number(&format!("{folder}/dimm_ce_count"));
            let uncorrected = number(&format!("{folder}/dimm_ue_count"));
            if corrected.is_none() && uncorrected.is_none() {
                continue;
            }
            let label = text(&format!("{folder}/dimm_label")).filter(|label| !label.is_empty());
            counts.push(ErrorCount {
                locator: label.unwrap_or_else(|| folder.to_owned()),
                corrected,
                uncorrected,
                source: source_name::EDAC.to_owned(),
            });
        } else {
            for (file, kind) in [("ce_noinfo_count", "corrected"), ("ue_noinfo_count", "uncorrected")] {
                if let Some(count) = number(&format!("{folder}/{file}")).filter(|count| *count > 0) {
                    notes.push(format!("{folder}: {count} {kind} errors of no known module"));
                }
            }
        }
    }
    (counts, notes)
}

/// Puts the slot's own locator in place of the driver's label where exactly one slot fits it: the locator alone, or bank
/// and locator with a space between, as the driver that takes its labels from the firmware writes them.
pub(super) fn name_slots(counts: &mut [ErrorCount], slots: &[SlotReport]) {
    for count in counts {
        let fits = |slot: &&SlotReport| {
            slot.locator.as_deref().is_some_and(|locator| {
                count.locator == locator
                    || slot.bank.as_deref().is_some_and(|bank| {
                        count.locator.strip_prefix(bank).and_then(|rest| rest.strip_prefix(' ')) == Some(locator)
                    })
            })
        };
        let mut fitting = slots.iter().filter(fits);
        if let (Some(slot), None) = (fitting.next(), fitting.next())
            && let Some(locator) = slot.locator.clone()
            && slots.iter().filter(|other| other.locator.as_deref() == Some(&locator)).count() == 1
        {
            count.locator = locator;
        }
    }
}
