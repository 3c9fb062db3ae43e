//! From the firmware's structures to one line per slot, with the firmware's ways of showing a module it does not use.
//!
//! No field of the table says "failed" or "disabled" (DSP0134 7.18), and firmware shows such a module in five ways:
//!
//! | way | size | and |
//! | --- | --- | --- |
//! | A | 0 | the module's identity is still there |
//! | B | kept | configured speed and configured voltage are both 0, while other modules have theirs |
//! | C | kept | no addresses (type 20) while others have some, and the ranges (type 19) are short by a module |
//! | D | unknown (FFFFh) | the identity is there |
//! | E | 0 | nothing: the same as an empty slot, and no table can tell them apart |
//!
//! Seen in listings of real multi-socket machines. Empty slots may still name a type, a width, a speed and placeholder
//! words, so none of these counts as identity.

use std::collections::{BTreeMap, BTreeSet};

use super::identity::{identity, is_code, maker_of, text};
use super::smbios::{HANDLE_NOT_PROVIDED, MemoryDevice, NO_HANDLE, Reported, Table};
use super::totals::{Mapped, common_hole, shortfall_of_a_module};
use super::{ErrorCount, SlotReport, SlotState};

/// A range smaller than this, in bytes, is a dummy that old boards give to empty slots.
const DUMMY_BELOW: u64 = 1 << 20;

/// The devices that are system memory, or may be.
pub(super) fn system_devices(table: &Table) -> Vec<&MemoryDevice> {
    let others: BTreeSet<u16> =
        table.arrays.iter().filter(|array| array.is_other_memory()).map(|array| array.handle).collect();
    table.devices.iter().filter(|device| device.array.is_none_or(|array| !others.contains(&array))).collect()
}

/// One line per slot, in table order: locators repeat on real machines, handles and order do not.
pub(super) fn slots(table: &Table, mapped: &Mapped) -> Vec<SlotReport> {
    let devices = system_devices(table);
    let with_addresses = with_addresses(table, &devices);
    let facts: Vec<Facts<'_>> = devices.iter().map(|device| Facts::of(device, with_addresses.as_ref())).collect();
    let unmapped = Unmapped::judge(&facts, mapped);
    let running =
        facts.iter().filter(|facts| facts.device.configured_mts.is_some() && facts.device.is_fitted()).count();
    facts.iter().map(|facts| facts.report(running > 0, &unmapped, mapped)).collect()
}

/// Handles of the devices with addresses; `None` when the table says nothing that can be used: no type 20 at all, or
/// handles that repeat, so that it is open whose addresses they are.
fn with_addresses(table: &Table, devices: &[&MemoryDevice]) -> Option<BTreeSet<u16>> {
    let handles: BTreeSet<u16> = devices.iter().map(|device| device.handle).collect();
    let found: BTreeSet<u16> = table
        .device_ranges
        .iter()
        .filter(|range| range.bytes().is_some_and(|bytes| bytes >= DUMMY_BELOW))
        .filter_map(|range| range.device)
        .filter(|handle| handles.contains(handle))
        .collect();
    (handles.len() == devices.len() && !found.is_empty()).then_some(found)
}

/// What is known of one slot before its state is decided.
struct Facts<'a> {
    device: &'a MemoryDevice,
    maker: Option<(String, &'static str)>,
    part: Option<String>,
    serial: Option<String>,
    has_addresses: Option<bool>,
}

/// Which sized modules without addresses the ranges are really short of.
struct Unmapped {
    shut_off: bool,
}

