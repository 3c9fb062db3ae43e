//! Boards, modules and plans of the tests' own making.
#![allow(
    dead_code,
    clippy::print_stderr,
    clippy::unwrap_used,
    clippy::panic,
    reason = "each test binary uses its own part of it"
)]

use slotwise::board::*;
use slotwise::machine::{Boot, Machine};
use slotwise::module::{Generation, Identity, Kind, Module, ModuleSpec};
use slotwise::order::{ORDER_FORMAT, Order, Unit};
use slotwise::plan::{Action, PLAN_FORMAT, Plan, PlanSlot};
use slotwise::snapshot::{Snapshot, Source, merge, source_name};
use slotwise::units::{Mts, Size};

/// How a board's firmware names its slots.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Naming {
    /// Every locator is its own.
    Locator,
    /// Locators repeat; the bank tells them apart.
    Bank,
    /// Locators and banks repeat: only the order is left.
    Order,
}

/// A board of `sockets` × `channels` × `slots`.
pub fn layout(name: &str, shape: [usize; 3], naming: Naming, generation: Generation, kind: Kind) -> Board {
    let [sockets, channels, slots] = shape;
    let socket = |s: usize| Socket {
        label: format!("CPU{s}"),
        channel: (0..channels)
            .map(|c| Channel {
                label: char::from(b'A' + c as u8).to_string(),
                controller: None,
                slot: (0..slots).map(|p| slot(s, c, p, naming)).collect(),
            })
            .collect(),
    };
    let rate = |per_channel: u8| match generation {
        Generation::DDR5 => [4800, 4400, 4000][usize::from(per_channel) - 1],
        _ => [2666, 2400, 2133][usize::from(per_channel) - 1],
    };
    Board {
        format: BOARD_FORMAT.to_owned(),
        name: name.to_owned(),
        about: None,
        source: None,
        generation,
        enclosure: None,
        socket: (0..sockets).map(socket).collect(),
        cover: Vec::new(),
        limits: Limits { kinds: vec![kind], ..Limits::default() },
        speed: (1..=slots as u8)
            .map(|per_channel| SpeedRow { kind, ranks: None, per_channel, mts: Mts(rate(per_channel)) })
            .collect(),
        cpu: Vec::new(),
        interleave: None,
    }
}

fn slot(s: usize, c: usize, p: usize, naming: Naming) -> Slot {
    let channel = char::from(b'A' + c as u8);
    let label = format!("{s}{channel}{}", p + 1);
    let reports_as = match naming {
        Naming::Locator => ReportsAs::Locator(format!("P{s} DIMM {channel}{}", p + 1)),
        Naming::Bank => ReportsAs::LocatorAndBank(LocatorAndBank {
            locator: format!("DIMM_{channel}{}", p + 1),
            bank: format!("NODE {s}"),
        }),
        Naming::Order => {
            ReportsAs::LocatorAndBank(LocatorAndBank { locator: "DIMM".to_owned(), bank: format!("NODE {s}") })
        }
    };
    Slot {
        label: SlotLabel(label),
        position: p as u8 + 1,
        tab: None,
        key: None,
        reports_as: vec![reports_as],
        at: None,
    }
}

/// Two sockets of four channels of three.
pub fn heron() -> Board {
    layout("Heron", [2, 4, 3], Naming::Locator, Generation::DDR4, Kind::RDIMM)
}

/// Two sockets of eight channels of two; locators repeat per socket.
pub fn curlew() -> Board {
    layout("Curlew", [2, 8, 2], Naming::Bank, Generation::DDR5, Kind::RDIMM)
}

/// One socket of two channels of two.
pub fn wren() -> Board {
    layout("Wren", [1, 2, 2], Naming::Locator, Generation::DDR5, Kind::UDIMM)
}

/// A layout whose firmware names all slots of a socket alike.
pub fn alike() -> Board {
    layout("Alike", [2, 3, 2], Naming::Order, Generation::DDR4, Kind::RDIMM)
}

/// All layouts of the tests.
pub fn layouts() -> [Board; 4] {
    [heron(), curlew(), wren(), alike()]
}

/// A module that fits the board, `n` making its serial.
pub fn module(board: &Board, gib: u64, n: usize) -> Module {
    let generation = board.generation;
    let mts = if generation == Generation::DDR5 { 4800 } else { 2666 };
    Module {
        spec: ModuleSpec {
            generation: Some(generation),
            kind: board.limits.kinds.first().copied(),
            gib: Size::from_gib(gib),
            ranks: Some(2),
            width: Some(8),
            mts: Some(Mts(mts)),
        },
        identity: Identity {
            maker: Some("Osprey Memory".to_owned()),
            part: Some(format!("OM{gib}R-2R8-{mts}")),
            serial: Some(format!("{:08X}", 0x0C0D_E000 + n)),
            date: None,
        },
    }
}

