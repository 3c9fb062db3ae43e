//! Type 16, physical memory array (DSP0134 7.17, table 71).

use super::Structure;

/// A group of slots with one use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemoryArray {
    pub handle: u16,
    /// 03h is the system board.
    pub location: Option<u8>,
    /// 03h is system memory; flash and others occur.
    pub usage: Option<u8>,
    /// 05h single-bit, 06h multi-bit error correction.
    pub correction: Option<u8>,
    /// The most it takes, in KiB.
    pub capacity_kib: Option<u64>,
    /// Handle of a type 18 or 33.
    pub error: Option<u16>,
    /// How many slots or sockets it has.
    pub devices: Option<u16>,
}

impl MemoryArray {
    /// The code of [`MemoryArray::usage`] for system memory.
    pub const SYSTEM_MEMORY: u8 = 0x03;

    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        let capacity_kib = match structure.dword(0x07) {
            // Too large for the field: the capacity in bytes stands at 0Fh (2.7 and later).
            Some(0x8000_0000) => structure.qword(0x0F).map(|bytes| bytes / 1024),
            other => other.map(u64::from),
        };
        Self {
            handle: structure.handle,
            location: structure.byte(0x04),
            usage: structure.byte(0x05),
            correction: structure.byte(0x06),
            capacity_kib,
            error: structure.word(0x0B),
            devices: structure.word(0x0D),
        }
    }

    /// Whether its slots are certainly something else than system memory.
    pub fn is_other_memory(&self) -> bool {
        self.usage.is_some_and(|usage| usage != Self::SYSTEM_MEMORY)
    }
}
