//! From bytes to structures.

use std::fmt;

/// The structure type that ends a table.
const END_OF_TABLE: u8 = 127;
/// Type, length and handle: what every structure starts with, in bytes.
const HEADER: usize = 4;

/// One structure of the table, borrowed from its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Structure<'a> {
    /// Where it starts, in bytes from the start of the table.
    pub offset: usize,
    /// The structure type.
    pub kind: u8,
    pub handle: u16,
    /// The formatted part with its header; as long as the structure's own length says.
    pub formatted: &'a [u8],
    strings: &'a [u8],
}

impl<'a> Structure<'a> {
    /// The byte at `at`; `None` beyond the structure's length.
    pub fn byte(&self, at: usize) -> Option<u8> {
        self.formatted.get(at).copied()
    }

    /// The 16-bit number at `at`.
    pub fn word(&self, at: usize) -> Option<u16> {
        self.array(at).map(u16::from_le_bytes)
    }

    /// The 32-bit number at `at`.
    pub fn dword(&self, at: usize) -> Option<u32> {
        self.array(at).map(u32::from_le_bytes)
    }

    /// The 64-bit number at `at`.
    pub fn qword(&self, at: usize) -> Option<u64> {
        self.array(at).map(u64::from_le_bytes)
    }

    fn array<const N: usize>(&self, at: usize) -> Option<[u8; N]> {
        self.formatted.get(at..at.checked_add(N)?)?.try_into().ok()
    }

    /// The bytes of the string that the number at `at` names. `None` when there is no such field, when it says "no
    /// string" (0), and when it names one that is not there (seen in real tables).
    pub fn string_bytes(&self, at: usize) -> Option<&'a [u8]> {
        let number = usize::from(self.byte(at)?).checked_sub(1)?;
        self.strings.split(|byte| *byte == 0).nth(number)
    }

    /// The string that the number at `at` names, as it stands, padding and all.
    pub fn string(&self, at: usize) -> Option<String> {
        self.string_bytes(at).map(as_text)
    }

    /// How many strings the structure carries.
    pub fn string_count(&self) -> usize {
        if self.strings.is_empty() { 0 } else { self.strings.split(|byte| *byte == 0).count() }
    }
}

/// A string of the firmware. It should be UTF-8 (DSP0134 6.1.3); one that is not is read byte by byte as U+0000 to
/// U+00FF, so that different bytes stay different text and none of them becomes a plain letter.
pub fn as_text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
    }
}

/// Why a walk could not go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BreakReason {
    /// Fewer bytes are left than a header takes.
    HeaderCut { left: usize },
    /// The length is smaller than the header it counts.
    LengthTooSmall { kind: u8, length: u8 },
    /// The formatted part runs past the end of the bytes.
    BodyCut { kind: u8, handle: u16, length: u8, left: usize },
    /// The set of strings never ends.
    StringsCut { kind: u8, handle: u16 },
}

/// Where and why a table breaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    /// Bytes from the start of the table to the structure that is not whole.
    pub offset: usize,
    pub reason: BreakReason,
}

impl fmt::Display for Break {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the table breaks at byte {:#06x}: ", self.offset)?;
        match self.reason {
            BreakReason::HeaderCut { left } => write!(f, "{left} of the {HEADER} bytes of a header are there"),
            BreakReason::LengthTooSmall { kind, length } => {
                write!(f, "structure of type {kind} says it is {length} bytes long, shorter than its own header")
            }
            BreakReason::BodyCut { kind, handle, length, left } => write!(
                f,
                "structure of type {kind}, handle {handle:#06x}, says it is {length} bytes long and {left} are there"
            ),
            BreakReason::StringsCut { kind, handle } => {
                write!(f, "the strings of the structure of type {kind}, handle {handle:#06x}, never end")
            }
        }
    }
}

/// What a walk found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Walk<'a> {
    /// The whole structures, in table order.
    pub structures: Vec<Structure<'a>>,
    /// Where the walk had to stop, if the table breaks.
    pub broken: Option<Break>,
    /// Whether the end-of-table structure (type 127) was met. A table of old firmware may lack it.
    pub ended: bool,
}

/// Walks a table from its first structure to type 127, to its last byte, or to where it breaks.
///
/// A 64-bit entry point gives only the most a table may take (DSP0134 5.2.2), so bytes behind type 127 mean nothing.
pub fn walk(bytes: &[u8]) -> Walk<'_> {
    let mut found = Walk::default();
    let mut offset = 0;
    while let Some(rest) = bytes.get(offset..).filter(|rest| !rest.is_empty()) {
        // Some tables have no type 127 and zeros up to the length their entry point gives.
        if rest.iter().all(|byte| *byte == 0) {
            break;
        }
        match structure_at(rest, offset) {
            Ok((structure, taken)) => {
                let ends = structure.kind == END_OF_TABLE;
                found.structures.push(structure);
                if ends {
                    found.ended = true;
                    break;
                }
                offset += taken;
            }
            Err(reason) => {
                found.broken = Some(Break { offset, reason });
                break;
            }
        }
    }
    found
}

/// The structure at the start of `rest` and how many bytes it takes with its strings.
fn structure_at(rest: &[u8], offset: usize) -> Result<(Structure<'_>, usize), BreakReason> {
    let &[kind, length, low, high, ..] = rest else {
        return Err(BreakReason::HeaderCut { left: rest.len() });
    };
    let handle = u16::from_le_bytes([low, high]);
    if usize::from(length) < HEADER {
        return Err(BreakReason::LengthTooSmall { kind, length });
    }
    let Some((formatted, behind)) = rest.split_at_checked(usize::from(length)) else {
        return Err(BreakReason::BodyCut { kind, handle, length, left: rest.len() });
    };
    // The set ends with an empty string: two NULs, also where there are no strings at all.
    let Some(end) = behind.windows(2).position(|pair| pair == [0, 0]) else {
        if kind == END_OF_TABLE {
            // Nothing follows it, so a missing terminator loses nothing.
            return Ok((Structure { offset, kind, handle, formatted, strings: &[] }, rest.len()));
        }
        return Err(BreakReason::StringsCut { kind, handle });
    };
    let strings = behind.get(..end).unwrap_or_default();
    Ok((Structure { offset, kind, handle, formatted, strings }, formatted.len() + end + 2))
}
