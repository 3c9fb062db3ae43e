//! Tables of real machines: each verifies clean against a plan made from it, and one change to its bytes gives the one
//! right finding.
//!
//! The tables come from public collections (CarterLi/opendmi, u-root/smbios, siderolabs/go-smbios, jrgerber/smbios-lib,
//! jcreekmore/dmidecode, systemd) or are rebuilt from decoded listings (linuxhw/DMI at 57b21bc6, Solvik/netbox-agent);
//! source, commit and licence of each stand in the shared data's MANIFEST.tsv.

use slotwise::plan::Plan;
use slotwise::snapshot::smbios::{Dump, Table};
use slotwise::snapshot::{SlotState, Snapshot, from_table};
use slotwise::verify::FindingKind::{Exchanged, Missing, ShortTotal, ShutOff, Slower, UnknownSlot};
use slotwise::verify::{FindingKind, Input, ShutOffModules, compare, parts_equal, plan_from_snapshot, serials_equal};

use crate::support;

/// What a table says against its own report, and why that is right.
const ODDITIES: &[(&str, &[FindingKind], &str)] = &[
    ("AST2600EVB__BE9050B3ECF3", &[ShortTotal], "maps half of what it lists"),
    ("Flex_System_x240_Compute_Node_-_8737AC1_-__6F6DEF6E7D5A", &[ShutOff; 6], "six modules shut off (size 0, named)"),
    ("H8DCL__15FCD7D8671C", &[ShortTotal], "maps one module of 8 GiB less than it lists"),
    ("ProLiant_BL460c_Gen8__CC227423A4A8", &[ShortTotal], "maps 32 GiB less than it lists"),
    ("ProLiant_DL360_G7__D12A6E3151C1", &[ShortTotal], "maps exactly half: looks like mirroring"),
    ("ProLiant_DL380_Gen9__A55741AC6343", &[ShutOff], "one module does not run (speed and voltage 0)"),
    ("ProLiant_DL380e_Gen8__CB05571909C8", &[ShortTotal], "maps 16 GiB less than it lists"),
    ("System_x3550_M4_Server_-_7914Z5Q_-__F55CE0679C61", &[ShutOff], "one module shut off (size 0, named)"),
    ("System_x3650_M3_-_794522U_-__86B4DEEC0CA5", &[ShutOff, ShortTotal], "one shut off, and 4 GiB less than listed"),
    ("X11DAi-N__883610D37508", &[ShutOff], "one module shut off (size unknown, named)"),
    ("X8DT6__9ED7E9EBBDDC", &[ShortTotal], "maps 16 GiB less than it lists"),
    ("opendmi__msi-ms-7210", &[ShortTotal], "an old board with 5 GiB and a 32-bit map"),
    ("siderolabs__HyperV", &[UnknownSlot], "a virtual machine without slots: nothing was compared"),
];

type Short = Vec<(FindingKind, Option<String>)>;

fn snapshot(bytes: &[u8]) -> Snapshot {
    from_table(bytes).into_snapshot(support::now(), Vec::new())
}

fn found(plan: &Plan, bytes: &[u8]) -> Short {
    let snapshot = snapshot(bytes);
    let found = compare(&Input::new(plan, &snapshot));
    found.into_iter().map(|f| (f.kind, f.slot.map(|slot| slot.as_str().to_owned()))).collect()
}

#[test]
fn every_real_table_verifies_clean_against_itself() {
    let Some(tables) = support::tables("every_real_table_verifies_clean_against_itself") else { return };
    let mut seen = 0;
    for (name, bytes) in &tables {
        let plan = plan_from_snapshot(&snapshot(bytes), ShutOffModules::LeftOut);
        let kinds: Vec<FindingKind> = found(&plan, bytes).into_iter().map(|(kind, _)| kind).collect();
        let odd = ODDITIES.iter().find(|(odd, ..)| name.starts_with(odd));
        seen += usize::from(odd.is_some());
        let (allowed, why) = odd.map_or((&[][..], ""), |(_, kinds, why)| (*kinds, *why));
        assert_eq!(kinds, allowed, "{name} {why}");
    }
    assert_eq!(seen, ODDITIES.len(), "an oddity is listed for a table that is not there");
}

