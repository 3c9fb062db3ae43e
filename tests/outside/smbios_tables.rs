//! Tables of real machines against the listing kept beside each (`data/smbios/expected`, made by another decoder; origin
//! and licence of each table in `data/smbios/MANIFEST.tsv`).

use std::collections::BTreeMap;

use serde_json::Value;
use slotwise::snapshot::smbios::{
    Baseboard, Chassis, DeviceRange, Dump, MemoryArray, MemoryDevice, MemoryError, MemoryRange, Processor, Reported,
    System, Table,
};

use crate::collected::collected;
use crate::machine_tables::{manifest, tables};

/// One structure of a listing, and the fields of ours that did not fit it.
struct Listing<'a> {
    file: &'a str,
    handle: &'a str,
    kind: u64,
    fields: &'a serde_json::Map<String, Value>,
    wrong: &'a mut Vec<String>,
    compared: &'a mut usize,
}

impl Listing<'_> {
    fn check(&mut self, field: &str, ours: impl std::fmt::Debug, fits: impl FnOnce(&str) -> bool) {
        let Some(listed) = self.fields.get(field) else { return };
        let listed = listed.as_str().map_or_else(|| listed.to_string(), str::to_owned);
        *self.compared += 1;
        if !fits(&listed) {
            let Self { file, handle, kind, .. } = self;
            self.wrong.push(format!("{file} {handle} type {kind}: {field}: listed {listed:?}, ours {ours:?}"));
        }
    }

    /// The listing writes a byte that is no printable ASCII as `.`, and a missing string as one of two remarks.
    fn text(&mut self, field: &str, ours: &Option<String>) {
        let dots = |bytes: &mut dyn Iterator<Item = u32>| {
            bytes.map(|c| if (32..127).contains(&c) { char::from(c as u8) } else { '.' }).collect::<String>()
        };
        let shown =
            ours.as_ref().map(|ours| [dots(&mut ours.bytes().map(u32::from)), dots(&mut ours.chars().map(u32::from))]);
        self.check(field, ours, |listed| match &shown {
            Some(shown) => shown.iter().any(|shown| shown == listed || shown.trim_end() == listed.trim_end()),
            None => matches!(listed, "Not Specified" | "<BAD INDEX>"),
        });
    }

    fn number(&mut self, field: &str, ours: Option<u64>, unknown: &[&str], unit: &str) {
        self.check(field, ours, |listed| match ours {
            Some(ours) => listed == format!("{ours}{unit}"),
            None => unknown.contains(&listed),
        });
    }

    fn handle(&mut self, field: &str, ours: Option<u16>) {
        self.check(field, ours, |listed| match ours {
            Some(0xFFFE) => listed == "Not Provided",
            Some(0xFFFF) => listed == "No Error",
            Some(handle) => listed == format!("0x{handle:04X}"),
            None => false,
        });
    }

    fn code(&mut self, field: &str, ours: Option<u8>, names: &[(u8, &str)]) {
        self.check(field, ours, |listed| {
            let name = names.iter().find(|(code, _)| Some(*code) == ours).map(|(_, name)| *name);
            name == Some(listed) || (name.is_none() && listed == "<OUT OF SPEC>")
        });
    }

    /// A size in bytes; the listing cuts what does not fill its unit.
    fn bytes(&mut self, field: &str, ours: Option<u64>) {
        self.check(field, ours, |listed| match (ours, listed) {
            (Some(0), "None") | (None, "Unknown" | "Invalid") => true,
            (Some(ours), listed) => bytes_of(listed).is_some_and(|(number, unit)| ours / unit == number),
            _ => false,
        });
    }

    /// An address in bytes; with a `k` behind it the listing shows the extended field, in bytes all the same.
    fn address(&mut self, field: &str, ours: Option<u64>) {
        self.check(field, ours, |listed| {
            let digits = listed.trim_start_matches("0x").trim_end_matches('k');
            u64::from_str_radix(digits, 16).ok() == ours
        });
    }

    fn millivolts(&mut self, field: &str, ours: Option<u16>) {
        self.check(field, ours, |listed| match ours {
            None => listed == "Unknown",
            Some(ours) => listed
                .strip_suffix(" V")
                .and_then(|volts| volts.parse::<f64>().ok())
                .is_some_and(|volts| (volts * 1000.0 - f64::from(ours)).abs() < 0.5),
        });
    }
}

