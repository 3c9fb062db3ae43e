use super::*;
use crate::record::{Event, Opened, time};

fn line(n: u64, event: Event, prev: LineHash) -> Line {
    Line { n, at: time::parse("2026-11-25T09:30:00.000+01:00").unwrap(), by: "ada".to_owned(), event, prev }
}

fn note(text: &str) -> Event {
    Event::Noted { step: None, text: text.to_owned() }
}

fn opened() -> Event {
    let opened: Opened = serde_json::from_str(include_str!("../../../tests/record/opened.json")).unwrap();
    Event::Opened(Box::new(opened))
}

/// The head behind some first line, so that notes can follow.
fn second() -> Head {
    Head { lines: 1, hash: LineHash::of(b"anything") }
}

/// Decodes the note `text` after `change` was made to its bytes.
fn changed(text: &str, change: impl Fn(String) -> String) -> Result<Line, Wrong> {
    let good = String::from_utf8(encode(&line(2, note(text), second().hash)).unwrap()).unwrap();
    assert!(decode(good.as_bytes(), &second()).is_ok());
    let bad = change(good.clone());
    assert_ne!(good, bad, "the change must change something");
    decode(bad.as_bytes(), &second())
}

#[test]
fn a_line_has_one_form_with_prev_last() {
    let bytes = encode(&line(2, note("seated"), LineHash::FIRST)).unwrap();
    let wanted = format!(
        r#"{{"n":2,"at":"2026-11-25T09:30:00.000+01:00","by":"ada","event":"noted","text":"seated","prev":"{}"}}"#,
        LineHash::FIRST
    );
    assert_eq!(String::from_utf8(bytes).unwrap(), wanted);
}

