//! The snapshot as a type: host, sources with their raw bytes, and the merged table of slots.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, de};

use crate::module::{Generation, Kind};

/// The first key of a snapshot file.
pub const SNAPSHOT_FORMAT: &str = "slotwise-snapshot/1";

/// What one machine reports about its memory at one moment. `null` is "not known", never zero.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Snapshot {
    /// `slotwise-snapshot/1`.
    pub format: String,
    /// When it was taken, by the clock of the machine that took it.
    #[schemars(with = "String")]
    pub taken: DateTime<FixedOffset>,
    pub host: Host,
    pub sources: Vec<Source>,
    pub slots: Vec<SlotReport>,
    pub totals: Totals,
    /// Corrected and uncorrected errors per slot.
    pub counts: Vec<ErrorCount>,
    /// What could not be read, what that costs, and how to get it.
    pub gaps: Vec<Gap>,
}

/// Who the machine says it is.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Host {
    pub name: Option<String>,
    pub maker: Option<String>,
    pub product: Option<String>,
    pub serial: Option<String>,
    pub uuid: Option<String>,
    pub board_product: Option<String>,
    pub board_serial: Option<String>,
    pub chassis_serial: Option<String>,
    pub chassis_tag: Option<String>,
    pub firmware: Option<String>,
    /// A new one each boot; tells a stale snapshot.
    pub boot_id: Option<String>,
    pub cpus: Vec<CpuReport>,
}

/// One processor as the firmware reports it (SMBIOS type 4).
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CpuReport {
    pub socket: Option<String>,
    pub maker: Option<String>,
    pub version: Option<String>,
    pub populated: Option<bool>,
}

/// One place that was read, with the bytes as they were.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// `smbios`, `meminfo`, `blocks`, `numa`, `host`, `sysinfo`.
    pub name: String,
    /// The path it was read from, below the root.
    pub path: String,
    /// The raw bytes, base64.
    pub raw: String,
    /// What was read from them that has no place in the merged table; also where a table breaks.
    pub notes: Vec<String>,
}

/// Whether a slot holds a working module, as far as the sources tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SlotState {
    Fitted,
    Empty,
    /// A module is there or was there, and the firmware does not use it.
    ShutOff,
    Unknown,
}

/// One slot as reported.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SlotReport {
    pub locator: Option<String>,
    pub bank: Option<String>,
    pub state: SlotState,
    pub size_mib: Option<u64>,
    pub generation: Option<Generation>,
    pub kind: Option<Kind>,
    pub ranks: Option<u8>,
    pub rated_mts: Option<u32>,
    pub configured_mts: Option<u32>,
    pub maker: Option<String>,
    pub part: Option<String>,
    pub serial: Option<String>,
    /// The slot's SMBIOS handle, which orders slots whose locators repeat.
    pub handle: Option<u16>,
    /// The address space mapped to it, in MiB, where the firmware says (SMBIOS type 20).
    pub mapped: Option<bool>,
    /// Which source each field came from.
    pub sources: BTreeMap<String, String>,
    /// Why the state is what it is, when it is not plain: which of the firmware's ways to show a failed module was seen.
    pub because: Option<String>,
}

/// Totals from several sources; they disagree on sound machines, each in its own known way.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Totals {
    /// `MemTotal` of `/proc/meminfo`, in KiB.
    pub os_kib: Option<u64>,
    /// Sum of the fitted sizes the firmware reports (SMBIOS type 17), in MiB.
    pub firmware_mib: Option<u64>,
    /// Sum of the address ranges the firmware maps (SMBIOS type 19), in MiB.
    pub mapped_mib: Option<u64>,
    /// Memory blocks × block size, in MiB.
    pub blocks_mib: Option<u64>,
    /// `MemTotal` of each NUMA node in KiB, by node number.
    #[serde(deserialize_with = "numbered")]
    pub nodes_kib: BTreeMap<u32, u64>,
}

/// Reads a map by number. JSON keys are strings, and inside a tagged value (an event of a record) serde no longer turns
/// them into numbers by itself.
fn numbered<'de, D: Deserializer<'de>>(deserializer: D) -> Result<BTreeMap<u32, u64>, D::Error> {
    let by_text = BTreeMap::<String, u64>::deserialize(deserializer)?;
    let number = |key: String| key.parse().map_err(|_| de::Error::custom("a key that is no node number"));
    by_text.into_iter().map(|(key, value)| Ok((number(key)?, value))).collect()
}

/// Errors counted on one slot since boot. `null`: no counter could be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ErrorCount {
    pub locator: String,
    pub corrected: Option<u64>,
    pub uncorrected: Option<u64>,
    pub source: String,
}

/// Something that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Gap {
    pub what: String,
    pub costs: String,
    pub remedy: String,
}