/// `32 GB` as the number and the unit in bytes; the listing's units are binary.
fn bytes_of(listed: &str) -> Option<(u64, u64)> {
    let (number, unit) = listed.split_once(' ')?;
    let power = ["bytes", "kB", "MB", "GB", "TB", "PB"].iter().position(|name| *name == unit)?;
    Some((number.parse().ok()?, 1 << (10 * power)))
}

const FORM_FACTORS: &[(u8, &str)] = &[
    (1, "Other"),
    (2, "Unknown"),
    (8, "Proprietary Card"),
    (9, "DIMM"),
    (0x0B, "Row Of Chips"),
    (0x0D, "SODIMM"),
    (0x0F, "FB-DIMM"),
    (0x10, "Die"),
];

const MEMORY_TYPES: &[(u8, &str)] = &[
    (1, "Other"),
    (2, "Unknown"),
    (3, "DRAM"),
    (9, "Flash"),
    (0x0F, "SDRAM"),
    (0x12, "DDR"),
    (0x13, "DDR2"),
    (0x14, "DDR2 FB-DIMM"),
    (0x18, "DDR3"),
    (0x1A, "DDR4"),
    (0x1D, "LPDDR3"),
    (0x1E, "LPDDR4"),
    (0x22, "DDR5"),
    (0x23, "LPDDR5"),
];

const DETAILS: &[&str] = &[
    "Other",
    "Unknown",
    "Fast-paged",
    "Static Column",
    "Pseudo-static",
    "RAMBus",
    "Synchronous",
    "CMOS",
    "EDO",
    "Window DRAM",
    "Cache DRAM",
    "Non-Volatile",
    "Registered (Buffered)",
    "Unbuffered (Unregistered)",
    "LRDIMM",
];

fn system(listing: &mut Listing<'_>, ours: &System, version: Option<(u8, u8)>) {
    let uuid = ours.uuid_text(version);
    listing.text("Manufacturer", &ours.maker);
    listing.text("Product Name", &ours.product);
    listing.text("Version", &ours.version);
    listing.text("Serial Number", &ours.serial);
    listing.check("UUID", &uuid, |listed| match &uuid {
        Some(uuid) => uuid == listed,
        None => matches!(listed, "Not Settable" | "Not Present"),
    });
}

fn baseboard(listing: &mut Listing<'_>, ours: &Baseboard) {
    listing.text("Manufacturer", &ours.maker);
    listing.text("Product Name", &ours.product);
    listing.text("Version", &ours.version);
    listing.text("Serial Number", &ours.serial);
    listing.text("Asset Tag", &ours.asset);
    listing.code(
        "Type",
        ours.kind,
        &[(1, "Unknown"), (2, "Other"), (0x0A, "Motherboard"), (0x0D, "Interconnect Board")],
    );
}

fn chassis(listing: &mut Listing<'_>, ours: &Chassis) {
    listing.text("Manufacturer", &ours.maker);
    listing.text("Version", &ours.version);
    listing.text("Serial Number", &ours.serial);
    listing.text("Asset Tag", &ours.asset);
    let names = [
        (1, "Other"),
        (3, "Desktop"),
        (9, "Laptop"),
        (0x0A, "Notebook"),
        (0x0D, "All In One"),
        (0x11, "Main Server Chassis"),
    ];
    listing.code("Type", ours.kind, &names);
}

fn processor(listing: &mut Listing<'_>, ours: &Processor) {
    listing.text("Socket Designation", &ours.socket);
    listing.text("Manufacturer", &ours.maker);
    listing.text("Version", &ours.version);
    listing.code("Type", ours.kind, &[(3, "Central Processor")]);
    listing.check("Status", ours.populated(), |listed| match ours.populated() {
        Some(true) => listed.starts_with("Populated"),
        Some(false) => listed == "Unpopulated",
        None => false,
    });
}

fn array(listing: &mut Listing<'_>, ours: &MemoryArray) {
    listing.code("Location", ours.location, &[(3, "System Board Or Motherboard")]);
    listing.code("Use", ours.usage, &[(3, "System Memory"), (5, "Flash Memory")]);
    listing.code(
        "Error Correction Type",
        ours.correction,
        &[(2, "Unknown"), (3, "None"), (5, "Single-bit ECC"), (6, "Multi-bit ECC")],
    );
    listing.bytes("Maximum Capacity", ours.capacity_kib.map(|kib| kib * 1024));
    listing.handle("Error Information Handle", ours.error);
    listing.number("Number Of Devices", ours.devices.map(u64::from), &[], "");
}

