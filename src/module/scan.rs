//! What a scanned code says.
//!
//! Most module labels carry a part number or a serial as a plain code, with nothing in front. Some carry a data
//! identifier (ANSI MH10.8.2, `S123`), some an ISO/IEC 15434 envelope with several of them, some GS1 application
//! identifiers, and some DDR5 labels a two-dimensional code with tags in brackets. All of it is read here; nothing is
//! required, and the scan as it came is always kept.

use super::scan_match::{Match, matches, matches_as};

/// Record separator, between the formats of an ISO/IEC 15434 message.
const RS: char = '\u{1e}';
/// Group separator, between the fields of a format, and after a GS1 field of open length.
const GS: char = '\u{1d}';
/// End of transmission, closes an ISO/IEC 15434 message.
const EOT: char = '\u{4}';

/// AIM symbology identifiers (ISO/IEC 15424) of the symbologies met on labels: Code 39, Code 128, Data Matrix, QR,
/// PDF417, GS1 DataBar, EAN/UPC, Interleaved 2 of 5, Code 93. Letters and modifiers: from memory.
const AIM: &[(char, &str)] = &[
    ('A', "01234578"),
    ('C', "0124"),
    ('d', "0123456"),
    ('Q', "0123456"),
    ('L', "0123"),
    ('e', "0123"),
    ('E', "0134"),
    ('I', "013"),
    ('G', "0123456789ABCDEFGHIJKLM"),
];

/// Data identifiers that a plain code may carry in front, longest first among those that share an ending.
/// Source: ANSI MH10.8.2 as read from an open validating parser's table.
const PLAIN_IDENTIFIERS: &[&str] = &[
    "18S", "20S", "25S", "26S", "30S", "37S", "42S", "33S", "10S", "11S", "23S", "15S", "1S", "3S", "4S", "5S", "S",
    "25P", "26P", "50P", "51P", "11P", "1P", "2P", "7P", "P", "1T", "T", "10D", "11D", "16D", "6D", "9D", "4L", "1L",
    "1V", "6V", "12V", "13V", "18V", "21V", "25V", "Q", "1W", "W", "1H", "12N", "1K", "K", "E",
];

/// One field of a code: its identifier as the standard writes it, and its value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// `S`, `1P`; for GS1 `(21)`; for the tags of a DDR5 code `[S]`, and `[S] serial` for a part of such a field.
    pub identifier: String,
    pub value: String,
}

/// A scanned code, taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScanRead {
    /// As it came from the scanner.
    pub raw: String,
    /// Without the symbology identifier, where a known one stood in front.
    pub text: String,
    /// The symbology identifier that was taken off, `]d2`.
    pub symbology: Option<String>,
    /// Fields that the code itself marks as such.
    pub fields: Vec<Field>,
    /// What a plain code would be if its first characters were a data identifier. A guess: a serial may well begin
    /// with `S`. It counts only when it is exactly what was expected.
    pub perhaps: Vec<Field>,
}

/// What an identifier can stand for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A module's serial.
    Serial,
    /// A module's part number.
    Part,
    /// A slot label.
    Slot,
    /// A chassis, asset or order tag.
    Tag,
    /// Whatever is not ruled out: package ids, MAC addresses, quantities are never an identity.
    Any,
}

impl Role {
    /// Whether a field with this identifier may be taken for this role.
    pub fn takes(self, identifier: &str) -> bool {
        // 33S and 26P name the next higher assembly, 23S is a MAC address, 3S-5S are packages: never a module.
        const SERIAL: &[&str] = &["S", "1S", "18S", "(21)", "[S]", "[S] serial"];
        const PART: &[&str] = &["P", "1P", "(240)", "[P]"];
        const SLOT: &[&str] = &["1L"];
        const TAG: &[&str] =
            &["S", "1S", "18S", "20S", "11S", "26S", "10S", "25S", "(8004)", "(21)", "W", "K", "1K", "1H"];
        match self {
            Self::Serial => SERIAL.contains(&identifier),
            Self::Part => PART.contains(&identifier),
            Self::Slot => SLOT.contains(&identifier),
            Self::Tag => TAG.contains(&identifier),
            Self::Any => [SERIAL, PART, SLOT, TAG].iter().any(|set| set.contains(&identifier)),
        }
    }
}

