//! From sources with their raw bytes to the merged table. Everything but the raw bytes can be derived again.

use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use chrono::{DateTime, FixedOffset};

use super::smbios::{Dump, Table};
use super::totals::Mapped;
use super::{
    ErrorCount, Gap, Host, SNAPSHOT_FORMAT, SlotReport, Snapshot, Source, Totals, blocks, errors_counted, host, live,
    meminfo, numa, slots,
};

/// The names of the sources.
pub mod source_name {
    /// The firmware's table.
    pub const SMBIOS: &str = "smbios";
    /// `/proc/meminfo`.
    pub const MEMINFO: &str = "meminfo";
    /// `/sys/devices/system/memory`.
    pub const BLOCKS: &str = "blocks";
    /// `/sys/devices/system/node/node*/meminfo`.
    pub const NUMA: &str = "numa";
    /// Boot id, host name, `/sys/class/dmi/id`.
    pub const HOST: &str = "host";
    /// `/sys/devices/system/edac/mc`.
    pub const EDAC: &str = "edac";
    /// The operating system through the sysinfo library, where nothing else could be read.
    pub const SYSINFO: &str = "sysinfo";
}

/// What sources say when put together.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Merged {
    pub host: Host,
    /// The sources as given, with the notes written anew.
    pub sources: Vec<Source>,
    pub slots: Vec<SlotReport>,
    pub totals: Totals,
    pub counts: Vec<ErrorCount>,
}

impl Merged {
    /// The snapshot these make.
    pub fn into_snapshot(self, taken: DateTime<FixedOffset>, gaps: Vec<Gap>) -> Snapshot {
        Snapshot {
            format: SNAPSHOT_FORMAT.to_owned(),
            taken,
            host: self.host,
            sources: self.sources,
            slots: self.slots,
            totals: self.totals,
            counts: self.counts,
            gaps,
        }
    }
}

impl Source {
    /// A source with its bytes.
    pub fn of(name: &str, path: &str, raw: &[u8]) -> Self {
        Self { name: name.to_owned(), path: path.to_owned(), raw: BASE64.encode(raw), notes: Vec::new() }
    }

    /// The bytes as they were read; `None` when `raw` is no base64.
    pub fn bytes(&self) -> Option<Vec<u8>> {
        BASE64.decode(&self.raw).ok()
    }
}

/// Derives the table from the sources' raw bytes. What a source's notes said before is written anew; a source of another
/// name keeps its notes and adds nothing.
pub fn merge(sources: &[Source]) -> Merged {
    let mut merged = Merged::default();
    let mut counted = Vec::new();
    let mut table = None;
    let mut version = None;
    for source in sources {
        let mut source = source.clone();
        let Some(raw) = source.bytes() else {
            source.notes = vec!["the raw bytes are no base64: nothing was read from them".to_owned()];
            merged.sources.push(source);
            continue;
        };
        match source.name.as_str() {
            source_name::SMBIOS => source.notes = merged.take_smbios(&raw, &mut table, &mut version),
            source_name::MEMINFO => {
                merged.totals.os_kib = merged.totals.os_kib.or(meminfo::total_kib(&raw));
                source.notes = Vec::new();
            }
            source_name::BLOCKS => {
                let read = blocks::read(&raw);
                merged.totals.blocks_mib = read.online_mib;
                source.notes = read.notes;
            }
            source_name::NUMA => {
                source.notes = match numa::total(&source.path, &raw) {
                    Some((node, kib)) => {
                        merged.totals.nodes_kib.insert(node, kib);
                        Vec::new()
                    }
                    None => vec!["no MemTotal was found in it".to_owned()],
                };
            }
            source_name::HOST => source.notes = host::take(&mut merged.host, &source.path, &raw),
            source_name::EDAC => {
                let (counts, notes) = errors_counted::read(&raw);
                counted.extend(counts);
                source.notes = notes;
            }
            source_name::SYSINFO => {
                live::take(&mut merged.host, &mut merged.totals, &raw);
                source.notes = Vec::new();
            }
            _ => {}
        }
        merged.sources.push(source);
    }
    if let Some(table) = &table {
        host::take_table(&mut merged.host, table, version);
    }
    errors_counted::name_slots(&mut counted, &merged.slots);
    merged.counts.extend(counted);
    merged
}

impl Merged {
    /// Takes the first table there is; an entry point alone gives its version.
    fn take_smbios(&mut self, raw: &[u8], taken: &mut Option<Table>, version: &mut Option<(u8, u8)>) -> Vec<String> {
        let dump = Dump::open(raw);
        let mut notes = dump.notes.clone();
        *version = version.or(dump.entry.map(|entry| (entry.major, entry.minor)));
        if dump.table.is_empty() {
            return notes;
        }
        if taken.is_some() {
            notes.push("a table was read before this one: left out".to_owned());
            return notes;
        }
        let table = Table::decode(dump.table);
        notes.extend(table_notes(&table));
        let mapped = Mapped::of(&table);
        self.slots = slots::slots(&table, &mapped);
        self.totals.firmware_mib = mapped.firmware_mib;
        self.totals.mapped_mib = mapped.mapped_mib;
        let (counts, error_notes) = slots::errors(&table, &self.slots);
        self.counts.extend(counts);
        notes.extend(error_notes);
        notes.extend(mapped.notes);
        *taken = Some(table);
        notes
    }
}

fn table_notes(table: &Table) -> Vec<String> {
    let mut notes = Vec::new();
    match &table.broken {
        Some(broken) => {
            notes.push(format!("{broken}; the {} structures before it were read", table.structures));
            if !table.ended {
                notes.push("slots whose structures come after the break are not listed".to_owned());
            }
        }
        None if !table.ended => notes.push("the table has no end-of-table structure".to_owned()),
        None => {}
    }
    let mut listed: BTreeMap<u16, usize> = BTreeMap::new();
    for array in table.devices.iter().filter_map(|device| device.array) {
        *listed.entry(array).or_default() += 1;
    }
    for array in &table.arrays {
        let count = listed.get(&array.handle).copied().unwrap_or(0);
        if array.is_other_memory() {
            let usage = array.usage.unwrap_or(0);
            notes.push(format!(
                "array {:#06x} is not system memory (use {usage:02X}h): its {count} devices are left out",
                array.handle
            ));
        } else if array.devices.is_some_and(|said| usize::from(said) != count) {
            let said = array.devices.unwrap_or(0);
            notes.push(format!("array {:#06x} says it has {said} slots, {count} are listed", array.handle));
        }
    }
    let unresolved = table
        .devices
        .iter()
        .filter(|device| device.array.is_none_or(|handle| !table.arrays.iter().any(|array| array.handle == handle)))
        .count();
    if unresolved > 0 {
        notes.push(format!("{unresolved} slots name an array that is not in the table: counted as system memory"));
    }
    notes
}
