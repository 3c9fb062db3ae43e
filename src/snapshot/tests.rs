//! The merged table from tables made for the purpose.

use super::smbios::write::{Draft, table};
use super::*;
use crate::module::{Generation, Kind};

const ARRAY: u16 = 0x1000;
const GIB: u64 = 1 << 30;

fn array() -> Draft {
    Draft::new(16, 0x17, ARRAY).byte(0x04, 3).byte(0x05, 3).byte(0x06, 5).word(0x0B, 0xFFFE).word(0x0D, 4)
}

fn empty(handle: u16, locator: &str) -> Draft {
    Draft::new(17, 0x54, handle)
        .word(0x04, ARRAY)
        .word(0x06, 0xFFFE)
        .byte(0x0E, 0x09)
        .string(0x10, locator.as_bytes())
        .string(0x11, b"NODE 0")
}

/// 32 GiB DDR4 RDIMM, two ranks, rated 3200, running at 2933.
fn module(handle: u16, locator: &str, serial: &str) -> Draft {
    empty(handle, locator)
        .word(0x08, 72)
        .word(0x0A, 64)
        .word(0x0C, 0x7FFF)
        .dword(0x1C, 0x8000)
        .byte(0x12, 0x1A)
        .word(0x13, 1 << 7 | 1 << 13)
        .word(0x15, 3200)
        .byte(0x1B, 2)
        .word(0x20, 2933)
        .word(0x26, 1200)
        .string(0x17, b"Osprey Memory   ")
        .string(0x18, serial.as_bytes())
        .string(0x1A, b"OM4R32-2R4-3200     ")
}

fn range(bytes: u64) -> Draft {
    Draft::new(19, 0x1F, 0x1300).word(0x0C, ARRAY).dword(0x04, u32::MAX).dword(0x08, u32::MAX).qword(0x17, bytes - 1)
}

fn device_range(device: u16) -> Draft {
    Draft::new(20, 0x23, 0x1400 + (device & 0xFF)).word(0x0C, device).dword(0x08, 0x1FF_FFFF)
}

fn merged(drafts: impl IntoIterator<Item = Draft>) -> Merged {
    from_table(&table(drafts))
}

fn states(merged: &Merged) -> Vec<SlotState> {
    merged.slots.iter().map(|slot| slot.state).collect()
}

#[test]
fn a_fitted_and_an_empty_slot() {
    let merged = merged([array(), module(0x1100, "A1", "5A01"), empty(0x1101, "A2"), range(32 * GIB)]);
    let slot = &merged.slots[0];
    assert_eq!(slot.state, SlotState::Fitted);
    assert_eq!((slot.locator.as_deref(), slot.bank.as_deref()), (Some("A1"), Some("NODE 0")));
    assert_eq!((slot.size_mib, slot.ranks), (Some(32 * 1024), Some(2)));
    assert_eq!((slot.generation, slot.kind), (Some(Generation::DDR4), Some(Kind::RDIMM)));
    assert_eq!((slot.rated_mts, slot.configured_mts), (Some(3200), Some(2933)));
    assert_eq!((slot.maker.as_deref(), slot.part.as_deref()), (Some("Osprey Memory"), Some("OM4R32-2R4-3200")));
    assert_eq!((slot.serial.as_deref(), slot.handle, slot.mapped), (Some("5A01"), Some(0x1100), None));
    assert_eq!(slot.sources["size_mib"], "smbios type 17, 1Ch");
    assert_eq!(slot.sources["configured_mts"], "smbios type 17, 20h");
    assert_eq!((merged.slots[1].state, merged.slots[1].size_mib), (SlotState::Empty, None));
    assert_eq!((merged.totals.firmware_mib, merged.totals.mapped_mib), (Some(32 * 1024), Some(32 * 1024)));
}