impl ScanRead {
    /// The values that may be taken for `role`, with the identifier they came from; the plain text first, with none.
    /// Marked fields come before guesses. Where a code marks its fields, its text as a whole is no candidate.
    pub fn candidates(&self, role: Role) -> Vec<(Option<&str>, &str)> {
        let plain = self.fields.is_empty().then_some((None, self.text.as_str()));
        let fields = self.fields.iter().chain(&self.perhaps).filter(|field| role.takes(&field.identifier));
        plain.into_iter().chain(fields.map(|field| (Some(field.identifier.as_str()), field.value.as_str()))).collect()
    }

    /// The value of a field that the code itself marks.
    pub fn field(&self, identifier: &str) -> Option<&str> {
        self.fields.iter().find(|field| field.identifier == identifier).map(|field| field.value.as_str())
    }

    /// How this scan compares with what was expected, whatever it is.
    pub fn matches(&self, expected: &str) -> Match {
        matches(expected, self)
    }

    /// How this scan compares with what was expected in a role.
    pub fn matches_as(&self, role: Role, expected: &str) -> Match {
        matches_as(role, expected, self)
    }
}

/// Takes a scanned code apart.
pub fn read(raw: &str) -> ScanRead {
    let (symbology, text) = without_symbology(raw);
    let mut scan = ScanRead {
        raw: raw.to_owned(),
        text: text.to_owned(),
        symbology: symbology.map(str::to_owned),
        fields: Vec::new(),
        perhaps: Vec::new(),
    };
    // FNC1 in first place is what makes a symbol a GS1 one; some scanners pass it on as a leading GS.
    let gs1 = matches!(symbology, Some("]C1" | "]d2" | "]Q3" | "]e0")) || text.starts_with(GS);
    if let Some(message) = text.strip_prefix("[)>").and_then(|rest| rest.strip_prefix(RS)) {
        scan.fields = envelope(message);
    } else if let Some(fields) = bracketed(text) {
        scan.fields = fields;
    } else if gs1 {
        scan.fields = gs1_fields(text.trim_start_matches(GS));
    } else {
        scan.perhaps = perhaps(text);
    }
    scan
}

/// Takes off a symbology identifier if it is a known one: `]C1`. Anything else that begins with `]` stays.
fn without_symbology(raw: &str) -> (Option<&str>, &str) {
    let mut chars = raw.chars();
    if let (Some(']'), Some(letter), Some(modifier)) = (chars.next(), chars.next(), chars.next())
        && AIM.iter().any(|(known, modifiers)| *known == letter && modifiers.contains(modifier))
        && let Some(identifier) = raw.get(..3)
    {
        return (Some(identifier), chars.as_str());
    }
    (None, raw)
}

/// The fields of an ISO/IEC 15434 message after its header: formats 06 (data identifiers) and 05 (GS1).
/// The closing RS and EOT may be missing: some scanners drop them.
fn envelope(message: &str) -> Vec<Field> {
    let mut fields = Vec::new();
    for format in message.trim_end_matches(EOT).split(RS).filter(|format| !format.is_empty()) {
        let Some((number, rest)) = format.split_once(GS) else { continue };
        match number {
            "06" => fields.extend(rest.split(GS).filter_map(identified)),
            "05" => fields.extend(gs1_fields(rest)),
            _ => {}
        }
    }
    fields
}

/// A field that begins with a data identifier: up to three digits and one capital letter (MH10.8.2).
fn identified(field: &str) -> Option<Field> {
    let digits = field.bytes().take_while(u8::is_ascii_digit).count();
    let letter = field.as_bytes().get(digits)?;
    if digits > 3 || !letter.is_ascii_uppercase() {
        return None;
    }
    let (identifier, value) = field.split_at_checked(digits + 1)?;
    (!value.is_empty()).then(|| Field { identifier: identifier.to_owned(), value: value.to_owned() })
}

