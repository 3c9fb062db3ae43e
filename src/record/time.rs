//! Times as a record writes them: RFC 3339, milliseconds, and the offset in digits.
//!
//! The offset is never `Z`: since RFC 9557 section 2 a `Z` says that the local offset is not known, and a record knows it.

use chrono::{DateTime, FixedOffset, NaiveDate, SecondsFormat, Timelike};
use serde::{Deserialize, Deserializer, Serializer, de};

/// Cuts a time to the whole milliseconds a record keeps.
pub fn whole_millis(at: DateTime<FixedOffset>) -> DateTime<FixedOffset> {
    let nanos = at.nanosecond();
    at.with_nanosecond(nanos - nanos % 1_000_000).unwrap_or(at)
}

/// `2026-11-25T09:30:00.000+01:00`.
pub fn text(at: &DateTime<FixedOffset>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Millis, false)
}

/// Seconds since 1970 UTC as the C library counts them: a leap second is the first second of the next minute.
pub fn seconds(at: &DateTime<FixedOffset>) -> i64 {
    at.timestamp() + i64::from(at.nanosecond() >= 1_000_000_000)
}

/// Reads an RFC 3339 date-time (section 5.6), leap seconds included (appendix D: only at 23:59:60 UTC). `None` when it is
/// none. Digits after the ninth of the fraction are dropped.
pub fn parse(text: &str) -> Option<DateTime<FixedOffset>> {
    let bytes = text.as_bytes();
    let begins: &[u8; 19] = bytes.first_chunk()?;
    let (year, month, day) = (digits(&begins[0..4])?, digits(&begins[5..7])?, digits(&begins[8..10])?);
    let (hour, minute, second) = (digits(&begins[11..13])?, digits(&begins[14..16])?, digits(&begins[17..19])?);
    let marks = [begins[4], begins[7], begins[10].to_ascii_lowercase(), begins[13], begins[16]];
    if marks != *b"--t::" {
        return None;
    }
    let mut end = 19;
    let mut nanos = 0;
    if bytes.get(end) == Some(&b'.') {
        let length = bytes.get(end + 1..)?.iter().take_while(|b| b.is_ascii_digit()).count();
        if length == 0 {
            return None;
        }
        let kept = length.min(9);
        nanos = digits(bytes.get(end + 1..end + 1 + kept)?)? * 10u32.pow(9 - kept as u32);
        end += 1 + length;
    }
    let offset = match bytes.get(end)? {
        b'Z' | b'z' if bytes.len() == end + 1 => 0,
        sign @ (b'+' | b'-') if bytes.len() == end + 6 => {
            let (hours, minutes) = (digits(bytes.get(end + 1..end + 3)?)?, digits(bytes.get(end + 4..end + 6)?)?);
            if bytes[end + 3] != b':' || hours > 23 || minutes > 59 {
                return None;
            }
            let seconds = (hours * 3600 + minutes * 60) as i32;
            if *sign == b'-' { -seconds } else { seconds }
        }
        _ => return None,
    };
    let leap = second == 60;
    let time = NaiveDate::from_ymd_opt(year as i32, month, day)?.and_hms_nano_opt(
        hour,
        minute,
        if leap { 59 } else { second },
        if leap { 1_000_000_000 + nanos } else { nanos },
    )?;
    let offset = FixedOffset::east_opt(offset)?;
    let utc = time.checked_sub_offset(offset)?;
    let at = DateTime::from_naive_utc_and_offset(utc, offset);
    (!leap || (utc.hour(), utc.minute()) == (23, 59)).then_some(at)
}

/// The number that these are, when all are digits; no more than nine.
#[inline(always)]
fn digits(part: &[u8]) -> Option<u32> {
    // Without a way out at the first that is none: all of them at once, on the way almost every time goes.
    let (number, all) = part.iter().fold((0_u32, true), |(number, all), byte| {
        let digit = byte.wrapping_sub(b'0');
        (number.wrapping_mul(10).wrapping_add(u32::from(digit)), all & (digit < 10))
    });
    all.then_some(number)
}

/// Whether a text that [`parse`] takes is the one that [`text`] gives for its time.
pub(super) fn in_own_form(text: &str) -> bool {
    let bytes = text.as_bytes();
    // With a sign there and this length the fraction has three digits. A zero offset is written with a plus.
    bytes.len() == 29
        && bytes[10] == b'T'
        && bytes[19] == b'.'
        && matches!(bytes[23], b'+' | b'-')
        && !text.ends_with("-00:00")
}

/// For serde: writes the one form a record has.
pub(crate) fn serialize<S: Serializer>(at: &DateTime<FixedOffset>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&text(at))
}

/// For serde: reads any RFC 3339 time; that a record holds the one form is the chain's check.
pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<DateTime<FixedOffset>, D::Error> {
    let text = String::deserialize(deserializer)?;
    parse(&text).ok_or_else(|| de::Error::custom("`at` is not an RFC 3339 time"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_form_is_written_and_read_back() {
        for wanted in
            ["2026-11-25T09:30:00.000+01:00", "2026-11-25T09:30:00.999-08:00", "2016-12-31T23:59:60.500+00:00"]
        {
            assert_eq!(text(&parse(wanted).unwrap()), wanted);
        }
        assert_eq!(text(&parse("2026-11-25t09:30:00.12345678901z").unwrap()), "2026-11-25T09:30:00.123+00:00");
    }

    #[test]
    fn a_leap_second_counts_with_the_next_minute() {
        let of = |text| seconds(&parse(text).unwrap());
        assert_eq!(of("2016-12-31T23:59:60.500+00:00"), of("2017-01-01T00:00:00.000+00:00"));
        assert_eq!(of("2016-12-31T23:59:59.999+00:00") + 1, of("2017-01-01T00:00:00.000+00:00"));
        assert_eq!(of("1970-01-01T01:00:00.999+01:00"), 0);
        assert_eq!(of("1969-12-31T23:59:59.999+00:00"), -1);
    }

    #[test]
    fn cutting_keeps_whole_milliseconds_only() {
        let at = parse("2026-11-25T09:30:00.123456789+01:00").unwrap();
        assert_eq!(whole_millis(at), parse("2026-11-25T09:30:00.123+01:00").unwrap());
        assert_eq!(whole_millis(whole_millis(at)), whole_millis(at));
    }

    #[test]
    fn the_own_form_is_told_without_writing_it() {
        let own = "2016-12-31T23:59:60.500+00:00";
        let places = 0..own.len();
        let changed = places.flat_map(|at| {
            (b' '..=b'~').flat_map(move |byte| {
                let (head, tail) = (&own[..at], &own[at + 1..]);
                let byte = char::from(byte);
                [format!("{head}{byte}{tail}"), format!("{head}{byte}{}", &own[at..]), format!("{head}{tail}")]
            })
        });
        let mut times = 0;
        for changed in changed {
            if let Some(at) = parse(&changed) {
                times += 1;
                assert_eq!(in_own_form(&changed), text(&at) == changed, "{changed}");
            }
        }
        assert!(times > 30, "{times}");
    }

    #[test]
    fn nothing_else_is_a_time() {
        for text in ["", "2026-11-25", "2026-11-25 09:30:00+01:00", "2026-11-25T09:30:00", "2026-11-25T09:30:00.+01:00"]
        {
            assert_eq!(parse(text), None, "{text}");
        }
    }
}
