//! The machine: what stands in it, what is wrong with it, and what it says at power-on.

use std::collections::BTreeMap;

use sha2::{Digest, Sha256};

use super::fault::{Fault, Pattern, Reporting, WhichModule};
use super::kernel;
use super::smbios::{self, CpuSocket, Device, Shown, ShownSize};
use super::speed;
use super::tree::Tree;
use crate::board::{Board, SlotLabel, SlotRef};
use crate::module::Module;
use crate::order::Unit;
use crate::plan::Plan;

/// Whether a module sits as it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Latch {
    Latched,
    NotFully,
}

/// A module in the hand or in a slot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seated {
    pub module: Module,
    pub latch: Latch,
    /// The slot it was first inserted in; stays when it is moved.
    pub first_in: SlotLabel,
}

/// Something that cannot be done to a machine.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ModelError {
    #[error("the board has no slot {0}")]
    NoSlot(SlotLabel),
    #[error("slot {0} holds a module already; take it out first")]
    Occupied(SlotLabel),
}

/// What a power-on came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Boot {
    /// It runs, and these are its files.
    Up(Tree),
    /// It does not start: no memory works, or the firmware stops at the fault.
    Dark,
}

impl Boot {
    /// The files of a machine that runs.
    pub fn tree(&self) -> Option<&Tree> {
        match self {
            Self::Up(tree) => Some(tree),
            Self::Dark => None,
        }
    }
}

/// A model of one machine.
#[derive(Debug, Clone)]
pub struct Machine {
    board: Board,
    unit: Unit,
    fitted: BTreeMap<SlotLabel, Seated>,
    fault: Fault,
    /// Serials of modules that are bad besides the fault.
    bad: Vec<String>,
    /// A seating fault strikes once, at the first insertion.
    seating_spent: bool,
    reporting: Reporting,
    boots: u32,
    seed: u64,
}

impl Machine {
    /// An empty machine. Sockets that hold a processor are the unit's; all of them when the unit names none.
    pub fn new(board: Board, unit: Unit, seed: u64) -> Self {
        let fitted = BTreeMap::new();
        Self {
            board,
            unit,
            fitted,
            fault: Fault::None,
            bad: Vec::new(),
            seating_spent: false,
            reporting: Reporting::default(),
            boots: 0,
            seed,
        }
    }

    /// The first unit of a plan with every planned module latched in its slot. A slot the board does not have is left out.
    pub fn as_planned(plan: &Plan, seed: u64) -> Self {
        let unit = plan.order.unit.first().cloned().unwrap_or_else(|| Unit {
            chassis: "LF-0000".to_owned(),
            enclosure: None,
            bay: None,
            processor: Vec::new(),
        });
        let mut machine = Self::new(plan.board.clone(), unit, seed);
        for planned in &plan.slot {
            // A plan with a slot its board lacks fails its own check; here the module is simply not in the machine.
            let _ = machine.insert(&planned.slot, planned.module.clone(), Latch::Latched);
        }
        machine
    }

    /// Puts a fault in. A seating fault strikes the module that stands in the slot now, or else the first to come.
    #[must_use]
    pub fn with_fault(mut self, fault: Fault) -> Self {
        self.seating_spent = false;
        if let Fault::Seating { slot } = &fault
            && let Some(seated) = self.fitted.get_mut(slot)
        {
            seated.latch = Latch::NotFully;
            self.seating_spent = true;
        }
        self.fault = fault;
        self
    }

    /// A module that is bad besides the fault, wherever it stands.
    #[must_use]
    pub fn with_bad(mut self, serial: &str) -> Self {
        self.bad.push(serial.to_owned());
        self
    }

    /// Sets how the firmware shows what does not work.
    #[must_use]
    pub fn with_reporting(mut self, reporting: Reporting) -> Self {
        self.reporting = reporting;
        self
    }

    /// The board it is made of.
    pub fn board(&self) -> &Board {
        &self.board
    }

    /// What is wrong with it.
    pub fn fault(&self) -> &Fault {
        &self.fault
    }

    /// Power-ons so far.
    pub fn boots(&self) -> u32 {
        self.boots
    }

    /// Sets the count of power-ons, so that a job that is resumed sees new boot ids.
    pub fn set_boots(&mut self, boots: u32) {
        self.boots = boots;
    }

    /// What stands in a slot.
    pub fn at(&self, slot: &SlotLabel) -> Option<&Seated> {
        self.fitted.get(slot)
    }

    /// Inserts a module that was not in the machine before.
    ///
    /// # Errors
    /// The board has no such slot, or a module stands in it.
    pub fn insert(&mut self, slot: &SlotLabel, module: Module, latch: Latch) -> Result<(), ModelError> {
        self.put(slot, Seated { module, latch, first_in: slot.clone() })
    }