/// The known data identifiers with which a plain code begins. Several can fit (`1S` does not hide `S`, but `S` would
/// be at another place), so at most one does: the code's own first characters decide.
fn perhaps(text: &str) -> Vec<Field> {
    identified(text).filter(|field| PLAIN_IDENTIFIERS.contains(&field.identifier.as_str())).into_iter().collect()
}

/// The two-dimensional code of DDR5 module labels: `(L)...(S)...(P)...(M)...`. Seen from one maker; tags are optional
/// and may come in any order, but the code must begin with one.
fn bracketed(text: &str) -> Option<Vec<Field>> {
    const TAGS: [&str; 4] = ["(L)", "(S)", "(P)", "(M)"];
    if !TAGS.iter().any(|tag| text.starts_with(tag)) {
        return None;
    }
    let mut marks: Vec<(usize, &str)> =
        TAGS.iter().flat_map(|tag| text.match_indices(tag).map(|(at, _)| (at, *tag))).collect();
    marks.sort_unstable();
    let mut fields = Vec::new();
    for (n, (at, tag)) in marks.iter().enumerate() {
        let end = marks.get(n + 1).map_or(text.len(), |(next, _)| *next);
        let value = text.get(at + tag.len()..end).unwrap_or_default();
        let identifier = tag.replace('(', "[").replace(')', "]");
        if *tag == "(S)" {
            fields.extend(ddr5_serial(value));
        }
        fields.push(Field { identifier, value: value.to_owned() });
    }
    Some(fields)
}

/// The nine bytes of an `(S)` field in the order of SPD bytes 512-520: maker (2), place, year, week, serial (4).
fn ddr5_serial(value: &str) -> Vec<Field> {
    if value.len() != 18 || !value.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Vec::new();
    }
    let part = |name: &str, range: std::ops::Range<usize>| Field {
        identifier: format!("[S] {name}"),
        value: value.get(range).unwrap_or_default().to_owned(),
    };
    vec![part("maker", 0..4), part("place", 4..6), part("year", 6..8), part("week", 8..10), part("serial", 10..18)]
}

