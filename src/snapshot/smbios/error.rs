//! Types 18 and 33: the last error of an array or a device (DSP0134 7.19 and 7.34).

use super::Structure;

/// What went wrong last, as far as the firmware recorded it before the system was started.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemoryError {
    pub handle: u16,
    /// Type 33, with addresses of 64 bits; type 18 has 32.
    pub is_wide: bool,
    /// 03h is "no error".
    pub kind: Option<u8>,
    /// 03h the device, 04h a partition of the array.
    pub granularity: Option<u8>,
    /// 03h read, 04h write, 05h partial write.
    pub operation: Option<u8>,
    pub syndrome: Option<u32>,
    /// Address of the error in the array, in bytes.
    pub array_address: Option<u64>,
    /// Address of the error in the device, in bytes.
    pub device_address: Option<u64>,
    /// Within how many bytes of the address the error lies.
    pub resolution: Option<u32>,
}

impl MemoryError {
    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        let (array_address, device_address, resolution) = if structure.kind == 33 {
            (
                structure.qword(0x0B).filter(|address| *address != 0x8000_0000_0000_0000),
                structure.qword(0x13).filter(|address| *address != 0x8000_0000_0000_0000),
                structure.dword(0x1B),
            )
        } else {
            (
                structure.dword(0x0B).filter(|address| *address != 0x8000_0000).map(u64::from),
                structure.dword(0x0F).filter(|address| *address != 0x8000_0000).map(u64::from),
                structure.dword(0x13),
            )
        };
        Self {
            handle: structure.handle,
            is_wide: structure.kind == 33,
            kind: structure.byte(0x04),
            granularity: structure.byte(0x05),
            operation: structure.byte(0x06),
            syndrome: structure.dword(0x07),
            array_address,
            device_address,
            resolution: resolution.filter(|bytes| *bytes != 0x8000_0000),
        }
    }

    /// The error type in words; `None` for "no error", "unknown" and codes the document does not list.
    pub fn words(&self) -> Option<&'static str> {
        Some(match self.kind? {
            0x04 => "bad read",
            0x05 => "parity error",
            0x06 => "single-bit error",
            0x07 => "double-bit error",
            0x08 => "multi-bit error",
            0x09 => "nibble error",
            0x0A => "checksum error",
            0x0B => "CRC error",
            0x0C => "corrected single-bit error",
            0x0D => "corrected error",
            0x0E => "uncorrectable error",
            _ => return None,
        })
    }

    /// Whether the data was put right: the error was a corrected one.
    pub fn was_corrected(&self) -> bool {
        matches!(self.kind, Some(0x06 | 0x0C | 0x0D))
    }
}