/// A plan that fills positions 1 to `per_channel` of every channel with modules of `gib`.
pub fn plan(board: Board, gib: u64, per_channel: u8) -> Plan {
    let slot = board
        .slots()
        .filter(|at| at.slot.position <= per_channel)
        .map(|at| PlanSlot {
            slot: at.slot.label.clone(),
            action: Action::Insert,
            from: None,
            module: module(&board, gib, at.index),
            volts: None,
            lot: None,
        })
        .collect();
    let mts = board.speed.iter().find(|row| row.per_channel == per_channel).map(|row| row.mts);
    Plan {
        format: PLAN_FORMAT.to_owned(),
        name: format!("{} filled", board.name),
        board_sha256: None,
        mts,
        reasons: Vec::new(),
        considered: None,
        slot,
        remove: Vec::new(),
        order: Order {
            stand_ins: false,
            format: ORDER_FORMAT.to_owned(),
            name: "LF-ORDER-1".to_owned(),
            unit: vec![Unit { chassis: "LF-0042".to_owned(), enclosure: None, bay: None, processor: Vec::new() }],
            gib: None,
            fitted: Vec::new(),
        },
        board,
    }
}

/// The time at which all snapshots of the tests are taken.
pub const NOW: &str = "2026-11-25T10:00:00+01:00";

/// What a machine reports at its next power-on, read from a folder with its files as from any machine.
pub fn boot_from_files(machine: &mut Machine) -> Snapshot {
    let Boot::Up(tree) = machine.power_on() else { panic!("the machine does not start") };
    let root = tempfile::tempdir().unwrap();
    tree.write_to(root.path()).unwrap();
    slotwise::snapshot::capture(root.path(), now(), false)
}

/// The same without the folder, and without the hundreds of files of the memory blocks.
pub fn boot(machine: &mut Machine) -> Snapshot {
    let Boot::Up(tree) = machine.power_on() else { panic!("the machine does not start") };
    let name_of = |path: &str| match path {
        "/sys/firmware/dmi/tables/DMI" => Some(source_name::SMBIOS),
        "/proc/meminfo" => Some(source_name::MEMINFO),
        "/proc/sys/kernel/random/boot_id" | "/proc/sys/kernel/hostname" => Some(source_name::HOST),
        node if node.starts_with("/sys/devices/system/node/") => Some(source_name::NUMA),
        _ => None,
    };
    let sources: Vec<Source> =
        tree.files().iter().filter_map(|(path, bytes)| Some(Source::of(name_of(path)?, path, bytes))).collect();
    merge(&sources).into_snapshot(now(), Vec::new())
}

pub fn now() -> chrono::DateTime<chrono::FixedOffset> {
    chrono::DateTime::parse_from_rfc3339(NOW).unwrap()
}

/// Where data that is not the project's own lies: `SLOTWISE_SHARED`, or `../shared` beside the package.
fn shared() -> std::path::PathBuf {
    let beside = concat!(env!("CARGO_MANIFEST_DIR"), "/../shared");
    std::env::var_os("SLOTWISE_SHARED").map_or_else(|| beside.into(), std::path::PathBuf::from)
}

/// A file of the shared data; `None`, said aloud, when it is not there.
pub fn shared_file(test: &str, path: &str) -> Option<String> {
    let path = shared().join("data").join(path);
    let read = std::fs::read_to_string(&path);
    if read.is_err() {
        eprintln!("SKIPPED {test}: no {}", path.display());
    }
    read.ok()
}

/// All tables of real machines by name; `None`, said aloud, when they are not there.
pub fn tables(test: &str) -> Option<Vec<(String, Vec<u8>)>> {
    let folder = shared().join("data/smbios/tables");
    let Ok(entries) = std::fs::read_dir(&folder) else {
        eprintln!("SKIPPED {test}: no {}", folder.display());
        return None;
    };
    let mut tables: Vec<(String, Vec<u8>)> = entries
        .map(|entry| entry.unwrap().path())
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read(&path).unwrap()))
        .collect();
    tables.sort();
    assert!(tables.len() > 70, "only {} tables", tables.len());
    Some(tables)
}
