//! `sign`, `amend` and `audit` as they are called at the bench.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod program;
mod sealed;

use std::fs;
use std::path::Path;
use std::process::Command;

use rexpect::process::WaitStatus;

use program::{Bench, TECHNICIAN, heeding, rest, whole};
use sealed::{key, public};
use slotwise::machine::Fault;
use slotwise::record::{Event, read};
use ssh_key::LineEnding;

/// A bench with a finished job, and the keys of its people beside it.
fn bench(fault: Fault) -> Bench {
    let bench = Bench::new();
    bench.machine("tree", fault, 1);
    for (name, seed) in [("kim.key", 1), ("sam.key", 2)] {
        bench.file(name, key(seed).to_openssh(LineEnding::LF).unwrap().as_bytes());
    }
    bench.file("signers", format!("{TECHNICIAN} {}\nsam {}\n", public(&key(1)).text(), public(&key(2)).text()));
    bench
}

fn finished() -> Bench {
    let bench = bench(Fault::None);
    let steps = bench.steps();
    bench.install(&whole(&steps, "tree")).ends(0);
    bench
}

fn slotwise(bench: &Bench, args: &[&str]) -> program::Ran {
    let record = bench.record();
    let record = record.to_str().unwrap().to_owned();
    let args: Vec<&str> = args.iter().map(|arg| if *arg == "RECORD" { &record } else { *arg }).collect();
    bench.run(&args, b"")
}

#[test]
fn a_job_is_signed_countersigned_and_proven() {
    let bench = finished();
    let audit = ["audit", "RECORD", "--signers", "signers"];
    let ran = slotwise(&bench, &audit);
    ran.ends(1);
    assert!(ran.stdout.contains("typed name only: weaker"), "{}", ran.stdout);

    let ran = slotwise(&bench, &["sign", "RECORD", "--role", "supervisor", "--name", TECHNICIAN, "--key", "sam.key"]);
    ran.ends(65);
    ran.says(&["worked on this job and cannot countersign it"]);

    // A supervisor learns of the missing key before the countersignature, and not once the key has signed.
    let countersign = ["sign", "RECORD", "--role", "supervisor", "--name", "sam", "--key", "no-such.key"];
    slotwise(&bench, &countersign).says(&["signed this job by typed name only"]);
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    assert!(!slotwise(&bench, &countersign).stderr.contains("typed name only"));
    let ran = slotwise(&bench, &audit);
    ran.ends(0);
    assert!(ran.stdout.starts_with("PROVEN "), "{}", ran.stdout);
    slotwise(&bench, &["audit", "RECORD", "--signers", "signers", "--countersigned"]).ends(1);
    let ran = slotwise(&bench, &["sign", "RECORD", "--role", "supervisor", "--name", "sam", "--key", "kim.key"]);
    ran.ends(65);
    ran.says(&["another person and another key"]);
    let ran =
        slotwise(&bench, &["sign", "RECORD", "--role", "supervisor", "--name", "sam", "--key", "sam.key", "--json"]);
    ran.ends(0);
    let told: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(told["role"], "supervisor");
    slotwise(&bench, &["audit", "RECORD", "--signers", "signers", "--countersigned"]).ends(0);
    let fingerprint = told["fingerprint"].as_str().unwrap();
    slotwise(&bench, &["audit", "RECORD", "--signers", "signers", "--fingerprint", fingerprint]).ends(0);
    slotwise(&bench, &["audit", "RECORD", "--signers", "signers", "--fingerprint", "0000-0000-0000-0000-0000"])
        .ends(65);
    // The story ends with the same fingerprint.
    assert!(slotwise(&bench, &["review", "RECORD"]).stdout.contains(fingerprint));
}

