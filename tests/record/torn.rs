//! A record cut at any byte, or ending in what a crash leaves, opens with all its whole lines.

use std::fs;
use std::path::{Path, PathBuf};

use slotwise::record::{Job, Journal, JournalError, Line, RecordError, Scan, TornKind, read};
use tempfile::TempDir;

use crate::sample::{at, events, opened};

/// The bytes of a finished record.
fn bytes() -> Vec<u8> {
    let folder = TempDir::new().unwrap();
    let mut journal = Journal::create(folder.path(), "ada", at(0), opened()).unwrap();
    for (minute, event) in (1..).zip(events()) {
        journal.append("ada", at(minute), event).unwrap();
    }
    fs::read(journal.path()).unwrap()
}

fn put(folder: &Path, bytes: &[u8]) -> PathBuf {
    let file = folder.join("job.jsonl");
    fs::write(&file, bytes).unwrap();
    file
}

fn lines(bytes: &[u8]) -> Vec<Line> {
    Scan::new(bytes).map(|scanned| scanned.unwrap().line).collect()
}

/// Opens `whole` + `tail` and checks that the tail, and only the tail, was put aside and told of; twice.
fn opens_with_tail_aside(whole: &[u8], tail: &[u8]) {
    let what = format!("{} whole bytes, a tail of {}", whole.len(), tail.len());
    let folder = TempDir::new().unwrap();
    let file = put(folder.path(), &[whole, tail].concat());
    let journal = Journal::open(&file, at(60)).unwrap_or_else(|error| panic!("{what}: {error}"));
    assert_eq!(journal.repaired().len(), 1, "{what}");
    let aside = journal.repaired()[0].clone();
    drop(journal);
    let after = fs::read(&file).unwrap();
    assert!(after.starts_with(whole), "{what}");
    assert_eq!(fs::read(folder.path().join(&aside.file)).unwrap(), tail, "{what}");
    assert_eq!(aside.file, "job.jsonl.torn-1");
    let found = lines(&after);
    assert_eq!(found[..found.len() - 1], lines(whole), "{what}");
    assert_eq!(Job::replay(found).unwrap().tails(), [aside], "{what}");
    let again = Journal::open(&file, at(61)).unwrap();
    assert!(again.repaired().is_empty(), "{what}");
    assert_eq!(fs::read(&file).unwrap(), after, "a second opening changes nothing");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "{what}");
}

fn line_ends(bytes: &[u8]) -> Vec<usize> {
    bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(place, _)| place + 1).collect()
}

#[test]
fn a_record_cut_at_any_byte_reads_up_to_its_last_whole_line() {
    let bytes = bytes();
    let ends = line_ends(&bytes);
    let all = lines(&bytes);
    for cut in 0..=bytes.len() {
        let whole = ends.iter().filter(|end| **end <= cut).count();
        let mut scan = Scan::new(&bytes[..cut]);
        let found: Result<Vec<_>, _> = scan.by_ref().map(|scanned| scanned.map(|s| s.line)).collect();
        if whole == 0 {
            assert!(found.is_err(), "cut at {cut}: nothing to go on with");
            continue;
        }
        assert_eq!(found.unwrap(), all[..whole], "cut at {cut}");
        let tail = cut - ends[whole - 1];
        assert_eq!(scan.torn().map(|torn| torn.bytes), (tail > 0).then_some(tail as u64), "cut at {cut}");
    }
}

#[test]
fn a_record_cut_on_a_real_disk_opens_and_keeps_the_tail() {
    let bytes = bytes();
    let ends = line_ends(&bytes);
    // Around every line end, and in the middle of every line.
    for pair in ends.windows(2) {
        for cut in [pair[0] + 1, pair[0] + 20, (pair[0] + pair[1]) / 2, pair[1] - 1] {
            opens_with_tail_aside(&bytes[..pair[0]], &bytes[pair[0]..cut]);
        }
    }
}

#[test]
fn zeros_and_garbage_behind_the_last_line_are_put_aside() {
    let bytes = bytes();
    let ends = line_ends(&bytes);
    let (whole, next) = (&bytes[..ends[4]], &bytes[ends[4]..ends[5]]);
    let mut hole = next.to_vec();
    hole[10..60].fill(0);
    let mut zero_start = next.to_vec();
    zero_start[..40].fill(0);
    let mut zero_end = next.to_vec();
    let length = zero_end.len();
    zero_end[length - 40..].fill(0);
    let long = vec![0; 9 * 1024 * 1024];
    for tail in [
        &b"\0"[..],
        &[0; 511],
        &[0; 4096],
        b"garbage",
        b"\xff\xfe\x00garbage",
        b"{}",
        b"\r",
        &hole,
        &zero_start,
        &zero_end,
        &long,
    ] {
        opens_with_tail_aside(whole, tail);
    }
}

#[test]
fn a_second_crash_puts_its_tail_beside_the_first() {
    let bytes = bytes();
    let ends = line_ends(&bytes);
    let folder = TempDir::new().unwrap();
    let file = put(folder.path(), &bytes[..ends[3] + 9]);
    drop(Journal::open(&file, at(60)).unwrap());
    let mut repaired = fs::read(&file).unwrap();
    repaired.extend_from_slice(b"{\"n\":");
    fs::write(&file, &repaired).unwrap();
    let journal = Journal::open(&file, at(61)).unwrap();
    let names: Vec<_> = journal.job().tails().iter().map(|tail| tail.file.as_str()).collect();
    assert_eq!(names, ["job.jsonl.torn-1", "job.jsonl.torn-2"]);
    assert_eq!(fs::read(folder.path().join("job.jsonl.torn-2")).unwrap(), b"{\"n\":");
}

#[test]
fn a_record_that_was_never_opened_says_so_and_is_left_alone() {
    let bytes = bytes();
    let first = line_ends(&bytes)[0];
    for (content, empty) in
        [(&bytes[..0], true), (&bytes[..1], false), (&bytes[..first - 1], false), (&[0; 64][..], false)]
    {
        let folder = TempDir::new().unwrap();
        let file = put(folder.path(), content);
        let error = Journal::open(&file, at(0)).unwrap_err();
        match &error {
            JournalError::Unreadable(RecordError::Empty { .. }) => assert!(empty),
            JournalError::Unreadable(RecordError::NeverOpened { .. }) => assert!(!empty),
            other => panic!("{other}"),
        }
        assert!(error.to_string().contains("slotwise install"), "{error}");
        assert_eq!(fs::read(&file).unwrap(), content);
    }
}

#[test]
fn a_reader_sees_the_whole_lines_of_a_record_in_use_and_changes_nothing() {
    let bytes = bytes();
    let ends = line_ends(&bytes);
    let folder = TempDir::new().unwrap();
    let file = put(folder.path(), &bytes[..ends[6]]);
    let journal = Journal::open(&file, at(60)).unwrap();
    let told = read::job(&file).unwrap();
    assert_eq!((&told.job, told.torn), (journal.job(), None));
    fs::write(&file, &bytes[..ends[6] + 30]).unwrap();
    let told = read::job(&file).unwrap();
    assert_eq!(&told.job, journal.job());
    assert_eq!(told.torn.map(|torn| (torn.offset, torn.bytes, torn.kind)), Some((ends[6] as u64, 30, TornKind::Cut)));
    assert_eq!(fs::read(&file).unwrap(), &bytes[..ends[6] + 30]);
}
