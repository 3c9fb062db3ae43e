//! Types 0 to 4: firmware, system, baseboard, chassis, processors (DSP0134 7.1 to 7.5). Strings as they stand.

use super::Structure;

/// Type 0, the firmware.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Firmware {
    pub vendor: Option<String>,
    pub version: Option<String>,
    pub date: Option<String>,
}

impl Firmware {
    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        Self { vendor: structure.string(0x04), version: structure.string(0x05), date: structure.string(0x08) }
    }
}

/// Type 1, the system.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct System {
    pub maker: Option<String>,
    pub product: Option<String>,
    pub version: Option<String>,
    pub serial: Option<String>,
    /// As it stands; `None` when it is all zeros ("not present") or all ones ("not set").
    pub uuid: Option<[u8; 16]>,
}

impl System {
    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        Self {
            maker: structure.string(0x04),
            product: structure.string(0x05),
            version: structure.string(0x06),
            serial: structure.string(0x07),
            uuid: structure
                .formatted
                .get(0x08..0x18)
                .and_then(|bytes| bytes.try_into().ok())
                .filter(|bytes| *bytes != [0; 16] && *bytes != [0xFF; 16]),
        }
    }

    /// The UUID as it is usually written. Since version 2.6 its first three fields stand low byte first (7.2.1); a table of
    /// unknown version is taken for a newer one.
    pub fn uuid_text(&self, version: Option<(u8, u8)>) -> Option<String> {
        let mut bytes = self.uuid?;
        if version.is_none_or(|version| version >= (2, 6)) {
            bytes[0..4].reverse();
            bytes[4..6].reverse();
            bytes[6..8].reverse();
        }
        let mut text = String::with_capacity(36);
        for (index, byte) in bytes.iter().enumerate() {
            if matches!(index, 4 | 6 | 8 | 10) {
                text.push('-');
            }
            text.push_str(&format!("{byte:02x}"));
        }
        Some(text)
    }
}

/// Type 2, a board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Baseboard {
    pub maker: Option<String>,
    pub product: Option<String>,
    pub version: Option<String>,
    pub serial: Option<String>,
    pub asset: Option<String>,
    /// 0Ah is the motherboard.
    pub kind: Option<u8>,
}

impl Baseboard {
    /// The code of [`Baseboard::kind`] for a motherboard.
    pub const MOTHERBOARD: u8 = 0x0A;

    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        Self {
            maker: structure.string(0x04),
            product: structure.string(0x05),
            version: structure.string(0x06),
            serial: structure.string(0x07),
            asset: structure.string(0x08),
            kind: structure.byte(0x0D),
        }
    }
}

/// Type 3, an enclosure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chassis {
    pub maker: Option<String>,
    /// The form without the lock bit.
    pub kind: Option<u8>,
    pub version: Option<String>,
    pub serial: Option<String>,
    /// The asset tag, which a house may set itself.
    pub asset: Option<String>,
}

impl Chassis {
    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        Self {
            maker: structure.string(0x04),
            kind: structure.byte(0x05).map(|kind| kind & 0x7F),
            version: structure.string(0x06),
            serial: structure.string(0x07),
            asset: structure.string(0x08),
        }
    }
}

/// Type 4, one processor socket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Processor {
    pub socket: Option<String>,
    /// 03h is a central processor.
    pub kind: Option<u8>,
    pub maker: Option<String>,
    pub version: Option<String>,
    /// Bit 6: the socket is populated; bits 2 to 0: how the processor is.
    pub status: Option<u8>,
}

impl Processor {
    /// The code of [`Processor::kind`] for a central processor.
    pub const CENTRAL: u8 = 0x03;

    pub(super) fn decode(structure: &Structure<'_>) -> Self {
        Self {
            socket: structure.string(0x04),
            kind: structure.byte(0x05),
            maker: structure.string(0x07),
            version: structure.string(0x10),
            status: structure.byte(0x18),
        }
    }

    /// Whether a processor sits in the socket.
    pub fn populated(&self) -> Option<bool> {
        self.status.map(|status| status & 0x40 != 0)
    }
}