#[test]
fn what_firmware_writes_about_an_empty_slot_does_not_fit_a_module() {
    for word in ["NO DIMM", "Not Specified", "Dimm1_Manufacturer_Name_String", "00000000", "   ", "[Empty]"] {
        let chatty = empty(0x1101, "A2")
            .word(0x08, 72)
            .word(0x0A, 64)
            .byte(0x12, 0x1A)
            .word(0x15, 1333)
            .byte(0x1B, 2)
            .string(0x17, word.as_bytes())
            .string(0x18, word.as_bytes())
            .string(0x1A, word.as_bytes());
        let merged = merged([array(), module(0x1100, "A1", "5A01"), chatty]);
        let slot = &merged.slots[1];
        assert_eq!((slot.state, slot.rated_mts, slot.ranks), (SlotState::Empty, None, None), "{word}");
        assert_eq!(slot.sources.keys().collect::<Vec<_>>(), ["bank", "locator", "state"], "{word}");
    }
}

#[test]
fn way_a_size_zero_with_the_identity_kept() {
    let off = module(0x1101, "A2", "5A02").word(0x0C, 0);
    let merged = merged([array(), module(0x1100, "A1", "5A01"), off]);
    let slot = &merged.slots[1];
    assert_eq!((slot.state, slot.size_mib), (SlotState::ShutOff, None));
    assert_eq!(slot.serial.as_deref(), Some("5A02"));
    assert!(slot.because.as_deref().unwrap().starts_with("size 0, but"));
}

#[test]
fn way_b_configured_speed_and_voltage_zero() {
    let off = |handle| module(handle, "A2", "5A02").word(0x20, 0).word(0x26, 0);
    let merged_one = merged([array(), module(0x1100, "A1", "5A01"), off(0x1101), range(32 * GIB)]);
    assert_eq!(states(&merged_one), [SlotState::Fitted, SlotState::ShutOff]);
    let slot = &merged_one.slots[1];
    assert_eq!((slot.size_mib, slot.configured_mts), (Some(32 * 1024), None));
    assert!(slot.because.as_deref().unwrap().ends_with("the mapped memory is short by at least this module"));

    // Firmware that fills these fields for no module says nothing with them.
    assert_eq!(states(&merged([array(), off(0x1100), off(0x1101)])), [SlotState::Fitted; 2]);
    // One of the two alone is no sign either.
    let slow = module(0x1101, "A2", "5A02").word(0x20, 0);
    assert_eq!(states(&merged([array(), module(0x1100, "A1", "5A01"), slow])), [SlotState::Fitted; 2]);
}

#[test]
fn way_c_no_addresses_and_ranges_short_by_a_module() {
    let build = |mapped_gib: u64, with: &[u16]| {
        let mut drafts = vec![array()];
        drafts.extend((0..4).map(|n| module(0x1100 + n, &format!("A{n}"), &format!("5A0{n}"))));
        drafts.push(range(mapped_gib * GIB));
        drafts.extend(with.iter().map(|handle| device_range(*handle)));
        merged(drafts)
    };
    let short = build(96, &[0x1100, 0x1101, 0x1103]);
    assert_eq!(states(&short), [SlotState::Fitted, SlotState::Fitted, SlotState::ShutOff, SlotState::Fitted]);
    assert_eq!((short.slots[2].mapped, short.slots[1].mapped), (Some(false), Some(true)));
    assert!(short.slots[2].because.as_deref().unwrap().contains("short by 32768 MiB"));
    // Nothing is missing, nobody has addresses, or less is missing than the modules without addresses hold: no verdict.
    assert_eq!(states(&build(128, &[0x1100, 0x1101, 0x1103])), [SlotState::Fitted; 4]);
    assert_eq!(states(&build(126, &[0x1100, 0x1101, 0x1103])), [SlotState::Fitted; 4]);
    assert_eq!(states(&build(96, &[])), [SlotState::Fitted; 4]);
    assert_eq!(states(&build(96, &[0x1100])), [SlotState::Fitted; 4]);
}

