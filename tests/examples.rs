//! The example records still read, replay and verify.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::path::Path;

use slotwise::record::read;
use slotwise::runner::{all_steps, comparison};
use slotwise::verify::Finding;

#[test]
fn every_example_record_replays_to_a_finished_job() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("logs-example");
    for (name, rounds, findings) in [("seating.jsonl", 1, 0), ("slot.jsonl", 1, 1)] {
        let told = read::job(&folder.join(name)).unwrap();
        assert_eq!(told.torn, None, "{name}");
        let job = told.job;
        assert!(job.is_done(), "{name}");
        assert_eq!(job.rounds().len(), rounds, "{name}");
        let steps = all_steps(&job).unwrap();
        assert!(steps.iter().all(|(_, _, step)| job.answer(&step.id).is_some()), "{name}");
        // The findings on record are those that its last snapshot gives today.
        let recorded = &job.comparison().unwrap().findings;
        assert_eq!(recorded.len(), findings, "{name}");
        let today = comparison(&job, &steps, job.snapshot().unwrap().1).findings;
        let told = |findings: &[Finding]| findings.iter().map(|f| (f.kind, f.slot.clone())).collect::<Vec<_>>();
        assert_eq!(told(&today), told(recorded), "{name}");
    }
}