impl Unmapped {
    fn judge(facts: &[Facts<'_>], mapped: &Mapped) -> Self {
        let sizes = || facts.iter().filter_map(|facts| facts.device.size_mib()).filter(|mib| *mib > 0);
        let without: u64 = facts
            .iter()
            .filter(|facts| facts.has_addresses == Some(false))
            .filter_map(|facts| facts.device.size_mib())
            .sum();
        let smallest = sizes().min().unwrap_or(0);
        // Some sound machines lack single type 20 structures, so the ranges must be short of all of these modules.
        let shut_off = without > 0
            && mapped.shortfall_mib.is_some_and(|short| {
                short >= shortfall_of_a_module(smallest) && short.saturating_add(common_hole(smallest)) >= without
            });
        Self { shut_off }
    }
}

impl<'a> Facts<'a> {
    fn of(device: &'a MemoryDevice, with_addresses: Option<&BTreeSet<u16>>) -> Self {
        let written = identity(device.maker.as_deref()).map(|maker| (maker, "smbios type 17, 17h"));
        let coded = device.module_maker.and_then(maker_of).map(|maker| (maker.to_owned(), "smbios type 17, 2Ch"));
        // Some firmware writes the code in place of the name; the name says more.
        let maker = match (written, coded) {
            (Some((text, _)), Some(coded)) if is_code(&text) => Some(coded),
            (written, coded) => written.or(coded),
        };
        Self {
            device,
            maker,
            part: identity(device.part.as_deref()),
            serial: identity(device.serial.as_deref()),
            has_addresses: with_addresses.map(|handles| handles.contains(&device.handle)),
        }
    }

    /// Whether the strings name one particular module: a part, and a maker or serial with it.
    fn names_a_module(&self) -> bool {
        self.part.is_some() && (self.maker.is_some() || self.serial.is_some())
    }

    fn state(&self, others_run: bool, unmapped: &Unmapped, mapped: &Mapped) -> (SlotState, Option<String>) {
        let shut_off = |because: String| (SlotState::ShutOff, Some(because));
        match self.device.size {
            None => (SlotState::Unknown, Some("the slot's structure ends before its size".to_owned())),
            Some(Reported::Nothing) if self.names_a_module() => shut_off(
                "size 0, but the module's maker, part or serial can still be read: the firmware found a module and \
                 does not use it"
                    .to_owned(),
            ),
            Some(Reported::Nothing) => (SlotState::Empty, None),
            Some(Reported::Unknown) if self.names_a_module() => shut_off(
                "size unknown (FFFFh), but the module's maker, part or serial can be read: the firmware found a module \
                 and does not use it"
                    .to_owned(),
            ),
            Some(Reported::Unknown) => (
                SlotState::Unknown,
                Some("size unknown (FFFFh) and no identity: the firmware cannot say what is in the slot".to_owned()),
            ),
            Some(Reported::Kib(kib)) => {
                if self.device.configured_speed_is_zero && self.device.configured_voltage_is_zero && others_run {
                    let ranges = match mapped.shortfall_mib {
                        Some(short) if short >= kib / 1024 => "; the mapped memory is short by at least this module",
                        Some(0) => "; the mapped memory, though, is not short",
                        _ => "",
                    };
                    return shut_off(format!(
                        "configured speed 0 and configured voltage 0 while other modules have theirs: the module is \
                         seen and does not run{ranges}"
                    ));
                }
                if self.has_addresses == Some(false) && unmapped.shut_off {
                    return shut_off(format!(
                        "no addresses are mapped to it while other modules have some, and the mapped memory is short \
                         by {} MiB: the firmware does not use it, unless mirroring or sparing is on",
                        mapped.shortfall_mib.unwrap_or(0)
                    ));
                }
                (SlotState::Fitted, None)
            }
        }
    }