#[test]
fn what_is_amended_is_signed_again() {
    let bench = finished();
    let amend = |more: &[&str]| {
        slotwise(&bench, &[&["amend", "RECORD", "--name", "sam", "--why", "seen on a photo"], more].concat())
    };
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    amend(&["--line", "9999", "--now", "x"]).ends(65);
    let empty = amend(&["--line", "3", "--now", " "]);
    empty.ends(65);
    assert!(empty.stderr.contains("what is true now"), "{}", empty.stderr);
    amend(&["--step", "no/such"]).ends(65);
    amend(&[]).ends(2);
    amend(&["--line", "3"]).ends(2);
    amend(&["--line", "3", "--was", "a", "--now", "b"]).ends(0);
    let audit = ["audit", "RECORD", "--signers", "signers"];
    let ran = slotwise(&bench, &audit);
    ran.ends(1);
    assert!(ran.stdout.contains("a new signature is needed"), "{}", ran.stdout);
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    let ran = slotwise(&bench, &audit);
    ran.ends(0);
    assert!(ran.stdout.contains("amends line 3 (\"a\"): \"b\", because \"seen on a photo\""), "{}", ran.stdout);
    assert!(ran.stdout.contains("(no longer stands)"), "{}", ran.stdout);

    // An answer that is taken back opens its item again; nothing can be signed until it has a new one.
    let step = bench.steps().iter().next().map(|(_, _, step)| step.id.0.clone()).unwrap();
    amend(&["--step", &step]).ends(0);
    let ran = slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]);
    ran.ends(65);
    ran.says(&["1 item open"]);
    let lines = rest(&bench.job(), "tree");
    bench.resume(&lines).ends(0);
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    slotwise(&bench, &audit).ends(0);
}

#[test]
fn an_open_job_is_not_signed() {
    let bench = bench(Fault::None);
    let lines = whole(&bench.steps(), "tree");
    bench.install(&lines[..5]).ends(3);
    let before = fs::read(bench.record()).unwrap();
    let ran = slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--typed"]);
    ran.ends(65);
    ran.says(&["not signed", "items open", "slotwise resume"]);
    slotwise(&bench, &["sign", "RECORD", "--role", "technician"]).ends(2);
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--typed", "--key", "kim.key"]).ends(2);
    slotwise(&bench, &["sign", "RECORD", "--role", "supervisor", "--typed"]).ends(65);
    assert_eq!(fs::read(bench.record()).unwrap(), before);
    slotwise(&bench, &["audit", "RECORD"]).ends(1);
}

/// A crash between the two lines leaves the first; signing again with the same key ends it, with another begins anew.
#[test]
fn a_sign_off_cut_between_its_two_lines_is_finished() {
    let bench = finished();
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    let whole = fs::read_to_string(bench.record()).unwrap();
    let cut = whole.trim_end().rfind('\n').unwrap() + 1;
    fs::write(bench.record(), &whole[..cut]).unwrap();
    slotwise(&bench, &["audit", "RECORD", "--signers", "signers"]).ends(1);
    let ran = slotwise(&bench, &["sign", "RECORD", "--role", "supervisor", "--name", "sam", "--key", "sam.key"]);
    ran.ends(65);
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    // One key has one signature for one message, so it is the very same record.
    assert_eq!(fs::read_to_string(bench.record()).unwrap(), whole);

    fs::write(bench.record(), &whole[..cut + 50]).unwrap();
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    let told = read::job(&bench.record()).unwrap();
    assert_eq!((told.job.tails().len(), told.torn), (1, None));
    slotwise(&bench, &["audit", "RECORD", "--signers", "signers"]).ends(0);
}

#[test]
fn folders_are_audited_whole_and_the_worst_counts() {
    let bench = finished();
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    let good = fs::read(bench.record()).unwrap();
    for n in 0..30 {
        bench.file(&format!("records/copy-{n:02}.jsonl"), &good);
    }
    let audit = |more: &[&str]| bench.run(&[&["audit", "records", "--signers", "signers"], more].concat(), b"");
    let ran = audit(&[]);
    ran.ends(0);
    assert!(ran.stdout.ends_with("31 records: 31 proven, 0 not proven, 0 wrong\n"), "{}", ran.stdout);
    ran.says(&["checking 31 records"]);
    bench.file("records/copy-07.jsonl", &good[..good.len() - 1]);
    audit(&[]).ends(1);
    let mut changed = good.clone();
    changed[good.len() / 2] ^= 1;
    bench.file("records/copy-20.jsonl", &changed);
    let ran = audit(&[]);
    ran.ends(65);
    assert!(ran.stdout.ends_with("31 records: 29 proven, 1 not proven, 1 wrong\n"), "{}", ran.stdout);
    assert!(ran.stdout.contains("records/copy-20.jsonl: line "), "{}", ran.stdout);
    let ran = audit(&["--json"]);
    let told: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(told.as_array().unwrap().len(), 31);
    bench.run(&["audit", "no-such"], b"").ends(66);
    fs::create_dir(bench.path("empty")).unwrap();
    bench.run(&["audit", "empty"], b"").ends(66);
    bench.run(&["audit", "records", "--signers", "no-such"], b"").ends(66);
    bench.file("list", "ssh-ed25519 nonsense\n");
    let ran = bench.run(&["audit", "records", "--signers", "signers", "--revoked", "list"], b"");
    ran.ends(65);
    ran.says(&["no key can be trusted"]);
}

