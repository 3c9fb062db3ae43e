//! The description and the identity of one memory module.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::{Mts, Size};

/// The DRAM generation, as JEDEC names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Generation {
    SDRAM,
    DDR,
    DDR2,
    DDR3,
    DDR4,
    DDR5,
    LPDDR3,
    LPDDR4,
    LPDDR5,
}

impl Generation {
    /// The supply voltage in volts where the generation has one alone: DDR4 1.2 V, DDR5 1.1 V (JEDEC module standards);
    /// DDR3 may be 1.5, 1.35 or 1.25 V.
    pub const fn volts(self) -> Option<&'static str> {
        match self {
            Self::DDR4 => Some("1.2"),
            Self::DDR5 => Some("1.1"),
            _ => None,
        }
    }
}

/// Whether this is a supply voltage in volts as files write it, `1.35`: digits and a point, between half a volt and five.
pub fn is_volts(text: &str) -> bool {
    let digits = text.len() <= 6 && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    digits && text.parse::<f64>().is_ok_and(|volts| (0.5..=5.0).contains(&volts))
}

impl fmt::Display for Generation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self, f)
    }
}

/// The kind of module, as JEDEC names it. Kinds are never mixed on one board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Kind {
    UDIMM,
    #[serde(rename = "ECC-UDIMM")]
    EccUdimm,
    RDIMM,
    LRDIMM,
    #[serde(rename = "3DS-RDIMM")]
    Rdimm3ds,
    #[serde(rename = "3DS-LRDIMM")]
    Lrdimm3ds,
    MRDIMM,
    SODIMM,
    #[serde(rename = "ECC-SODIMM")]
    EccSodimm,
    #[serde(rename = "FB-DIMM")]
    FbDimm,
    NVDIMM,
}

impl Kind {
    /// The name as JEDEC and the files write it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::UDIMM => "UDIMM",
            Self::EccUdimm => "ECC-UDIMM",
            Self::RDIMM => "RDIMM",
            Self::LRDIMM => "LRDIMM",
            Self::Rdimm3ds => "3DS-RDIMM",
            Self::Lrdimm3ds => "3DS-LRDIMM",
            Self::MRDIMM => "MRDIMM",
            Self::SODIMM => "SODIMM",
            Self::EccSodimm => "ECC-SODIMM",
            Self::FbDimm => "FB-DIMM",
            Self::NVDIMM => "NVDIMM",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// What a module is: everything that is the same for all modules of one part. Unknown is `None`, never zero.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub struct ModuleSpec {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub generation: Option<Generation>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<Kind>,
    /// Capacity in GiB.
    pub gib: Size,
    /// Logical ranks as the controller counts them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ranks: Option<u8>,
    /// Data width of one DRAM device in bits: 4, 8 or 16.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<u8>,
    /// Rated transfer rate in MT/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mts: Option<Mts>,
}

impl fmt::Display for ModuleSpec {
    /// `32 GiB DDR4 RDIMM 2Rx4 3200 MT/s`; what is not known is left out.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.gib)?;
        if let Some(generation) = self.generation {
            write!(f, " {generation}")?;
        }
        if let Some(kind) = self.kind {
            write!(f, " {kind}")?;
        }
        match (self.ranks, self.width) {
            (Some(ranks), Some(width)) => write!(f, " {ranks}Rx{width}")?,
            (Some(ranks), None) => write!(f, " {ranks}R")?,
            (None, Some(width)) => write!(f, " x{width}")?,
            (None, None) => {}
        }
        if let Some(mts) = self.mts {
            write!(f, " {mts}")?;
        }
        Ok(())
    }
}

/// What tells one module from another. Text as read; it passes `text::shown` before anyone sees it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default, Serialize, Deserialize, JsonSchema)]
pub struct Identity {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maker: Option<String>,
    /// The maker's part number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Year and week of making, `2024-W07`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
}

/// One memory module.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub struct Module {
    #[serde(flatten)]
    pub spec: ModuleSpec,
    #[serde(flatten)]
    pub identity: Identity,
}
