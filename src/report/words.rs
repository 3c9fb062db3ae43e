//! Times, amounts and fingerprints in words; and the one way text of the record leaves for a person.

use crate::text::{Shown, shown_within};

/// The longest text of the record that is shown whole, in characters of its cleaned form; notes are long at times.
pub const LONGEST: usize = 2000;

/// Text of the record, cleaned for a person's eyes.
pub fn clean(text: &str) -> Shown {
    shown_within(text, LONGEST)
}

/// `0.4 s`, `12 s`, `3 min 05 s`, `1 h 02 min`.
pub fn duration(ms: u64) -> String {
    let seconds = ms / 1000;
    match seconds {
        0..10 => format!("{}.{} s", seconds, ms % 1000 / 100),
        10..60 => format!("{seconds} s"),
        60..3600 => format!("{} min {:02} s", seconds / 60, seconds % 60),
        _ => format!("{} h {:02} min", seconds / 3600, seconds % 3600 / 60),
    }
}

/// `2026-11-25 09:30:00` from RFC 3339; the offset is said once, at the top.
pub fn moment(at: &str) -> String {
    match (at.get(..10), at.get(11..19)) {
        (Some(date), Some(time)) => format!("{date} {time}"),
        _ => at.to_owned(),
    }
}

/// The time of day of an RFC 3339 time.
pub fn hour(at: &str) -> String {
    at.get(11..19).unwrap_or(at).to_owned()
}

/// The offset of an RFC 3339 time: `+01:00`.
pub fn offset(at: &str) -> &str {
    at.len().checked_sub(6).and_then(|from| at.get(from..)).unwrap_or_default()
}

/// `1 slot`, `2 slots`.
pub fn counted(n: usize, thing: &str) -> String {
    if n == 1 { format!("1 {thing}") } else { format!("{n} {thing}s") }
}

/// `A`, `A and B`, `A, B and C`.
pub fn list<T: AsRef<str>>(names: &[T]) -> String {
    match names {
        [] => String::new(),
        [only] => only.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", first.join(", "), last.as_ref())
        }
    }
}

/// `98.4 %` from parts of a million, as a verdict is worded everywhere.
pub fn probability(ppm: u32) -> String {
    crate::isolate::per_cent(f64::from(ppm) / 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_read_well_at_every_size() {
        let all = [0, 48, 999, 9_999, 10_000, 59_999, 60_000, 185_000, 3_599_999, 3_600_000, 90_061_000];
        let words = all.map(duration);
        assert_eq!(
            words,
            [
                "0.0 s",
                "0.0 s",
                "0.9 s",
                "9.9 s",
                "10 s",
                "59 s",
                "1 min 00 s",
                "3 min 05 s",
                "59 min 59 s",
                "1 h 00 min",
                "25 h 01 min"
            ]
        );
    }

    #[test]
    fn a_probability_is_never_rounded_up_to_certainty() {
        assert_eq!(
            [999_999, 1_000_000, 999_000, 998_800, 984_321, 12, 0].map(probability),
            ["more than 99.9 %", "more than 99.9 %", "99.9 %", "99.8 %", "98.4 %", "less than 0.1 %", "0.0 %"]
        );
    }

    #[test]
    fn moments_leave_the_fraction_and_the_offset_out() {
        assert_eq!(moment("2026-11-25T09:30:00.000+01:00"), "2026-11-25 09:30:00");
        assert_eq!(hour("2026-11-25T09:30:00.000+01:00"), "09:30:00");
        assert_eq!(offset("2026-11-25T09:30:00.000+01:00"), "+01:00");
        assert_eq!(moment("\u{e4}"), "\u{e4}");
    }

    #[test]
    fn lists_are_grammatical() {
        assert_eq!(list::<&str>(&[]), "");
        assert_eq!(list(&["A"]), "A");
        assert_eq!(list(&["A", "B", "C"]), "A, B and C");
        assert_eq!([counted(1, "slot"), counted(0, "slot")], ["1 slot", "0 slots"]);
    }
}
