//! The real process, killed at random moments: nothing that was said to be saved is lost, and the job goes on where it was.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod disk;
mod program;
mod sealed;

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use disk::Talk;
use program::{Bench, TECHNICIAN, joined, rest, whole};
use sealed::{key, public};
use slotwise::machine::Fault;
use slotwise::record::{Event, Job, read};
use slotwise::runner::{all_steps, doubtful};

/// How often the process is killed.
const KILLS: u32 = 1_000;

/// How many jobs are worked on, and killed, at the same time: a killer mostly waits.
const JOBS: u32 = 4;

/// `card 3 of 20 - item 2 of 4` of the first question.
fn first_place(stderr: &str) -> Option<&str> {
    stderr.lines().find(|line| line.starts_with("card ")).map(|line| line.rsplit_once(" - ").map_or(line, |(at, _)| at))
}

/// Where the job must be taken up again.
fn due(job: &Job) -> Option<String> {
    let steps = all_steps(job).unwrap();
    let at = doubtful(&steps, job).first().and_then(|id| steps.find(id)).or_else(|| job.open_step(&steps))?;
    let (card, cards, item, items) = (at.0 + 1, steps.cards.len(), at.1 + 1, steps.cards[at.0].steps.len());
    Some(format!("card {card} of {cards} - item {item} of {items}"))
}

/// The records in the folder; what a crash tore off is put beside them under another name.
fn records(bench: &Bench) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(bench.path("records")) else { return Vec::new() };
    let paths = entries.map(|entry| entry.unwrap().path());
    paths.filter(|path| path.extension().is_some_and(|extension| extension == "jsonl")).collect()
}

/// The bytes up to the last newline: what a crash may not touch.
fn whole_lines(path: &std::path::Path) -> Vec<u8> {
    let mut bytes = std::fs::read(path).unwrap();
    bytes.truncate(bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1));
    bytes
}

fn answers(path: &std::path::Path) -> usize {
    read::Lines::open(path)
        .unwrap()
        .filter(|line| matches!(line.as_ref().unwrap().line.event, Event::Answered { .. }))
        .count()
}

/// What came of it.
#[derive(Debug, Default)]
struct Count {
    kills: u32,
    /// Kills by which some answers of that very process were on disk, and not all.
    midway: u32,
    /// Kills before the record had its name.
    unnamed: u32,
    /// Kills that left a torn tail.
    torn: u32,
    finished: u32,
    /// Answers said to be saved, and how many of them were there afterwards.
    confirmed: usize,
    kept: usize,
}

/// Kills jobs until `left` is used up, and finishes the last one.
fn kill_jobs(seed: u64, left: &AtomicU32) -> Count {
    let mut random = fastrand::Rng::with_seed(seed);
    let mut count = Count::default();
    let mut bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    while left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(1)).is_ok() {
        let begun = !records(&bench).is_empty();
        if begun && bench.job().is_done() {
            count.finished += 1;
            bench = Bench::new();
            bench.machine("tree", Fault::None, 1);
            left.fetch_add(1, Ordering::Relaxed);
            continue;
        }
        let old = if begun { whole_lines(&bench.record()) } else { Vec::new() };
        let (mut child, before, place) = if begun {
            let job = bench.job();
            let record = bench.record();
            let args = ["resume", record.to_str().unwrap(), "--plain"];
            let input = joined(&rest(&job, "tree"));
            // Counted before the process begins to add to it.
            let before = answers(&record);
            (bench.start(&args, input.as_bytes()), before, due(&job))
        } else {
            let input = joined(&whole(&bench.steps(), "tree"));
            (bench.start(&Bench::install_args(), input.as_bytes()), 0, None)
        };
        // Soon after the start, or in the midst of the answers: both ends of what a job is made of.
        let talk = Talk::of(child.stderr.take().unwrap());
        if random.bool() {
            talk.wait_for_an_answer();
            std::thread::sleep(Duration::from_micros(random.u64(0..25_000)));
        } else {
            std::thread::sleep(Duration::from_micros(random.u64(1_000..60_000)));
        }
        child.kill().unwrap();
        let status = child.wait().unwrap();
        let stderr = talk.all();
        let saved = disk::saved(&stderr);
        count.confirmed += saved;
        if status.code().is_none() {
            count.kills += 1;
        } else {
            // It came to its end before it was killed.
            left.fetch_add(1, Ordering::Relaxed);
        }
        let Some(record) = records(&bench).pop() else {
            assert_eq!(saved, 0, "nothing is saved before there is a record");
            count.unnamed += 1;
            continue;
        };
        // It has its name only with its first line, so it always reads.
        let told = read::job(&record).unwrap_or_else(|error| panic!("seed {seed}: {error}"));
        assert!(whole_lines(&record).starts_with(&old), "seed {seed}: a line that was there has changed");
        let kept = answers(&record) - before;
        count.midway += u32::from(kept > 0 && !told.job.is_done());
        count.torn += u32::from(told.torn.is_some());
        // The sign-off is saved too, and is no answer to a step.
        let signed = usize::from(told.job.is_done());
        assert!(kept + signed >= saved && kept <= saved + 1, "seed {seed}: {kept} kept, {saved} said to be saved");
        count.kept += saved.min(kept + signed);
        if let (Some(place), Some(first)) = (place, first_place(&stderr)) {
            assert_eq!(first, place, "seed {seed}: taken up at another step");
        }
    }
    finish(seed, &bench);
    count
}

