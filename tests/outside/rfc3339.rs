//! Times of a record, against RFC 3339.

use chrono::{DateTime, FixedOffset};
use slotwise::record::time;

use crate::collected::collected;

fn utc(text: &str) -> String {
    let at: DateTime<FixedOffset> = time::parse(text).unwrap_or_else(|| panic!("{text}"));
    time::text(&at.with_timezone(&FixedOffset::east_opt(0).unwrap()))
}

/// RFC 3339 section 5.8: the examples, with what the text says they mean in UTC.
#[test]
fn the_examples_of_the_rfc_mean_what_it_says() {
    assert_eq!(utc("1985-04-12T23:20:50.52Z"), "1985-04-12T23:20:50.520+00:00");
    assert_eq!(utc("1996-12-19T16:39:57-08:00"), "1996-12-20T00:39:57.000+00:00");
    assert_eq!(utc("1990-12-31T23:59:60Z"), "1990-12-31T23:59:60.000+00:00");
    assert_eq!(utc("1990-12-31T15:59:60-08:00"), "1990-12-31T23:59:60.000+00:00");
    assert_eq!(utc("1937-01-01T12:00:27.87+00:20"), "1937-01-01T11:40:27.870+00:00");
}

/// Date-times from the public JSON Schema test suite (MIT), `format: date-time`, as collected; each says whether it is
/// valid.
#[test]
fn collected_times_are_taken_and_refused_as_they_say() {
    let Some(path) = collected("data/record/rfc3339/date-time.jsonl", "collected RFC 3339 times") else { return };
    let mut cases = 0;
    for line in std::fs::read_to_string(path).unwrap().lines() {
        let case: serde_json::Value = serde_json::from_str(line).unwrap();
        let (text, valid) = (case["text"].as_str().unwrap(), case["valid"].as_bool().unwrap());
        assert_eq!(time::parse(text).is_some(), valid, "{text}: {}", case["note"]);
        cases += 1;
    }
    assert!(cases >= 20, "{cases}");
}
