//! A plan that says: keep what is there.

use std::collections::BTreeMap;

use crate::board::{BOARD_FORMAT, Board, Channel, Limits, LocatorAndBank, ReportsAs, Slot, SlotLabel, Socket};
use crate::module::{Generation, Identity, Module, ModuleSpec};
use crate::order::{ORDER_FORMAT, Order, Unit};
use crate::plan::{Action, PLAN_FORMAT, Plan, PlanSlot};
use crate::snapshot::{SlotReport, SlotState, Snapshot};
use crate::units::{Mts, Size};

/// Whether modules that the firmware does not use are planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShutOffModules {
    /// They should work: their slots are planned.
    Planned,
    /// Their slots are planned to stay empty.
    LeftOut,
}

/// A plan to keep what a machine reports, on a board drafted from the same report.
///
/// A report does not say which slots share a channel or a socket, so the draft has one socket with one channel, and every
/// slot in it in the order of the report. A shut-off module whose size is not reported takes the size of another of the same
/// part, or else of the first one that works; without either it is left out.
pub fn plan_from_snapshot(snapshot: &Snapshot, shut_off: ShutOffModules) -> Plan {
    let slots = &snapshot.slots;
    let names = names(slots);
    let planned = slots.iter().zip(&names).filter_map(|(report, (label, _))| {
        let wanted = match report.state {
            SlotState::Fitted => true,
            SlotState::ShutOff => shut_off == ShutOffModules::Planned,
            SlotState::Empty | SlotState::Unknown => false,
        };
        let gib = wanted.then(|| size_of(report, slots)).flatten()?;
        Some(PlanSlot {
            slot: label.clone(),
            action: Action::Keep,
            from: None,
            module: module(report, gib),
            volts: None,
            lot: None,
        })
    });
    let working = slots.iter().filter(|slot| slot.state == SlotState::Fitted);
    let host = &snapshot.host;
    let chassis = host.chassis_tag.as_ref().or(host.chassis_serial.as_ref()).or(host.serial.as_ref());
    Plan {
        format: PLAN_FORMAT.to_owned(),
        name: "as reported".to_owned(),
        board_sha256: None,
        // The slowest: sound machines run sockets or channels at different rates.
        mts: working.filter_map(|slot| slot.configured_mts).min().map(Mts),
        reasons: vec!["Keeps what the snapshot reports.".to_owned()],
        considered: None,
        slot: planned.collect(),
        remove: Vec::new(),
        order: Order {
            stand_ins: false,
            format: ORDER_FORMAT.to_owned(),
            name: "as reported".to_owned(),
            unit: vec![Unit {
                chassis: chassis.cloned().unwrap_or_else(|| "unknown".to_owned()),
                enclosure: None,
                bay: None,
                processor: Vec::new(),
            }],
            gib: None,
            fitted: Vec::new(),
        },
        board: board(snapshot, names),
    }
}

fn board(snapshot: &Snapshot, names: Vec<(SlotLabel, ReportsAs)>) -> Board {
    let mut kinds: Vec<_> = snapshot.slots.iter().filter_map(|slot| slot.kind).collect();
    kinds.sort();
    kinds.dedup();
    let slot = names.into_iter().enumerate().map(|(n, (label, name))| Slot {
        label,
        position: u8::try_from(n + 1).unwrap_or(u8::MAX),
        tab: None,
        key: None,
        reports_as: vec![name],
        at: None,
    });
    Board {
        format: BOARD_FORMAT.to_owned(),
        name: snapshot
            .host
            .board_product
            .clone()
            .or(snapshot.host.product.clone())
            .unwrap_or_else(|| "drafted".to_owned()),
        about: Some("Drafted from a report: sockets and channels are not known.".to_owned()),
        source: None,
        generation: snapshot.slots.iter().find_map(|slot| slot.generation).unwrap_or(Generation::DDR4),
        enclosure: None,
        socket: vec![Socket {
            label: "machine".to_owned(),
            channel: vec![Channel { label: "all".to_owned(), controller: None, slot: slot.collect() }],
        }],
        cover: Vec::new(),
        limits: Limits { kinds, ..Limits::default() },
        speed: Vec::new(),
        cpu: Vec::new(),
        interleave: None,
    }
}

/// A label for each slot, and what the firmware calls it: the locator, with the bank where locators repeat, with its
/// number where both repeat.
fn names(slots: &[SlotReport]) -> Vec<(SlotLabel, ReportsAs)> {
    let locator = |slot: &SlotReport| slot.locator.as_deref().unwrap_or_default().trim().to_owned();
    let bank = |slot: &SlotReport| slot.bank.as_deref().unwrap_or_default().trim().to_owned();
    let mut by_locator: BTreeMap<String, u32> = BTreeMap::new();
    let mut by_both: BTreeMap<(String, String), u32> = BTreeMap::new();
    for slot in slots {
        *by_locator.entry(locator(slot)).or_default() += 1;
        *by_both.entry((locator(slot), bank(slot))).or_default() += 1;
    }
    let mut used: BTreeMap<String, u32> = BTreeMap::new();
    slots
        .iter()
        .map(|slot| {
            let (locator, bank) = (locator(slot), bank(slot));
            let alone = by_locator.get(&locator) == Some(&1);
            let mut label = match (locator.is_empty(), alone) {
                (true, _) => "slot".to_owned(),
                (false, true) => locator.clone(),
                (false, false) => format!("{locator} {bank}").trim().to_owned(),
            };
            let both_repeat = by_both.get(&(locator.clone(), bank.clone())) != Some(&1);
            let count = used.entry(label.clone()).or_default();
            *count += 1;
            if both_repeat || *count > 1 {
                label = format!("{label} #{count}");
            }
            let name = if alone {
                ReportsAs::Locator(locator)
            } else {
                ReportsAs::LocatorAndBank(LocatorAndBank { locator, bank })
            };
            (SlotLabel(label), name)
        })
        .collect()
}

fn size_of(report: &SlotReport, slots: &[SlotReport]) -> Option<Size> {
    let known = |slot: &SlotReport| slot.size_mib.filter(|mib| *mib > 0);
    let working = || slots.iter().filter(|slot| slot.state == SlotState::Fitted);
    known(report)
        .or_else(|| working().filter(|slot| slot.part.is_some() && slot.part == report.part).find_map(known))
        .or_else(|| working().find_map(known))
        .map(Size::from_mib)
}

fn module(report: &SlotReport, gib: Size) -> Module {
    Module {
        spec: ModuleSpec {
            generation: report.generation,
            kind: report.kind,
            gib,
            ranks: report.ranks,
            width: None,
            mts: report.rated_mts.map(Mts),
        },
        identity: Identity {
            maker: report.maker.clone(),
            part: report.part.clone(),
            serial: report.serial.clone(),
            date: None,
        },
    }
}
