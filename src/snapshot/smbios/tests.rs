use super::write::{Draft, table};
use super::*;

fn slot(handle: u16, length: u8) -> Draft {
    Draft::new(17, length, handle).word(0x0C, 0x4000).string(0x10, b"A1").string(0x11, b"BANK 0")
}

#[test]
fn a_table_is_walked_to_its_end() {
    let mut bytes = table([slot(0x1100, 0x54), slot(0x1101, 0x22)]);
    bytes.extend([0xAA; 40]);
    let walked = walk(&bytes);
    assert_eq!(
        walked.structures.iter().map(|s| (s.kind, s.handle)).collect::<Vec<_>>(),
        [(17, 0x1100), (17, 0x1101), (127, 0xFEFF)]
    );
    assert!(walked.ended);
    assert_eq!(walked.broken, None);
    assert_eq!(walked.structures[0].string(0x10).as_deref(), Some("A1"));
    assert_eq!(walked.structures[0].string_count(), 2);
}

#[test]
fn every_way_to_break_is_told_apart_and_keeps_what_came_before() {
    let whole = table([slot(0x1100, 0x54)]);
    let first = whole.len() - 6;
    let cases: [(&[u8], BreakReason); 4] = [
        (&[17, 0x54], BreakReason::HeaderCut { left: 2 }),
        (&[17, 3, 1, 0x11, 0, 0], BreakReason::LengthTooSmall { kind: 17, length: 3 }),
        (&[17, 0x54, 1, 0x11, 0, 0], BreakReason::BodyCut { kind: 17, handle: 0x1101, length: 0x54, left: 6 }),
        (&[17, 5, 1, 0x11, 1, b'A'], BreakReason::StringsCut { kind: 17, handle: 0x1101 }),
    ];
    for (tail, reason) in cases {
        let mut bytes = whole[..first].to_vec();
        bytes.extend(tail);
        let walked = walk(&bytes);
        assert_eq!(walked.broken, Some(Break { offset: first, reason }));
        assert_eq!(walked.structures.len(), 1, "{reason:?}");
        assert!(!walked.ended);
    }
}

#[test]
fn zeros_up_to_the_end_are_padding_and_no_break() {
    let mut bytes = table([slot(0x1100, 0x54)]);
    let end = bytes.len() - 6;
    bytes.truncate(end);
    bytes.extend([0; 100]);
    let walked = walk(&bytes);
    assert_eq!((walked.structures.len(), walked.broken, walked.ended), (1, None, false));
}

#[test]
fn a_field_beyond_the_length_is_unknown_not_zero() {
    let bytes = table([slot(1, 0x15), slot(2, 0x1B), slot(3, 0x28)]);
    let devices = Table::decode(&bytes).devices;
    assert_eq!(devices[0].part, None);
    assert!(!devices[0].configured_speed_is_zero && !devices[1].configured_voltage_is_zero);
    assert!(devices[2].configured_speed_is_zero && devices[2].configured_voltage_is_zero);
    assert_eq!(devices[2].technology, None);
}

#[test]
fn string_numbers_that_lead_nowhere_are_no_string() {
    let bytes = table([Draft::new(17, 0x1B, 1).string(0x10, b"A1").byte(0x11, 9)]);
    let device = &Table::decode(&bytes).devices[0];
    assert_eq!((device.locator.as_deref(), device.bank.as_deref()), (Some("A1"), None));
}

#[test]
fn bytes_that_are_no_utf8_stay_apart() {
    let bytes = table([Draft::new(17, 0x1B, 1).string(0x18, b"A\xFE").string(0x1A, b"A\xFF")]);
    let device = &Table::decode(&bytes).devices[0];
    assert_eq!((device.serial.as_deref(), device.part.as_deref()), (Some("A\u{FE}"), Some("A\u{FF}")));
}

#[test]
fn an_entry_point_is_read_alone_and_in_front_of_a_table() {
    let mut entry = b"_SM3_\0\x18\x03\x07\x00\x01\x00".to_vec();
    entry.extend(500u32.to_le_bytes());
    entry.extend(0x20u64.to_le_bytes());
    let sum = entry.iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte));
    entry[5] = 0u8.wrapping_sub(sum);
    let alone = Dump::open(&entry);
    assert_eq!(alone.table, b"");
    let point = alone.entry.unwrap();
    assert_eq!((point.layout, point.major, point.minor), (Layout::Bits64, 3, 7));
    assert!(point.checksum_right);

    let mut dump = entry.clone();
    dump.resize(0x20, 0);
    dump.extend(table([slot(1, 0x54)]));
    let opened = Dump::open(&dump);
    assert_eq!(Table::decode(opened.table).devices.len(), 1);

    // An address in the machine's memory, as some dumps keep it, leads to the usual place.
    dump[0x10..0x18].copy_from_slice(&0x7A5E_1000u64.to_le_bytes());
    let opened = Dump::open(&dump);
    assert_eq!((opened.offset, Table::decode(opened.table).devices.len()), (0x20, 1));
    assert!(opened.notes.iter().any(|note| note.contains("checksum")));

    assert_eq!(EntryPoint::read(&entry[..10]), Err(EntryFault::Cut { length: 10, needed: 0x18 }));
}
