//! Damage that no crash makes is refused, with its line and a way out, and left as it is.

use std::fs;

use slotwise::record::{Journal, RecordError, Wrong, read};
use tempfile::TempDir;

use crate::sample::{at, events, opened};

fn record() -> Vec<String> {
    let folder = TempDir::new().unwrap();
    let mut journal = Journal::create(folder.path(), "ada", at(0), opened()).unwrap();
    for (minute, event) in (1..).zip(events()) {
        journal.append("ada", at(minute), event).unwrap();
    }
    fs::read_to_string(journal.path()).unwrap().lines().map(str::to_owned).collect()
}

/// The line and what is wrong with it; the reader and the journal must say the same, and the file must stay as it is.
fn refused(content: &[u8]) -> (u64, Wrong) {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("job.jsonl");
    fs::write(&file, content).unwrap();
    let read = read::job(&file).expect_err("the reader must refuse");
    let opened = Journal::open(&file, at(90)).expect_err("the journal must refuse");
    assert_eq!(read.to_string(), opened.to_string());
    assert_eq!(fs::read(&file).unwrap(), content);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    let (line, wrong) = read.wrong().unwrap_or_else(|| panic!("{read}"));
    assert!(read.to_string().contains(&format!("line {line}: ")), "{read}");
    assert!(read.to_string().ends_with(wrong.way_out()), "{read}");
    (line, wrong.clone())
}

/// Makes something else of a line.
type Way = fn(&str) -> Vec<u8>;

fn joined(lines: &[String]) -> Vec<u8> {
    lines.iter().flat_map(|line| [line.as_bytes(), b"\n"].concat()).collect()
}

#[test]
fn an_edited_line_breaks_the_chain_at_the_next() {
    let good = record();
    let last = good.len() as u64;
    for n in 1..last {
        let mut lines = good.clone();
        let line = &mut lines[n as usize - 1];
        *line = line.replacen("ada", "bob", 1);
        let (at, wrong) = refused(&joined(&lines));
        assert_eq!(at, n + 1);
        assert!(matches!(wrong, Wrong::ChainBreak { .. }), "{wrong}");
    }
}

#[test]
fn lines_taken_out_doubled_or_swapped_are_named() {
    let good = record();
    for n in 1..good.len() - 1 {
        let due = n as u64 + 1;
        let mut lines = good.clone();
        lines.remove(n);
        assert_eq!(refused(&joined(&lines)), (due, Wrong::WrongNumber { expected: due, found: due + 1 }));
        let mut lines = good.clone();
        lines.insert(n, good[n - 1].clone());
        assert_eq!(refused(&joined(&lines)), (due, Wrong::WrongNumber { expected: due, found: due - 1 }));
        let mut lines = good.clone();
        lines.swap(n, n + 1);
        assert_eq!(refused(&joined(&lines)), (due, Wrong::WrongNumber { expected: due, found: due + 1 }));
    }
    let mut lines = good;
    lines.remove(0);
    assert_eq!(refused(&joined(&lines)).1, Wrong::NotARecord);
}

#[test]
fn spoiled_lines_with_good_ones_behind_them_are_damage_wherever_they_stand() {
    let good = record();
    let ways: [(&str, Way); 6] = [
        ("emptied", |_| Vec::new()),
        ("cut", |line| line.as_bytes()[..line.len() / 2].to_vec()),
        ("zeroed", |line| vec![0; line.len()]),
        ("garbage", |_| b"xx".to_vec()),
        ("CR added", |line| [line.as_bytes(), b"\r"].concat()),
        ("key doubled", |line| line.replacen("\"by\":", "\"by\":\"eve\",\"by\":", 1).into_bytes()),
    ];
    for (how, spoil) in ways {
        for n in 0..good.len() - 1 {
            let mut content = joined(&good[..n]);
            content.extend(spoil(&good[n]));
            content.push(b'\n');
            content.extend(joined(&good[n + 1..]));
            let (at, wrong) = refused(&content);
            assert_eq!(at, n as u64 + 1, "{how}: {wrong}");
        }
    }
}

#[test]
fn a_whole_last_line_that_is_wrong_was_not_left_by_a_crash() {
    let good = record();
    let n = good.len();
    for line in ["xx", "{}", "", "{\"n\":15}"] {
        let content = [joined(&good), format!("{line}\n").into_bytes()].concat();
        assert_eq!(refused(&content).0, n as u64 + 1, "{line}");
    }
}

#[test]
fn converted_copies_and_other_files_are_named_for_what_they_are() {
    let good = record();
    let text = String::from_utf8(joined(&good)).unwrap();
    assert_eq!(refused(text.replace('\n', "\r\n").as_bytes()), (1, Wrong::Crlf));
    assert_eq!(refused(format!("\u{feff}{text}").as_bytes()), (1, Wrong::ByteOrderMark));
    let wide: Vec<u8> = std::iter::once(0xfeff).chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    assert!(matches!(refused(&wide), (1, Wrong::RawByte { byte: 0xff, .. })));
    assert!(matches!(refused(b"\x7fELF\x02\x01\x01\0\0\0\0\n\0\0"), (1, Wrong::RawByte { .. })));
    assert_eq!(refused(b"\x89PNG"), (1, Wrong::NotARecord));
    assert!(matches!(refused(b"format = \"slotwise-plan/1\"\n"), (1, Wrong::NotJson { .. })));
    assert_eq!(
        refused(text.replacen("slotwise-record/1", "slotwise-record/9", 1).as_bytes()),
        (1, Wrong::Format { found: "slotwise-record/9".to_owned() })
    );
    // Two records one behind the other.
    assert!(matches!(refused(text.repeat(2).as_bytes()), (15, Wrong::WrongNumber { expected: 15, found: 1 })));
}

#[test]
fn what_a_damaged_record_says_cannot_reach_the_terminal() {
    let good = record();
    for hostile in ["\u{9b}31m", "\u{1b}]0;x\u{7}"] {
        let escaped: String = hostile.encode_utf16().map(|unit| format!("\\u{unit:04x}")).collect();
        for (from, to) in [
            ("\"event\":\"answered\"", format!("\"event\":\"{escaped}\"")),
            ("\"by\":\"ada\"", format!("\"{escaped}\":1,\"{escaped}\":2,\"by\":\"ada\"")),
            ("\"how\":\"scanned\"", format!("\"how\":\"{escaped}\"")),
        ] {
            let mut lines = good.clone();
            lines[1] = lines[1].replacen(from, &to, 1);
            assert_ne!(lines[1], good[1]);
            let folder = TempDir::new().unwrap();
            let file = folder.path().join("job.jsonl");
            fs::write(&file, joined(&lines)).unwrap();
            let error = read::job(&file).unwrap_err();
            assert!(matches!(error, RecordError::Damaged { line: 2, .. }), "{error:?}");
            assert!(error.to_string().bytes().all(|byte| matches!(byte, b' '..=b'~')), "{error:?}");
        }
    }
}

#[test]
fn a_line_beyond_the_cap_is_refused_without_being_held() {
    let good = record();
    let mut content = joined(&good[..3]);
    content.extend(vec![b'x'; 40 * 1024 * 1024]);
    content.extend(b"\n{}\n");
    assert_eq!(refused(&content), (4, Wrong::TooLong));
}
