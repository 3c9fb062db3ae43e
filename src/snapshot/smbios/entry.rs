//! The entry point that leads to a table, and dumps that hold both in one file.

use std::fmt;

/// Where the table starts in a dump whose entry point still holds the address in the machine's memory.
const USUAL_TABLE_OFFSET: usize = 0x20;

/// Which of the two forms an entry point has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// `_SM_`: exact length and count (DSP0134 5.2.1).
    Bits32,
    /// `_SM3_`: the most the table may take (DSP0134 5.2.2).
    Bits64,
}

/// What an entry point says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EntryPoint {
    pub layout: Layout,
    pub major: u8,
    pub minor: u8,
    /// Length of the table in bytes: exact for 32 bits, the most for 64 bits.
    pub table_length: u32,
    pub table_address: u64,
    /// Number of structures; only the 32-bit form says.
    pub structures: Option<u16>,
    /// Whether its bytes add up to zero as they must. A dump that rewrote the address may have left it wrong.
    pub checksum_right: bool,
}

/// Why bytes are no entry point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EntryFault {
    /// Neither `_SM_` nor `_SM3_` at the start.
    NoAnchor,
    /// The anchor is there and the rest is cut short.
    Cut { length: usize, needed: usize },
}

impl fmt::Display for EntryFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoAnchor => f.write_str("no entry point: it starts with neither _SM_ nor _SM3_"),
            Self::Cut { length, needed } => {
                write!(f, "the entry point is cut short: {length} of {needed} bytes are there")
            }
        }
    }
}

impl EntryPoint {
    /// Reads an entry point at the start of `bytes`.
    pub fn read(bytes: &[u8]) -> Result<Self, EntryFault> {
        if bytes.starts_with(b"_SM3_") {
            let head: &[u8; 0x18] = bytes.first_chunk().ok_or(EntryFault::Cut { length: bytes.len(), needed: 0x18 })?;
            Ok(Self {
                layout: Layout::Bits64,
                major: head[0x07],
                minor: head[0x08],
                table_length: u32::from_le_bytes([head[0x0C], head[0x0D], head[0x0E], head[0x0F]]),
                table_address: u64::from_le_bytes([
                    head[0x10], head[0x11], head[0x12], head[0x13], head[0x14], head[0x15], head[0x16], head[0x17],
                ]),
                structures: None,
                checksum_right: adds_up(bytes, head[0x06]),
            })
        } else if bytes.starts_with(b"_SM_") {
            let head: &[u8; 0x1F] = bytes.first_chunk().ok_or(EntryFault::Cut { length: bytes.len(), needed: 0x1F })?;
            Ok(Self {
                layout: Layout::Bits32,
                major: head[0x06],
                minor: head[0x07],
                table_length: u32::from(u16::from_le_bytes([head[0x16], head[0x17]])),
                table_address: u64::from(u32::from_le_bytes([head[0x18], head[0x19], head[0x1A], head[0x1B]])),
                structures: Some(u16::from_le_bytes([head[0x1C], head[0x1D]])),
                checksum_right: adds_up(bytes, head[0x05]),
            })
        } else {
            Err(EntryFault::NoAnchor)
        }
    }
}

/// Whether the first `length` bytes add up to zero, modulo 256.
fn adds_up(bytes: &[u8], length: u8) -> bool {
    bytes
        .get(..usize::from(length))
        .is_some_and(|bytes| bytes.iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte)) == 0)
}

/// A file that holds a table: bare, or behind an entry point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dump<'a> {
    pub entry: Option<EntryPoint>,
    /// The structures; empty when the file holds an entry point alone.
    pub table: &'a [u8],
    /// Where the table starts in the file, in bytes.
    pub offset: usize,
    /// What is odd about it.
    pub notes: Vec<String>,
}

impl<'a> Dump<'a> {
    /// Finds the table in `bytes`.
    pub fn open(bytes: &'a [u8]) -> Self {
        let entry = match EntryPoint::read(bytes) {
            Ok(entry) => entry,
            Err(EntryFault::NoAnchor) => return Self { entry: None, table: bytes, offset: 0, notes: Vec::new() },
            Err(fault) => return Self { entry: None, table: &[], offset: 0, notes: vec![fault.to_string()] },
        };
        let mut notes = vec![format!("SMBIOS {}.{}", entry.major, entry.minor)];
        if !entry.checksum_right {
            notes.push("the entry point's checksum is wrong".to_owned());
        }
        let needed = match entry.layout {
            Layout::Bits32 => 0x1F,
            Layout::Bits64 => 0x18,
        };
        if bytes.len() <= USUAL_TABLE_OFFSET {
            return Self { entry: Some(entry), table: &[], offset: bytes.len(), notes };
        }
        let offset = usize::try_from(entry.table_address)
            .ok()
            .filter(|offset| (needed..bytes.len()).contains(offset))
            .unwrap_or(USUAL_TABLE_OFFSET);
        let behind = bytes.get(offset..).unwrap_or_default();
        let said = usize::try_from(entry.table_length).unwrap_or(usize::MAX);
        if entry.layout == Layout::Bits32 && said > behind.len() {
            notes.push(format!("the table should be {said} bytes long and {} are there", behind.len()));
        }
        let table = behind.get(..said.min(behind.len())).filter(|table| !table.is_empty()).unwrap_or(behind);
        Self { entry: Some(entry), table, offset, notes }
    }
}
