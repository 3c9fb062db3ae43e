//! A job whose search for a fault ends with an item passed by name: what its record says when it is opened.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use program::{Bench, rest, whole};
use slotwise::board::SlotLabel;
use slotwise::machine::Fault;
use slotwise::record::Job;

/// A job with a fault that stays, its findings searched for, at the first trial: opened, and nothing of it done yet.
fn at_its_first_trial(bench: &Bench) -> Job {
    bench.machine("tree", Fault::Slot { slot: SlotLabel::from("F2-1") }, 1);
    let mut lines = whole(&bench.steps(), "tree");
    let report = lines.iter().position(|line| line == "tree").unwrap();
    lines.truncate(report + 1);
    // Search; no spare; go on with the trial.
    lines.extend(["1", "", "1"].map(str::to_owned));
    bench.install(&lines).ends(3);
    let job = bench.job();
    assert!(job.isolation().unwrap().open_trial().is_some());
    job
}

/// What passes the report, as something that could not be done.
const COULD_NOT: [&str; 4] = [":override", "3", "called away before the machine was started", "Kim Holt"];

/// The lines that finish the job, with `answers` where the report is asked for.
fn instead_of_the_report(job: &Job, answers: &[&str]) -> Vec<String> {
    let mut lines = rest(job, "tree");
    let report = lines.iter().position(|line| line == "tree").unwrap();
    lines.splice(report..=report, answers.iter().map(|line| (*line).to_owned()));
    lines
}

/// What `review` and `audit` say of the record, each without its line breaks.
fn told(bench: &Bench) -> [String; 2] {
    let record = bench.record();
    [&["review", record.to_str().unwrap(), "--items"][..], &["audit", record.to_str().unwrap()]]
        .map(|args| bench.run(args, b"").stdout.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[test]
fn a_trial_whose_start_nobody_looked_at_is_told_as_such_when_its_record_is_opened() {
    // Without a report, and with one of the start before: neither shows what the trial came to.
    for before in [&[][..], &["tree"]] {
        let bench = Bench::new();
        let job = at_its_first_trial(&bench);
        let answers: Vec<&str> = before.iter().chain(&COULD_NOT).copied().collect();
        let ran = bench.resume(&instead_of_the_report(&job, &answers));
        ran.ends(1);
        ran.says(&["PASSED without evidence: report/report by Kim Holt"]);
        let job = bench.job();
        let left = job.overrides();
        assert!(matches!(left.as_slice(), [(_, one)] if !job.leaves_findings_open(one.line)), "{left:?}");
        let line = job.isolation().unwrap().open_trial().unwrap().line;
        let [review, audit] = told(&bench);
        let begun = "A trial was begun, and no start after it was looked at";
        assert!(
            review.contains(&format!("!! TRIAL OPEN: {begun} (line {line}) change seat the module of F2-1 anew")),
            "{review}"
        );
        assert!(
            review.contains("trial 1 begun: seat the module of F2-1 anew: no start after it was looked at"),
            "{review}"
        );
        assert!(review.contains("!! SKIPPED:") && !review.contains("LEFT OPEN"), "{review}");
        assert!(
            audit.contains(&format!("note: line {line}: a trial was begun, and no start after it was looked at")),
            "{audit}"
        );
        assert!(audit.contains("1 of them passed without evidence"), "{audit}");
    }
}

#[test]
fn findings_left_open_after_a_trial_that_was_looked_at_are_told_as_left_open() {
    let bench = Bench::new();
    let job = at_its_first_trial(&bench);
    bench.machine("again", Fault::Slot { slot: SlotLabel::from("F2-1") }, 2);
    // The report of the trial's own start; stop the search; leave what it shows.
    let answers = ["again", "2", "leave the findings open, by name and reason", "no spare on the bench", "Kim Holt"];
    bench.resume(&instead_of_the_report(&job, &answers)).ends(1);
    let job = bench.job();
    let left = job.overrides();
    assert!(matches!(left.as_slice(), [(_, one)] if job.leaves_findings_open(one.line)), "{left:?}");
    let [review, audit] = told(&bench);
    assert!(review.contains("!! LEFT OPEN: The findings of the last report were left open, by name"), "{review}");
    assert!(review.contains("trial 1: seat the module of F2-1 anew: failing: F2-1"), "{review}");
    assert!(!review.contains("no start after it") && !audit.contains("no start after it"), "{review}\n{audit}");
    assert!(audit.contains("0 of them passed without evidence"), "{audit}");
}
