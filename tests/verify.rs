//! What the model of a machine reports, compared with its plan: each fault gives its finding and no other.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod support;

use proptest::prelude::*;
use slotwise::board::{Board, SlotLabel};
use slotwise::machine::{Fault, Latch, Machine, Pattern, Reporting, WhichModule};
use slotwise::module::Identity;
use slotwise::plan::Plan;
use slotwise::snapshot::Snapshot;
use slotwise::text::{HANDS, PROCESSOR};
use slotwise::units::{Mts, Size};
use slotwise::verify::{Comparison, Earlier, Finding, FindingKind, Grave, Input, compare, compare_all};

use support::{boot, boot_from_files, layouts, module, plan};

type Short = Vec<(FindingKind, Option<String>)>;

/// Kind and slot of each finding, once its advice is seen to be safe to follow.
fn short(findings: &[Finding]) -> Short {
    findings.iter().for_each(advice_is_safe);
    findings.iter().map(|f| (f.kind, f.slot.as_ref().map(|slot| slot.as_str().to_owned()))).collect()
}

/// Advice that needs hands in the machine names the cards that make it safe, and processors are left to qualified people.
fn advice_is_safe(finding: &Finding) {
    let next = finding.next.to_lowercase();
    let by_hand =
        ["reseat", "exchange", "press the", "insert", "take the module", "move the module", "put each", "label"];
    if by_hand.iter().any(|word| next.contains(word)) {
        assert!(finding.next.contains(HANDS), "{finding:#?}");
    }
    if next.contains("processor's seat") || next.contains("processor contact") {
        assert!(finding.next.contains(PROCESSOR), "{finding:#?}");
    }
    assert!(!next.contains("power off"), "{finding:#?}");
    let shown = finding.lines().join(" ");
    assert!(shown.contains(&finding.next), "cut: {shown}");
}

fn findings(plan: &Plan, machine: &mut Machine) -> Vec<Finding> {
    compare(&Input::new(plan, &boot(machine)))
}

fn at(slot: &SlotLabel) -> Option<String> {
    Some(slot.as_str().to_owned())
}

fn gib(board: &Board) -> u64 {
    if board.name == "Wren" { 16 } else { 8 }
}

/// Every layout filled with one module a channel, and as full as it goes.
fn plans() -> Vec<Plan> {
    let full = |board: &Board| board.slots().map(|at| at.slot.position).max().unwrap();
    layouts().into_iter().flat_map(|board| [1, full(&board)].map(|n| plan(board.clone(), gib(&board), n))).collect()
}

#[test]
fn a_machine_as_planned_gives_no_finding() {
    for plan in plans() {
        let snapshot = boot_from_files(&mut Machine::as_planned(&plan, 3));
        let Comparison { findings, compared, notes } = compare_all(&Input::new(&plan, &snapshot));
        assert_eq!(findings, [], "{}", plan.name);
        // The model's firmware counts no errors.
        assert_eq!(notes, ["errors are not known: no error counter could be read"]);
        assert_eq!(compared.slots as usize, plan.board.slots().count());
        assert_eq!(compared.modules as usize, plan.slot.len());
        assert_eq!((compared.by_serial, compared.speeds), (compared.modules, compared.modules));
    }
}

#[test]
fn each_pattern_of_a_failed_slot_gives_its_one_finding() {
    for plan in plans() {
        for pattern in Pattern::ALL {
            for slot in [&plan.slot[0].slot, &plan.slot[plan.slot.len() - 1].slot] {
                for fault in [
                    Fault::Slot { slot: slot.clone() },
                    Fault::Seating { slot: slot.clone() },
                    Fault::Module(WhichModule::FirstIn(slot.clone())),
                ] {
                    let mut machine = Machine::as_planned(&plan, 3)
                        .with_fault(fault.clone())
                        .with_reporting(Reporting::BySlot(pattern));
                    let kind = if pattern == Pattern::E { FindingKind::Missing } else { FindingKind::ShutOff };
                    let found = findings(&plan, &mut machine);
                    assert_eq!(short(&found), [(kind, at(slot))], "{} {pattern:?} {fault:?}: {found:#?}", plan.name);
                    assert_eq!(found[0].grave, Grave::Stop);
                    assert!(found[0].source.starts_with("smbios type 17 handle 0x11"), "{}", found[0].source);
                    if pattern == Pattern::E {
                        assert!(found[0].next.contains("cannot be told from this source"));
                    }
                }
            }
        }
    }
}