#[test]
fn way_d_size_unknown_with_the_identity_kept() {
    let off = module(0x1101, "A2", "5A02").word(0x0C, 0xFFFF);
    let merged_one = merged([array(), module(0x1100, "A1", "5A01"), off]);
    assert_eq!(states(&merged_one), [SlotState::Fitted, SlotState::ShutOff]);
    assert!(merged_one.slots[1].because.as_deref().unwrap().contains("FFFFh"));
    let nameless = empty(0x1101, "A2").word(0x0C, 0xFFFF).string(0x1A, b"PartNum0").string(0x17, b"Manufacturer0");
    assert_eq!(states(&merged([array(), nameless])), [SlotState::Unknown]);
}

#[test]
fn way_e_looks_like_an_empty_slot_and_says_so() {
    let merged = merged([array(), module(0x1100, "A1", "5A01"), empty(0x1101, "A2"), range(32 * GIB)]);
    assert_eq!((merged.slots[1].state, merged.slots[1].because.as_deref()), (SlotState::Empty, None));
}

#[test]
fn devices_of_an_array_for_another_use_are_no_slots() {
    let flash = Draft::new(16, 0x17, 0x1001).byte(0x04, 3).byte(0x05, 5).word(0x0D, 1);
    let chip = Draft::new(17, 0x54, 0x1108).word(0x04, 0x1001).word(0x0C, 4).string(0x10, b"FLASH");
    let lost = module(0x1101, "A2", "5A02").word(0x04, 0x7777);
    let merged = merged([array(), flash, module(0x1100, "A1", "5A01"), chip, lost]);
    assert_eq!(merged.slots.iter().map(|slot| slot.locator.as_deref()).collect::<Vec<_>>(), [Some("A1"), Some("A2")]);
    assert_eq!(merged.totals.firmware_mib, Some(64 * 1024));
    let notes = merged.sources[0].notes.join("\n");
    assert!(notes.contains("array 0x1001 is not system memory (use 05h): its 1 devices are left out"), "{notes}");
    assert!(notes.contains("1 slots name an array that is not in the table"), "{notes}");
    assert!(notes.contains("array 0x1000 says it has 4 slots, 1 are listed"), "{notes}");
}

#[test]
fn ranges_that_make_no_sense_are_left_out_and_named() {
    let inside_out = Draft::new(19, 0x0F, 0x1301).dword(0x04, 100).dword(0x08, 10).word(0x0C, ARRAY);
    let tiny = Draft::new(19, 0x0F, 0x1302).word(0x0C, ARRAY);
    let merged_one = merged([array(), module(0x1100, "A1", "5A01"), range(32 * GIB), inside_out, tiny.clone()]);
    assert_eq!(merged_one.totals.mapped_mib, Some(32 * 1024));
    let notes = merged_one.sources[0].notes.join("\n");
    assert!(notes.contains("range 0x1301 has no end or is inside out"), "{notes}");
    assert!(notes.contains("range 0x1302 has 1024 bytes"), "{notes}");
    let only_tiny = merged([array(), module(0x1100, "A1", "5A01"), range(GIB), tiny]);
    assert_eq!(only_tiny.totals.mapped_mib, None);
    assert!(only_tiny.sources[0].notes.iter().any(|note| note.contains("clearly less than one module")));
}

#[test]
fn ranges_of_about_one_module_of_two_make_sense() {
    let two = || [array(), module(0x1100, "A1", "5A01"), module(0x1101, "A2", "5A02")];
    for (mib, kept) in [(32_766, true), (28 * 1024, true), (16 * 1024, false), (384, false)] {
        let merged = merged(two().into_iter().chain([range(mib << 20)]));
        assert_eq!(merged.totals.mapped_mib, kept.then_some(mib), "{mib} MiB");
    }
}