fn device(listing: &mut Listing<'_>, ours: &MemoryDevice) {
    listing.handle("Array Handle", ours.array);
    listing.handle("Error Information Handle", ours.error);
    for (field, bits) in [("Total Width", ours.total_width), ("Data Width", ours.data_width)] {
        // A width of 0 is "Unknown" to the listing as well (out of the document, seen in empty slots).
        listing.number(field, bits.filter(|bits| *bits != 0).map(u64::from), &["Unknown"], " bits");
    }
    listing.check("Size", ours.size, |listed| match ours.size {
        Some(Reported::Nothing) => listed == "No Module Installed",
        Some(Reported::Unknown) => listed == "Unknown",
        Some(Reported::Kib(kib)) => bytes_of(listed).is_some_and(|(number, unit)| number * unit == kib * 1024),
        None => false,
    });
    listing.code("Form Factor", ours.form_factor, FORM_FACTORS);
    listing.check("Set", ours.set, |listed| match ours.set {
        Some(0) => listed == "None",
        Some(0xFF) => listed == "Unknown",
        set => set.map(|set| set.to_string()).as_deref() == Some(listed),
    });
    listing.text("Locator", &ours.locator);
    listing.text("Bank Locator", &ours.bank);
    listing.code("Type", ours.memory_type, MEMORY_TYPES);
    listing.check("Type Detail", ours.detail, |listed| {
        let bits = ours.detail.unwrap_or(0);
        let names: Vec<&str> =
            DETAILS.iter().enumerate().filter(|(bit, _)| bits & (2 << bit) != 0).map(|(_, name)| *name).collect();
        names.join(" ") == listed || (names.is_empty() && listed == "None")
    });
    listing.number("Speed", ours.rated_mts.map(u64::from), &["Unknown"], " MT/s");
    listing.number("Configured Memory Speed", ours.configured_mts.map(u64::from), &["Unknown"], " MT/s");
    listing.text("Manufacturer", &ours.maker);
    listing.text("Serial Number", &ours.serial);
    listing.text("Asset Tag", &ours.asset);
    listing.text("Part Number", &ours.part);
    listing.number("Rank", ours.ranks.map(u64::from), &["Unknown"], "");
    listing.millivolts("Minimum Voltage", ours.min_millivolts);
    listing.millivolts("Maximum Voltage", ours.max_millivolts);
    listing.millivolts("Configured Voltage", ours.configured_millivolts);
    listing.code("Memory Technology", ours.technology, &[(1, "Other"), (2, "Unknown"), (3, "DRAM"), (4, "NVDIMM-N")]);
    listing.check("Memory Operating Mode Capability", ours.modes, |listed| match ours.modes {
        Some(8) => listed == "Volatile memory",
        Some(0) => listed == "None",
        _ => false,
    });
    listing.text("Firmware Version", &ours.firmware_version);
    for (field, code) in [
        ("Module Manufacturer ID", ours.module_maker),
        ("Memory Subsystem Controller Manufacturer ID", ours.controller_maker),
    ] {
        listing.check(field, code, |listed| match code {
            None => listed == "Unknown",
            Some(code) => listed == format!("Bank {}, Hex 0x{:02X}", (code & 0x7F) + 1, code >> 8),
        });
    }
    for (field, code) in [
        ("Module Product ID", ours.module_product),
        ("Memory Subsystem Controller Product ID", ours.controller_product),
    ] {
        listing.check(field, code, |listed| match code {
            None => listed == "Unknown",
            Some(code) => listed == format!("0x{code:04X}"),
        });
    }
    listing.bytes("Non-Volatile Size", ours.non_volatile_bytes);
    listing.bytes("Volatile Size", ours.volatile_bytes);
    listing.bytes("Cache Size", ours.cache_bytes);
    listing.bytes("Logical Size", ours.logical_bytes);
}

fn error(listing: &mut Listing<'_>, ours: &MemoryError) {
    listing.code("Type", ours.kind, &[(2, "Unknown"), (3, "OK")]);
    listing.code("Granularity", ours.granularity, &[(2, "Unknown"), (3, "Device Level")]);
    listing.code("Operation", ours.operation, &[(2, "Unknown"), (3, "Read")]);
    listing.check("Memory Array Address", ours.array_address, |listed| {
        (listed == "Unknown") == ours.array_address.is_none()
    });
    listing
        .check("Device Address", ours.device_address, |listed| (listed == "Unknown") == ours.device_address.is_none());
    listing.check("Resolution", ours.resolution, |listed| match ours.resolution {
        None => listed == "Unknown",
        Some(bytes) => listed == format!("0x{bytes:08X}"),
    });
}