/// GS1 application identifiers with the length of their value; an identifier that is not here ends the reading, for
/// where its value ends is not known. Source: GS1 General Specifications table as read from an open toolkit; the
/// lengths of 240, 241 and 8004 from memory.
fn gs1_fields(text: &str) -> Vec<Field> {
    const FIXED: &[(&str, usize)] = &[("00", 18), ("01", 14), ("02", 14), ("11", 6), ("13", 6), ("15", 6), ("17", 6)];
    const OPEN: &[(&str, usize)] =
        &[("10", 20), ("21", 20), ("240", 30), ("241", 30), ("30", 8), ("37", 8), ("8004", 30)];
    let mut fields = Vec::new();
    let mut rest = text.trim_end_matches(EOT);
    loop {
        rest = rest.trim_start_matches(GS);
        if let Some((identifier, length)) = FIXED.iter().find(|(identifier, _)| rest.starts_with(identifier))
            && let Some(value) = rest.get(identifier.len()..identifier.len() + length)
            && value.bytes().all(|b| b.is_ascii_digit())
        {
            fields.push(Field { identifier: format!("({identifier})"), value: value.to_owned() });
            rest = rest.get(identifier.len() + length..).unwrap_or_default();
        } else if let Some((identifier, longest)) = OPEN.iter().find(|(identifier, _)| rest.starts_with(identifier)) {
            let value = rest.get(identifier.len()..).unwrap_or_default();
            let (value, next) = value.split_once(GS).unwrap_or((value, ""));
            if value.is_empty() || value.chars().count() > *longest {
                return fields;
            }
            fields.push(Field { identifier: format!("({identifier})"), value: value.to_owned() });
            rest = next;
        } else {
            return fields;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(raw: &str) -> Vec<(String, String)> {
        read(raw).fields.into_iter().map(|field| (field.identifier, field.value)).collect()
    }

    fn owned(list: &[(&str, &str)]) -> Vec<(String, String)> {
        list.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect()
    }

    #[test]
    fn a_plain_code_is_itself() {
        let scan = read("OM4R32-2R4-2666");
        assert_eq!(scan.text, "OM4R32-2R4-2666");
        assert!(scan.fields.is_empty() && scan.perhaps.is_empty());
    }

    #[test]
    fn known_symbology_identifiers_are_taken_off_and_unknown_ones_stay() {
        assert_eq!(read("]C0ABC").text, "ABC");
        assert_eq!(read("]C0ABC").raw, "]C0ABC");
        assert_eq!(read("]z9ABC").text, "]z9ABC");
        assert_eq!(read("]C\u{e9}x").text, "]C\u{e9}x");
        assert_eq!(read("]C").text, "]C");
    }

    #[test]
    fn an_envelope_gives_its_fields_with_and_without_its_end() {
        let want = owned(&[("S", "00A1"), ("1P", "OM5R64"), ("10D", "2436")]);
        assert_eq!(pairs("[)>\u{1e}06\u{1d}S00A1\u{1d}1POM5R64\u{1d}10D2436\u{1e}\u{4}"), want);
        assert_eq!(pairs("]d1[)>\u{1e}06\u{1d}S00A1\u{1d}1POM5R64\u{1d}10D2436"), want);
    }

    #[test]
    fn a_field_without_an_identifier_is_left_out() {
        assert_eq!(pairs("[)>\u{1e}06\u{1d}lower\u{1d}1234S\u{1d}S\u{1d}Q5\u{1e}\u{4}"), owned(&[("Q", "5")]));
    }

    /// The code is one seen on a module label (an OCR test text).
    #[test]
    fn the_ddr5_code_gives_label_part_and_the_nine_bytes() {
        let scan = read("(L)64GB 2Rx4 PC5-5600B-RA0-1010-XT(S)80CE02253633436BCE(P)M321R8GA0EB2-CWMXH(M)S00O0Q0");
        assert_eq!(scan.field("[L]"), Some("64GB 2Rx4 PC5-5600B-RA0-1010-XT"));
        assert_eq!(scan.field("[P]"), Some("M321R8GA0EB2-CWMXH"));
        assert_eq!(scan.field("[S] serial"), Some("33436BCE"));
        assert_eq!(scan.field("[S] maker"), Some("80CE"));
        assert_eq!((scan.field("[S] year"), scan.field("[S] week")), (Some("25"), Some("36")));
        assert_eq!(scan.field("[M]"), Some("S00O0Q0"));
    }

    #[test]
    fn gs1_fields_are_read_after_fnc1_only() {
        let want = owned(&[("(01)", "04012345678901"), ("(21)", "SN77"), ("(10)", "LOT1")]);
        assert_eq!(pairs("]d2010401234567890121SN77\u{1d}10LOT1"), want);
        for first in ["]C1", "]Q3", "]e0", "\u{1d}"] {
            assert_eq!(pairs(&format!("{first}010401234567890121SN77\u{1d}10LOT1")), want, "{first:?}");
        }
        assert!(pairs("010401234567890121SN77").is_empty());
        assert!(pairs("]d29912").is_empty(), "an unknown identifier ends the reading");
    }

    #[test]
    fn a_leading_identifier_of_a_plain_code_is_a_guess() {
        let scan = read("S123");
        assert!(scan.fields.is_empty());
        assert_eq!(scan.perhaps, [Field { identifier: "S".into(), value: "123".into() }]);
        assert_eq!(scan.candidates(Role::Serial), [(None, "S123"), (Some("S"), "123")]);
        assert_eq!(scan.candidates(Role::Part), [(None, "S123")]);
    }

    #[test]
    fn packages_and_mac_addresses_are_never_an_identity() {
        for raw in ["23S02A4B6C8D0E1", "3S123", "Q16", "33SABC"] {
            for role in [Role::Serial, Role::Part, Role::Slot, Role::Tag, Role::Any] {
                assert!(read(raw).candidates(role).iter().all(|(id, _)| id.is_none()), "{raw} {role:?}");
            }
        }
    }
}