#[test]
fn errors_the_firmware_recorded_are_counted_on_their_slot() {
    let error = |handle, kind| Draft::new(18, 0x17, handle).byte(0x04, kind);
    let merged = merged([
        array(),
        error(0x1200, 0x0E),
        error(0x1201, 0x03),
        error(0x1202, 0x0C),
        module(0x1100, "A1", "5A01").word(0x06, 0x1200),
        module(0x1101, "A2", "5A02").word(0x06, 0x1201),
        module(0x1102, "A3", "5A03").word(0x06, 0x1202),
        module(0x1103, "A4", "5A04").word(0x06, 0x1202),
    ]);
    assert_eq!(
        merged.counts,
        [ErrorCount { locator: "A1".to_owned(), corrected: None, uncorrected: Some(1), source: "smbios".to_owned() }]
    );
    let notes = merged.sources[0].notes.join("\n");
    assert!(notes.contains("error record 0x1202: corrected single-bit error, of 2 slots"), "{notes}");
}

#[test]
fn a_broken_table_keeps_its_first_slots_and_says_what_is_lost() {
    let mut bytes = table([array(), module(0x1100, "A1", "5A01"), module(0x1101, "A2", "5A02")]);
    bytes.truncate(bytes.len() - 20);
    let merged = from_table(&bytes);
    assert_eq!(merged.slots.len(), 1);
    let notes = merged.sources[0].notes.join("\n");
    assert!(notes.contains("never end; the 2 structures before it were read"), "{notes}");
}

#[test]
fn merging_again_gives_the_same() {
    let merged_once = merged([array(), module(0x1100, "A1", "5A01"), empty(0x1101, "A2")]);
    assert_eq!(merge(&merged_once.sources), merged_once);
}

#[test]
fn a_source_that_is_no_base64_or_unknown_does_no_harm() {
    let mut broken = Source::of(source_name::SMBIOS, "x", b"");
    broken.raw = "***".to_owned();
    let mut foreign = Source::of("elsewhere", "y", b"{}");
    foreign.notes = vec!["kept".to_owned()];
    let merged = merge(&[broken, foreign]);
    assert!(merged.slots.is_empty());
    assert!(merged.sources[0].notes[0].contains("no base64"));
    assert_eq!(merged.sources[1].notes, ["kept"]);
}

#[test]
fn a_maker_written_as_a_code_gives_way_to_the_name_of_the_code() {
    let coded = |text: &str, code: u16| {
        let device = empty(0x1100, "A1").word(0x0C, 0x4000).string(0x17, text.as_bytes()).word(0x2C, code);
        let slot = merged([array(), device]).slots.remove(0);
        (slot.maker.unwrap(), slot.sources["maker"].clone())
    };
    assert_eq!(coded("0xCE00", 0xCE80), ("Samsung".into(), "smbios type 17, 2Ch".into()));
    assert_eq!(coded("80CE", 0), ("80CE".into(), "smbios type 17, 17h".into()));
    assert_eq!(coded("Osprey Memory", 0xCE80), ("Osprey Memory".into(), "smbios type 17, 17h".into()));
    assert_eq!(coded("NO DIMM", 0xCE80), ("Samsung".into(), "smbios type 17, 2Ch".into()));
}

/// Older snapshots say 0 where nothing was known: what they have of the firmware's single records is not zero.
#[test]
fn a_zero_of_an_older_snapshot_counts_only_where_it_is_of_a_counter() {
    let taken = chrono::DateTime::parse_from_rfc3339("2026-11-25T10:00:00+01:00").unwrap();
    for (source, corrected, watched) in [("edac", Some(0), 1), ("smbios", None, 0)] {
        let mut snapshot = merged([array(), module(0x1100, "A1", "5A01")]).into_snapshot(taken, Vec::new());
        snapshot.counts = vec![
            serde_json::from_str(&format!(r#"{{"locator":"A1","corrected":0,"uncorrected":1,"source":"{source}"}}"#))
                .unwrap(),
        ];
        let counted = snapshot.counted_at(&snapshot.slots[0]);
        assert_eq!((counted.corrected, counted.uncorrected), (corrected, Some(1)), "{source}");
        assert_eq!(snapshot.watched(), Watched { modules: watched, of: 1 });
    }
}