#[test]
fn a_lost_channel_is_missing_in_each_of_its_slots_and_says_so() {
    let plan = plan(support::heron(), 16, 2);
    let lost: Vec<SlotLabel> = ["0B1", "0B2"].map(SlotLabel::from).to_vec();
    for (fault, reporting) in [
        (Fault::Channel { socket: "CPU0".into(), channel: "B".into() }, Reporting::default()),
        (Fault::Slot { slot: "0B2".into() }, Reporting::ByChannel),
    ] {
        let mut machine = Machine::as_planned(&plan, 3).with_fault(fault).with_reporting(reporting);
        let found = findings(&plan, &mut machine);
        let expected: Short = lost.iter().map(|slot| (FindingKind::Missing, at(slot))).collect();
        assert_eq!(short(&found), expected);
        assert!(found.iter().all(|finding| finding.next.contains("All modules of channel B of CPU0 are gone")));
    }
}

#[test]
fn one_small_module_of_a_large_machine_is_found_by_its_slot_though_no_total_shows_it() {
    let mut plan = plan(support::heron(), 64, 3);
    plan.slot[5].module = module(&plan.board, 8, 5);
    let slot = plan.slot[5].slot.clone();
    let mut machine = Machine::as_planned(&plan, 3).with_fault(Fault::Slot { slot: slot.clone() });
    let snapshot = boot(&mut machine);
    assert_eq!(short(&compare(&Input::new(&plan, &snapshot))), [(FindingKind::Missing, at(&slot))]);
    // The kernel's total alone: it cannot tell, and says so.
    let mut blind = without_slots(snapshot);
    blind.totals.blocks_mib = None;
    let found = compare(&Input::new(&plan, &blind));
    assert_eq!(short(&found), [(FindingKind::UnknownSlot, None)]);
    assert!(found[0].reported.as_ref().unwrap().contains("cannot tell whether one module is missing"), "{found:#?}");
}

fn without_slots(mut snapshot: Snapshot) -> Snapshot {
    snapshot.slots.clear();
    snapshot.totals.firmware_mib = None;
    snapshot.totals.mapped_mib = None;
    snapshot
}

#[test]
fn without_slots_a_total_says_which_modules_would_explain_it() {
    let plan = plan(support::curlew(), 32, 1);
    let failed = plan.slot[0].slot.clone();
    let snapshot =
        without_slots(boot_from_files(&mut Machine::as_planned(&plan, 3).with_fault(Fault::Slot { slot: failed })));
    for blocks in [true, false] {
        let mut snapshot = snapshot.clone();
        // Nodes are looked at by their own test.
        snapshot.totals.nodes_kib.clear();
        if !blocks {
            snapshot.totals.blocks_mib = None;
        }
        let found = compare(&Input::new(&plan, &snapshot));
        assert_eq!(short(&found), [(FindingKind::ShortTotal, None)]);
        assert!(found[0].reported.as_ref().unwrap().contains("explained by 1 x 32 GiB not working"), "{found:#?}");
    }
    let whole = without_slots(boot_from_files(&mut Machine::as_planned(&plan, 3)));
    let found = compare(&Input::new(&plan, &whole));
    assert_eq!(short(&found), [(FindingKind::UnknownSlot, None)]);
    assert!(found[0].reported.as_ref().unwrap().contains("only if all planned modules work"), "{found:#?}");
}

#[test]
fn uneven_sockets_are_found_from_the_nodes_when_no_slot_is_known() {
    let plan = plan(support::curlew(), 32, 1);
    let fault = Fault::Slot { slot: plan.slot[0].slot.clone() };
    let snapshot = without_slots(boot_from_files(&mut Machine::as_planned(&plan, 3).with_fault(fault)));
    let found = compare(&Input::new(&plan, &snapshot));
    assert_eq!(short(&found), [(FindingKind::ShortTotal, None), (FindingKind::Unbalanced, None)]);
    // And with slots that all look well.
    let mut snapshot = boot(&mut Machine::as_planned(&plan, 3));
    snapshot.totals.nodes_kib.insert(1, 200 << 20);
    assert_eq!(short(&compare(&Input::new(&plan, &snapshot))), [(FindingKind::Unbalanced, None)]);
}

#[test]
fn exchanged_modules_are_one_finding() {
    for plan in plans() {
        let (a, b) = (plan.slot[0].slot.clone(), plan.slot[plan.slot.len() - 1].slot.clone());
        let mut machine = Machine::as_planned(&plan, 3);
        machine.swap(&a, &b);
        assert_eq!(short(&findings(&plan, &mut machine)), [(FindingKind::Exchanged, at(&a))], "{}", plan.name);
    }
}

