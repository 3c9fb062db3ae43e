//! Type 17, memory device: one structure per slot, fitted or not (DSP0134 7.18, table 75).

use super::Structure;
use crate::module::{Generation, Kind};

/// How large the firmware says the module is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reported {
    /// 0: nothing is installed.
    Nothing,
    /// FFFFh: something is, and the firmware does not know how large.
    Unknown,
    /// A size in KiB; old tables may count below one MiB.
    Kib(u64),
}

/// One slot as type 17 describes it. Strings as they stand, padding and all; numbers that mean "unknown" are `None`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemoryDevice {
    /// Where its structure starts, in bytes from the start of the table.
    pub offset: usize,
    pub handle: u16,
    /// Handle of the type 16 it belongs to.
    pub array: Option<u16>,
    /// Handle of a type 18 or 33, FFFEh or FFFFh.
    pub error: Option<u16>,
    /// Bits with those for error correction.
    pub total_width: Option<u16>,
    /// Bits of data.
    pub data_width: Option<u16>,
    pub size: Option<Reported>,
    /// The size stands in the extended field.
    pub size_is_extended: bool,
    pub form_factor: Option<u8>,
    /// 0 is none, FFh unknown.
    pub set: Option<u8>,
    pub locator: Option<String>,
    pub bank: Option<String>,
    /// The memory type code.
    pub memory_type: Option<u8>,
    /// The bits of the type detail.
    pub detail: Option<u16>,
    /// MT/s it is capable of.
    pub rated_mts: Option<u32>,
    /// MT/s it runs at.
    pub configured_mts: Option<u32>,
    /// The configured speed field is there and says 0.
    pub configured_speed_is_zero: bool,
    pub maker: Option<String>,
    pub serial: Option<String>,
    pub asset: Option<String>,
    pub part: Option<String>,
    pub ranks: Option<u8>,
    pub min_millivolts: Option<u16>,
    pub max_millivolts: Option<u16>,
    pub configured_millivolts: Option<u16>,
    /// The configured voltage field is there and says 0.
    pub configured_voltage_is_zero: bool,
    /// 03h DRAM, 04h NVDIMM-N, 05h NVDIMM-F, 06h NVDIMM-P, 07h persistent.
    pub technology: Option<u8>,
    /// Bits of the modes it is capable of.
    pub modes: Option<u16>,
    pub firmware_version: Option<String>,
    /// Number of continuation bytes with parity (low byte) and code with parity (high byte), as in the module's EEPROM.
    pub module_maker: Option<u16>,
    pub module_product: Option<u16>,
    pub controller_maker: Option<u16>,
    pub controller_product: Option<u16>,
    pub non_volatile_bytes: Option<u64>,
    pub volatile_bytes: Option<u64>,
    pub cache_bytes: Option<u64>,
    pub logical_bytes: Option<u64>,
    /// Power management chip: maker and revision (3.7).
    pub pmic_maker: Option<u16>,
    pub pmic_revision: Option<u16>,
    /// Registering clock driver: maker and revision (3.7).
    pub rcd_maker: Option<u16>,
    pub rcd_revision: Option<u16>,
}

impl MemoryDevice {
    pub(super) fn decode(s: &Structure<'_>) -> Self {
        let configured_speed = s.word(0x20);
        let configured_voltage = s.word(0x26);
        Self {
            offset: s.offset,
            handle: s.handle,
            array: s.word(0x04),
            error: s.word(0x06),
            total_width: s.word(0x08).filter(|bits| *bits != 0xFFFF),
            data_width: s.word(0x0A).filter(|bits| *bits != 0xFFFF),
            size: size(s),
            size_is_extended: s.word(0x0C) == Some(0x7FFF) && s.dword(0x1C).is_some(),
            form_factor: s.byte(0x0E),
            set: s.byte(0x0F),
            locator: s.string(0x10),
            bank: s.string(0x11),
            memory_type: s.byte(0x12),
            detail: s.word(0x13),
            rated_mts: speed(s.word(0x15), s.dword(0x54)),
            configured_mts: speed(configured_speed, s.dword(0x58)),
            configured_speed_is_zero: configured_speed == Some(0),
            maker: s.string(0x17),
            serial: s.string(0x18),
            asset: s.string(0x19),
            part: s.string(0x1A),
            ranks: s.byte(0x1B).map(|attributes| attributes & 0x0F).filter(|ranks| *ranks != 0),
            min_millivolts: known(s.word(0x22)),
            max_millivolts: known(s.word(0x24)),
            configured_millivolts: known(configured_voltage),
            configured_voltage_is_zero: configured_voltage == Some(0),
            technology: s.byte(0x28),
            modes: s.word(0x29),
            firmware_version: s.string(0x2B),
            module_maker: known(s.word(0x2C)),
            module_product: known(s.word(0x2E)),
            controller_maker: known(s.word(0x30)),
            controller_product: known(s.word(0x32)),
            non_volatile_bytes: s.qword(0x34).filter(|bytes| *bytes != u64::MAX),
            volatile_bytes: s.qword(0x3C).filter(|bytes| *bytes != u64::MAX),
            cache_bytes: s.qword(0x44).filter(|bytes| *bytes != u64::MAX),
            logical_bytes: s.qword(0x4C).filter(|bytes| *bytes != u64::MAX),
            pmic_maker: known(s.word(0x5C)),
            pmic_revision: s.word(0x5E).filter(|revision| *revision != 0xFF00),
            rcd_maker: known(s.word(0x60)),
            rcd_revision: s.word(0x62).filter(|revision| *revision != 0xFF00),
        }
    }

