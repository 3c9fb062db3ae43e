//! The example records still read, replay and verify.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

mod program;

use std::fs;
use std::path::Path;

use program::Bench;
use slotwise::commands::audit::{Against, Verdict, audit_files, records_in};
use slotwise::record::read;
use slotwise::record::sign::{SignerKey, Signers};
use slotwise::runner::{all_steps, comparison};
use slotwise::verify::Finding;

#[test]
fn every_example_record_replays_to_a_finished_job() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("logs-example");
    for (name, rounds, findings) in [("seating.jsonl", 0, 0), ("slot.jsonl", 0, 1)] {
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

/// The examples: a fault, the seed that says where it strikes, how the job ends, and why a supervisor takes it.
const EXAMPLES: [(&str, &str, i32, Option<&str>); 2] = [
    ("seating", "4", 0, None),
    ("slot", "4", 1, Some("the slot goes to the board maker; until then the machine runs with this slot empty")),
];

/// What the page of the examples says of `slot.jsonl`: the lines of the sign-offs with a key, and their times. Read as JSON and
/// no more, so that an example this program no longer reads can be replaced.
fn signed(record: &Path) -> Vec<String> {
    let mut said = Vec::new();
    for line in fs::read_to_string(record).unwrap().lines() {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        if line["event"] == "declared" && line["key"].is_string() {
            let at = slotwise::record::time::parse(line["at"].as_str().unwrap()).unwrap();
            let n = line["n"].as_u64().unwrap();
            said.extend([n.to_string(), (n + 1).to_string(), at.naive_utc().format("%Y%m%d%H%M%SZ").to_string()]);
        }
    }
    said
}

/// `SLOTWISE_UPDATE=1 cargo test --test examples made_anew` plays both jobs with the program as it is now, signs them with new
/// keys that nobody keeps, and puts records, signers and the numbers on their page in place. Without it the same is done in
/// a folder that goes away: the examples can always be made anew.
#[test]
fn the_examples_are_made_anew_and_signed_in_one_go() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("logs-example");
    let bench = Bench::new();
    let mut signers =
        "# Whose signatures count in the examples. The private keys are gone: nobody signs with them again.\n"
            .to_owned();
    for name in ["practice", "marit"] {
        let key = ssh_key::PrivateKey::random(&mut ssh_key::rand_core::OsRng, ssh_key::Algorithm::Ed25519).unwrap();
        bench.file(&format!("{name}.key"), key.to_openssh(ssh_key::LineEnding::LF).unwrap().as_bytes());
        let public = SignerKey::from_blob(&key.public_key().to_bytes().unwrap()).unwrap().text();
        let until = chrono::Datelike::year(&chrono::Local::now()) + 2;
        signers += &format!("{name} namespaces=\"slotwise-record\",valid-before=\"{until}0101Z\" {public}\n");
    }
    bench.file("signers", &signers);
    for (fault, seed, code, reason) in EXAMPLES {
        let (made, record) = (format!("made-{fault}"), format!("{fault}.jsonl"));
        let played = ["practice", "--auto", "--fault", fault, "--seed", seed, "--records", &made];
        bench.run(&played, b"").ends(code);
        let only = fs::read_dir(bench.path(&made)).unwrap().next().unwrap().unwrap().path();
        fs::rename(only, bench.path(&record)).unwrap();
        bench.run(&["sign", &record, "--role", "technician", "--key", "practice.key"], b"").ends(0);
        let mut countersign = vec!["sign", &record, "--role", "supervisor", "--name", "marit", "--key", "marit.key"];
        countersign.extend(reason.iter().flat_map(|reason| ["--reason", *reason]));
        bench.run(&countersign, b"").ends(0);
        bench.run(&["audit", &record, "--signers", "signers", "--countersigned"], b"").ends(0);
    }
    let mut page = fs::read_to_string(folder.join("README.md")).unwrap();
    let (old, new) = (signed(&folder.join("slot.jsonl")), signed(&bench.path("slot.jsonl")));
    assert_eq!((old.len(), new.len()), (6, 6));
    // By way of marks, since a new number may be an old one, too.
    for (n, old) in old.iter().enumerate() {
        page = page.replace(old, &format!("<{n}>"));
    }
    for (n, new) in new.iter().enumerate() {
        page = page.replace(&format!("<{n}>"), new);
    }
    bench.file("README.md", &page);
    follow(&bench, &page);
    if std::env::var_os("SLOTWISE_UPDATE").is_some_and(|value| value == "1") {
        for name in ["README.md", "signers", "seating.jsonl", "slot.jsonl"] {
            fs::copy(bench.path(name), folder.join(name)).unwrap();
        }
    }
}

/// The commands of the page for OpenSSH, to the letter, where there is one.
fn follow(bench: &Bench, page: &str) {
    let script = page.split("```sh\n").last().unwrap().split("```").next().unwrap().replace("/tmp/", "./");
    let Ok(output) = std::process::Command::new("sh").args(["-c", &script]).current_dir(bench.path(".")).output()
    else {
        return;
    };
    let said = String::from_utf8_lossy(&output.stderr);
    if said.contains("ssh-keygen: not found") {
        let _ = std::io::Write::write_all(&mut std::io::stderr(), b"SKIPPED the commands of the page: no ssh-keygen\n");
        return;
    }
    let good = String::from_utf8_lossy(&output.stdout).matches("Good \"slotwise-record\" signature").count();
    assert_eq!(good, 2, "{said}");
}