#[test]
fn a_ring_of_three_a_chain_and_a_module_in_an_empty_slot_are_one_finding_each() {
    let plan = plan(support::heron(), 16, 1);
    let [a, b, c] = [0, 1, 2].map(|n| plan.slot[n].slot.clone());
    let free = SlotLabel::from("1D3");
    let mut ring = Machine::as_planned(&plan, 3);
    ring.swap(&a, &b);
    ring.swap(&b, &c);
    assert_eq!(short(&findings(&plan, &mut ring)), [(FindingKind::Exchanged, at(&a))]);

    let mut moved = Machine::as_planned(&plan, 3);
    moved.swap(&a, &free);
    let found = findings(&plan, &mut moved);
    assert_eq!(short(&found), [(FindingKind::Exchanged, at(&a))]);
    assert!(found[0].next.contains("Move the module of 1D3 to 0A1"), "{}", found[0].next);

    let mut chain = Machine::as_planned(&plan, 3);
    chain.swap(&a, &free);
    chain.swap(&a, &b);
    let found = findings(&plan, &mut chain);
    assert_eq!(short(&found), [(FindingKind::Exchanged, at(&b))]);
    assert!(found[0].next.contains("Move the module of 0A1 to 0B1, and of 1D3 to 0A1"), "{}", found[0].next);

    // The module that should be in the second slot lies on the bench.
    let mut lost = Machine::as_planned(&plan, 3);
    lost.remove(&b);
    lost.swap(&a, &b);
    let found = findings(&plan, &mut lost);
    assert_eq!(short(&found), [(FindingKind::Exchanged, at(&a)), (FindingKind::Missing, at(&b))]);
}

#[test]
fn without_serials_exchanged_parts_and_sizes_are_still_found() {
    for parts in [true, false] {
        let mut plan = plan(support::heron(), 16, 1);
        plan.slot[3].module = module(&plan.board, 32, 3);
        for slot in &mut plan.slot {
            slot.module.identity.serial = None;
            if !parts {
                slot.module.identity.part = None;
            }
        }
        let (a, b) = (plan.slot[0].slot.clone(), plan.slot[3].slot.clone());
        let mut machine = Machine::as_planned(&plan, 3);
        machine.swap(&a, &b);
        assert_eq!(short(&findings(&plan, &mut machine)), [(FindingKind::Exchanged, at(&a))], "parts {parts}");
        let free = SlotLabel::from("1D2");
        let mut machine = Machine::as_planned(&plan, 3);
        machine.swap(&a, &free);
        assert_eq!(short(&findings(&plan, &mut machine)), [(FindingKind::Exchanged, at(&a))], "parts {parts}");
    }
}

/// A machine with another module in the first slot than planned.
fn with_other(plan: &Plan, change: impl FnOnce(&mut slotwise::module::Module)) -> Machine {
    let mut machine = Machine::as_planned(plan, 3);
    let slot = plan.slot[0].slot.clone();
    let mut other = machine.remove(&slot).unwrap().module;
    change(&mut other);
    machine.insert(&slot, other, Latch::Latched).unwrap();
    machine
}

#[test]
fn another_module_is_wrong_in_the_way_that_tells_most() {
    let known = plan(support::heron(), 16, 1);
    let mut unknown = known.clone();
    for slot in &mut unknown.slot {
        slot.module.identity = Identity::default();
    }
    let first = at(&known.slot[0].slot);
    let wrong = |plan: &Plan, machine: &mut Machine| short(&findings(plan, machine));
    let other_serial = |m: &mut slotwise::module::Module| m.identity.serial = Some("DEADBEEF".into());
    let other_size = |m: &mut slotwise::module::Module| m.spec.gib = Size::from_gib(8);
    let other_kind = |m: &mut slotwise::module::Module| m.spec.kind = Some(slotwise::module::Kind::LRDIMM);
    let other_ranks = |m: &mut slotwise::module::Module| m.spec.ranks = Some(1);
    assert_eq!(wrong(&known, &mut with_other(&known, other_serial)), [(FindingKind::WrongModule, first.clone())]);
    assert_eq!(wrong(&known, &mut with_other(&known, other_size)), [(FindingKind::WrongSize, first.clone())]);
    assert_eq!(wrong(&unknown, &mut with_other(&unknown, other_size)), [(FindingKind::WrongSize, first.clone())]);
    assert_eq!(wrong(&unknown, &mut with_other(&unknown, other_kind)), [(FindingKind::WrongKind, first.clone())]);
    assert_eq!(wrong(&unknown, &mut with_other(&unknown, other_ranks)), [(FindingKind::WrongModule, first.clone())]);
    // By part alone, and then only to be looked at.
    let mut by_part = known.clone();
    by_part.slot[0].module.identity.serial = None;
    let other_part = |m: &mut slotwise::module::Module| m.identity.part = Some("OM16R-2R8-2666-B".into());
    let found = findings(&by_part, &mut with_other(&by_part, other_part));
    assert_eq!(short(&found), [(FindingKind::WrongModule, first)]);
    assert_eq!(found[0].grave, Grave::Look);
}