#[test]
fn a_supervisor_who_takes_open_findings_says_why() {
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("logs-example/slot.jsonl");
    let bench = bench(Fault::None);
    // As it was before anyone signed it with a key.
    let text = fs::read_to_string(example).unwrap();
    let unsigned = text.lines().take_while(|line| !(line.contains("\"declared\"") && line.contains("\"key\"")));
    bench.file("job.jsonl", unsigned.map(|line| format!("{line}\n")).collect::<String>());
    let run = |args: &[&str]| bench.run(args, b"");
    run(&["sign", "job.jsonl", "--role", "technician", "--key", "kim.key"]).ends(0);
    let sign = ["sign", "job.jsonl", "--role", "supervisor", "--name", "sam", "--key", "sam.key"];
    let ran = run(&sign);
    ran.ends(65);
    ran.says(&["says why"]);
    run(&[&sign[..], &["--reason", "goes out with one module less, the customer agrees"]].concat()).ends(0);
    let told = read::job(&bench.path("job.jsonl")).unwrap();
    let last = told.job.standing_declarations().last().unwrap();
    assert_eq!(last.reason.as_deref(), Some("goes out with one module less, the customer agrees"));
    let audit = run(&["audit", "job.jsonl", "--signers", "signers"]).stdout;
    assert!(audit.contains("findings of the last report were left open by"), "{audit}");
    assert!(audit.contains("0 of them passed without evidence"), "{audit}");
}

/// An order to end while the passphrase is asked for: the shell that called gets its terminal back as it was.
#[test]
fn an_order_to_end_at_the_passphrase_gives_the_terminal_back() {
    let bench = finished();
    let locked = key(1).encrypt(&mut ssh_key::rand_core::OsRng, "open sesame").unwrap();
    bench.file("locked.key", locked.to_openssh(LineEnding::LF).unwrap().as_bytes());
    for signal in ["TERM", "HUP"] {
        let program = env!("CARGO_BIN_EXE_slotwise");
        let record = bench.record();
        // Without job control a shell's background command reads from nowhere; the terminal is given to it by name.
        let line = format!(
            "stty echo isig icanon; '{program}' sign '{}' --role technician --key locked.key < /dev/tty & P=$!; sleep 1; kill -{signal} $P; wait $P; \
             echo \"ended $?\"; stty -a",
            record.display()
        );
        let mut command = Command::new("sh");
        command.args(["-c", &line]).current_dir(bench.path(".")).env("TERM", "xterm");
        let mut session = rexpect::session::spawn_command(heeding(&command), Some(20_000)).unwrap();
        session.exp_string("Passphrase of locked.key (not shown): ").unwrap();
        session.exp_string("ended 3").unwrap();
        let modes = session.exp_eof().unwrap();
        let set: Vec<&str> = modes.split_whitespace().collect();
        assert!(["echo", "isig", "icanon"].iter().all(|mode| set.contains(mode)), "{modes}");
    }
}