    /// Whether the firmware says a module is there, of whatever size.
    pub fn is_fitted(&self) -> bool {
        matches!(self.size, Some(Reported::Kib(_) | Reported::Unknown))
    }

    /// The size in whole MiB, where the firmware gives one.
    pub fn size_mib(&self) -> Option<u64> {
        match self.size {
            Some(Reported::Kib(kib)) => Some(kib / 1024),
            _ => None,
        }
    }

    /// The DRAM generation, for the memory types that have one (7.18.2).
    pub fn generation(&self) -> Option<Generation> {
        Some(match self.memory_type? {
            0x0F => Generation::SDRAM,
            0x12 => Generation::DDR,
            0x13 | 0x14 => Generation::DDR2,
            0x18 => Generation::DDR3,
            0x1A => Generation::DDR4,
            0x1D => Generation::LPDDR3,
            0x1E => Generation::LPDDR4,
            0x22 => Generation::DDR5,
            0x23 => Generation::LPDDR5,
            _ => return None,
        })
    }

    /// The kind of module from form factor, type detail, technology and widths; `None` when they do not tell or
    /// contradict each other. Stacked (3DS) modules are not told apart by this table.
    pub fn kind(&self) -> Option<Kind> {
        const NON_VOLATILE: u16 = 1 << 12;
        const REGISTERED: u16 = 1 << 13;
        const UNBUFFERED: u16 = 1 << 14;
        const LRDIMM: u16 = 1 << 15;
        let detail = self.detail.unwrap_or(0);
        if matches!(self.technology, Some(0x04..=0x07)) || detail & NON_VOLATILE != 0 {
            return Some(Kind::NVDIMM);
        }
        let ecc = match (self.total_width, self.data_width) {
            (Some(total), Some(data)) if total > 0 && data > 0 => Some(total > data),
            _ => None,
        };
        match self.form_factor? {
            // The form FB-DIMM is also given to other modules behind a memory buffer; only DDR2 has modules of that kind.
            0x09 if self.memory_type == Some(0x14) => Some(Kind::FbDimm),
            0x0F if matches!(self.memory_type, Some(0x13 | 0x14)) => Some(Kind::FbDimm),
            0x09 | 0x0F if detail & LRDIMM != 0 => Some(Kind::LRDIMM),
            0x09 | 0x0F => match (detail & REGISTERED != 0, detail & UNBUFFERED != 0) {
                (true, false) => Some(Kind::RDIMM),
                (false, true) => ecc.map(|ecc| if ecc { Kind::EccUdimm } else { Kind::UDIMM }),
                _ => None,
            },
            0x0D => ecc.map(|ecc| if ecc { Kind::EccSodimm } else { Kind::SODIMM }),
            _ => None,
        }
    }
}

fn size(s: &Structure<'_>) -> Option<Reported> {
    Some(match s.word(0x0C)? {
        0 => Reported::Nothing,
        0xFFFF => Reported::Unknown,
        // Too large for the field: MiB at 1Ch, whose top bit is reserved (7.18.5).
        0x7FFF => match s.dword(0x1C).map(|mib| mib & 0x7FFF_FFFF) {
            Some(0) => Reported::Unknown,
            Some(mib) => Reported::Kib(u64::from(mib) * 1024),
            // A table from before the field existed means what it says.
            None => Reported::Kib(0x7FFF * 1024),
        },
        0x8000 => Reported::Nothing,
        word if word & 0x8000 != 0 => Reported::Kib(u64::from(word & 0x7FFF)),
        word => Reported::Kib(u64::from(word) * 1024),
    })
}

/// 0 is unknown; FFFFh sends to the extended field (7.18.4, 7.18.14).
fn speed(word: Option<u16>, extended: Option<u32>) -> Option<u32> {
    match word? {
        0 => None,
        0xFFFF => extended.map(|mts| mts & 0x7FFF_FFFF).filter(|mts| *mts != 0),
        mts => Some(u32::from(mts)),
    }
}

/// 0 is unknown.
fn known(word: Option<u16>) -> Option<u16> {
    word.filter(|word| *word != 0)
}