#[test]
fn a_stacked_module_shows_as_a_plain_one_and_is_right() {
    let mut plan = plan(support::heron(), 64, 1);
    for slot in &mut plan.slot {
        slot.module.spec.kind = Some(slotwise::module::Kind::Rdimm3ds);
    }
    assert_eq!(findings(&plan, &mut Machine::as_planned(&plan, 3)), []);
}

#[test]
fn a_module_beyond_the_plan_is_unplanned() {
    for plan in plans().into_iter().step_by(2) {
        let free = plan.board.slots().find(|at| at.slot.position == 2).unwrap().slot.label.clone();
        let mut machine = Machine::as_planned(&plan, 3);
        machine.insert(&free, module(&plan.board, gib(&plan.board), 900), Latch::Latched).unwrap();
        let found = findings(&plan, &mut machine);
        assert_eq!(short(&found), [(FindingKind::Unplanned, at(&free))], "{}", plan.name);
        // Two on a channel run slower on these boards, which is the same cause.
        assert!(found[0].next.contains("It also holds"), "{}", found[0].next);
    }
}

#[test]
fn a_slow_module_that_is_not_planned_is_one_finding_that_names_the_rate() {
    let plan = plan(support::heron(), 16, 1);
    let mut machine = with_other(&plan, |m| {
        m.identity.serial = Some("DEADBEEF".into());
        m.spec.mts = Some(Mts(2133));
    });
    let found = findings(&plan, &mut machine);
    assert_eq!(short(&found), [(FindingKind::WrongModule, at(&plan.slot[0].slot))]);
    assert!(found[0].next.contains("It also holds 8 modules at 2133 MT/s in place of 2666 MT/s"), "{}", found[0].next);
}

#[test]
fn a_rate_below_the_planned_one_is_slower_and_one_mts_is_not() {
    let plan = plan(support::heron(), 16, 1);
    let mut snapshot = boot(&mut Machine::as_planned(&plan, 3));
    snapshot.slots[0].configured_mts = Some(2665);
    assert_eq!(compare(&Input::new(&plan, &snapshot)), []);
    snapshot.slots[0].configured_mts = Some(2400);
    let found = compare(&Input::new(&plan, &snapshot));
    assert_eq!(short(&found), [(FindingKind::Slower, Some("0A1".to_owned()))]);
    for slot in &mut snapshot.slots {
        slot.configured_mts = slot.configured_mts.map(|_| 2133);
    }
    let found = compare(&Input::new(&plan, &snapshot));
    assert_eq!(short(&found), [(FindingKind::Slower, None)]);
    assert!(found[0].next.starts_with("All modules run at 2133 MT/s, planned 2666 MT/s"));
    // A rate that is not reported is no finding, and not counted as compared.
    for slot in &mut snapshot.slots {
        slot.configured_mts = None;
    }
    let comparison = compare_all(&Input::new(&plan, &snapshot));
    assert_eq!((comparison.findings, comparison.compared.speeds), (vec![], 0));
}

#[test]
fn a_scan_says_more_than_a_plan_that_names_parts_only() {
    let full = plan(support::heron(), 16, 1);
    let mut plan = full.clone();
    for slot in &mut plan.slot {
        slot.module.identity.serial = None;
    }
    let mut machine = Machine::as_planned(&full, 3);
    let (a, b) = (full.slot[0].slot.clone(), full.slot[1].slot.clone());
    machine.swap(&a, &b);
    let snapshot = boot(&mut machine);
    let mut input = Input::new(&plan, &snapshot);
    assert_eq!(compare(&input), [], "equal parts cannot be told apart");
    input.scanned = full.slot.iter().map(|slot| (slot.slot.clone(), slot.module.identity.clone())).collect();
    assert_eq!(short(&compare(&input)), [(FindingKind::Exchanged, at(&a))]);
    // The scanner's letters may be small: the same four bytes.
    for identity in input.scanned.values_mut() {
        identity.serial = identity.serial.as_deref().map(str::to_ascii_lowercase);
    }
    assert_eq!(short(&compare(&input)), [(FindingKind::Exchanged, at(&a))]);
}