/// The record is moved while the passphrase is asked for: nothing is signed, and the error says where the record is.
#[test]
fn a_record_that_leaves_its_path_at_the_passphrase_is_not_signed() {
    let bench = finished();
    let locked = key(1).encrypt(&mut ssh_key::rand_core::OsRng, "open sesame").unwrap();
    bench.file("locked.key", locked.to_openssh(LineEnding::LF).unwrap().as_bytes());
    let record = bench.record();
    let mut command = Command::new(env!("CARGO_BIN_EXE_slotwise"));
    command.args(["sign", record.to_str().unwrap(), "--role", "technician", "--key", "locked.key"]);
    command.current_dir(bench.path(".")).env("TERM", "xterm");
    let mut session = rexpect::session::spawn_command(command, Some(20_000)).unwrap();
    session.exp_string("Passphrase of locked.key (not shown): ").unwrap();
    let moved = bench.path("moved.jsonl");
    let before = fs::read(&record).unwrap();
    fs::rename(&record, &moved).unwrap();
    session.send("open sesame\r").unwrap();
    session.flush().unwrap();
    let said = session.exp_eof().unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("the sign-off is NOT recorded") && said.contains("it was moved to "), "{said}");
    assert!(said.contains("give the same command again, with "), "{said}");
    assert!(matches!(session.process().wait().unwrap(), WaitStatus::Exited(_, 74)));
    assert_eq!(fs::read(&moved).unwrap(), before);
}

/// At a terminal the passphrase is asked for, and never shown.
#[test]
fn a_passphrase_typed_at_a_terminal_is_not_shown() {
    let bench = finished();
    // Encrypted with the library's default; the tests against ssh-keygen take its own ciphers.
    let locked = key(1).encrypt(&mut ssh_key::rand_core::OsRng, "open sesame").unwrap();
    bench.file("locked.key", locked.to_openssh(LineEnding::LF).unwrap().as_bytes());
    for (typed, code) in [("open sesane\x7f\x7fme\r", 0), ("wrong\r", 65), ("open\x03", 3)] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_slotwise"));
        let record = bench.record();
        command.args(["sign", record.to_str().unwrap(), "--role", "technician", "--key", "locked.key"]);
        command.current_dir(bench.path(".")).env("TERM", "xterm");
        let mut session = rexpect::session::spawn_command(command, Some(20_000)).unwrap();
        session.exp_string("Passphrase of locked.key (not shown): ").unwrap();
        session.send(typed).unwrap();
        session.flush().unwrap();
        let rest = session.exp_eof().unwrap();
        assert!(!rest.contains("sesa") && !rest.contains("wrong\r"), "{rest}");
        let status = session.process().wait().unwrap();
        assert!(matches!(status, WaitStatus::Exited(_, found) if found == code), "{status:?}: {rest}");
        if code == 0 {
            bench
                .run(
                    &[
                        "amend",
                        record.to_str().unwrap(),
                        "--line",
                        "2",
                        "--now",
                        "x",
                        "--why",
                        "so that it can be signed again",
                        "--name",
                        "sam",
                    ],
                    b"",
                )
                .ends(0);
        }
    }
}

#[test]
fn the_sign_off_at_the_end_of_a_job_is_a_typed_name() {
    let bench = finished();
    let last = read::Lines::open(&bench.record()).unwrap().last().unwrap().unwrap().line;
    assert!(matches!(last.event, Event::Declared { key: None, .. }));
}

