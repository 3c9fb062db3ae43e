//! Reading everything one machine says about its memory.

use std::path::Path;

use chrono::{DateTime, FixedOffset};

use super::folder::{self, Files};
use super::host::{BOOT_ID, DMI_FOLDER, HOST_NAMES};
use super::merge::{merge, source_name};
use super::tree::{Tree, Unread};
use super::{Gap, Snapshot, Source, live};

const TABLE: &str = "/sys/firmware/dmi/tables/DMI";
const ENTRY_POINT: &str = "/sys/firmware/dmi/tables/smbios_entry_point";
const MEMINFO: &str = "/proc/meminfo";
const BLOCKS: &str = "/sys/devices/system/memory";
const NODES: &str = "/sys/devices/system/node";
const EDAC: &str = "/sys/devices/system/edac/mc";

/// Values of `/sys/class/dmi/id` that tell which machine it is.
const DMI_VALUES: &[&str] = &[
    "bios_date",
    "bios_vendor",
    "bios_version",
    "board_name",
    "board_serial",
    "board_vendor",
    "chassis_asset_tag",
    "chassis_serial",
    "product_name",
    "product_serial",
    "product_uuid",
    "sys_vendor",
];

/// A snapshot and what a command has to know of how it came about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Capture {
    pub snapshot: Snapshot,
    /// The firmware's table is there and may not be read: the one thing more rights would cure.
    pub table_refused: bool,
    /// The root is not a folder that can be entered.
    pub no_root: bool,
}

/// Takes a snapshot of the machine below `root`. `live` says that the root is the machine that runs this, so that the
/// operating system may be asked where its files give nothing.
pub fn capture(root: &Path, now: DateTime<FixedOffset>, live: bool) -> Snapshot {
    Capture::take(root, now, live).snapshot
}

impl Capture {
    /// Takes a snapshot as [`capture`] does, and says what stood in the way.
    pub fn take(root: &Path, now: DateTime<FixedOffset>, live: bool) -> Self {
        let mut reader = Reader { live, ..Reader::default() };
        let no_root = match Tree::at(root) {
            Ok(tree) => {
                reader.live &= tree.is_machine();
                reader.read_all(&tree);
                false
            }
            Err(unread) => {
                reader.gap(
                    "the machine's folder",
                    &unread,
                    "everything",
                    "give the folder that holds its proc and sys",
                );
                true
            }
        };
        let mut merged = merge(&reader.sources);
        if reader.live && (merged.totals.os_kib.is_none() || merged.host.name.is_none()) {
            reader.sources.push(Source::of(source_name::SYSINFO, "the operating system", &live::ask()));
            merged = merge(&reader.sources);
        }
        if reader.table_read && merged.slots.is_empty() {
            reader.gaps.push(Gap {
                what: format!("{TABLE}: no memory device was found in it"),
                costs: "which slots there are and what is in them stays unknown".to_owned(),
                remedy: "see the notes of the source smbios; ask the management controller instead".to_owned(),
            });
        }
        Self { snapshot: merged.into_snapshot(now, reader.gaps), table_refused: reader.table_refused, no_root }
    }
}

#[derive(Default)]
struct Reader {
    sources: Vec<Source>,
    gaps: Vec<Gap>,
    live: bool,
    table_read: bool,
    table_refused: bool,
}

impl Reader {
    fn read_all(&mut self, tree: &Tree) {
        self.read_table(tree);
        self.read_host(tree);
        match tree.read(MEMINFO) {
            Ok(bytes) => self.push(source_name::MEMINFO, MEMINFO, &bytes),
            Err(unread) => self.gap(
                MEMINFO,
                &unread,
                "the memory the operating system has is unknown, so it cannot be held against the plan",
                "copy the file from the machine",
            ),
        }
        self.read_blocks(tree);
        for node in tree.numbered(NODES, "node") {
            let path = format!("{NODES}/{node}/meminfo");
            match tree.read(&path) {
                Ok(bytes) => self.push(source_name::NUMA, &path, &bytes),
                Err(unread) => {
                    self.gap(&path, &unread, "this node's memory is unknown", "copy the file from the machine");
                }
            }
        }
        self.read_errors(tree);
    }

    fn push(&mut self, name: &str, path: &str, bytes: &[u8]) {
        self.sources.push(Source::of(name, path, bytes));
    }