/// What is left is finished by one that nobody kills: all of it stands in the record, and the record tells the whole job.
fn finish(seed: u64, bench: &Bench) {
    if records(bench).is_empty() {
        bench.install(&whole(&bench.steps(), "tree")).ends(0);
    } else if !bench.job().is_done() {
        bench.resume(&rest(&bench.job(), "tree")).ends(0);
    }
    let job = bench.job();
    assert!(job.is_done(), "seed {seed}");
    assert_eq!(job.answers().len(), bench.steps().iter().count(), "seed {seed}");
    assert_eq!(job.refused_in_all(), 0, "seed {seed}: a step was taken up with the answer of another");
}

/// `SLOTWISE_SEED` repeats a run; it is printed by each.
fn seed() -> u64 {
    let seed = std::env::var("SLOTWISE_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(fastrand::u64(..));
    eprintln!("SLOTWISE_SEED={seed}");
    seed
}

#[test]
fn jobs_killed_at_a_thousand_random_moments_lose_nothing_and_go_on_where_they_were() {
    let seed = seed();
    let left = AtomicU32::new(KILLS);
    let counts: Vec<Count> = std::thread::scope(|scope| {
        let left = &left;
        let killers: Vec<_> =
            (0..JOBS).map(|n| scope.spawn(move || kill_jobs(seed.wrapping_add(u64::from(n)), left))).collect();
        killers.into_iter().map(|killer| killer.join().unwrap()).collect()
    });
    let sum = |part: fn(&Count) -> u32| counts.iter().map(part).sum::<u32>();
    let (kills, midway) = (sum(|count| count.kills), sum(|count| count.midway));
    let (confirmed, kept) = counts.iter().fold((0, 0), |(all, kept), count| (all + count.confirmed, kept + count.kept));
    eprintln!(
        "{kills} kills: {midway} amid answers, {} before the record had its name, {} with a torn tail; {} jobs came to \
         their end in between; {confirmed} answers confirmed, {} of them lost",
        sum(|count| count.unnamed),
        sum(|count| count.torn),
        sum(|count| count.finished),
        confirmed - kept,
    );
    assert_eq!(kills, KILLS, "seed {seed}");
    assert_eq!(confirmed, kept, "seed {seed}: confirmed answers were lost");
    assert!(midway > KILLS / 5, "seed {seed}: only {midway} kills came while answers were being given");
}

/// Each leaves the record as it was, with a declaration that waits for its signature, or signed; and the same command again
/// brings it to its end.
#[test]
fn a_sign_off_killed_at_a_hundred_random_moments_is_taken_up_by_the_same_command() {
    let seed = seed();
    let mut random = fastrand::Rng::with_seed(seed);
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    bench.install(&whole(&bench.steps(), "tree")).ends(0);
    bench.file("kim.key", key(1).to_openssh(ssh_key::LineEnding::LF).unwrap().as_bytes());
    bench.file("signers", format!("{TECHNICIAN} {}\n", public(&key(1)).text()));
    let record = bench.record();
    let before = std::fs::read(&record).unwrap();
    let args = ["sign", record.to_str().unwrap(), "--role", "technician", "--key", "kim.key"];
    let whole = |job: &Job| job.standing_declarations().next().is_some_and(|last| last.signed.is_some());
    let (mut killed, mut begun, mut signed) = (0, 0, 0);
    // It writes near its end; how long that is depends on the machine.
    let start = Instant::now();
    bench.run(&args, b"").ends(0);
    let mut usual = start.elapsed();
    while killed < 100 {
        std::fs::write(&record, &before).unwrap();
        let start = Instant::now();
        let mut child = bench.start(&args, b"");
        std::thread::sleep(usual.mul_f64(0.4 + 0.7 * random.f64()));
        child.kill().unwrap();
        match child.wait().unwrap().code() {
            None => killed += 1,
            Some(_) => usual = usual.min(start.elapsed()),
        }
        assert!(std::fs::read(&record).unwrap().starts_with(&before), "seed {seed}");
        let told = read::job(&record).unwrap();
        if whole(&told.job) {
            signed += 1;
        } else {
            begun += u32::from(told.torn.is_some() || told.job.lines() > lines(&before));
            bench.run(&args, b"").ends(0);
        }
        assert!(whole(&bench.job()), "seed {seed}");
        bench.run(&["audit", record.to_str().unwrap(), "--signers", "signers"], b"").ends(0);
    }
    // The two lines are written within a millisecond of each other, so that few kills come between them is no fault.
    eprintln!("{killed} kills of a sign-off: {begun} amid it, {signed} behind it");
}

fn lines(bytes: &[u8]) -> u64 {
    bytes.iter().filter(|byte| **byte == b'\n').count() as u64
}