#[test]
fn serials_that_the_firmware_does_not_read_are_said_once() {
    let plan = plan(support::heron(), 16, 1);
    let snapshot = boot(&mut Machine::as_planned(&plan, 3));
    let mut one = snapshot.clone();
    one.slots[0].serial = None;
    assert_eq!(short(&compare(&Input::new(&plan, &one))), [(FindingKind::UnreadableIdentity, Some("0A1".to_owned()))]);
    let mut all = snapshot.clone();
    for slot in &mut all.slots {
        slot.serial = None;
    }
    assert_eq!(short(&compare(&Input::new(&plan, &all))), [(FindingKind::UnreadableIdentity, None)]);
    // A label's own form of a serial cannot be compared with the EEPROM's bytes.
    let mut label = plan.clone();
    label.slot[0].module.identity.serial = Some("OSP-2024-07-00017".into());
    assert_eq!(
        short(&compare(&Input::new(&label, &snapshot))),
        [(FindingKind::UnreadableIdentity, Some("0A1".to_owned()))]
    );
}

#[test]
fn the_same_serial_in_two_slots_is_found() {
    let mut plan = plan(support::heron(), 16, 1);
    for slot in &mut plan.slot {
        slot.module.identity.serial = None;
    }
    let mut machine = Machine::as_planned(&plan, 3);
    for n in [2, 5] {
        let slot = plan.slot[n].slot.clone();
        let mut twin = machine.remove(&slot).unwrap().module;
        twin.identity.serial = Some("0C0DE777".into());
        machine.insert(&slot, twin, Latch::Latched).unwrap();
    }
    let found = findings(&plan, &mut machine);
    assert_eq!(short(&found), [(FindingKind::DuplicateSerial, at(&plan.slot[2].slot))]);
    assert!(found[0].reported.as_ref().unwrap().contains("0C1 and 1B1"));
}

#[test]
fn slots_that_board_and_report_do_not_share_are_found() {
    let plan = plan(support::heron(), 16, 1);
    let snapshot = boot(&mut Machine::as_planned(&plan, 3));
    // The board's file has another name for a slot that holds a module, and for one that does not.
    let rename = |plan: &Plan, slot: &str| {
        let mut plan = plan.clone();
        let slots = plan.board.socket.iter_mut().flat_map(|s| &mut s.channel).flat_map(|c| &mut c.slot);
        for other in slots.filter(|other| other.label.as_str() == slot) {
            other.reports_as = vec![slotwise::board::ReportsAs::Locator("elsewhere".into())];
        }
        plan
    };
    assert_eq!(
        short(&compare(&Input::new(&rename(&plan, "0A1"), &snapshot))),
        [(FindingKind::UnknownSlot, Some("0A1".to_owned())), (FindingKind::UnknownSlot, None)]
    );
    let found = compare(&Input::new(&rename(&plan, "0A3"), &snapshot));
    assert_eq!(short(&found), [(FindingKind::UnknownSlot, Some("0A3".to_owned()))]);
    assert_eq!(found[0].grave, Grave::Note);
    // Another board altogether is one finding, not one for each slot.
    let other = support::plan(support::curlew(), 16, 1);
    assert_eq!(short(&compare(&Input::new(&other, &snapshot))), [(FindingKind::UnknownSlot, None)]);
}

#[test]
fn slots_of_a_socket_without_processor_may_be_left_out_of_the_report() {
    let mut plan = plan(support::heron(), 16, 1);
    plan.order.unit[0].processor = vec![slotwise::order::Processor { socket: "CPU0".into(), cpu: None }];
    plan.slot.retain(|slot| slot.slot.as_str().starts_with('0'));
    let mut snapshot = boot(&mut Machine::as_planned(&plan, 3));
    assert_eq!(compare(&Input::new(&plan, &snapshot)), []);
    snapshot.slots.truncate(12);
    assert_eq!(compare(&Input::new(&plan, &snapshot)), []);
}

#[test]
fn counted_errors_are_found_with_their_slot() {
    let plan = plan(support::heron(), 16, 1);
    let mut snapshot = boot(&mut Machine::as_planned(&plan, 3));
    let count = |locator: &str, corrected, uncorrected| slotwise::snapshot::ErrorCount {
        locator: locator.to_owned(),
        corrected,
        uncorrected: Some(uncorrected),
        source: "edac".to_owned(),
    };
    snapshot.counts =
        vec![count("P0 DIMM A1", Some(0), 0), count("P0 DIMM B1", Some(12), 0), count("CPU_SrcID#1", None, 1)];
    let Comparison { findings: found, notes, .. } = compare_all(&Input::new(&plan, &snapshot));
    assert_eq!(notes, ["errors are not known for 6 of 8 modules: their error counters could not be read"]);
    assert_eq!(found[0].reported.as_deref(), Some("corrected not known, 1 uncorrected at CPU_SrcID#1"));
    assert_eq!(
        short(&found),
        [(FindingKind::ErrorsCounted, None), (FindingKind::ErrorsCounted, Some("0B1".to_owned()))]
    );
    assert_eq!([found[0].grave, found[1].grave], [Grave::Stop, Grave::Look]);
}

