//! What holds for any bytes given as a firmware table: no panic, no loop, nothing lost before a break, and the same table
//! derived again from what was kept.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a check that cannot go on has failed"
)]

use proptest::prelude::*;
use slotwise::snapshot::smbios::write::{Draft, table};
use slotwise::snapshot::smbios::{Table, Walk, walk};
use slotwise::snapshot::{from_table, merge};

fn text() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        "[A-Z0-9_ -]{0,20}".prop_map(String::into_bytes),
        prop::sample::select(vec!["NO DIMM", "Not Specified", "00000000", "", "   "]).prop_map(|text| text.into()),
        prop::collection::vec(1..=255u8, 0..24),
    ]
}

/// A structure of any type we read, of any length from the header alone, with any values and strings.
fn draft() -> impl Strategy<Value = Draft> {
    let kind = prop::sample::select(vec![0u8, 1, 2, 3, 4, 16, 17, 17, 17, 18, 19, 20, 33, 131]);
    let fields = prop::collection::vec((4..0x64usize, any::<u8>()), 0..40);
    let strings =
        prop::collection::vec((prop::sample::select(vec![4, 5, 7, 0x10, 0x11, 0x17, 0x18, 0x1A]), text()), 0..6);
    (kind, 4..0x70u8, 0x1000..0x1010u16, fields, strings).prop_map(|(kind, length, handle, fields, strings)| {
        let draft =
            fields.into_iter().fold(Draft::new(kind, length, handle), |draft, (at, value)| draft.byte(at, value));
        strings.iter().fold(draft, |draft, (at, text)| draft.string(*at, text))
    })
}

fn drafts() -> impl Strategy<Value = Vec<Draft>> {
    prop::collection::vec(draft(), 0..14)
}

fn headers(walk: &Walk<'_>) -> Vec<(usize, u8, u16, Vec<u8>)> {
    walk.structures.iter().map(|s| (s.offset, s.kind, s.handle, s.formatted.to_vec())).collect()
}

/// Whatever the bytes, the structures lie one behind the other, inside the bytes, in order.
fn holds_together(bytes: &[u8]) {
    let walked = walk(bytes);
    let mut after = 0;
    for structure in &walked.structures {
        assert!(structure.offset >= after);
        after = structure.offset + structure.formatted.len();
        assert!(after <= bytes.len() && structure.formatted.len() >= 4);
    }
    if let Some(broken) = walked.broken {
        assert!(broken.offset >= after && broken.offset < bytes.len() && !walked.ended);
    }
}

proptest! {
    #[test]
    fn any_bytes_are_read_to_some_end(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        holds_together(&bytes);
        let merged = from_table(&bytes);
        prop_assert_eq!(merge(&merged.sources), merged);
    }

    #[test]
    fn a_whole_table_is_read_whole(drafts in drafts()) {
        let walked_bytes = table(drafts.clone());
        let walked = walk(&walked_bytes);
        prop_assert!(walked.ended && walked.broken.is_none());
        prop_assert_eq!(walked.structures.len(), drafts.len() + 1);
        let merged = from_table(&walked_bytes);
        prop_assert_eq!(merge(&merged.sources), merged);
    }

    #[test]
    fn a_table_cut_anywhere_keeps_every_structure_before_the_cut(drafts in drafts()) {
        let bytes = table(drafts);
        let whole = headers(&walk(&bytes));
        let whole_devices = Table::decode(&bytes).devices;
        for cut in 0..bytes.len() {
            let short = walk(&bytes[..cut]);
            let kept = headers(&short);
            prop_assert_eq!(&kept[..], &whole[..kept.len()]);
            // All that end before the cut are there: the next one starts at or before the end of these.
            let complete = whole.iter().skip(1).filter(|(offset, ..)| *offset <= cut).count();
            prop_assert!(kept.len() >= complete, "{} of {complete} before byte {cut}", kept.len());
            let devices = Table::decode(&bytes[..cut]).devices;
            prop_assert_eq!(&devices[..], &whole_devices[..devices.len()]);
        }
    }

    #[test]
    fn changed_bytes_leave_what_comes_before_them(
        drafts in drafts(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
    ) {
        let mut bytes = table(drafts);
        let before = headers(&walk(&bytes));
        let mut first = bytes.len();
        for (at, value) in &changes {
            let at = at.index(bytes.len());
            bytes[at] = *value;
            first = first.min(at);
        }
        holds_together(&bytes);
        let after = headers(&walk(&bytes));
        let untouched = before.iter().skip(1).filter(|(offset, ..)| *offset <= first).count();
        prop_assert!(after.len() >= untouched);
        prop_assert_eq!(&after[..untouched], &before[..untouched]);
        let merged = from_table(&bytes);
        prop_assert_eq!(merge(&merged.sources), merged);
    }

    #[test]
    fn an_entry_point_in_front_does_no_harm(
        head in prop::collection::vec(any::<u8>(), 0..40),
        old in any::<bool>(),
        drafts in drafts(),
    ) {
        let mut bytes = if old { b"_SM_".to_vec() } else { b"_SM3_".to_vec() };
        bytes.extend(head);
        bytes.extend(table(drafts));
        let merged = from_table(&bytes);
        prop_assert_eq!(merge(&merged.sources), merged);
    }
}
