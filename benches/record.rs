//! What a record costs: an append against the bare write and sync of the same bytes, and the replay of a long record
//! against reading and hashing its bytes.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use divan::Bencher;
use slotwise::checklist::StepId;
use slotwise::record::{Event, How, Journal, Opened, chain, read, time};
use tempfile::TempDir;

/// Lines of the long record.
const LONG: usize = 5_000;

fn main() {
    ratios();
    divan::main();
}

/// On the disk that holds the build, not on a temporary one that may be memory.
fn folder() -> TempDir {
    TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).unwrap()
}

fn journal(folder: &Path) -> Journal {
    let opened: Opened = serde_json::from_str(include_str!("../tests/record/opened.json")).unwrap();
    Journal::create(folder, "ada", time::parse("2026-11-25T09:30:00+01:00").unwrap(), opened).unwrap()
}

fn event(n: usize) -> Event {
    let step = StepId(format!("insert/a{}/module", n % 32));
    Event::Answered { step, value: format!("{n:08X}"), how: How::Scanned, took_ms: 48, serial: Some("00A1".to_owned()) }
}

fn append(journal: &mut Journal, n: usize) {
    journal.append("ada", time::parse("2026-11-25T09:31:00+01:00").unwrap(), event(n)).unwrap();
}

/// A record of [`LONG`] lines, written without waiting for the disk.
fn long(folder: &Path) -> PathBuf {
    let mut journal = journal(folder);
    append(&mut journal, 1);
    let file = journal.path().to_owned();
    let mut head = journal.head().clone();
    drop(journal);
    let mut text = fs::read(&file).unwrap();
    while head.lines < LONG as u64 {
        let n = head.lines + 1;
        let at = time::parse("2026-11-25T09:31:00+01:00").unwrap();
        let event = event(n as usize);
        let line = slotwise::record::Line { n, at, by: "ada".to_owned(), event, prev: head.hash };
        let bytes = chain::encode(&line).unwrap();
        head.advance(&bytes);
        text.extend(bytes);
        text.push(b'\n');
    }
    fs::write(&file, text).unwrap();
    file
}

/// The bytes of one line, as an append writes them.
fn line(folder: &Path) -> Vec<u8> {
    let mut journal = journal(folder);
    append(&mut journal, 1);
    let text = fs::read(journal.path()).unwrap();
    let start = text[..text.len() - 1].iter().rposition(|byte| *byte == b'\n').unwrap() + 1;
    text[start..].to_vec()
}

fn read_and_hash(file: &Path) -> String {
    let text = fs::read(file).unwrap();
    text.split(|byte| *byte == b'\n').fold(String::new(), |_, line| chain::hash(line))
}

fn took(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}

/// Each against its reference by turns, so that a busy machine weighs on both alike.
fn ratios() {
    let (one, two) = (folder(), folder());
    let bytes = line(one.path());
    let mut journal = journal(two.path());
    let mut bare = File::create(two.path().join("bare")).unwrap();
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for n in 0..200 {
        ours.push(took(|| append(&mut journal, n)));
        theirs.push(took(|| {
            bare.write_all(&bytes).unwrap();
            bare.sync_data().unwrap();
        }));
    }
    let (ours, theirs) = (median(ours), median(theirs));
    report("append / bare write and sync", ours, theirs);
    println!("one confirmed step costs {:.0?} more than its write and sync", ours.saturating_sub(theirs));

    let three = folder();
    let file = long(three.path());
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..7 {
        ours.push(took(|| drop(read::job(&file).unwrap())));
        theirs.push(took(|| drop(divan::black_box(read_and_hash(&file)))));
    }
    report("replay of 5000 lines / reading and hashing them", median(ours), median(theirs));
}

fn report(what: &str, ours: Duration, theirs: Duration) {
    let ratio = ours.as_secs_f64() / theirs.as_secs_f64();
    println!("{what}: {ours:.1?} / {theirs:.1?} = {ratio:.2}");
}

#[divan::bench(sample_count = 100, sample_size = 1)]
fn appending(bencher: Bencher<'_, '_>) {
    let folder = folder();
    let mut journal = journal(folder.path());
    bencher.bench_local(|| append(&mut journal, 1));
}

#[divan::bench(sample_count = 100, sample_size = 1)]
fn bare_write_and_sync(bencher: Bencher<'_, '_>) {
    let folder = folder();
    let bytes = line(folder.path());
    let mut bare = File::create(folder.path().join("bare")).unwrap();
    bencher.bench_local(|| {
        bare.write_all(&bytes).unwrap();
        bare.sync_data().unwrap();
    });
}

#[divan::bench(sample_count = 10)]
fn replaying(bencher: Bencher<'_, '_>) {
    let folder = folder();
    let file = long(folder.path());
    bencher.bench_local(|| read::job(&file).unwrap());
}

#[divan::bench(sample_count = 10)]
fn reading_and_hashing(bencher: Bencher<'_, '_>) {
    let folder = folder();
    let file = long(folder.path());
    bencher.bench_local(|| read_and_hash(&file));
}
