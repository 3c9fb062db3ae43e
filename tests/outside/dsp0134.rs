//! Encodings that DMTF document DSP0134, version 3.7.0 (2023-07-21), fixes, as bytes written by hand from its tables.

use slotwise::snapshot::smbios::{Dump, EntryPoint, Layout, Reported, Table, walk};
use slotwise::snapshot::{SlotState, from_table};

/// A structure with its strings, as 6.1.2 and 6.1.3 lay it out; the length byte is the formatted part's own.
fn structure(formatted: &[u8], strings: &[&str]) -> Vec<u8> {
    let mut bytes = formatted.to_vec();
    assert_eq!(usize::from(bytes[1]), bytes.len());
    for string in strings {
        bytes.extend(string.as_bytes());
        bytes.push(0);
    }
    bytes.extend(if strings.is_empty() { &[0, 0][..] } else { &[0] });
    bytes
}

/// Type 127, length 4, handle, two NULs: 7.46.
const END: &[u8] = &[127, 4, 0xFF, 0xFE, 0, 0];

/// Type 17 of 3.7 (length 64h, table 75): 64 GiB DDR5 in `A1`.
#[rustfmt::skip]
const DEVICE: [u8; 0x64] = [
    0x11, 0x64, 0x00, 0x11, // 00h type, length, handle 1100h
    0x00, 0x10,             // 04h array handle 1000h
    0xFE, 0xFF,             // 06h error information not provided
    0x50, 0x00,             // 08h total width 80
    0x40, 0x00,             // 0Ah data width 64
    0xFF, 0x7F,             // 0Ch size: see extended
    0x09, 0x00,             // 0Eh DIMM, 0Fh no set
    0x01, 0x02,             // 10h locator, 11h bank
    0x22,                   // 12h DDR5
    0x80, 0x20,             // 13h synchronous, registered
    0xFF, 0xFF,             // 15h speed: see extended
    0x03, 0x04, 0x00, 0x05, // 17h maker, serial, no asset tag, part
    0x02,                   // 1Bh rank 2
    0x00, 0x00, 0x01, 0x00, // 1Ch extended size 65536 MiB
    0xFF, 0xFF,             // 20h configured speed: see extended
    0x4C, 0x04, 0x4C, 0x04, 0x4C, 0x04, // 22h, 24h, 26h: 1100 mV
    0x03, 0x08, 0x00, 0x00, // 28h DRAM, 29h volatile memory, 2Bh no string
    0x80, 0x2C,             // 2Ch maker: bank 1, code 2Ch
    0x00, 0x00, 0x00, 0x00, 0x00, 0x00, // 2Eh, 30h, 32h: unknown
    0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, // 34h non-volatile: none
    0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x00, 0x00, // 3Ch volatile: 64 GiB
    0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, // 44h cache: unknown
    0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, // 4Ch logical: none
    0xA0, 0x86, 0x01, 0x80, // 54h extended speed 100000, bit 31 reserved and set
    0x70, 0x11, 0x01, 0x00, // 58h extended configured speed 70000
    0x8A, 0x9D,             // 5Ch power chip's maker
    0x21, 0x00,             // 5Eh and its revision
    0x00, 0x00,             // 60h clock driver's maker unknown
    0x00, 0xFF,             // 62h and so its revision
];

const STRINGS: &[&str] = &["A1", "BANK 0", "Osprey Memory", "0012AB", "OM5R64-2R4-4800"];

fn table(device: &[u8]) -> Vec<u8> {
    [structure(device, STRINGS), END.to_vec()].concat()
}

/// The device with some bytes changed and, where asked, cut to an older version's length.
fn changed(changes: &[(usize, &[u8])], length: u8) -> slotwise::snapshot::smbios::MemoryDevice {
    let mut device = DEVICE.to_vec();
    for (at, bytes) in changes {
        device[*at..*at + bytes.len()].copy_from_slice(bytes);
    }
    device.truncate(usize::from(length));
    device[1] = length;
    Table::decode(&table(&device)).devices.remove(0)
}

