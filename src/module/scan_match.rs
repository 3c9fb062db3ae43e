//! A scan against what was expected. Only two answers accept; the others are there for the words of a refusal.

use super::scan::{Role, ScanRead};
use crate::text::shown;

/// How a scan compares with what was expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Match {
    /// Character for character. Accepts.
    Exactly,
    /// One field of the code is it, character for character; names the identifier. Accepts.
    ByField(String),
    /// The same but for capital and small letters. Does not accept.
    CaseOnly,
    /// The same but for characters that look alike (O and 0, I and 1 and l); the first such place, from 1.
    /// Does not accept.
    LooksLike { place: usize, read: char, wanted: char },
    /// Something else. Does not accept.
    No,
}

impl Match {
    /// Whether the scan is what was expected.
    pub fn accepts(&self) -> bool {
        matches!(self, Self::Exactly | Self::ByField(_))
    }

    /// What differs, in words; `None` where nothing does, or everything.
    pub fn difference(&self) -> Option<String> {
        match self {
            Self::CaseOnly => {
                Some("only capital and small letters differ; look at Caps Lock and the scanner".to_owned())
            }
            Self::LooksLike { place, read, wanted } => {
                Some(format!("place {place}: {} was read, {} is expected", character(*read), character(*wanted)))
            }
            Self::Exactly | Self::ByField(_) | Self::No => None,
        }
    }
}

/// `letter O`, `digit 0`: spelled out, because the two look alike.
fn character(c: char) -> String {
    let kind = match c {
        '0'..='9' => "digit",
        'A'..='Z' => "letter",
        'a'..='z' => "small letter",
        _ => "character",
    };
    format!("{kind} {}", shown(&c.to_string()))
}

/// How `scan` compares with `expected`, whatever it is: [`matches_as`] with [`Role::Any`].
pub fn matches(expected: &str, scan: &ScanRead) -> Match {
    matches_as(Role::Any, expected, scan)
}

/// How `scan` compares with `expected` in a role. As given comes first, then the fields that may stand for the role.
/// Text with anything but printable ASCII is never equal to anything: what cannot be shown cannot be compared by eye.
pub fn matches_as(role: Role, expected: &str, scan: &ScanRead) -> Match {
    if !comparable(expected) {
        return Match::No;
    }
    if scan.raw == expected || scan.text == expected {
        return Match::Exactly;
    }
    let candidates = scan.candidates(role);
    if let Some(identifier) = candidates.iter().find_map(|(id, value)| id.filter(|_| *value == expected)) {
        return Match::ByField(identifier.to_owned());
    }
    if candidates.iter().any(|(_, value)| comparable(value) && value.eq_ignore_ascii_case(expected)) {
        return Match::CaseOnly;
    }
    candidates.iter().find_map(|(_, value)| look_alike(value, expected)).unwrap_or(Match::No)
}

/// Not empty, printable ASCII only.
fn comparable(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| (b' '..=b'~').contains(&b))
}

/// The one spelling of all characters that look alike on a printed label, case aside.
fn plainest(c: char) -> char {
    match c {
        'O' | 'o' | '0' => '0',
        'I' | 'i' | 'L' | 'l' | '1' => '1',
        c => c.to_ascii_uppercase(),
    }
}

/// The first place where two texts that look alike differ by more than case.
fn look_alike(read: &str, wanted: &str) -> Option<Match> {
    if !comparable(read) || read.len() != wanted.len() {
        return None;
    }
    if !read.chars().map(plainest).eq(wanted.chars().map(plainest)) {
        return None;
    }
    read.chars().zip(wanted.chars()).enumerate().find_map(|(n, (read, wanted))| {
        (!read.eq_ignore_ascii_case(&wanted)).then_some(Match::LooksLike { place: n + 1, read, wanted })
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::module::scan::read;

    #[test]
    fn as_given_comes_before_any_identifier() {
        assert_eq!(matches("S123", &read("S123")), Match::Exactly);
        assert_eq!(matches("123", &read("S123")), Match::ByField("S".into()));
        assert_eq!(matches("]C0X", &read("]C0X")), Match::Exactly);
        assert_eq!(matches("X", &read("]C0X")), Match::Exactly);
    }

    #[test]
    fn a_part_number_field_is_no_serial() {
        let scan = read("[)>\u{1e}06\u{1d}1PAB12\u{1d}S77\u{1e}\u{4}");
        assert_eq!(matches_as(Role::Serial, "AB12", &scan), Match::No);
        assert_eq!(matches_as(Role::Part, "AB12", &scan), Match::ByField("1P".into()));
        assert_eq!(matches_as(Role::Serial, "77", &scan), Match::ByField("S".into()));
    }

    #[test]
    fn a_mac_address_or_a_package_is_refused_even_if_its_digits_fit() {
        assert_eq!(matches("02A4B6C8D0E1", &read("23S02A4B6C8D0E1")), Match::No);
        assert_eq!(matches("123", &read("3S123")), Match::No);
    }

    #[test]
    fn near_misses_are_named_and_never_accepted() {
        let case = matches("AB12", &read("ab12"));
        assert_eq!(case, Match::CaseOnly);
        let alike = matches("OM4R3206", &read("OM4R32O6"));
        assert_eq!(alike, Match::LooksLike { place: 7, read: 'O', wanted: '0' });
        assert_eq!(alike.difference().as_deref(), Some("place 7: letter O was read, digit 0 is expected"));
        for other in ["AB12 ", " AB12", "AB1", "AB123", "", "\u{410}B12", "AB12\u{200b}", "AB12\u{4}"] {
            assert!(!matches("AB12", &read(other)).accepts(), "{other:?}");
        }
        assert!(!case.accepts() && !alike.accepts());
    }

    #[test]
    fn what_cannot_be_shown_is_equal_to_nothing() {
        assert_eq!(matches("\u{e9}1", &read("\u{e9}1")), Match::No);
        assert_eq!(matches("", &read("")), Match::No);
    }

    proptest! {
        /// Whatever is accepted stands in the scan, character for character.
        #[test]
        fn nothing_is_accepted_that_was_not_read(expected in "[A-Z0-9]{1,6}", raw in "[\\]SP1C0(LM)A-C\u{1d}]{0,14}") {
            if matches(&expected, &read(&raw)).accepts() {
                prop_assert!(raw.contains(&expected));
            }
        }

        #[test]
        fn a_changed_character_is_never_accepted(serial in "[B-Z0-9]{6,12}", place in 0_usize..6, to in "[A-Z0-9a-z]") {
            let mut changed = serial.clone();
            changed.replace_range(place..=place, &to);
            prop_assume!(changed != serial);
            prop_assert!(!matches(&serial, &read(&changed)).accepts());
        }

        #[test]
        fn reading_a_scan_never_panics_and_keeps_it(raw in any::<String>()) {
            prop_assert_eq!(read(&raw).raw, raw);
        }
    }
}
