//! What an audit costs: a folder of signed records against the fastest stock SHA-256 tool over the same bytes, and the
//! opening of a long record. No two records hold the same lines, so that nothing is saved that real records would not save.
//!
//! `SLOTWISE_BENCH_RECORDS` sets how many records there are (10,000 make about 300 MB), 600 else.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use divan::Bencher;
use slotwise::commands::audit::{Against, Verdict, audit_files, records_in};
use slotwise::record::sign::Hash;
use slotwise::record::{Event, Journal, Line, Role, chain};
use slotwise::runner::all_steps;
use tempfile::TempDir;

#[path = "../tests/sealed/mod.rs"]
mod sealed;

/// Lines of the long record.
const LONG: u64 = 5_000;

/// How large a record is in the mean, in bytes.
const USUAL: usize = 30_000;

fn main() {
    ratios();
    divan::main();
}

fn records() -> usize {
    std::env::var("SLOTWISE_BENCH_RECORDS").ok().and_then(|text| text.parse().ok()).unwrap_or(600)
}

/// A record of the usual size: a snapshot with raw tables, notes as long as a day's answers, two signatures.
fn usual(folder: &Path) -> Vec<u8> {
    let mut journal = sealed::done(folder);
    let mut snapshot: slotwise::snapshot::Snapshot =
        serde_json::from_str(include_str!("../tests/record/snapshot.json")).unwrap();
    let raw: Vec<u8> = (0..7_500_u32).map(|n| ((n * n) >> 3) as u8).collect();
    snapshot.sources.push(slotwise::snapshot::Source::of("smbios", "/sys/firmware/dmi/tables/DMI", &raw));
    journal.append("ada", sealed::at(5), Event::SnapshotTaken { step: None, snapshot: Box::new(snapshot) }).unwrap();
    let mut n = 0;
    while fs::metadata(journal.path()).unwrap().len() < USUAL as u64 - 2_000 {
        n += 1;
        let text = format!("item {n} seen, said and written down as it was");
        journal.append("ada", sealed::at(5), Event::Noted { step: None, text }).unwrap();
    }
    sealed::seal(&mut journal, 10, "ada", Role::Technician, &sealed::key(1), Hash::Sha256);
    sealed::seal(&mut journal, 20, "sam", Role::Supervisor, &sealed::key(2), Hash::Sha256);
    fs::read(journal.path()).unwrap()
}

/// The `n`th record after the pattern of `lines`: of a job, a unit and days of its own, so that no two lines are the same, and
/// signed anew.
fn another(lines: &[Line], n: usize) -> Vec<u8> {
    let mut head = chain::Head::default();
    let mut text = Vec::new();
    for line in lines {
        let mut line = line.clone();
        line.at += chrono::TimeDelta::minutes(17 * n as i64);
        line.prev = head.hash;
        match &mut line.event {
            Event::Opened(opened) => {
                opened.job = format!("2026-11-25-lf-wren-{n:05}-0a1b2c");
                opened.unit = format!("LF-WREN-{n:05}");
                opened.plan.name = format!("LF-WREN-{n:05} to 32 GiB");
                opened.plan.order.unit[0].chassis.clone_from(&opened.unit);
            }
            Event::SnapshotTaken { snapshot, .. } => {
                let raw: Vec<u8> = (0..7_500_usize).map(|at| ((at * at + n * 7919) >> 3) as u8).collect();
                let last = snapshot.sources.len() - 1;
                snapshot.sources[last] = slotwise::snapshot::Source::of("smbios", "/sys/firmware/dmi/tables/DMI", &raw);
            }
            Event::Signed { key, signature, .. } => {
                let seed = if line.by == "ada" { 1 } else { 2 };
                let made = sealed::signature(&sealed::key(seed), Hash::Sha256, &text);
                (*key, *signature) = (made.key.text(), made.to_base64());
            }
            _ => {}
        }
        let bytes = chain::encode(&line).unwrap();
        head.advance(&bytes);
        text.extend(bytes);
        text.push(b'\n');
    }
    text
}

/// A folder of such records.
fn folder(records: usize) -> (TempDir, usize) {
    let folder = TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let inner = TempDir::new().unwrap();
    let pattern = usual(inner.path());
    let lines: Vec<Line> = slotwise::record::Scan::new(&pattern[..]).map(|scanned| scanned.unwrap().line).collect();
    let mut length = 0;
    for n in 0..records {
        let bytes = another(&lines, n);
        fs::write(folder.path().join(format!("job-{n:05}.jsonl")), &bytes).unwrap();
        length += bytes.len();
    }
    (folder, length)
}