#[test]
fn the_documented_failing_machines_show_their_failed_slots() {
    let Some(tables) = support::tables("the_documented_failing_machines_show_their_failed_slots") else { return };
    for (machine, slots, words) in [
        ("86B4DEEC0CA5", &["DIMM15"][..], "size 0"),
        ("F55CE0679C61", &["DIMM 9"], "size 0"),
        ("6F6DEF6E7D5A", &["DIMM 7", "DIMM 8", "DIMM 10", "DIMM 19", "DIMM 20", "DIMM 22"], "size 0"),
        ("A55741AC6343", &["PROC 2 DIMM 4"], "configured speed 0 and configured voltage 0"),
        ("883610D37508", &["P1-DIMMB1"], "size unknown (FFFFh)"),
    ] {
        let (_, bytes) = tables.iter().find(|(name, _)| name.contains(machine)).unwrap();
        let snapshot = snapshot(bytes);
        let plan = plan_from_snapshot(&snapshot, ShutOffModules::Planned);
        let found = compare(&Input::new(&plan, &snapshot));
        let off: Vec<_> = found.iter().filter(|f| f.kind == ShutOff).collect();
        let labels: Vec<&str> = off.iter().filter_map(|f| f.slot.as_ref()).map(|slot| slot.as_str()).collect();
        assert_eq!(labels, slots, "{machine}");
        assert!(off.iter().all(|f| f.reported.as_ref().unwrap().contains(words)), "{machine}: {off:#?}");
        assert!(found.iter().all(|f| matches!(f.kind, ShutOff | ShortTotal)), "{machine}: {found:#?}");
    }
}

/// A table with its slots, to be changed as hands or a setup screen would change the machine.
struct Raw {
    head: Vec<u8>,
    table: Vec<u8>,
    /// Start of each slot's structure, for slots in the order of the snapshot.
    offsets: Vec<usize>,
    snapshot: Snapshot,
    plan: Plan,
    /// What it gives unchanged; a total that is off anyway may vanish or come when the sum changes.
    before: Short,
}

impl Raw {
    fn read(bytes: &[u8]) -> Self {
        let dump = Dump::open(bytes);
        let table = dump.table.to_vec();
        let snapshot = snapshot(bytes);
        let decoded = Table::decode(&table);
        // The snapshot leaves out slots of other memory than the system's.
        let offsets = snapshot
            .slots
            .iter()
            .scan(0, |from, slot| {
                let at = decoded.devices[*from..].iter().position(|device| Some(device.handle) == slot.handle)? + *from;
                *from = at + 1;
                Some(decoded.devices[at].offset)
            })
            .collect::<Vec<_>>();
        assert_eq!(offsets.len(), snapshot.slots.len());
        let plan = plan_from_snapshot(&snapshot, ShutOffModules::LeftOut);
        let before = without_totals(found(&plan, bytes));
        Self { head: bytes[..dump.offset].to_vec(), table, offsets, snapshot, plan, before }
    }

    fn fitted(&self) -> Vec<usize> {
        (0..self.snapshot.slots.len()).filter(|n| self.snapshot.slots[*n].state == SlotState::Fitted).collect()
    }

    fn label(&self, slot: usize) -> Option<String> {
        self.plan.board.slots().nth(slot).map(|at| at.slot.label.as_str().to_owned())
    }

    fn found(&self, table: &[u8]) -> Short {
        without_totals(found(&self.plan, &[&self.head, table].concat()))
    }

    /// What it gave before with one finding more, in any order.
    fn expect(&self, table: &[u8], kind: FindingKind, slot: usize, what: &str) {
        let mut expected = self.before.clone();
        expected.push((kind, self.label(slot)));
        let mut found = self.found(table);
        expected.sort();
        found.sort();
        assert_eq!(found, expected, "{what}");
    }

    /// The structure at `offset`: formatted part, and strings.
    fn structure(&self, offset: usize) -> (Vec<u8>, Vec<Vec<u8>>, usize) {
        let length = usize::from(self.table[offset + 1]);
        let formatted = self.table[offset..offset + length].to_vec();
        let mut strings = Vec::new();
        let mut at = offset + length;
        while self.table[at] != 0 {
            let end = at + self.table[at..].iter().position(|byte| *byte == 0).unwrap();
            strings.push(self.table[at..end].to_vec());
            at = end + 1;
        }
        let end = if strings.is_empty() { at + 2 } else { at + 1 };
        (formatted, strings, end)
    }

    /// The module of one slot out of it: size 0, no identity, nothing mapped to it.
    fn without(&self, slot: usize) -> Vec<u8> {
        let mut table = self.table.clone();
        let offset = self.offsets[slot];
        let length = usize::from(table[offset + 1]);
        for field in [0x0C..0x0E, 0x17..0x1B, 0x20..0x22] {
            for at in field.filter(|at| *at < length) {
                table[offset + at] = 0;
            }
        }
        table
    }

    /// What stands in two slots exchanged: all of a structure but its handle and the names of its slot.
    fn exchanged(&self, one: usize, other: usize) -> Vec<u8> {
        let placed = |module: usize, place: usize| {
            let (mut formatted, mut strings, _) = self.structure(self.offsets[module]);
            let (home, names, _) = self.structure(self.offsets[place]);
            formatted[2..4].copy_from_slice(&home[2..4]);
            for field in [0x10, 0x11] {
                let name = usize::from(home[field]).checked_sub(1).and_then(|n| names.get(n));
                formatted[field] = 0;
                if let Some(name) = name {
                    strings.push(name.clone());
                    formatted[field] = strings.len() as u8;
                }
            }
            let mut bytes = formatted;
            for string in &strings {
                bytes.extend(string);
                bytes.push(0);
            }
            bytes.extend(if strings.is_empty() { &[0, 0][..] } else { &[0] });
            bytes
        };
        let (first, second) = (one.min(other), one.max(other));
        let (a, b) = (self.offsets[first], self.offsets[second]);
        let (after_a, after_b) = (self.structure(a).2, self.structure(b).2);
        [
            &self.table[..a],
            &placed(second, first),
            &self.table[after_a..b],
            &placed(first, second),
            &self.table[after_b..],
        ]
        .concat()
    }
}