    fn report(&self, others_run: bool, unmapped: &Unmapped, mapped: &Mapped) -> SlotReport {
        let device = self.device;
        let (state, because) = self.state(others_run, unmapped, mapped);
        let mut slot = SlotReport {
            locator: text(device.locator.as_deref()),
            bank: text(device.bank.as_deref()),
            state,
            size_mib: None,
            generation: None,
            kind: None,
            ranks: None,
            rated_mts: None,
            configured_mts: None,
            maker: None,
            part: None,
            serial: None,
            handle: Some(device.handle),
            mapped: None,
            sources: BTreeMap::new(),
            because,
        };
        // What firmware writes about an empty slot is of no module.
        if state != SlotState::Empty {
            slot.size_mib = device.size_mib();
            slot.generation = device.generation();
            slot.kind = device.kind();
            slot.ranks = device.ranks;
            slot.rated_mts = device.rated_mts;
            slot.configured_mts = device.configured_mts;
            slot.maker = self.maker.as_ref().map(|(maker, _)| maker.clone());
            slot.part = self.part.clone();
            slot.serial = self.serial.clone();
            slot.mapped = self.has_addresses;
        }
        slot.sources = self.sources(&slot);
        slot
    }

    /// Structure type and offset of each field that is known.
    fn sources(&self, slot: &SlotReport) -> BTreeMap<String, String> {
        let size_source = if self.device.size_is_extended { "smbios type 17, 1Ch" } else { "smbios type 17, 0Ch" };
        let maker_source = self.maker.as_ref().map_or("", |(_, source)| source);
        [
            ("locator", slot.locator.is_some(), "smbios type 17, 10h"),
            ("bank", slot.bank.is_some(), "smbios type 17, 11h"),
            ("state", true, "smbios type 17, 0Ch"),
            ("size_mib", slot.size_mib.is_some(), size_source),
            ("generation", slot.generation.is_some(), "smbios type 17, 12h"),
            ("kind", slot.kind.is_some(), "smbios type 17, 0Eh and 13h"),
            ("ranks", slot.ranks.is_some(), "smbios type 17, 1Bh"),
            ("rated_mts", slot.rated_mts.is_some(), "smbios type 17, 15h"),
            ("configured_mts", slot.configured_mts.is_some(), "smbios type 17, 20h"),
            ("maker", slot.maker.is_some(), maker_source),
            ("part", slot.part.is_some(), "smbios type 17, 1Ah"),
            ("serial", slot.serial.is_some(), "smbios type 17, 18h"),
            ("mapped", slot.mapped.is_some(), "smbios type 20, 0Ch"),
        ]
        .into_iter()
        .filter(|(_, known, _)| *known)
        .map(|(field, _, source)| (field.to_owned(), source.to_owned()))
        .collect()
    }
}

/// Errors the firmware recorded before the start, one line per slot that has its own record, and notes for the others.
pub(super) fn errors(table: &Table, slots: &[SlotReport]) -> (Vec<ErrorCount>, Vec<String>) {
    let mut counts = Vec::new();
    let mut notes = Vec::new();
    for error in &table.errors {
        let Some(words) = error.words() else { continue };
        let users: Vec<&MemoryDevice> = table
            .devices
            .iter()
            .filter(|device| {
                device.error == Some(error.handle) && !matches!(error.handle, HANDLE_NOT_PROVIDED | NO_HANDLE)
            })
            .collect();
        let slot = match users.as_slice() {
            [device] => slots.iter().find(|slot| slot.handle == Some(device.handle)),
            _ => None,
        };
        let Some(slot) = slot else {
            notes.push(format!("error record {:#06x}: {words}, of {} slots", error.handle, users.len()));
            continue;
        };
        counts.push(ErrorCount {
            locator: name_of(slot),
            corrected: error.was_corrected().then_some(1),
            uncorrected: (!error.was_corrected()).then_some(1),
            source: "smbios".to_owned(),
        });
        notes.push(format!("error record {:#06x}: {words}, of slot {}", error.handle, name_of(slot)));
    }
    (counts, notes)
}

/// What a slot is called when it has to be named: its locator, or its handle.
pub(super) fn name_of(slot: &SlotReport) -> String {
    slot.locator.clone().unwrap_or_else(|| format!("handle {:#06x}", slot.handle.unwrap_or(NO_HANDLE)))
}