#[test]
fn nothing_in_a_line_can_drive_a_terminal() {
    let hostile = "\u{1b}[2J\u{7f}\u{9b}31m\u{202e}\u{2028}\u{e9}\u{1f600}\n\r\t\0\"\\";
    let bytes = encode(&line(2, note(hostile), second().hash)).unwrap();
    assert!(bytes.iter().all(|byte| matches!(byte, b' '..=b'~')), "{}", String::from_utf8_lossy(&bytes));
    let text = String::from_utf8(bytes.clone()).unwrap();
    assert!(text.contains(r#"\u001b[2J\u007f\u009b31m\u202e\u2028\u00e9\ud83d\ude00\n\r\t\u0000\"\\"#), "{text}");
    let read = decode(&bytes, &second()).unwrap();
    assert_eq!(read.event, note(hostile));
}

#[test]
fn every_way_to_spoil_a_line_has_its_own_name() {
    let swap = |from: &'static str, to: &'static str| changed("seated", move |line| line.replacen(from, to, 1));
    assert_eq!(swap("seated", "seatex").map(|_| ()), Ok(()), "a changed value shows in the next line's prev, not here");
    assert!(matches!(swap("\"n\":2", "\"n\":3"), Err(Wrong::WrongNumber { expected: 2, found: 3 })));
    assert_eq!(swap("\"n\":2", "\"n\":2,\"n\":2"), Err(Wrong::DuplicateKey { key: "n".to_owned() }));
    assert_eq!(swap("\"n\":2", "\"n\":2.0"), Err(Wrong::Fraction));
    assert_eq!(swap("\"n\":2", "\"n\":9007199254740993"), Err(Wrong::BigNumber));
    assert_eq!(swap("\"n\":2", "\"n\": 2"), Err(Wrong::OtherForm));
    assert_eq!(swap("\"n\":2", "\"extra\":1,\"n\":2"), Err(Wrong::OtherForm));
    assert_eq!(swap("seated", "se\\u0061ted"), Err(Wrong::OtherForm));
    assert_eq!(swap("30:00.000", "30:00"), Err(Wrong::OtherForm));
    assert_eq!(swap("+01:00", "Z"), Err(Wrong::OtherForm));
    assert_eq!(swap("noted", "notes"), Err(Wrong::UnknownEvent { event: "notes".to_owned() }));
    assert!(matches!(swap("2026-11-25", "2026-13-25"), Err(Wrong::NotALine { .. })));
    assert!(matches!(swap("{", ""), Err(Wrong::NotJson { .. })));
    assert!(matches!(swap("seated", "s\u{e9}ated"), Err(Wrong::RawByte { byte: 0xc3, .. })));
    assert_eq!(changed("seated", |line| line + "\r"), Err(Wrong::Crlf));
    assert_eq!(changed("seated", |_| String::new()), Err(Wrong::EmptyLine));
    let prev = second().hash;
    let broken = changed("seated", |line| line.replace(&*prev, &LineHash::FIRST));
    assert_eq!(broken, Err(Wrong::ChainBreak { expected: prev.to_string(), found: LineHash::FIRST.to_string() }));
    assert_eq!(decode(&vec![b'x'; LONGEST_LINE + 1], &second()), Err(Wrong::TooLong));
}

#[test]
fn the_first_line_says_whether_this_program_can_read_the_record() {
    let first = |change: &dyn Fn(String) -> String| {
        let good = String::from_utf8(encode(&line(1, opened(), LineHash::FIRST)).unwrap()).unwrap();
        decode(change(good).as_bytes(), &Head::default()).map(|_| ())
    };
    assert_eq!(first(&|line| line), Ok(()));
    let format = |found: &str| Err(Wrong::Format { found: found.to_owned() });
    assert_eq!(first(&|line| line.replacen("slotwise-record/1", "slotwise-record/2", 1)), format("slotwise-record/2"));
    assert_eq!(first(&|_| r#"{"format":"slotwise-plan/1"}"#.to_owned()), format("slotwise-plan/1"));
    assert_eq!(first(&|_| r#"{"format":"slotwise-record/99","seq":1}"#.to_owned()), format("slotwise-record/99"));
    assert_eq!(first(&|_| r#"{"a":1}"#.to_owned()), Err(Wrong::NotARecord));
    assert_eq!(first(&|_| "[]".to_owned()), Err(Wrong::NotARecord));
    assert_eq!(first(&|line| format!("\u{feff}{line}")), Err(Wrong::ByteOrderMark));
    let note = encode(&line(1, note("x"), LineHash::FIRST)).unwrap();
    assert_eq!(decode(&note, &Head::default()), Err(Wrong::NotARecord));
}

#[test]
fn every_event_of_the_type_is_known_by_its_name_and_no_other() {
    let schema = serde_json::to_value(schemars::schema_for!(Event)).unwrap();
    let names: Vec<&str> = schema
        .pointer("/oneOf")
        .and_then(serde_json::Value::as_array)
        .unwrap()
        .iter()
        .map(|variant| variant.pointer("/properties/event/const").and_then(serde_json::Value::as_str).unwrap())
        .collect();
    assert!(names.contains(&"opened") && names.contains(&"declared"), "{names:?}");
    for name in names {
        assert!(is_known(name), "{name}");
    }
    for name in ["", "Opened", "signed-by-nobody", "unknown variant"] {
        assert!(!is_known(name), "{name}");
    }
    let how = changed_answer("\"how\":\"typed\"", "\"how\":\"answered\"");
    assert!(matches!(how, Err(Wrong::NotALine { .. })), "{how:?}");
}

/// Decodes an answer after a part of its text was replaced.
fn changed_answer(from: &str, to: &str) -> Result<Line, Wrong> {
    let step = crate::checklist::StepId("a".to_owned());
    let event =
        Event::Answered { step, value: "1".to_owned(), how: super::super::How::Typed, took_ms: 1, serial: None };
    let good = String::from_utf8(encode(&line(2, event, second().hash)).unwrap()).unwrap();
    assert!(good.contains(from), "{good}");
    decode(good.replacen(from, to, 1).as_bytes(), &second())
}

#[test]
fn a_snapshot_survives_whole() {
    let snapshot = serde_json::from_str(include_str!("../../../tests/record/snapshot.json")).unwrap();
    let event = Event::SnapshotTaken { step: None, snapshot: Box::new(snapshot) };
    let written = line(2, event, second().hash);
    let bytes = encode(&written).unwrap();
    assert_eq!(decode(&bytes, &second()).unwrap(), written);
}

#[test]
fn numbers_too_large_to_keep_exact_are_not_written() {
    let event = Event::TailSetAside { file: "x".to_owned(), bytes: u64::MAX, why: "x".to_owned() };
    let bytes = encode(&line(2, event, second().hash)).unwrap();
    assert_eq!(decode(&bytes, &second()), Err(Wrong::BigNumber));
}

#[test]
fn what_this_program_writes_reads_in_one_pass_and_all_else_the_long_way() {
    let bytes = encode(&line(2, note("seated, \"\u{9b}\" and \u{1f600}"), second().hash)).unwrap();
    assert!(short(&bytes, &second()).is_some());
    let first = encode(&line(1, opened(), LineHash::FIRST)).unwrap();
    assert!(short(&first, &Head::default()).is_some());
    assert!(short(&first, &second()).is_none() && short(&bytes, &Head::default()).is_none());
    for other in [" ", "x"] {
        assert!(short(&[&bytes[..], other.as_bytes()].concat(), &second()).is_none());
    }
    for (text, long) in [("123456789012345", false), ("1234567890123456", true), ("x12345678901234567", true)] {
        for before in 0..40 {
            let text = format!("{}{text}{}", "-".repeat(before), "-".repeat(7));
            assert_eq!(has_long_number(text.as_bytes()), long, "{text}");
        }
    }
}

#[test]
fn a_line_read_without_a_detour_is_the_line_read_with_all_checks() {
    use crate::checklist::StepId;
    use crate::record::{How, Role};
    let step = || StepId("insert/a1/seat".to_owned());
    let text = || "seated".to_owned();
    let answered = |how, serial| Event::Answered { step: step(), value: text(), how, took_ms: 0, serial };
    let declared = |role, reason, key| Event::Declared { name: text(), role, statement: text(), reason, key };
    let events = [
        note("both latches closed"),
        Event::Noted { step: Some(step()), text: String::new() },
        answered(How::Scanned, None),
        answered(How::Typed, Some(text())),
        answered(How::Scripted, None),
        answered(How::Read, None),
        declared(Role::Technician, None, None),
        declared(Role::Supervisor, Some(text()), Some(text())),
        Event::Signed { declared: 40, key: text(), signature: text() },
    ];
    for event in events {
        let bytes = encode(&line(2, event, second().hash)).unwrap();
        assert!(plain::read(as_text(&bytes)).is_some(), "{}", String::from_utf8_lossy(&bytes));
        // Every byte replaced, left out and doubled by every printable one: what passes passes the long way, too.
        let (mut same, mut changed) = (0, 0);
        for at in 0..bytes.len() {
            for byte in b' '..=b'~' {
                let (head, tail) = (&bytes[..at], &bytes[at + 1..]);
                for bytes in
                    [[head, &[byte], tail].concat(), [head, &[byte], &bytes[at..]].concat(), [head, tail].concat()]
                {
                    changed += 1;
                    if let Some(read) = plain::read(as_text(&bytes)) {
                        same += 1;
                        assert_eq!(Ok(read), with_all_checks(&bytes, &second()), "{}", String::from_utf8_lossy(&bytes));
                    }
                }
            }
        }
        assert!(same > 500 && changed > 2 * same, "{same} of {changed}");
    }
}

#[test]
fn what_has_more_than_one_form_or_number_is_left_to_the_long_way() {
    let bytes = encode(&line(2, note("seated"), second().hash)).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    for (from, to) in [
        ("\"n\":2", "\"n\":02"),
        ("\"n\":2", "\"n\":"),
        ("\"n\":2", "\"n\":1234567890123456"),
        ("\"n\":2", "\"n\": 2"),
        ("+01:00", "-00:00"),
        ("+01:00", "Z"),
        (".000", ".0000"),
        ("seated", "se\\u0061ted"),
        ("seated", "se\\\"ted"),
        ("\"text\"", "\"step\":null,\"text\""),
    ] {
        let other = text.replacen(from, to, 1);
        assert_ne!(other, text);
        assert_eq!(plain::read(&other), None, "{other}");
    }
}

/// The raw bytes of a snapshot are not written again to be compared: nothing may hide there.
#[test]
fn a_snapshot_read_without_a_detour_is_the_one_read_with_all_checks() {
    let mut snapshot: Snapshot = serde_json::from_str(include_str!("../../../tests/record/snapshot.json")).unwrap();
    snapshot.sources.truncate(1);
    for (name, raw) in [("meminfo", "ab"), ("blocks", "ab"), ("numa", "c=")] {
        snapshot.sources.push(crate::snapshot::Source::of(name, "x", b""));
        raw.clone_into(&mut snapshot.sources.last_mut().unwrap().raw);
    }
    let event = |snapshot: &Snapshot| Event::SnapshotTaken { step: None, snapshot: Box::new(snapshot.clone()) };
    let bytes = encode(&line(2, event(&snapshot), second().hash)).unwrap();
    let mut passed = 0;
    let mut judge = |bytes: &[u8]| {
        if let Some(read) = short(bytes, &second()) {
            passed += 1;
            assert_eq!(Ok(read), with_all_checks(bytes, &second()), "{}", String::from_utf8_lossy(bytes));
        }
    };
    judge(&bytes);
    for at in 0..bytes.len() {
        let (head, tail) = (&bytes[..at], &bytes[at + 1..]);
        for byte in *b"\"\\,:a=0}] " {
            judge(&[head, &[byte], tail].concat());
            judge(&[head, &[byte], &bytes[at..]].concat());
        }
        judge(&[head, tail].concat());
        // A text put aside taken from its place, and put somewhere else.
        for (from, to) in [("\"raw\":\"ab\"", "\"raw\":\"\""), ("\"raw\":\"c=\"", "\"raw\":\"ab\"")] {
            for raw in ["ab", "c=", "abab", "\"ab\"", "abc="] {
                let text = String::from_utf8([head, raw.as_bytes(), &bytes[at..]].concat()).unwrap();
                judge(text.replacen(from, to, 1).as_bytes());
                judge(text.replace(from, to).as_bytes());
            }
        }
    }
    assert!(passed > 100, "{passed}");
    // One without text, or with one that has more than one form: they are written and compared, all of them.
    for raw in ["", "a\"b", "a\\b"] {
        raw.clone_into(&mut snapshot.sources[1].raw);
        let bytes = encode(&line(2, event(&snapshot), second().hash)).unwrap();
        assert_eq!(short(&bytes, &second()), with_all_checks(&bytes, &second()).ok(), "{raw}");
        assert!(short(&bytes, &second()).is_some());
    }
}

/// What `decode` goes on with.
fn as_text(bytes: &[u8]) -> &str {
    if is_printable(bytes) { std::str::from_utf8(bytes).unwrap() } else { "" }
}

fn short(bytes: &[u8], head: &Head) -> Option<Line> {
    written(as_text(bytes), head)
}