/// One fingerprint: on the audit, the story and the slip, and by the line that audit and slip name for stock tools.
#[test]
fn the_fingerprint_is_the_same_wherever_it_stands_and_by_stock_tools() {
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("logs-example/slot.jsonl");
    let bench = Bench::new();
    bench.file("it's a job.jsonl", fs::read(example).unwrap());
    let run = |args: &[&str]| bench.run(args, b"").stdout;
    let json = |args: &[&str]| -> serde_json::Value { serde_json::from_str(&run(args)).unwrap() };
    let record = "it's a job.jsonl";
    let fingerprint = json(&["audit", record, "--json"])[0]["fingerprint"].as_str().unwrap().to_owned();
    let story = json(&["review", record, "--json"]);
    assert_eq!(story["record"]["fingerprint"], fingerprint.as_str());
    let audit = run(&["audit", record]);
    assert!(audit.contains(&format!("fingerprint {fingerprint}\n")), "{audit}");
    let line = audit.lines().map(str::trim).find(|line| line.ends_with("| sha256sum | head -c 20")).unwrap();
    let by_hand = |line: &str| {
        let output = Command::new("sh").args(["-c", line]).current_dir(bench.path(".")).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    assert_eq!(by_hand(line), fingerprint.replace('-', ""));
    let serial = read::job(&bench.path(record)).unwrap().job;
    let serial = serial.opened().plan.slot.iter().find_map(|slot| slot.module.identity.serial.clone()).unwrap();
    let slip = run(&["rma", record, &serial]);
    assert!(slip.contains(&fingerprint), "{slip}");
    // The slip is broken into lines for a page; its words are the command's.
    let words = slip.split_whitespace().collect::<Vec<_>>().join(" ");
    let from = words.find("head -n").unwrap();
    let end = from + words[from..].find("head -c 20").unwrap() + "head -c 20".len();
    assert_eq!(by_hand(&words[from..end].replace("RECORD", "\"it's a job.jsonl\"")), fingerprint.replace('-', ""));
}

/// What ends by refusing leaves a record as it found it: what stands behind the last whole line is told, not set aside.
#[test]
fn a_command_that_refuses_changes_nothing() {
    let bench = finished();
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    let whole = fs::read(bench.record()).unwrap();
    let copies: [(Vec<u8>, &str); 2] = [
        (whole[..whole.len() - 1].to_vec(), "whole but for the line feed"),
        ([&whole[..], &[0; 40]].concat(), "zero bytes"),
    ];
    for (bytes, words) in copies {
        fs::write(bench.record(), &bytes).unwrap();
        if words == "zero bytes" {
            let ran = slotwise(&bench, &["resume", "RECORD"]);
            ran.ends(65);
            ran.says(&["is left as it is", words]);
        }
        let audit = slotwise(&bench, &["audit", "RECORD", "--signers", "signers"]);
        assert!(audit.stdout.contains(words), "{}", audit.stdout);
        let amend = ["amend", "RECORD", "--line", "9999", "--now", "x", "--why", "y", "--name", "sam"];
        slotwise(&bench, &amend).ends(65);
        slotwise(&bench, &["sign", "RECORD", "--role", "supervisor", "--name", TECHNICIAN, "--key", "sam.key"])
            .ends(65);
        assert_eq!(fs::read(bench.record()).unwrap(), bytes, "{words}");
    }
    // What does write sets the tail aside first, and says so.
    let amend = ["amend", "RECORD", "--line", "5", "--now", "x", "--why", "y", "--name", "sam"];
    let ran = slotwise(&bench, &amend);
    ran.ends(0);
    ran.says(&["zero bytes", "put aside as"]);
}

/// Other shops' signers are nobody's word against a record; a part of a fingerprint is none; what is no file is told.
#[test]
fn what_is_not_known_is_told_from_what_is_wrong() {
    let bench = finished();
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    let records = bench.record().parent().unwrap().to_owned();
    fs::write(records.parent().unwrap().join("nobody"), "").unwrap();
    let ran = slotwise(&bench, &["audit", "RECORD", "--signers", "nobody"]);
    ran.ends(1);
    assert!(ran.stdout.contains("nobody vouches for"), "{}", ran.stdout);
    slotwise(&bench, &["audit", "RECORD", "--fingerprint", "0fa5"]).ends(2);
    fs::create_dir(records.join(".left-behind")).unwrap();
    fs::write(records.join(".left-behind/x.jsonl"), "x").unwrap();
    bench.run(&["audit", records.to_str().unwrap(), "--signers", "signers"], b"").ends(0);
    std::os::unix::fs::symlink(bench.record(), records.join("link.jsonl")).unwrap();
    let ran = bench.run(&["audit", records.to_str().unwrap(), "--signers", "signers"], b"");
    assert!(ran.code != 0 && ran.stdout.contains("not an ordinary file"), "{}", ran.stdout);
}

/// Someone who did no work is told so, whether or not the technician has signed by then.
#[test]
fn who_did_not_work_on_it_is_told_that_and_not_that_it_is_signed() {
    let bench = finished();
    let refused = || {
        let ran = slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--name", "pat", "--key", "sam.key"]);
        ran.ends(65);
        ran.says(&["`pat` gave no answer in this record"]);
        assert!(!ran.stderr.contains("already"), "{}", ran.stderr);
    };
    refused();
    slotwise(&bench, &["sign", "RECORD", "--role", "technician", "--key", "kim.key"]).ends(0);
    refused();
    slotwise(&bench, &["sign", "RECORD", "--role", "supervisor", "--name", "sam", "--key", "sam.key"]).ends(0);
    refused();
}

/// An error names a file as the person named it, whichever command it is of.
#[test]
fn an_error_names_a_record_as_it_was_given() {
    let bench = finished();
    let name = bench.record().file_name().unwrap().to_str().unwrap().to_owned();
    let whole = fs::read(bench.record()).unwrap();
    let mut changed = whole.clone();
    changed[whole.len() / 2] ^= 1;
    bench.file("records/changed.jsonl", changed);
    bench.file("records/empty.jsonl", "");
    let absolute = bench.path("records/changed.jsonl");
    for given in ["records/changed.jsonl", "./records/../records/changed.jsonl", "records/empty.jsonl", "no/such.jsonl"]
    {
        for args in [
            &["sign", given, "--role", "technician", "--typed"][..],
            &["amend", given, "--line", "2", "--now", "x", "--why", "y", "--name", "sam"],
            &["review", given],
            &["report", given, "-o", "x.html"],
            &["rma", given, "S1"],
            &["resume", given],
            &["isolate", given, "--next"],
        ] {
            let ran = bench.run(args, b"");
            assert!(ran.code >= 65, "{args:?}");
            let folder = bench.path("").to_str().unwrap().trim_end_matches('/').to_owned();
            assert!(ran.stderr.contains(given) && !ran.stderr.contains(&folder), "{args:?}: {}", ran.stderr);
        }
        let ran = bench.run(&["audit", given], b"");
        let folder = bench.path("").to_str().unwrap().trim_end_matches('/').to_owned();
        assert!(!format!("{}{}", ran.stdout, ran.stderr).contains(&folder), "{}{}", ran.stdout, ran.stderr);
    }
    // Files of every other kind, there and not what they should be, not there, and where none can be made.
    bench.machine("tree", Fault::None, 1);
    bench.run(&["capture", "--root", "tree", "-o", "snapshot.json"], b"").ends(0);
    bench.file("bad.toml", "format = \"x\"\n");
    let plan = "practice/plan.toml";
    let install = |more: [&'static str; 2]| [&["install", plan, "--technician", "kim"][..], &more].concat();
    for (args, given) in [
        (vec!["verify", "no/such.toml", "snapshot.json"], "no/such.toml"),
        (vec!["verify", "./bad.toml", "snapshot.json"], "./bad.toml"),
        (vec!["verify", "records/changed.jsonl", "snapshot.json"], "records/changed.jsonl"),
        (vec!["verify", plan, "./bad.toml"], "./bad.toml"),
        (vec!["verify", plan, "no/such.json"], "no/such.json"),
        (vec!["install", "no/such.toml"], "no/such.toml"),
        (vec!["install", "./bad.toml"], "./bad.toml"),
        (install(["--checklist", "no/such.toml"]), "no/such.toml"),
        (install(["--site", "./bad.toml"]), "./bad.toml"),
        (install(["--answers", "no/such.txt"]), "no/such.txt"),
        (install(["--records", "./bad.toml"]), "./bad.toml"),
        (install(["--records", "bad.toml/records"]), "bad.toml/records"),
        (vec!["capture", "--root", "./no/such"], "./no/such"),
        (vec!["capture", "--root", "./bad.toml"], "./bad.toml"),
        (vec!["capture", "--root", "tree", "-o", "./no/such.json"], "./no/such.json"),
        (vec!["capture", "--root", "tree", "-o", "./records"], "./records"),
    ] {
        let ran = bench.run(&args, b"");
        assert!(ran.code >= 65, "{args:?} ended with {}: {}", ran.code, ran.stderr);
        let folder = bench.path("").to_str().unwrap().trim_end_matches('/').to_owned();
        assert!(ran.stderr.contains(given) && !ran.stderr.contains(&folder), "{args:?}: {}", ran.stderr);
    }
    let ran = bench.run(&["review", absolute.to_str().unwrap()], b"");
    assert!(ran.stderr.contains(absolute.to_str().unwrap()), "{}", ran.stderr);
    // A link in a folder cannot be packed, and is named from where the command was called.
    std::os::unix::fs::symlink(&name, bench.path("records/link.jsonl")).unwrap();
    let ran = bench.run(&["archive", "pack", "records", "-o", "all.tar"], b"");
    assert!(ran.code != 0 && ran.stderr.contains("slotwise: records/link.jsonl"), "{}", ran.stderr);
}