    /// Takes a module out.
    pub fn remove(&mut self, slot: &SlotLabel) -> Option<Seated> {
        self.fitted.remove(slot)
    }

    /// Inserts a module that was taken out of the machine.
    ///
    /// # Errors
    /// The board has no such slot, or a module stands in it.
    pub fn put(&mut self, slot: &SlotLabel, mut seated: Seated) -> Result<(), ModelError> {
        if self.board.slot(slot.as_str()).is_none() {
            return Err(ModelError::NoSlot(slot.clone()));
        }
        if self.fitted.contains_key(slot) {
            return Err(ModelError::Occupied(slot.clone()));
        }
        if !self.seating_spent && matches!(&self.fault, Fault::Seating { slot: at } if at == slot) {
            seated.latch = Latch::NotFully;
            self.seating_spent = true;
        }
        self.fitted.insert(slot.clone(), seated);
        Ok(())
    }

    /// Takes the module of a slot out and inserts it again until it latches. Whether there was one.
    pub fn reseat(&mut self, slot: &SlotLabel) -> bool {
        self.fitted.get_mut(slot).map(|seated| seated.latch = Latch::Latched).is_some()
    }

    /// Exchanges what stands in two slots; both end latched.
    pub fn swap(&mut self, one: &SlotLabel, other: &SlotLabel) {
        let (a, b) = (self.fitted.remove(one), self.fitted.remove(other));
        for (slot, seated) in [(one, b), (other, a)] {
            if let Some(seated) = seated {
                self.fitted.insert(slot.clone(), Seated { latch: Latch::Latched, ..seated });
            }
        }
    }

    /// Switches it on: a new boot, and what it reports.
    pub fn power_on(&mut self) -> Boot {
        self.boots += 1;
        self.report()
    }