#[test]
fn a_mapped_total_short_by_a_module_is_found_and_less_is_not() {
    let plan = plan(support::heron(), 16, 1);
    let mut snapshot = boot(&mut Machine::as_planned(&plan, 3));
    snapshot.totals.os_kib = None;
    let with_mapped = |mib: u64| {
        let mut snapshot = snapshot.clone();
        snapshot.totals.mapped_mib = Some(mib);
        compare_all(&Input::new(&plan, &snapshot))
    };
    assert_eq!(with_mapped(128 * 1024 - 4096).findings, []);
    let found = with_mapped(112 * 1024).findings;
    assert_eq!(short(&found), [(FindingKind::ShortTotal, None)]);
    let half = with_mapped(64 * 1024).findings;
    assert!(half[0].next.contains("mirroring"), "{}", half[0].next);
    let excess = with_mapped(256 * 1024);
    assert_eq!(excess.findings, []);
    assert!(excess.notes[0].contains("known from sound machines"));
    // Two ranks a module and one module a channel: a rank a channel is half. Four ranks show sparing as itself.
    let mut spare = snapshot.clone();
    for slot in &mut spare.slots {
        slot.ranks = slot.ranks.map(|_| 4);
    }
    spare.totals.mapped_mib = Some(96 * 1024);
    let mut four = plan.clone();
    for slot in &mut four.slot {
        slot.module.spec.ranks = Some(4);
    }
    let found = compare(&Input::new(&four, &spare));
    assert!(found[0].next.contains("rank sparing"), "{}", found[0].next);
}

/// Holes and rounding move the mapped total by megabytes and more: what counts is whether it is nearer to a module less.
#[test]
fn a_mapped_total_short_by_about_one_of_two_modules_is_found() {
    let plan = plan(support::wren(), 32, 1);
    let mut snapshot = boot(&mut Machine::as_planned(&plan, 3));
    snapshot.totals.os_kib = None;
    for (mib, expected) in [
        (30 * 1024, &[(FindingKind::ShortTotal, None)][..]),
        (32_766, &[(FindingKind::ShortTotal, None)]),
        (33_000, &[(FindingKind::ShortTotal, None)]),
        (40 * 1024, &[(FindingKind::ShortTotal, None)]),
        (60 * 1024, &[]),
        (65_534, &[]),
    ] {
        snapshot.totals.mapped_mib = Some(mib);
        assert_eq!(short(&compare(&Input::new(&plan, &snapshot))), expected, "{mib} MiB");
    }
}

/// Memory that the system uses is there, whatever the firmware's table says of it.
#[test]
fn a_total_that_only_all_modules_give_outweighs_a_smaller_one_and_the_contradiction_is_shown() {
    for plan in plans() {
        let whole = boot_from_files(&mut Machine::as_planned(&plan, 3));
        let module = plan.slot[0].module.spec.gib.mib();
        for (change, smaller) in [(0, "smbios type 19"), (1, "memory blocks")] {
            let mut snapshot = whole.clone();
            let total = if change == 0 { &mut snapshot.totals.mapped_mib } else { &mut snapshot.totals.blocks_mib };
            *total = total.map(|mib| mib - module);
            let Comparison { findings, notes, .. } = compare_all(&Input::new(&plan, &snapshot));
            assert_eq!(findings, [], "{} {smaller}", plan.name);
            let [note, _] = notes.as_slice() else { panic!("{notes:?}") };
            assert!(note.contains("contradict") && note.contains(smaller) && note.contains("MemTotal"), "{note}");
        }
        // A total of the system that cannot tell outweighs nothing.
        let mut snapshot = whole.clone();
        snapshot.totals.blocks_mib = None;
        snapshot.totals.mapped_mib = snapshot.totals.mapped_mib.map(|mib| mib - module);
        snapshot.totals.os_kib = snapshot.totals.os_kib.map(|kib| kib - module * 1024);
        assert_eq!(short(&compare(&Input::new(&plan, &snapshot))), [(FindingKind::ShortTotal, None)], "{}", plan.name);
    }
}

