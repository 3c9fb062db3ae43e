//! The example records still read, replay and verify.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::path::Path;

use slotwise::commands::audit::{Against, Verdict, audit_files, records_in};
use slotwise::record::read;
use slotwise::record::sign::Signers;
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

#[test]
fn every_example_record_is_signed_countersigned_and_proven() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("logs-example");
    let text = std::fs::read_to_string(folder.join("signers")).unwrap();
    let against = Against { signers: Some(Signers::read(&text, &|_| None)), countersigned: true, ..Against::default() };
    let files = records_in(&folder, Path::new("logs-example")).unwrap();
    let reports = audit_files(&files, &against, &|_| {});
    assert_eq!(reports.len(), 2);
    for report in reports {
        assert_eq!(report.verdict, Verdict::Proven, "{:#?}", report.troubles);
        assert_eq!(report.signatures.iter().filter(|signature| signature.stands).count(), 2);
    }
}