fn against() -> Against {
    Against { signers: Some(sealed::signers()), countersigned: true, ..Against::default() }
}

fn audited(folder: &Path) {
    let files = records_in(folder, folder).unwrap();
    let reports = audit_files(&files, &against(), &|_| {});
    assert!(reports.iter().all(|report| report.verdict == Verdict::Proven), "{:#?}", reports.first());
}

/// The stock tools that are here; each takes files behind its own arguments.
fn tools() -> Vec<Vec<&'static str>> {
    let known =
        [&["sha256sum"][..], &["openssl", "dgst", "-sha256"], &["shasum", "-a", "256"], &["cksum", "-a", "sha256"]];
    let works = |tool: &&[&str]| {
        let mut command = Command::new(tool[0]);
        command.args(&tool[1..]).arg("/dev/null").stdout(Stdio::null()).stderr(Stdio::null());
        command.status().is_ok_and(|status| status.success())
    };
    known.into_iter().filter(works).map(<[&str]>::to_vec).collect()
}

fn hashed(tool: &[&str], folder: &Path) {
    let files = records_in(folder, folder).unwrap();
    // Below the longest list of arguments a system takes.
    for files in files.chunks(5_000) {
        let mut command = Command::new(tool[0]);
        command.args(&tool[1..]).args(files.iter().map(|file| &file.path)).stdout(Stdio::null());
        assert!(command.status().unwrap().success());
    }
}

fn took(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn best(times: &[Duration]) -> Duration {
    times.iter().min().copied().unwrap()
}

/// By turns, so that a busy machine weighs on all alike.
fn ratios() {
    let (folder, bytes) = folder(records());
    let tools = tools();
    let mut ours = Vec::new();
    let mut theirs = vec![Vec::new(); tools.len()];
    for _ in 0..5 {
        ours.push(took(|| audited(folder.path())));
        for (tool, times) in tools.iter().zip(&mut theirs) {
            times.push(took(|| hashed(tool, folder.path())));
        }
    }
    let speed = |time: Duration| bytes as f64 / time.as_secs_f64() / 1e6;
    let ours = best(&ours);
    println!("audit of {} records, {} MB: {ours:.1?}, {:.0} MB/s", records(), bytes / 1_000_000, speed(ours));
    let mut against: Vec<_> = tools.iter().zip(&theirs).map(|(tool, times)| (best(times), tool.join(" "))).collect();
    against.sort();
    for (time, tool) in &against {
        let ratio = speed(ours) / speed(*time);
        println!("{tool}: {time:.1?}, {:.0} MB/s; the audit has {ratio:.2} of its throughput", speed(*time));
    }
    if against.is_empty() {
        println!("SKIPPED the comparison: no stock SHA-256 tool is here");
    }

    let inner = TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let file = long(inner.path());
    let opened: Vec<Duration> = (0..9).map(|_| took(|| resumed(&file))).collect();
    println!("opening a record of {LONG} lines to go on: {:.1?}", best(&opened));
}

/// A record of [`LONG`] lines, written without waiting for the disk.
fn long(folder: &Path) -> PathBuf {
    let journal = sealed::done(folder);
    let file = journal.path().to_owned();
    let mut head = journal.head().clone();
    drop(journal);
    let mut text = fs::read(&file).unwrap();
    while head.lines < LONG {
        let n = head.lines + 1;
        let event = Event::Noted { step: None, text: format!("item {n} seen, said and written down as it was") };
        let line = Line { n, at: sealed::at(5), by: "ada".to_owned(), event, prev: head.hash };
        let bytes = chain::encode(&line).unwrap();
        head.advance(&bytes);
        text.extend(bytes);
        text.push(b'\n');
    }
    fs::write(&file, text).unwrap();
    file
}

fn resumed(file: &Path) {
    let journal = Journal::open(file, sealed::at(90)).unwrap();
    let steps = all_steps(journal.job()).unwrap();
    divan::black_box(journal.job().open_step(&steps));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn auditing(bencher: Bencher<'_, '_>) {
    let (folder, bytes) = folder(100);
    bencher.counter(divan::counter::BytesCount::new(bytes)).bench_local(|| audited(folder.path()));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn hashing(bencher: Bencher<'_, '_>) {
    let (folder, bytes) = folder(100);
    let Some(tool) = tools().into_iter().next() else { return };
    bencher.counter(divan::counter::BytesCount::new(bytes)).bench_local(|| hashed(&tool, folder.path()));
}

#[divan::bench(sample_count = 20)]
fn opening_a_long_record(bencher: Bencher<'_, '_>) {
    let folder = TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let file = long(folder.path());
    bencher.bench_local(|| resumed(&file));
}
