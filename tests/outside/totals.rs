//! What real systems show of the memory that is fitted, against the window that judges it.
//!
//! The rows kept here come from: the tar files in hwloc 2.9.0's tests/hwloc/linux (Debian source package hwloc 2.9.0-1,
//! "hwloc" below), github.com/osmfoundation/osmf-server-info issue 5, github.com/open-mpi/hwloc issue 445,
//! github.com/ggml-org/llama.cpp pull request 1556 and github.com/openclimatefix/nowcasting_dataset issue 486. All
//! collected pairs are in the shared data, population/e_memtotal_pairs.tsv, with their sources in sources.tsv.

use slotwise::board::SlotLabel;
use slotwise::machine::Machine;
use slotwise::units::Size;
use slotwise::verify::{FindingKind, Input, Window, compare};

use crate::support;

/// Machine, fitted GiB, `MemTotal` in KiB.
const PAIRS: &[(&str, u64, u64)] = &[
    ("osmf-server-info 5: 4x16 + 4x4", 80, 82_483_572),
    ("hwloc 445: Xeon SP, RHEL 8.3", 768, 790_747_444),
    ("llama.cpp 1556: 8x32, 2 Xeon E5", 256, 263_989_248),
    ("hwloc: Huawei XA320 V2, arm64", 512, 527_031_224),
    ("hwloc: Supermicro SYS-4029GP-TRT2, the largest loss", 96, 97_445_600),
    ("hwloc: Supermicro H8QG6, the smallest loss", 128, 132_295_672),
    ("hwloc: SGI Altix XE320", 16, 16_331_824),
];

#[test]
fn the_window_holds_measured_pairs_without_any_crash_kernel() {
    for (machine, gib, kib) in PAIRS {
        let window = Window::of(Size::from_gib(*gib), 0);
        assert!(window.holds(*kib), "{machine}: {kib} is not in {window:?}");
    }
}

#[test]
fn the_window_is_tight_enough_to_miss_one_of_eight_modules() {
    // The same machines with an eighth less must fall out, even with room for the largest crash kernel.
    for (machine, gib, kib) in PAIRS.iter().filter(|(_, gib, _)| *gib >= 128) {
        let window = Window::with_unknown_crash_kernel(Size::from_gib(*gib));
        assert!(window.holds(*kib), "{machine}");
        assert!(!window.holds(kib - kib / 8), "{machine}: {window:?}");
    }
}

#[test]
fn every_collected_pair_is_in_the_window_but_those_of_other_processors() {
    let Some(table) = support::shared_file(
        "every_collected_pair_is_in_the_window_but_those_of_other_processors",
        "population/e_memtotal_pairs.tsv",
    ) else {
        return;
    };
    let (mut inside, mut others_outside) = (0, 0);
    for row in table.lines().skip(1) {
        let fields: Vec<&str> = row.split('\t').collect();
        let (gib, kib): (u64, u64) = (fields[3].parse().unwrap(), fields[5].parse().unwrap());
        let holds = Window::of(Size::from_gib(gib), 0).holds(kib);
        if fields[1].contains("Itanium") || fields[1].contains("POWER") {
            others_outside += u32::from(!holds);
        } else {
            assert!(holds, "{row}");
            inside += 1;
        }
    }
    assert_eq!(inside, 16);
    // The reason why the window is not used on Itanium and POWER.
    assert!(others_outside >= 3, "{others_outside}");
}

/// What these systems show of all their modules outweighs a firmware map that is short of one, and what they would show
/// of a module less does not.
#[test]
fn the_measured_total_of_a_full_machine_outweighs_a_map_that_is_short_of_a_module() {
    for (machine, gib, kib) in PAIRS.iter().filter(|(_, gib, _)| gib % 8 == 0) {
        let plan = support::plan(support::heron(), gib / 8, 1);
        let mut snapshot = support::boot(&mut Machine::as_planned(&plan, 1));
        let module = gib / 8 * 1024;
        snapshot.totals = slotwise::snapshot::Totals { mapped_mib: Some(module * 7 - 2), ..Default::default() };
        for (os_kib, expected) in [(*kib, &[][..]), (kib - kib / 8, &[FindingKind::ShortTotal])] {
            snapshot.totals.os_kib = Some(os_kib);
            let kinds: Vec<FindingKind> = compare(&Input::new(&plan, &snapshot)).into_iter().map(|f| f.kind).collect();
            assert_eq!(kinds, expected, "{machine}: {os_kib}");
        }
    }
}

/// openclimatefix/nowcasting_dataset issue 486: 8 x 16 GiB fitted, 94.3 GiB shown, two modules (one channel) not seen.
#[test]
fn two_lost_modules_of_a_real_machine_are_named_from_its_total_alone() {
    let plan = support::plan(support::heron(), 16, 1);
    let mut snapshot = support::boot(&mut Machine::as_planned(&plan, 1));
    snapshot.slots.clear();
    snapshot.totals = slotwise::snapshot::Totals { os_kib: Some(98_880_716), ..Default::default() };
    let found = compare(&Input::new(&plan, &snapshot));
    let [finding] = found.as_slice() else { panic!("{found:#?}") };
    assert_eq!(finding.kind, FindingKind::ShortTotal);
    assert!(finding.reported.as_ref().unwrap().contains("explained by 2 x 16 GiB not working"), "{finding:#?}");

    // With the slots, as that machine had them, the slots say it and the total adds nothing.
    let mut machine = Machine::as_planned(&plan, 1);
    for slot in ["1A1", "1B1"] {
        machine.remove(&SlotLabel::from(slot));
    }
    let mut snapshot = support::boot(&mut machine);
    snapshot.totals.os_kib = Some(98_880_716);
    let kinds: Vec<FindingKind> =
        compare(&Input::new(&plan, &snapshot)).into_iter().map(|finding| finding.kind).collect();
    assert_eq!(kinds, [FindingKind::Missing; 2]);
}