    fn gap(&mut self, what: &str, unread: &Unread, costs: &str, remedy: &str) {
        self.gaps.push(Gap { what: format!("{what}: {unread}"), costs: costs.to_owned(), remedy: remedy.to_owned() });
    }

    fn read_table(&mut self, tree: &Tree) {
        match tree.read(TABLE) {
            Ok(bytes) => {
                self.table_read = true;
                self.push(source_name::SMBIOS, TABLE, &bytes);
            }
            Err(unread) => {
                self.table_refused = matches!(unread, Unread::Refused);
                let remedy = match (&unread, self.live) {
                    (Unread::Refused, true) => {
                        "run the capture as root, for instance with sudo: only root may read the table"
                    }
                    (Unread::Refused, false) => {
                        "make the copied file readable; on the machine only root may read and copy it"
                    }
                    (_, true) => {
                        "the kernel shows no firmware table here (a virtual machine, or not x86 or Arm with UEFI): ask \
                         the management controller instead"
                    }
                    (_, false) => "copy the folder /sys/firmware/dmi/tables from the machine, as root",
                };
                self.gap(
                    TABLE,
                    &unread,
                    "which slots there are, what is in them and at which speed it runs stays unknown",
                    remedy,
                );
            }
        }
        // Only the version is in it; the table can be read without.
        if let Ok(bytes) = tree.read(ENTRY_POINT) {
            self.push(source_name::SMBIOS, ENTRY_POINT, &bytes);
        }
    }

    fn read_host(&mut self, tree: &Tree) {
        match tree.read(BOOT_ID) {
            Ok(bytes) => self.push(source_name::HOST, BOOT_ID, &bytes),
            Err(unread) => self.gap(
                BOOT_ID,
                &unread,
                "a snapshot from before the last start cannot be told from a new one",
                "copy the file from the machine after it has started",
            ),
        }
        if let Some((path, bytes)) = HOST_NAMES.iter().find_map(|path| Some((path, tree.read(path).ok()?))) {
            self.push(source_name::HOST, path, &bytes);
        }
        let mut values = Files::new();
        for value in DMI_VALUES {
            if let Ok(bytes) = tree.read(&format!("{DMI_FOLDER}/{value}")) {
                values.insert((*value).to_owned(), bytes);
            }
        }
        if !values.is_empty() {
            self.push(source_name::HOST, DMI_FOLDER, &folder::pack(&values));
        }
    }

    fn read_blocks(&mut self, tree: &Tree) {
        let remedy = "copy block_size_bytes and memory*/state of that folder from the machine";
        let costs = "the memory the firmware handed over is known only to the accuracy of MemTotal";
        let size = match tree.read(&format!("{BLOCKS}/block_size_bytes")) {
            Ok(size) => size,
            Err(unread) => return self.gap(&format!("{BLOCKS}/block_size_bytes"), &unread, costs, remedy),
        };
        let mut files = Files::from([("block_size_bytes".to_owned(), size)]);
        for block in tree.numbered(BLOCKS, "memory") {
            let name = format!("{block}/state");
            if let Ok(bytes) = tree.read(&format!("{BLOCKS}/{name}")) {
                files.insert(name, bytes);
            }
        }
        self.push(source_name::BLOCKS, BLOCKS, &folder::pack(&files));
    }

    fn read_errors(&mut self, tree: &Tree) {
        let mut files = Files::new();
        for controller in tree.numbered(EDAC, "mc") {
            let mut take = |name: String| {
                if let Ok(bytes) = tree.read(&format!("{EDAC}/{name}")) {
                    files.insert(name, bytes);
                }
            };
            take(format!("{controller}/ce_noinfo_count"));
            take(format!("{controller}/ue_noinfo_count"));
            for module in tree.numbered(&format!("{EDAC}/{controller}"), "dimm") {
                for value in ["dimm_label", "dimm_ce_count", "dimm_ue_count"] {
                    take(format!("{controller}/{module}/{value}"));
                }
            }
        }
        if files.is_empty() {
            self.gap(
                EDAC,
                &Unread::Missing,
                "corrected and uncorrected errors since the start are unknown",
                "load the kernel's EDAC driver for this memory controller, or read the management controller's log",
            );
        } else {
            self.push(source_name::EDAC, EDAC, &folder::pack(&files));
        }
    }
}