    /// What it reports in the present boot.
    pub fn report(&self) -> Boot {
        let fails: Vec<bool> = self.board.slots().map(|at| self.fails(at)).collect();
        if self.reporting == Reporting::Blind && fails.contains(&true) {
            return Boot::Dark;
        }
        let working: Vec<(SlotRef<'_>, &Module)> = self
            .board
            .slots()
            .filter(|at| self.has_processor(at.socket_index) && !self.is_left_out(*at, &fails))
            .filter_map(|at| Some((at, &self.fitted.get(&at.slot.label)?.module)))
            .collect();
        if working.is_empty() {
            return Boot::Dark;
        }
        let cpus: Vec<Option<&str>> = self.unit.processor.iter().map(|one| one.cpu.as_deref()).collect();
        let configured = speed::configured(&self.board, &cpus, &working);
        let devices = self.board.slots().map(|at| self.device(at, &fails, configured)).collect();
        let table = smbios::table(&self.table(devices));
        let mut tree = Tree::default();
        tree.add("/sys/firmware/dmi/tables/smbios_entry_point", smbios::entry_point(&table));
        tree.add("/sys/firmware/dmi/tables/DMI", table);
        tree.add("/proc/sys/kernel/random/boot_id", format!("{}\n", self.boot_id()));
        for path in ["/proc/sys/kernel/hostname", "/etc/hostname"] {
            tree.add(path, format!("{}\n", self.name()));
        }
        let mut nodes = vec![0; self.board.socket.len()];
        for (at, module) in &working {
            nodes[at.socket_index] += module.spec.gib.mib();
        }
        let present: Vec<u64> =
            nodes.iter().enumerate().filter(|(n, _)| self.has_processor(*n)).map(|(_, mib)| *mib).collect();
        let salt = u64::from_le_bytes(self.derived("loss"));
        kernel::add(&mut tree, &kernel::Memory { mib: present.iter().sum(), nodes: &present, salt });
        Boot::Up(tree)
    }

    /// The name it gives itself: its chassis tag in lower case.
    fn name(&self) -> String {
        let tag = self.unit.chassis.to_ascii_lowercase();
        tag.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect()
    }

    fn has_processor(&self, socket: usize) -> bool {
        let named = &self.unit.processor;
        named.is_empty()
            || self.board.socket.get(socket).is_some_and(|socket| named.iter().any(|one| one.socket == socket.label))
    }

    /// Whether the module of this slot does not work.
    fn fails(&self, at: SlotRef<'_>) -> bool {
        let Some(seated) = self.fitted.get(&at.slot.label) else { return false };
        if !self.has_processor(at.socket_index) {
            return false;
        }
        seated.latch == Latch::NotFully
            || seated.module.identity.serial.as_ref().is_some_and(|serial| self.bad.contains(serial))
            || match &self.fault {
                Fault::None | Fault::Seating { .. } => false,
                Fault::Module(WhichModule::Serial(serial)) => seated.module.identity.serial.as_ref() == Some(serial),
                Fault::Module(WhichModule::FirstIn(slot)) => seated.first_in == *slot,
                Fault::Slot { slot } => at.slot.label == *slot,
                Fault::Channel { socket, channel } => at.socket.label == *socket && at.channel.label == *channel,
                Fault::Socket { socket } => at.socket.label == *socket,
            }
    }

    /// Whether the firmware leaves this slot's module out.
    fn is_left_out(&self, at: SlotRef<'_>, fails: &[bool]) -> bool {
        match self.reporting {
            Reporting::BySlot(_) | Reporting::Blind => fails[at.index],
            Reporting::ByChannel => self.board.slots().any(|other| {
                fails[other.index] && (other.socket_index, other.channel_index) == (at.socket_index, at.channel_index)
            }),
        }
    }

    fn device(&self, at: SlotRef<'_>, fails: &[bool], configured: Option<u32>) -> Device {
        let named = at.slot.reports_as.first();
        let locator = named.map_or(at.slot.label.as_str(), |named| named.locator()).to_owned();
        let bank = named.and_then(|named| named.bank()).map(str::to_owned);
        let shown =
            self.fitted.get(&at.slot.label).filter(|_| self.has_processor(at.socket_index)).and_then(|seated| {
                let pattern = match self.reporting {
                    _ if !self.is_left_out(at, fails) => None,
                    Reporting::BySlot(pattern) => Some(pattern),
                    Reporting::ByChannel | Reporting::Blind => Some(Pattern::E),
                };
                show(&seated.module, pattern, configured)
            });
        Device { locator, bank, shown }
    }

    fn table(&self, devices: Vec<Device>) -> smbios::Table {
        let cpus = self.board.socket.iter().enumerate().map(|(n, socket)| CpuSocket {
            label: socket.label.clone(),
            version: self.unit.processor.iter().find(|one| one.socket == socket.label).and_then(|one| one.cpu.clone()),
            populated: self.has_processor(n),
        });
        smbios::Table {
            maker: "Larkfield".to_owned(),
            product: self.board.name.clone(),
            board_product: self.board.name.clone(),
            serial: self.unit.chassis.clone(),
            chassis: self.unit.chassis.clone(),
            uuid: self.uuid(&format!("machine {}", self.unit.chassis)),
            cpus: cpus.collect(),
            devices,
        }
    }

    /// A new one each boot.
    fn boot_id(&self) -> String {
        let bytes = self.uuid(&format!("boot {} {} {}", self.seed, self.unit.chassis, self.boots));
        let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        format!("{}-{}-{}-{}-{}", &hex[..8], &hex[8..12], &hex[12..16], &hex[16..20], &hex[20..])
    }

    /// A version 4 UUID made from `what`.
    fn uuid(&self, what: &str) -> [u8; 16] {
        let mut bytes = [0; 16];
        bytes.copy_from_slice(&Sha256::digest(what)[..16]);
        bytes[6] = (bytes[6] & 0x0F) | 0x40;
        bytes[8] = (bytes[8] & 0x3F) | 0x80;
        bytes
    }

    fn derived(&self, what: &str) -> [u8; 8] {
        let mut bytes = [0; 8];
        bytes.copy_from_slice(&Sha256::digest(format!("{what} {} {}", self.seed, self.unit.chassis))[..8]);
        bytes
    }
}

/// A module as the firmware shows it: plainly, or by one of the patterns of what it does not use.
fn show(module: &Module, pattern: Option<Pattern>, configured: Option<u32>) -> Option<Shown> {
    let mib = module.spec.gib.mib();
    let plain = Shown {
        size: ShownSize::Mib(mib),
        generation: module.spec.generation,
        kind: module.spec.kind,
        ranks: module.spec.ranks,
        rated_mts: module.spec.mts.map(|mts| mts.0),
        configured_mts: configured.unwrap_or(0),
        millivolts: smbios::nominal_millivolts(module.spec.generation),
        maker: module.identity.maker.clone(),
        part: module.identity.part.clone(),
        serial: module.identity.serial.clone(),
        mapped_mib: Some(mib),
    };
    match pattern {
        None => Some(plain),
        Some(Pattern::A) => {
            Some(Shown { size: ShownSize::Zero, configured_mts: 0, millivolts: 0, mapped_mib: None, ..plain })
        }
        Some(Pattern::B) => Some(Shown { configured_mts: 0, millivolts: 0, mapped_mib: None, ..plain }),
        Some(Pattern::C) => Some(Shown { mapped_mib: None, ..plain }),
        Some(Pattern::D) => Some(Shown { size: ShownSize::Unknown, mapped_mib: None, ..plain }),
        Some(Pattern::E) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::support;

    fn shown(boot: &Boot) -> [u64; 1] {
        let tree = boot.tree().unwrap();
        let blocks = tree.files().iter().filter(|(path, _)| path.ends_with("/state")).count() as u64;
        let block = std::str::from_utf8(tree.file("/sys/devices/system/memory/block_size_bytes").unwrap()).unwrap();
        [blocks * (u64::from_str_radix(block.trim(), 16).unwrap() >> 30)]
    }

    #[test]
    fn a_seating_fault_strikes_once_and_reseating_cures_it() {
        let plan = support::plan(support::heron(), 32, 1);
        let slot = plan.slot[2].slot.clone();
        let mut machine = Machine::as_planned(&plan, 1).with_fault(Fault::Seating { slot: slot.clone() });
        assert_eq!(shown(&machine.power_on()), [7 * 32]);
        assert!(machine.reseat(&slot));
        assert_eq!(shown(&machine.power_on()), [8 * 32]);
        // The same when the module comes after the fault.
        let taken = machine.remove(&slot).unwrap();
        let mut machine = machine.with_fault(Fault::Seating { slot: slot.clone() });
        machine.put(&slot, taken).unwrap();
        assert_eq!(shown(&machine.power_on()), [7 * 32]);
        let taken = machine.remove(&slot).unwrap();
        machine.put(&slot, Seated { latch: Latch::Latched, ..taken }).unwrap();
        assert_eq!(shown(&machine.power_on()), [8 * 32]);
    }

    #[test]
    fn a_bad_module_takes_its_fault_along_and_a_bad_slot_keeps_it() {
        let plan = support::plan(support::heron(), 32, 1);
        let (a, b) = (plan.slot[0].slot.clone(), plan.slot[1].slot.clone());
        let failing = |machine: &Machine| -> Vec<SlotLabel> {
            machine.board.slots().filter(|at| machine.fails(*at)).map(|at| at.slot.label.clone()).collect()
        };
        let serial = plan.slot[0].module.identity.serial.clone().unwrap();
        for (fault, after) in [
            (Fault::Module(WhichModule::Serial(serial)), &b),
            (Fault::Module(WhichModule::FirstIn(a.clone())), &b),
            (Fault::Slot { slot: a.clone() }, &a),
        ] {
            let mut machine = Machine::as_planned(&plan, 1).with_fault(fault);
            assert_eq!(failing(&machine), std::slice::from_ref(&a));
            machine.swap(&a, &b);
            assert_eq!(failing(&machine), std::slice::from_ref(after));
        }
    }

    #[test]
    fn channel_socket_and_blind_firmware() {
        let plan = support::plan(support::heron(), 32, 2);
        let channel = Fault::Channel { socket: "CPU0".into(), channel: "B".into() };
        let at = |fault: Fault, reporting| Machine::as_planned(&plan, 1).with_fault(fault).with_reporting(reporting);
        assert_eq!(shown(&at(channel, Reporting::default()).power_on()), [14 * 32]);
        let socket = Fault::Socket { socket: "CPU1".into() };
        assert_eq!(shown(&at(socket, Reporting::default()).power_on()), [8 * 32]);
        let slot = Fault::Slot { slot: plan.slot[0].slot.clone() };
        assert_eq!(shown(&at(slot.clone(), Reporting::ByChannel).power_on()), [14 * 32]);
        assert_eq!(at(slot, Reporting::Blind).power_on(), Boot::Dark);
    }

    #[test]
    fn each_boot_has_its_own_id_and_the_same_seed_the_same_ids() {
        let plan = support::plan(support::wren(), 16, 1);
        let ids = |seed| {
            let mut machine = Machine::as_planned(&plan, seed);
            [(); 3]
                .map(|()| machine.power_on().tree().unwrap().file("/proc/sys/kernel/random/boot_id").unwrap().to_vec())
        };
        let one = ids(1);
        assert_ne!(one[0], one[1]);
        assert_ne!(one[1], one[2]);
        assert_eq!(one, ids(1));
        assert_ne!(one, ids(2));
    }

    #[test]
    fn memory_of_a_socket_without_processor_is_not_there() {
        let mut plan = support::plan(support::heron(), 32, 1);
        plan.order.unit[0].processor = vec![crate::order::Processor { socket: "CPU0".into(), cpu: None }];
        let boot = Machine::as_planned(&plan, 1).power_on();
        assert_eq!(shown(&boot), [4 * 32]);
        assert!(boot.tree().unwrap().file("/sys/devices/system/node/node1/meminfo").is_none());
    }

    #[test]
    fn nothing_is_put_where_something_stands() {
        let plan = support::plan(support::wren(), 16, 1);
        let mut machine = Machine::as_planned(&plan, 1);
        let (slot, module) = (plan.slot[0].slot.clone(), plan.slot[0].module.clone());
        assert_eq!(machine.insert(&slot, module.clone(), Latch::Latched), Err(ModelError::Occupied(slot)));
        assert_eq!(machine.insert(&"9Z9".into(), module, Latch::Latched), Err(ModelError::NoSlot("9Z9".into())));
    }
}