/// The way a module shows that the firmware maps no addresses to is as weak as the mapped total it rests on.
#[test]
fn a_module_reported_as_off_that_the_system_uses_is_to_be_looked_at_and_not_a_stop() {
    let plan = plan(support::wren(), 32, 1);
    let slot = plan.slot[1].slot.clone();
    let fault = Fault::Slot { slot: slot.clone() };
    let off = Reporting::BySlot(Pattern::C);
    let whole = boot_from_files(&mut Machine::as_planned(&plan, 3));
    let mut snapshot = boot_from_files(&mut Machine::as_planned(&plan, 3).with_fault(fault).with_reporting(off));
    let found = compare(&Input::new(&plan, &snapshot));
    assert_eq!((short(&found), found[0].grave), (vec![(FindingKind::ShutOff, at(&slot))], Grave::Stop));
    snapshot.totals = slotwise::snapshot::Totals { mapped_mib: snapshot.totals.mapped_mib, ..whole.totals };
    let found = compare(&Input::new(&plan, &snapshot));
    assert_eq!((short(&found), found[0].grave), (vec![(FindingKind::ShutOff, at(&slot))], Grave::Look));
    assert!(found[0].reported.as_ref().unwrap().contains("contradict"), "{found:#?}");
}

/// A dead module's slot may come without its name, or with no line at all.
#[test]
fn a_module_whose_slot_lost_its_name_is_missing_and_a_slot_of_another_name_is_not() {
    let plan = plan(support::heron(), 16, 1);
    let whole = boot(&mut Machine::as_planned(&plan, 3));
    let line = whole.slots.iter().position(|slot| slot.locator.as_deref() == Some("P0 DIMM B1")).unwrap();
    let empty = |locator: Option<&str>| {
        let mut snapshot = whole.clone();
        let slot = snapshot.slots[line].clone();
        let handle = slot.handle;
        let blank = whole.slots.iter().find(|slot| slot.state == slotwise::snapshot::SlotState::Empty).unwrap();
        snapshot.slots[line] =
            slotwise::snapshot::SlotReport { locator: locator.map(str::to_owned), handle, ..blank.clone() };
        snapshot
    };
    let mut gone = whole.clone();
    gone.slots.remove(line);
    for snapshot in [gone, empty(None), empty(Some("DIMM")), empty(Some("NO DIMM"))] {
        let found = compare(&Input::new(&plan, &snapshot));
        assert_eq!(short(&found), [(FindingKind::Missing, Some("0B1".to_owned()))]);
        assert_eq!(found[0].grave, Grave::Stop);
        assert!(found[0].next.contains("reports_as"), "{}", found[0].next);
    }
    // A module in a slot of unknown name is most likely the planned one.
    let mut renamed = whole.clone();
    renamed.slots[line].locator = Some("DIMM".to_owned());
    assert_eq!(
        short(&compare(&Input::new(&plan, &renamed))),
        [(FindingKind::UnknownSlot, Some("0B1".to_owned())), (FindingKind::UnknownSlot, None)]
    );
}

#[test]
fn memory_the_system_does_not_use_is_found() {
    let plan = plan(support::heron(), 16, 1);
    let mut snapshot = boot(&mut Machine::as_planned(&plan, 3));
    snapshot.totals.os_kib = Some(64 << 20);
    let found = compare(&Input::new(&plan, &snapshot));
    assert_eq!(short(&found), [(FindingKind::ShortTotal, None)]);
    // Where the window was never measured it is not used.
    snapshot.host.cpus[0].version = Some("POWER9".into());
    assert_eq!(compare(&Input::new(&plan, &snapshot)), []);
}