fn memory_range(listing: &mut Listing<'_>, ours: &MemoryRange) {
    listing.address("Starting Address", ours.start);
    listing.address("Ending Address", ours.end);
    listing.bytes("Range Size", ours.bytes());
    listing.handle("Physical Array Handle", ours.array);
    listing.number("Partition Width", ours.partition_width.map(u64::from), &["Unknown"], "");
}

fn device_range(listing: &mut Listing<'_>, ours: &DeviceRange) {
    listing.address("Starting Address", ours.start);
    listing.address("Ending Address", ours.end);
    listing.bytes("Range Size", ours.bytes());
    listing.handle("Physical Device Handle", ours.device);
    listing.handle("Memory Array Mapped Address Handle", ours.range);
    let position = |ours: Option<u8>, listed: &str| match ours {
        Some(0xFF) => listed == "Unknown",
        Some(0) => listed == "<OUT OF SPEC>" || listed == "0",
        other => other.map(|ours| ours.to_string()).as_deref() == Some(listed),
    };
    listing.check("Partition Row Position", ours.row, |listed| position(ours.row, listed));
    listing.check("Interleave Position", ours.interleave, |listed| position(ours.interleave, listed));
    listing.check("Interleaved Data Depth", ours.depth, |listed| position(ours.depth, listed));
}

/// The `n`th structure of a type in both; `None` is a structure we did not find.
fn compare(listing: &mut Listing<'_>, table: &Table, nth: usize, version: Option<(u8, u8)>) -> Option<()> {
    match listing.kind {
        1 if nth == 0 => system(listing, table.system.as_ref()?, version),
        2 => baseboard(listing, table.boards.get(nth)?),
        3 => chassis(listing, table.chassis.get(nth)?),
        4 => processor(listing, table.processors.get(nth)?),
        16 => array(listing, table.arrays.get(nth)?),
        17 => device(listing, table.devices.get(nth)?),
        18 => error(listing, table.errors.iter().filter(|error| !error.is_wide).nth(nth)?),
        19 => memory_range(listing, table.ranges.get(nth)?),
        20 => device_range(listing, table.device_ranges.get(nth)?),
        _ => {}
    }
    Some(())
}

/// The SMBIOS version of each table, where its manifest knows it: a bare table does not say.
fn versions() -> BTreeMap<String, (u8, u8)> {
    let version = |text: &str| {
        let (major, minor) = text.split_once('.')?;
        Some((major.parse().ok()?, minor.split('.').next()?.parse().ok()?))
    };
    manifest("data/smbios/MANIFEST.tsv")
        .into_iter()
        .filter_map(|(file, row)| Some((file, version(&row["smbios"])?)))
        .collect()
}

#[test]
fn every_field_of_every_table_is_as_listed() {
    let mut wrong = Vec::new();
    let mut compared = 0;
    let mut devices = 0;
    let versions = versions();
    for (file, bytes) in tables() {
        let listing = collected(&format!("data/smbios/expected/{file}.json"), "a listing").unwrap();
        let listing: Value = serde_json::from_slice(&std::fs::read(listing).unwrap()).unwrap();
        let dump = Dump::open(&bytes);
        let table = Table::decode(dump.table);
        let mut seen = [0usize; 256];
        for structure in listing.as_array().unwrap() {
            let kind = structure["type"].as_u64().unwrap();
            let nth = seen[kind as usize];
            seen[kind as usize] += 1;
            let mut listing = Listing {
                file: &file,
                handle: structure["handle"].as_str().unwrap(),
                kind,
                fields: structure["fields"].as_object().unwrap(),
                wrong: &mut wrong,
                compared: &mut compared,
            };
            if compare(&mut listing, &table, nth, versions.get(&file).copied()).is_none() {
                wrong.push(format!("{file}: type {kind} number {nth} was not found"));
            }
        }
        if seen[17] != table.devices.len() || seen[19] != table.ranges.len() || seen[20] != table.device_ranges.len() {
            wrong.push(format!("{file}: counts differ"));
        }
        devices += table.devices.len();
    }
    assert!(
        wrong.is_empty(),
        "{} of {compared} fields differ:\n{}",
        wrong.len(),
        wrong[..wrong.len().min(60)].join("\n")
    );
    eprintln!("{devices} devices, {compared} fields as listed");
}
