//! Types 19 and 20: which addresses an array and a device answer for (DSP0134 7.20 and 7.21).

use super::Structure;

/// Type 19, memory array mapped address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemoryRange {
    pub handle: u16,
    /// First byte.
    pub start: Option<u64>,
    /// Last byte; it is part of the range.
    pub end: Option<u64>,
    /// Handle of the type 16.
    pub array: Option<u16>,
    /// Devices that form one row of memory for the range.
    pub partition_width: Option<u8>,
}

impl MemoryRange {
    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        let (start, end) = addresses(structure, 0x0F, 0x17);
        Self {
            handle: structure.handle,
            start,
            end,
            array: structure.word(0x0C),
            partition_width: structure.byte(0x0E),
        }
    }

    /// Its length in bytes; `None` when an end is unknown or the range is inside out.
    pub fn bytes(&self) -> Option<u64> {
        length(self.start, self.end)
    }
}

/// Type 20, memory device mapped address. Several devices of one interleave set may each carry the whole set's range, so
/// these are never added up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceRange {
    pub handle: u16,
    /// First byte.
    pub start: Option<u64>,
    /// Last byte; it is part of the range.
    pub end: Option<u64>,
    /// Handle of the type 17.
    pub device: Option<u16>,
    /// Handle of the type 19.
    pub range: Option<u16>,
    /// Position in its row; FFh is unknown.
    pub row: Option<u8>,
    /// Position in its interleave; 0 is not interleaved, FFh unknown.
    pub interleave: Option<u8>,
    /// Rows taken from this device in one interleave; FFh is unknown.
    pub depth: Option<u8>,
}

impl DeviceRange {
    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        let (start, end) = addresses(structure, 0x13, 0x1B);
        Self {
            handle: structure.handle,
            start,
            end,
            device: structure.word(0x0C),
            range: structure.word(0x0E),
            row: structure.byte(0x10),
            interleave: structure.byte(0x11),
            depth: structure.byte(0x12),
        }
    }

    /// Its length in bytes; `None` when an end is unknown or the range is inside out.
    pub fn bytes(&self) -> Option<u64> {
        length(self.start, self.end)
    }
}

/// First and last byte. The 32-bit fields count KiB, and the end names the last KiB; with FFFFFFFFh in the start the
/// addresses stand in bytes further on (2.7 and later).
fn addresses(structure: &Structure<'_>, extended_start: usize, extended_end: usize) -> (Option<u64>, Option<u64>) {
    match (structure.dword(0x04), structure.dword(0x08)) {
        (Some(u32::MAX), _) => (structure.qword(extended_start), structure.qword(extended_end)),
        (start, end) => (start.map(|kib| u64::from(kib) * 1024), end.map(|kib| (u64::from(kib) + 1) * 1024 - 1)),
    }
}

fn length(start: Option<u64>, end: Option<u64>) -> Option<u64> {
    end?.checked_sub(start?)?.checked_add(1)
}