/// Firmware maps whole modules, give or take a hole, so a map of one module less is about that and not to the byte.
#[test]
fn a_real_machine_mapped_short_of_about_its_smallest_module_is_short() {
    let Some(tables) = support::tables("a_real_machine_mapped_short_of_about_its_smallest_module_is_short") else {
        return;
    };
    let mut tried = 0;
    for (name, bytes) in &tables {
        let mut snapshot = snapshot(bytes);
        let plan = plan_from_snapshot(&snapshot, ShutOffModules::LeftOut);
        let sizes: Vec<u64> = snapshot
            .slots
            .iter()
            .filter(|slot| slot.state == SlotState::Fitted)
            .filter_map(|slot| slot.size_mib)
            .collect();
        let volatile = snapshot.slots.iter().all(|slot| slot.kind != Some(slotwise::module::Kind::NVDIMM));
        let (Some(smallest), true) = (sizes.iter().min(), sizes.len() > 1 && volatile) else { continue };
        let less = sizes.iter().sum::<u64>() - smallest;
        for mapped in [less - 2, less, less + 2, less + smallest / 16] {
            snapshot.totals.mapped_mib = Some(mapped);
            let found = compare(&Input::new(&plan, &snapshot));
            assert!(found.iter().any(|finding| finding.kind == ShortTotal), "{name}: {mapped} of {sizes:?}");
        }
        tried += 1;
    }
    assert!(tried > 50, "only {tried} tables tried");
}

fn without_totals(found: Short) -> Short {
    found.into_iter().filter(|(kind, _)| *kind != ShortTotal).collect()
}

#[test]
fn a_module_taken_out_of_a_real_machine_is_missing() {
    let Some(tables) = support::tables("a_module_taken_out_of_a_real_machine_is_missing") else { return };
    let mut tried = 0;
    for (name, bytes) in &tables {
        let raw = Raw::read(bytes);
        for slot in raw.fitted() {
            raw.expect(&raw.without(slot), Missing, slot, &format!("{name} without slot {slot}"));
            tried += 1;
        }
    }
    assert!(tried > 500, "only {tried} slots tried");
}

#[test]
fn modules_exchanged_in_a_real_machine_are_exchanged() {
    let Some(tables) = support::tables("modules_exchanged_in_a_real_machine_are_exchanged") else { return };
    let (mut by_serial, mut by_part) = (0, 0);
    for (name, bytes) in &tables {
        let raw = Raw::read(bytes);
        let fitted = raw.fitted();
        let once = |serial: &str| {
            let same = |n: &&usize| raw.snapshot.slots[**n].serial.as_deref().is_some_and(|s| serials_equal(s, serial));
            fitted.iter().filter(same).count() == 1
        };
        for (n, one) in fitted.iter().enumerate() {
            // With each of the next two: every slot takes part, and not every pair is tried.
            for other in fitted.iter().skip(n + 1).take(2) {
                let (a, b) = (&raw.snapshot.slots[*one], &raw.snapshot.slots[*other]);
                let serials = [a, b].iter().all(|slot| slot.serial.as_deref().is_some_and(once));
                let readable = a.serial.is_some() || b.serial.is_some();
                let parts = matches!((&a.part, &b.part), (Some(a), Some(b)) if !parts_equal(a, b));
                if !serials && (!parts || readable) {
                    continue;
                }
                by_serial += u32::from(serials);
                by_part += u32::from(!serials);
                raw.expect(&raw.exchanged(*one, *other), Exchanged, *one, &format!("{name} {one} and {other}"));
            }
        }
    }
    assert!(by_serial > 200 && by_part > 0, "{by_serial} by serial, {by_part} by part");
}

#[test]
fn a_module_slowed_in_a_real_machine_is_slower() {
    let Some(tables) = support::tables("a_module_slowed_in_a_real_machine_is_slower") else { return };
    let mut tried = 0;
    for (name, bytes) in &tables {
        let raw = Raw::read(bytes);
        let Some(mts) = raw.plan.mts else { continue };
        for slot in raw.fitted() {
            let offset = raw.offsets[slot];
            if raw.table[offset + 1] < 0x22 || raw.snapshot.slots[slot].configured_mts.is_none() {
                continue;
            }
            let mut table = raw.table.clone();
            table[offset + 0x20..offset + 0x22].copy_from_slice(&(mts.0 as u16 - 100).to_le_bytes());
            raw.expect(&table, Slower, slot, &format!("{name} with slot {slot} slowed"));
            tried += 1;
        }
    }
    assert!(tried > 300, "only {tried} slots tried");
}
