//! What counts as an identity: padding is trimmed, and words that firmware puts where it knows nothing are none.

/// What firmware writes when it has nothing to say, in lower case. Seen in listings of 761 multi-socket machines.
const PLACEHOLDERS: &[&str] = &[
    "none",
    "null",
    "n/a",
    "na",
    "n.a.",
    "nil",
    "no",
    "not specified",
    "not available",
    "not applicable",
    "not provided",
    "not present",
    "not defined",
    "not installed",
    "not populated",
    "not support",
    "not supported",
    "not settable",
    "not set",
    "no dimm",
    "nodimm",
    "no module",
    "no module installed",
    "no memory",
    "no string",
    "no asset information",
    "notsupport",
    "unknow",
    "unknown processor",
    "fill by oem",
    "unknown",
    "undefined",
    "unspecified",
    "memundefined",
    "empty",
    "[empty]",
    "(empty)",
    "<empty>",
    "absent",
    "other",
    "default",
    "default string",
    "string",
    "to be filled by o.e.m.",
    "to be filled by o.e.m",
    "to be filled by oem",
    "o.e.m.",
    "oem",
    "o.e.m. string",
    "system manufacturer",
    "system product name",
    "system serial number",
    "system version",
    "base board serial number",
    "chassis serial number",
    "invalid",
    "bad index",
    "<bad index>",
    "123456789",
    "0123456789",
    "1234567890",
    "9876543210",
];

/// Names of fields that firmware writes in place of their value: `Dimm1_Manufacturer_Name_String`, `ModulePartNumber06`.
const FIELD_NAMES: &[&str] = &[
    "manufacturer",
    "partnum",
    "serialnum",
    "sernum",
    "assettag",
    "assettagnum",
    "partnumber",
    "serialnumber",
    "namestring",
];

/// Text without the padding firmware puts around it: spaces and NULs, at both ends.
pub fn unpadded(text: &str) -> &str {
    text.trim_matches([' ', '\0'])
}

/// Text without padding; `None` when nothing is left.
pub fn text(raw: Option<&str>) -> Option<String> {
    raw.map(unpadded).filter(|text| !text.is_empty()).map(str::to_owned)
}

/// A maker, part or serial without padding; `None` when it is a placeholder and so says nothing of any module.
pub fn identity(raw: Option<&str>) -> Option<String> {
    text(raw).filter(|text| !is_placeholder(text))
}

/// Whether a value says nothing: one of the usual words, the name of its own field, or one and the same filler all through.
pub fn is_placeholder(value: &str) -> bool {
    let value = unpadded(value).to_ascii_lowercase();
    if value.is_empty() || PLACEHOLDERS.contains(&value.as_str()) {
        return true;
    }
    let digits = value.strip_prefix("0x").unwrap_or(&value);
    if ['0', 'f', '-', '.', '?', '*', 'x', '_', '#', ' '].iter().any(|filler| digits.chars().all(|c| c == *filler)) {
        return true;
    }
    let letters: String = value.chars().filter(char::is_ascii_alphabetic).collect();
    FIELD_NAMES.iter().any(|name| letters.contains(name))
}

/// Whether a maker is written as a code and not as a name: `0xCE00`, `80CE`, `00CE00B300CE`.
pub fn is_code(maker: &str) -> bool {
    let digits = maker.strip_prefix("0x").unwrap_or(maker);
    digits.len() >= 4 && digits.len().is_multiple_of(2) && digits.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// The maker's name for a code as the module's EEPROM holds it: continuation count with parity in the low byte, code
/// with parity in the high byte (DSP0134 7.18.8).
pub fn maker_of(code: u16) -> Option<&'static str> {
    let [continuation, id] = code.to_le_bytes();
    jep106::JEP106Code::new(continuation & 0x7F, id & 0x7F).get()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn placeholders_are_no_identity() {
        for value in [
            "",
            "   ",
            "NO DIMM",
            "NO DIMM         ",
            "Not Specified",
            "UNKNOWN",
            "00000000",
            "FFFFFFFF",
            "0xFFFF",
            "0x0000",
            "--",
            "Dimm1_Manufacturer_Name_String",
            "Manufacturer02",
            "ModulePartNumber06",
            "SerNum0",
            "PartNum0",
            "DimmA2_Manufacturer",
            "A1_AssetTagNum3",
            "MemUndefined",
            "n/a",
            "NOT SUPPORT",
            "[Empty]",
            "To Be Filled By O.E.M.",
            "Array1_PartNumber0",
            "DIMM1_Serial_Number",
        ] {
            assert_eq!(identity(Some(value)), None, "{value:?}");
        }
    }

    #[test]
    fn real_identities_stay_and_lose_only_their_padding() {
        for (raw, kept) in [
            ("36ASF4G72PZ-2G6D1   ", "36ASF4G72PZ-2G6D1"),
            ("00CE00B300CE", "00CE00B300CE"),
            ("00000001", "00000001"),
            (" HP     ", "HP"),
            ("0xCE00", "0xCE00"),
            ("F0F0F0F0", "F0F0F0F0"),
            ("\t1", "\t1"),
        ] {
            assert_eq!(identity(Some(raw)).as_deref(), Some(kept), "{raw:?}");
        }
    }

    #[test]
    fn a_code_gives_its_makers_name() {
        // JEP106 bank 1: 2Ch with odd parity is Micron, CEh is Samsung.
        assert_eq!(maker_of(0x2C80), Some("Micron Technology"));
        assert_eq!(maker_of(0xCE80), Some("Samsung"));
    }
}