/// Table 75.
#[test]
fn every_field_of_a_memory_device_is_where_the_document_puts_it() {
    let device = changed(&[], 0x64);
    assert_eq!((device.handle, device.array, device.error), (0x1100, Some(0x1000), Some(0xFFFE)));
    assert_eq!((device.total_width, device.data_width), (Some(80), Some(64)));
    assert_eq!((device.size, device.form_factor, device.set), (Some(Reported::Kib(64 << 20)), Some(9), Some(0)));
    assert_eq!((device.locator.as_deref(), device.bank.as_deref()), (Some("A1"), Some("BANK 0")));
    assert_eq!((device.memory_type, device.detail), (Some(0x22), Some(0x2080)));
    assert_eq!((device.rated_mts, device.configured_mts), (Some(100_000), Some(70_000)));
    assert_eq!((device.maker.as_deref(), device.serial.as_deref()), (Some("Osprey Memory"), Some("0012AB")));
    assert_eq!((device.asset.as_deref(), device.part.as_deref()), (None, Some("OM5R64-2R4-4800")));
    assert_eq!((device.ranks, device.min_millivolts, device.max_millivolts), (Some(2), Some(1100), Some(1100)));
    assert_eq!((device.configured_millivolts, device.technology, device.modes), (Some(1100), Some(3), Some(8)));
    assert_eq!((device.firmware_version.as_deref(), device.module_maker), (None, Some(0x2C80)));
    assert_eq!((device.module_product, device.controller_maker, device.controller_product), (None, None, None));
    assert_eq!((device.non_volatile_bytes, device.volatile_bytes), (Some(0), Some(64 << 30)));
    assert_eq!((device.cache_bytes, device.logical_bytes), (None, Some(0)));
    assert_eq!((device.pmic_maker, device.pmic_revision), (Some(0x9D8A), Some(0x21)));
    assert_eq!((device.rcd_maker, device.rcd_revision), (None, None));
}

/// Table 75 and 7.18.5: the size field's codes.
#[test]
fn the_size_field_has_five_readings() {
    let size =
        |word: u16, extended: u32| changed(&[(0x0C, &word.to_le_bytes()), (0x1C, &extended.to_le_bytes())], 0x64).size;
    assert_eq!(size(0, 0), Some(Reported::Nothing));
    assert_eq!(size(0xFFFF, 0), Some(Reported::Unknown));
    assert_eq!(size(0x4000, 0), Some(Reported::Kib(16 << 20)));
    // Bit 15 set: KiB.
    assert_eq!(size(0x8200, 0), Some(Reported::Kib(512)));
    // "a 32 GB device is represented as 0000_8000h"; bit 31 is reserved.
    assert_eq!(size(0x7FFF, 0x0000_8000), Some(Reported::Kib(32 << 20)));
    assert_eq!(size(0x7FFF, 0x8000_8000), Some(Reported::Kib(32 << 20)));
    // The extended field counts only with 7FFFh.
    assert_eq!(size(0x4000, 0x0000_8000), Some(Reported::Kib(16 << 20)));
}

/// 7.18.4 and 7.18.14: 0 is unknown, FFFFh sends to the extended field.
#[test]
fn speeds_are_unknown_plain_or_extended() {
    let speeds = |word: u16| {
        let device = changed(&[(0x15, &word.to_le_bytes()), (0x20, &word.to_le_bytes())], 0x64);
        (device.rated_mts, device.configured_mts)
    };
    assert_eq!(speeds(0), (None, None));
    assert_eq!(speeds(4800), (Some(4800), Some(4800)));
    assert_eq!(speeds(0xFFFE), (Some(0xFFFE), Some(0xFFFE)));
    assert_eq!(speeds(0xFFFF), (Some(100_000), Some(70_000)));
    assert_eq!(changed(&[], 0x54).rated_mts, None, "sent to a field that is not there");
}

/// Table 75: the structure grew from 15h (2.1) over 1Bh (2.3), 1Ch (2.6), 22h (2.7), 28h (2.8), 54h (3.2), 5Ch (3.3); 17h
/// is seen in real tables. 6.1.1: what lies beyond the length is unknown.
#[test]
fn each_length_knows_its_own_fields_and_no_more() {
    for length in [0x15, 0x17, 0x1B, 0x1C, 0x22, 0x28, 0x54, 0x5C, 0x64] {
        let device = changed(&[(0x0C, &[0, 0x40]), (0x15, &[0xC0, 0x12]), (0x20, &[0xC0, 0x12])], length);
        let known = [
            (0x15, device.detail.is_some()),
            (0x17, device.rated_mts.is_some()),
            (0x1B, device.part.is_some()),
            (0x1C, device.ranks.is_some()),
            (0x22, device.configured_mts.is_some()),
            (0x28, device.configured_millivolts.is_some()),
            (0x54, device.volatile_bytes.is_some()),
            (0x64, device.pmic_revision.is_some()),
        ];
        for (needed, known) in known {
            assert_eq!(known, length >= needed, "length {length:02X}h, field up to {needed:02X}h");
        }
        assert_eq!(device.size, Some(Reported::Kib(16 << 20)));
    }
}

