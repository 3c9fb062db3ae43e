//! Sizes and rates with their units in the type.

use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// A memory size, held in MiB. Files and JSON write it in GiB: a whole number, or a string such as `"0.5"` below one GiB.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Size {
    mib: u64,
}

impl Size {
    /// A size of `mib` MiB.
    pub const fn from_mib(mib: u64) -> Self {
        Self { mib }
    }

    /// A size of `gib` GiB.
    pub const fn from_gib(gib: u64) -> Self {
        Self { mib: gib.saturating_mul(1024) }
    }

    /// The size in MiB.
    pub const fn mib(self) -> u64 {
        self.mib
    }

    /// The size in whole GiB, or `None` when it is not a whole number of GiB.
    pub const fn whole_gib(self) -> Option<u64> {
        if self.mib.is_multiple_of(1024) { Some(self.mib / 1024) } else { None }
    }

    /// Reads `32`, `32GiB`, `32 GiB`, `1.5TiB`, `1PiB`, `512MiB`; a bare number is GiB. `None` when it is no size, or no whole
    /// number of MiB.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let split = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
        let (number, unit) = text.split_at(split);
        let per_unit: u64 = match unit.trim().to_ascii_lowercase().as_str() {
            "" | "g" | "gib" | "gb" => 1024,
            "m" | "mib" | "mb" => 1,
            "t" | "tib" | "tb" => 1024 * 1024,
            "p" | "pib" | "pb" => 1024 * 1024 * 1024,
            _ => return None,
        };
        let (whole, fraction) = number.split_once('.').unwrap_or((number, ""));
        if whole.is_empty() || whole.len() > 12 || fraction.len() > 6 {
            return None;
        }
        let mut mib = whole.parse::<u64>().ok()?.checked_mul(per_unit)?;
        if !fraction.is_empty() {
            let scale = 10u64.pow(fraction.len() as u32);
            let part = fraction.parse::<u64>().ok()?.checked_mul(per_unit)?;
            if !part.is_multiple_of(scale) {
                return None;
            }
            mib = mib.checked_add(part / scale)?;
        }
        Some(Self { mib })
    }

    /// The size in GiB as plain digits: `32`, `0.5`.
    pub fn gib_text(self) -> String {
        match self.whole_gib() {
            Some(gib) => gib.to_string(),
            None => {
                let thousandths = format!("{:010}", (self.mib % 1024) * 10_000_000_000 / 1024);
                format!("{}.{}", self.mib / 1024, thousandths.trim_end_matches('0'))
            }
        }
    }
}

impl std::ops::Add for Size {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { mib: self.mib.saturating_add(other.mib) }
    }
}

impl std::iter::Sum for Size {
    fn sum<I: Iterator<Item = Self>>(sizes: I) -> Self {
        sizes.fold(Self::default(), |total, size| total + size)
    }
}

impl fmt::Display for Size {
    /// `512 MiB`, `32 GiB`, `1.5 TiB`; TiB only where it is exact in at most two decimals.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const TIB: u64 = 1024 * 1024;
        if self.mib >= TIB && (self.mib * 100).is_multiple_of(TIB) {
            let hundredths = self.mib * 100 / TIB;
            let decimals = format!("{:02}", hundredths % 100);
            let decimals = decimals.trim_end_matches('0');
            let point = if decimals.is_empty() { "" } else { "." };
            write!(f, "{}{point}{decimals} TiB", hundredths / 100)
        } else if let Some(gib) = self.whole_gib() {
            write!(f, "{gib} GiB")
        } else {
            write!(f, "{} MiB", self.mib)
        }
    }
}

impl Serialize for Size {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.whole_gib() {
            Some(gib) => serializer.serialize_u64(gib),
            None => serializer.serialize_str(&self.gib_text()),
        }
    }
}

impl<'de> Deserialize<'de> for Size {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor;
        impl de::Visitor<'_> for Visitor {
            type Value = Size;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a size in GiB: a whole number, or a string such as \"0.5\"")
            }

            fn visit_u64<E: de::Error>(self, gib: u64) -> Result<Size, E> {
                if gib > u64::from(u32::MAX) {
                    return Err(E::custom("larger than any memory"));
                }
                Ok(Size::from_gib(gib))
            }

            fn visit_i64<E: de::Error>(self, gib: i64) -> Result<Size, E> {
                u64::try_from(gib).map_err(|_| E::custom("a size is not negative")).and_then(|gib| self.visit_u64(gib))
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Size, E> {
                Size::parse(text).ok_or_else(|| E::custom("not a size in GiB"))
            }
        }
        deserializer.deserialize_any(Visitor)
    }
}

impl JsonSchema for Size {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Size".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "a size in GiB: a whole number, or a string such as \"0.5\"",
            "anyOf": [
                { "type": "integer", "minimum": 0, "maximum": 4294967295u32 },
                { "type": "string", "pattern": "^[0-9]+(\\.[0-9]+)? ?([MGTP]i?B)?$" }
            ]
        })
    }
}

/// A transfer rate in MT/s (million transfers a second).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Mts(pub u32);

impl fmt::Display for Mts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} MT/s", self.0)
    }
}

/// The largest whole number that divides both; the other one, where one is 0.
pub fn gcd<N: Copy + Default + PartialEq + std::ops::Rem<Output = N>>(a: N, b: N) -> N {
    if b == N::default() { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_read_and_show() {
        for (text, mib, shown) in [
            ("32", 32 * 1024, "32 GiB"),
            ("0.5", 512, "512 MiB"),
            ("512MiB", 512, "512 MiB"),
            ("1.5 TiB", 1536 * 1024, "1.5 TiB"),
            ("768GiB", 768 * 1024, "768 GiB"),
        ] {
            let size = Size::parse(text).unwrap();
            assert_eq!((size.mib(), size.to_string().as_str()), (mib, shown), "{text}");
        }
        for text in ["", "-1", "abc", "1.0000001", "99999999999999", "1e3", "32 XiB"] {
            assert_eq!(Size::parse(text), None, "{text}");
        }
    }

    #[test]
    fn sizes_survive_json() {
        for mib in [256, 512, 1024, 1536, 65_536, 1_572_864] {
            let size = Size::from_mib(mib);
            let json = serde_json::to_string(&size).unwrap();
            assert_eq!(serde_json::from_str::<Size>(&json).unwrap(), size, "{json}");
        }
    }
}
