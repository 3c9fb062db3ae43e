//! The real process, killed at random moments: nothing that was said to be saved is lost, and the job goes on where it was.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use std::io::Read as _;
use std::path::PathBuf;
use std::time::Duration;

use program::{Bench, joined, rest, whole};
use slotwise::machine::Fault;
use slotwise::record::{Event, Job, RecordError, read};
use slotwise::runner::{all_steps, doubtful};

/// How often the process is killed.
const KILLS: u32 = 100;

/// How many answers stderr acknowledged.
fn acknowledged(stderr: &str) -> usize {
    stderr.lines().filter(|line| line.starts_with("SAVED")).count()
}

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

#[test]
fn a_job_killed_at_a_hundred_random_moments_loses_nothing_and_goes_on_where_it_was() {
    let seed = std::env::var("SLOTWISE_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(fastrand::u64(..));
    eprintln!("SLOTWISE_SEED={seed}");
    let mut random = fastrand::Rng::with_seed(seed);
    let mut bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    let (mut killed, mut midway, mut finished) = (0, 0, 0);
    while killed < KILLS {
        let begun = !records(&bench).is_empty();
        let old = if begun { whole_lines(&bench.record()) } else { Vec::new() };
        let (mut child, before, place) = if begun {
            let job = bench.job();
            if job.is_done() {
                finished += 1;
                bench = Bench::new();
                bench.machine("tree", Fault::None, 1);
                continue;
            }
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
        std::thread::sleep(Duration::from_micros(random.u64(1_000..60_000)));
        child.kill().unwrap();
        let status = child.wait().unwrap();
        killed += u32::from(status.code().is_none());
        let mut stderr = String::new();
        child.stderr.take().unwrap().read_to_string(&mut stderr).unwrap();
        let saved = acknowledged(&stderr);
        if records(&bench).is_empty() {
            assert_eq!(saved, 0, "nothing is saved before there is a record");
            continue;
        }
        let Some(record) = records(&bench).pop() else { continue };
        let told = match read::job(&record) {
            // Killed before the first line was whole: no job was ever begun, and nothing was said to be saved.
            Err(RecordError::Empty { .. } | RecordError::NeverOpened { .. }) if saved == 0 && !begun => {
                std::fs::remove_file(&record).unwrap();
                continue;
            }
            told => told.unwrap_or_else(|error| panic!("seed {seed}: {error}")),
        };
        assert!(whole_lines(&record).starts_with(&old), "seed {seed}: a line that was there has changed");
        let kept = answers(&record) - before;
        midway += u32::from(kept > 0 && !told.job.is_done());
        // The sign-off is saved too, and is no answer to a step.
        let signed = usize::from(told.job.is_done());
        assert!(kept + signed >= saved && kept <= saved + 1, "seed {seed}: {kept} kept, {} said to be saved", saved);
        if let (Some(place), Some(first)) = (place, first_place(&stderr)) {
            assert_eq!(first, place, "seed {seed}: taken up at another step");
        }
    }
    eprintln!("{killed} kills ({midway} amid answers), {finished} jobs finished in between");
    assert!(midway > KILLS / 10, "seed {seed}: only {midway} of {killed} kills came while answers were being given");
    // What is left is finished by one that nobody kills: all of it stands in the record, and the record tells the whole job.
    let ran = if records(&bench).is_empty() {
        bench.install(&whole(&bench.steps(), "tree"))
    } else if bench.job().is_done() {
        return;
    } else {
        bench.resume(&rest(&bench.job(), "tree"))
    };
    assert_eq!(ran.code, 0, "seed {seed}: {}", ran.stderr);
    let job = bench.job();
    assert!(job.is_done(), "seed {seed}");
    assert_eq!(job.answers().len(), bench.steps().iter().count(), "seed {seed}");
    assert_eq!(job.refused_in_all(), 0, "seed {seed}: a step was taken up with the answer of another");
}