#[test]
fn a_snapshot_of_another_machine_or_boot_is_one_finding_and_nothing_else() {
    let plan = plan(support::heron(), 16, 1);
    let mut machine = Machine::as_planned(&plan, 3).with_fault(Fault::Slot { slot: "0A1".into() });
    let before = boot(&mut machine);
    let snapshot = boot(&mut machine);
    let mut input = Input::new(&plan, &snapshot);
    input.chassis = Some("LF-0042");
    input.earlier = vec![Earlier::from(&before)];
    assert_eq!(short(&compare(&input)), [(FindingKind::Missing, Some("0A1".to_owned()))]);

    let stale = [(FindingKind::StaleSnapshot, None)];
    let elsewhere = [(FindingKind::OtherMachine, None)];
    let mut same = input.clone();
    same.snapshot = &before;
    assert_eq!(short(&compare(&same)), stale);
    let mut other = input.clone();
    other.chassis = Some("LF-0043");
    assert_eq!(short(&compare(&other)), elsewhere);
    let mut old = input.clone();
    old.powered_on = Some(chrono::DateTime::parse_from_rfc3339("2026-11-25T09:00:01Z").unwrap());
    assert_eq!(short(&compare(&old)), stale);
    old.powered_on = Some(chrono::DateTime::parse_from_rfc3339("2026-11-25T09:00:00Z").unwrap());
    assert_eq!(short(&compare(&old)), [(FindingKind::Missing, Some("0A1".to_owned()))]);
    let mut exchanged = input.clone();
    exchanged.earlier[0].uuid = Some("another".into());
    assert_eq!(short(&compare(&exchanged)), elsewhere);
    // A maker's serial is not the house's tag: it does not contradict.
    let mut untagged = snapshot.clone();
    untagged.host.chassis_tag = None;
    let mut input = input.clone();
    input.snapshot = &untagged;
    input.chassis = Some("LF-0043");
    let comparison = compare_all(&input);
    assert_eq!(short(&comparison.findings), [(FindingKind::Missing, Some("0A1".to_owned()))]);
    assert!(comparison.notes[0].contains("does not say its chassis tag"));
}

#[test]
fn text_of_the_firmware_comes_out_clean() {
    let mut plan = plan(support::heron(), 16, 1);
    for slot in &mut plan.slot {
        slot.module.identity = Identity::default();
    }
    let evil = "\u{1b}[2Jx\u{202e}";
    let mut machine = with_other(&plan, |m| {
        m.identity.part = Some(evil.into());
        m.identity.serial = Some(evil.into());
        m.spec.gib = Size::from_gib(8);
    });
    let found = findings(&plan, &mut machine);
    let all = format!("{found:?}");
    assert!(all.contains("x1B[2Jx"), "{all}");
    assert!(found.iter().all(|f| {
        [&f.module, &f.planned, &f.reported].into_iter().flatten().chain([&f.source, &f.next]).all(|t| t.is_ascii())
    }));
}

/// A plan of any layout with any set of slots filled with modules of three sizes.
fn any_plan() -> impl Strategy<Value = Plan> {
    (0..4usize, proptest::collection::vec(0..4u8, 32), any::<bool>()).prop_map(|(board, picks, serials)| {
        let board = layouts()[board].clone();
        let mut plan = plan(board.clone(), 16, 0);
        for at in board.slots() {
            let gib = match picks[at.index] {
                0 if at.index > 0 => continue,
                n => 4 << n,
            };
            let mut module = module(&board, gib, at.index);
            if !serials {
                module.identity = Identity::default();
            }
            plan.slot.push(slotwise::plan::PlanSlot {
                slot: at.slot.label.clone(),
                action: slotwise::plan::Action::Insert,
                from: None,
                module,
                volts: None,
                lot: None,
            });
        }
        plan.mts =
            boot(&mut Machine::as_planned(&plan, 1)).slots.iter().filter_map(|s| s.configured_mts).min().map(Mts);
        plan
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// As planned: nothing. One module away, exchanged or slowed: that one finding.
    #[test]
    fn one_change_is_one_finding(plan in any_plan(), pick in any::<prop::sample::Index>(), other in any::<prop::sample::Index>()) {
        let mut machine = Machine::as_planned(&plan, 9);
        let snapshot = boot(&mut machine);
        prop_assert_eq!(compare(&Input::new(&plan, &snapshot)), vec![]);

        let index = pick.index(plan.slot.len());
        let slot = plan.slot[index].slot.clone();
        if plan.slot.len() > 1 {
            let mut gone = machine.clone();
            gone.remove(&slot);
            prop_assert_eq!(short(&findings(&plan, &mut gone)), vec![(FindingKind::Missing, at(&slot))]);

            let mut slow = snapshot.clone();
            let line = slow.slots.iter().enumerate().filter(|(_, s)| s.configured_mts.is_some()).map(|(n, _)| n).nth(index);
            slow.slots[line.unwrap()].configured_mts = Some(1600);
            prop_assert_eq!(short(&compare(&Input::new(&plan, &slow))), vec![(FindingKind::Slower, at(&slot))]);
        }
        let second = other.index(plan.slot.len());
        let differ = plan.slot[index].module != plan.slot[second].module;
        if differ {
            let first = plan.slot[index.min(second)].slot.clone();
            let mut exchanged = machine.clone();
            exchanged.swap(&slot, &plan.slot[second].slot);
            prop_assert_eq!(short(&findings(&plan, &mut exchanged)), vec![(FindingKind::Exchanged, at(&first))]);
        }
    }
}
