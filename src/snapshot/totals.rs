//! How much memory the firmware says is fitted and how much of it it maps.

use std::collections::BTreeSet;

use super::slots::system_devices;
use super::smbios::{MemoryDevice, Table};

const MIB: u64 = 1 << 20;
/// Up to this much, in MiB, is commonly missing from the ranges of sound machines: holes and reserved memory.
const COMMON_HOLE_MIB: u64 = 4096;

/// The part of a module, in MiB, that holes commonly take from the ranges.
pub(super) fn common_hole(smallest_mib: u64) -> u64 {
    COMMON_HOLE_MIB.min(smallest_mib / 2)
}

/// From which shortfall on, in MiB, a module is not there rather than a hole: more than holes commonly take and nearer to
/// the smallest module than to none. Holes make the shortfall larger, and ranges that count them make it smaller.
pub fn shortfall_of_a_module(smallest_mib: u64) -> u64 {
    (smallest_mib / 2).max(COMMON_HOLE_MIB + 1).min(smallest_mib - smallest_mib / 16)
}

/// The firmware's two sums and what is between them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Mapped {
    /// Sum of the sizes of type 17, in MiB; `None` when there is no type 17 at all.
    pub firmware_mib: Option<u64>,
    /// Sum of the ranges of type 19, in MiB; `None` when there are none or they make no sense.
    pub mapped_mib: Option<u64>,
    /// By how much the ranges are short of the volatile memory fitted, in MiB; 0 when they are not.
    pub shortfall_mib: Option<u64>,
    pub notes: Vec<String>,
}

impl Mapped {
    /// Adds up a table's devices and ranges.
    ///
    /// Type 19 equals type 17 on most machines; where it does not, it is short by holes and reserved memory, short by
    /// modules, or nonsense (twice the memory, a few MiB). Type 20 is never added up: each device of an interleave set
    /// may carry the range of the whole set.
    pub fn of(table: &Table) -> Self {
        let devices = system_devices(table);
        let mut sums = Self::default();
        if devices.is_empty() {
            return sums;
        }
        sums.firmware_mib = Some(devices.iter().filter_map(|device| device.size_mib()).sum());
        let volatile: u64 = devices.iter().map(|device| volatile_mib(device)).sum();
        let smallest = devices.iter().filter_map(|device| device.size_mib()).filter(|mib| *mib > 0).min();
        let Some(bytes) = sums.mapped_bytes(table) else { return sums };
        let mapped = bytes / MIB;
        if smallest.is_some_and(|smallest| mapped + common_hole(smallest) < smallest) {
            // Seen: ranges of a few hundred MiB on machines that run with hundreds of GiB.
            sums.notes.push(format!(
                "the mapped ranges (type 19) add up to {mapped} MiB, clearly less than one module: they make no \
                 sense and are left out"
            ));
            return sums;
        }
        sums.mapped_mib = Some(mapped);
        sums.shortfall_mib = Some(volatile.saturating_sub(mapped));
        if mapped > volatile && volatile > 0 {
            sums.notes.push(format!(
                "the mapped ranges (type 19) add up to {mapped} MiB, more than the {volatile} MiB fitted: known from \
                 sound machines"
            ));
        }
        sums
    }

    fn mapped_bytes(&mut self, table: &Table) -> Option<u64> {
        let others: BTreeSet<u16> =
            table.arrays.iter().filter(|array| array.is_other_memory()).map(|array| array.handle).collect();
        let mut sum = None;
        for range in &table.ranges {
            if range.array.is_some_and(|array| others.contains(&array)) {
                continue;
            }
            match range.bytes() {
                Some(bytes) if bytes >= MIB => sum = Some(u64::saturating_add(sum.unwrap_or(0), bytes)),
                Some(bytes) => self.notes.push(format!("range {:#06x} has {bytes} bytes: left out", range.handle)),
                None => self.notes.push(format!("range {:#06x} has no end or is inside out: left out", range.handle)),
            }
        }
        sum
    }
}

/// What of a device the system should get as plain memory, in MiB.
fn volatile_mib(device: &MemoryDevice) -> u64 {
    let size = device.size_mib().unwrap_or(0);
    match device.technology {
        // Non-volatile modules are mapped as far as they are set to be volatile (7.18.12, 7.18.13).
        Some(0x04..=0x07) => device.volatile_bytes.map_or(0, |bytes| bytes / MIB).min(size),
        _ => size,
    }
}
