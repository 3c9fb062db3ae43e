//! What the merged table makes of real machines. Which module is shut off where: the facts noted with each table
//! (`data/smbios/MANIFEST.tsv`, column `odd`; slots and fitted slots in columns of their own).

use slotwise::snapshot::{Merged, SlotState, from_table, is_placeholder, merge};

use crate::machine_tables::{manifest, tables};

/// Machines with modules that are shut off, by the end of the table's name, with the slots.
const SHUT_OFF: &[(&str, &[&str])] = &[
    ("86B4DEEC0CA5", &["DIMM15"]),
    ("F55CE0679C61", &["DIMM 9"]),
    ("6F6DEF6E7D5A", &["DIMM 7", "DIMM 8", "DIMM 10", "DIMM 19", "DIMM 20", "DIMM 22"]),
    ("A55741AC6343", &["PROC 2 DIMM 4"]),
    ("883610D37508", &["P1-DIMMB1"]),
];

fn merged() -> Vec<(String, Merged)> {
    tables().into_iter().map(|(file, bytes)| (file, from_table(&bytes))).collect()
}

fn locators(merged: &Merged, state: SlotState) -> Vec<&str> {
    let slots = merged.slots.iter().filter(|slot| slot.state == state);
    slots.map(|slot| slot.locator.as_deref().unwrap_or("?")).collect()
}

#[test]
fn exactly_the_modules_known_to_be_shut_off_are_found() {
    for (file, merged) in merged() {
        let known = SHUT_OFF.iter().find(|(name, _)| file.contains(name)).map_or(&[][..], |(_, slots)| slots);
        assert_eq!(locators(&merged, SlotState::ShutOff), known, "{file}");
        for slot in merged.slots.iter().filter(|slot| slot.state == SlotState::ShutOff) {
            assert!(slot.because.is_some() && slot.part.is_some(), "{file}: {slot:?}");
        }
    }
}

#[test]
fn slots_and_fitted_slots_are_as_many_as_noted() {
    let manifest = manifest("data/smbios/MANIFEST.tsv");
    for (file, merged) in merged() {
        // The manifest leaves out slots whose array is not in the table; that is two kinds of virtual machine.
        if merged.sources[0].notes.iter().any(|note| note.contains("name an array that is not in the table")) {
            assert!(file.contains("vmware") || file.contains("HyperV"), "{file}");
            continue;
        }
        let row = &manifest[&file];
        let sized = merged.slots.iter().filter(|slot| slot.size_mib.is_some());
        assert_eq!(merged.slots.len().to_string(), row["slots"], "{file}");
        assert_eq!(sized.count().to_string(), row["fitted"], "{file}");
    }
}

#[test]
fn identities_are_trimmed_and_no_placeholders_and_every_known_field_has_its_source() {
    for (file, merged) in merged() {
        for slot in &merged.slots {
            for value in [&slot.maker, &slot.part, &slot.serial].into_iter().flatten() {
                assert!(!is_placeholder(value) && value.trim_matches([' ', '\0']) == value, "{file}: {value:?}");
            }
            let json = serde_json::to_value(slot).unwrap();
            for (field, value) in json.as_object().unwrap() {
                if !matches!(field.as_str(), "handle" | "sources" | "because") {
                    assert_eq!(slot.sources.contains_key(field), !value.is_null(), "{file}: {field} of {slot:?}");
                }
            }
        }
    }
}

#[test]
fn deriving_a_table_again_gives_the_same() {
    for (file, merged) in merged() {
        assert_eq!(merge(&merged.sources), merged, "{file}");
    }
}