/// Table 71: capacity in KiB, 8000_0000h sends to 0Fh, in bytes.
#[test]
#[rustfmt::skip]
fn an_arrays_capacity_may_be_extended() {
    let array = [
        0x10, 0x17, 0x00, 0x10, 0x03, 0x03, 0x06, 0x00, 0x00, 0x00, 0x80, 0xFE, 0xFF, 0x18, 0x00,
        0x00, 0x00, 0x00, 0x00, 0x00, 0x09, 0x00, 0x00,
    ];
    let decoded = Table::decode(&[structure(&array, &[]), END.to_vec()].concat()).arrays.remove(0);
    assert_eq!(decoded.capacity_kib, Some(9 << 30), "9 TiB");
    assert_eq!((decoded.usage, decoded.correction, decoded.devices, decoded.error), (Some(3), Some(6), Some(24), Some(0xFFFE)));
    let mut short = array[..0x0F].to_vec();
    short[1] = 0x0F;
    short[7..11].copy_from_slice(&[0, 0, 0, 2]);
    let decoded = Table::decode(&[structure(&short, &[]), END.to_vec()].concat()).arrays.remove(0);
    assert_eq!(decoded.capacity_kib, Some(32 << 20), "32 GiB");
}

/// 7.20 and 7.21: start and end in KiB, the end named by its last KiB; FFFF_FFFFh sends to the 64-bit fields, in bytes.
#[test]
#[rustfmt::skip]
fn mapped_addresses_are_kib_or_extended_bytes() {
    let range = [
        0x13, 0x0F, 0x00, 0x13, 0x00, 0x00, 0x40, 0x00, 0xFF, 0xFF, 0xFF, 0x03, 0x00, 0x10, 0x02,
    ];
    let decoded = Table::decode(&[structure(&range, &[]), END.to_vec()].concat()).ranges.remove(0);
    assert_eq!((decoded.start, decoded.end), (Some(4 << 30), Some((64 << 30) - 1)));
    assert_eq!((decoded.bytes(), decoded.array, decoded.partition_width), (Some(60 << 30), Some(0x1000), Some(2)));

    let extended = [
        0x14, 0x23, 0x00, 0x14, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x00, 0x11, 0x00, 0x13, 0xFF, 0x01, 0x02,
        0x00, 0x00, 0x00, 0x00, 0x00, 0x04, 0x00, 0x00, // 13h start 4 TiB
        0xFF, 0xFF, 0xFF, 0xFF, 0x0F, 0x04, 0x00, 0x00, // 1Bh end
    ];
    let decoded = Table::decode(&[structure(&extended, &[]), END.to_vec()].concat()).device_ranges.remove(0);
    assert_eq!((decoded.start, decoded.bytes()), (Some(4 << 40), Some(64 << 30)));
    assert_eq!((decoded.device, decoded.range), (Some(0x1100), Some(0x1300)));
    assert_eq!((decoded.row, decoded.interleave, decoded.depth), (Some(0xFF), Some(1), Some(2)));
}

