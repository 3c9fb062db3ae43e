//! Numbers as people write them at the bench.

use rust_decimal::Decimal;

/// The most digits before and behind the decimal point; no instrument at a bench shows more.
const DIGITS: (usize, usize) = (9, 6);

/// Why something is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NotANumber {
    /// Nothing there, or not digits.
    NoDigits,
    TooLong,
    /// `1,234`: a decimal comma, or a thousand?
    AmbiguousComma,
    /// Digits, then something that is not the unit asked for.
    OtherUnit,
}

/// A plain decimal number: digits with at most one point; a sign is read, so that it can be named when it is refused.
pub(crate) fn decimal(text: &str) -> Result<Decimal, NotANumber> {
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    let (whole, behind) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(behind) || unsigned.ends_with('.') {
        return Err(NotANumber::NoDigits);
    }
    if whole.len() > DIGITS.0 || behind.len() > DIGITS.1 {
        return Err(NotANumber::TooLong);
    }
    text.strip_prefix('+').unwrap_or(text).parse().map_err(|_| NotANumber::NoDigits)
}

/// A reading as typed: `1.2`, `1,2`, or with the unit asked for, `1.2 MOhm`. A decimal comma is read as a point, but `1,234`
/// is refused, since it may mean a thousand. No other unit is converted: the person reads the scale, not the program.
pub(crate) fn reading(text: &str, unit: &str) -> Result<Decimal, NotANumber> {
    let text = text.trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+'))).unwrap_or(text.len());
    let (number, given) = text.split_at(end);
    if number.is_empty() {
        return Err(NotANumber::NoDigits);
    }
    if !given.trim().is_empty() && !same_unit(given.trim(), unit) {
        return Err(NotANumber::OtherUnit);
    }
    match number.split_once(',') {
        Some((_, behind)) if behind.len() == 3 => Err(NotANumber::AmbiguousComma),
        _ => decimal(&number.replacen(',', ".", 1)),
    }
}

/// Whether `given` means `unit`: letter case aside, `Ω` for `Ohm`, and `M` alone for `MOhm` as meters print it.
fn same_unit(given: &str, unit: &str) -> bool {
    let plain = |text: &str| text.replace(['\u{3a9}', '\u{2126}'], "ohm").replace(' ', "").to_lowercase();
    let (given_plain, unit) = (plain(given), plain(unit));
    given_plain == unit || (unit == "mohm" && (given == "M" || given_plain == "megohm"))
}

/// A whole number of things.
pub(crate) fn count(text: &str) -> Option<u32> {
    let text = text.trim();
    if text.is_empty() || text.len() > 6 || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    text.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_are_read_as_people_write_them() {
        for text in ["1.2", "1,2", " 1.2 ", "1.2 M", "1.2MOhm", "1.2 mohm", "1.2 M\u{3a9}", "+1.2"] {
            assert_eq!(reading(text, "MOhm"), Ok(Decimal::new(12, 1)), "{text}");
        }
    }

    #[test]
    fn what_is_no_reading_is_refused() {
        use NotANumber::*;
        for (text, why) in [
            ("", NoDigits),
            ("NaN", NoDigits),
            ("inf", NoDigits),
            ("1e3", OtherUnit),
            ("1200k", OtherUnit),
            ("1.2 m", OtherUnit),
            ("1,234", AmbiguousComma),
            ("1.2.3", NoDigits),
            (".", NoDigits),
            ("1.", NoDigits),
            ("--1", NoDigits),
            ("12345678901234567890", TooLong),
        ] {
            assert_eq!(reading(text, "MOhm"), Err(why), "{text}");
        }
    }

    #[test]
    fn counts_are_whole() {
        assert_eq!(count(" 4 "), Some(4));
        for text in ["", "4.0", "-1", "four", "1000000"] {
            assert_eq!(count(text), None, "{text}");
        }
    }
}
