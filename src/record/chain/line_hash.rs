//! The hash of a line.

use std::fmt;
use std::ops::Deref;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use sha2::{Digest, Sha256};

/// SHA-256 (FIPS 180-4) of a line's bytes without its newline, as 64 digits of lower-case hex.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct LineHash([u8; 64]);

impl LineHash {
    /// `prev` of the first line: 64 zeros.
    pub const FIRST: Self = Self([b'0'; 64]);

    /// The hash of these bytes.
    pub fn of(line: &[u8]) -> Self {
        Self::written(&Sha256::digest(line).into())
    }

    /// What SHA-256 gave, in digits.
    pub(super) fn written(hash: &[u8; 32]) -> Self {
        let mut digits = [0; 64];
        for (two, byte) in digits.as_chunks_mut::<2>().0.iter_mut().zip(hash) {
            *two = [byte >> 4, byte & 15];
        }
        // Worked out, not looked up: so many at once.
        for digit in &mut digits {
            *digit += if *digit < 10 { b'0' } else { b'a' - 10 };
        }
        Self(digits)
    }

    /// Takes 64 digits in the one form they have.
    pub fn parse(text: &str) -> Option<Self> {
        let digits = text.as_bytes().try_into().ok().map(Self)?;
        digits.0.iter().fold(true, |all, byte| all & matches!(byte, b'0'..=b'9' | b'a'..=b'f')).then_some(digits)
    }
}

impl Deref for LineHash {
    type Target = str;

    fn deref(&self) -> &str {
        // Nothing but digits.
        std::str::from_utf8(&self.0).unwrap_or_default()
    }
}

impl fmt::Display for LineHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self)
    }
}

impl fmt::Debug for LineHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self)
    }
}

impl Serialize for LineHash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self)
    }
}

impl<'de> Deserialize<'de> for LineHash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).ok_or_else(|| de::Error::custom("`prev` is not 64 digits of lower-case hex"))
    }
}

impl JsonSchema for LineHash {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "LineHash".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-9a-f]{64}$" })
    }

    fn inline_schema() -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_one_form_is_read() {
        let hash = LineHash::of(b"abc");
        // FIPS 180-4, example of one block.
        assert_eq!(&*hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(LineHash::parse(&hash), Some(hash));
        for other in [&hash[1..], &hash.to_uppercase(), &hash.replacen('b', "g", 1), &format!("{hash}0"), ""] {
            assert_eq!(LineHash::parse(other), None, "{other}");
        }
    }
}