/// 7.19 and 7.34: type 18 holds 32-bit addresses, type 33 64-bit ones; 8000_0000h and its 64-bit form are unknown.
#[test]
#[rustfmt::skip]
fn memory_errors_have_two_widths() {
    let narrow = [
        0x12, 0x17, 0x00, 0x12, 0x0E, 0x03, 0x03, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x80,
        0x00, 0x10, 0x00, 0x00, 0x00, 0x00, 0x00, 0x80,
    ];
    let wide = [
        0x21, 0x1F, 0x01, 0x12, 0x0C, 0x03, 0x03, 0x00, 0x00, 0x00, 0x00,
        0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x80, 0x00, 0x00, 0x00, 0x00, 0x01, 0x00, 0x00, 0x00,
        0x40, 0x00, 0x00, 0x00,
    ];
    let table = Table::decode(&[structure(&narrow, &[]), structure(&wide, &[]), END.to_vec()].concat());
    let [narrow, wide] = &table.errors[..] else { panic!("{:?}", table.errors) };
    assert_eq!((narrow.words(), narrow.was_corrected()), (Some("uncorrectable error"), false));
    assert_eq!((narrow.array_address, narrow.device_address, narrow.resolution), (None, Some(0x1000), None));
    assert_eq!((wide.words(), wide.was_corrected()), (Some("corrected single-bit error"), true));
    assert_eq!((wide.array_address, wide.device_address, wide.resolution), (None, Some(1 << 32), Some(0x40)));
}

/// 7.2.1: the UUID `00112233-4455-6677-8899-AABBCCDDEEFF` stands as `33 22 11 00 55 44 77 66 88 99 AA BB CC DD EE FF`.
#[test]
#[rustfmt::skip]
fn a_uuid_is_read_as_the_documents_own_example() {
    let system = [
        0x01, 0x19, 0x01, 0x00, 0x01, 0x02, 0x00, 0x03,
        0x33, 0x22, 0x11, 0x00, 0x55, 0x44, 0x77, 0x66, 0x88, 0x99, 0xAA, 0xBB, 0xCC, 0xDD, 0xEE, 0xFF, 0x06,
    ];
    let bytes = [structure(&system, &["Larkfield", "Heron", "LF-0001"]), END.to_vec()].concat();
    let host = from_table(&bytes).host;
    assert_eq!(host.uuid.as_deref(), Some("00112233-4455-6677-8899-aabbccddeeff"));
    assert_eq!((host.maker.as_deref(), host.product.as_deref(), host.serial.as_deref()),
        (Some("Larkfield"), Some("Heron"), Some("LF-0001")));
}

/// Tables 1 and 2: the two entry points, and a dump with the table behind one.
#[test]
#[rustfmt::skip]
fn both_entry_points_lead_to_their_table() {
    let table = table(&DEVICE);
    let mut old = vec![
        b'_', b'S', b'M', b'_', 0x00, 0x1F, 0x02, 0x08, 0x80, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00,
        b'_', b'D', b'M', b'I', b'_', 0x00, table.len() as u8, 0x00, 0x20, 0x00, 0x00, 0x00, 0x02, 0x00, 0x28, 0x00,
    ];
    let sum = old[..0x1F].iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte));
    old[4] = sum.wrapping_neg();
    let mut new = vec![
        b'_', b'S', b'M', b'3', b'_', 0x00, 0x18, 0x03, 0x07, 0x00, 0x01, 0x00, 0x00, 0x10, 0x00, 0x00,
        0x20, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0, 0, 0, 0, 0, 0, 0, 0,
    ];
    let sum = new[..0x18].iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte));
    new[5] = sum.wrapping_neg();
    for (head, layout, version) in [(old, Layout::Bits32, (2, 8)), (new, Layout::Bits64, (3, 7))] {
        let entry = EntryPoint::read(&head).unwrap();
        assert_eq!((entry.layout, entry.major, entry.minor, entry.table_address), (layout, version.0, version.1, 0x20));
        assert!(entry.checksum_right);
        let dump = [head, table.clone()].concat();
        assert_eq!(Dump::open(&dump).table, table, "{layout:?}");
        assert_eq!(from_table(&dump).slots, from_table(&table).slots);
    }
}

/// 7.18 and table 4: a slot without a module is a structure of its own, with size 0; 5.2.2: nothing counts after type 127.
#[test]
fn an_empty_slot_is_a_slot_and_the_end_is_the_end() {
    let mut empty = DEVICE;
    empty[0x0C..0x0E].copy_from_slice(&[0, 0]);
    empty[0x17..0x1B].copy_from_slice(&[0; 4]);
    let bytes = [structure(&empty, &["A1", "BANK 0"]), END.to_vec(), structure(&DEVICE, STRINGS)].concat();
    assert!(walk(&bytes).ended);
    let slots = from_table(&bytes).slots;
    assert_eq!(slots.iter().map(|slot| slot.state).collect::<Vec<_>>(), [SlotState::Empty]);
}
