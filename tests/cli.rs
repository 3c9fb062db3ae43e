//! Arguments, help, exit codes, pipes.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use std::process::Stdio;

use program::{Bench, TECHNICIAN, whole};
use slotwise::machine::Fault;

const COMMANDS: [&str; 7] = ["practice", "install", "resume", "capture", "verify", "board", "schema"];

#[test]
fn every_command_explains_itself_on_stdout_within_a_hundred_columns() {
    let bench = Bench::new();
    let whole = bench.run(&["--help"], b"");
    whole.ends(0);
    assert_eq!(whole.stderr, "");
    for command in COMMANDS {
        assert!(whole.stdout.contains(&format!("  {command} ")), "{command} is not in the list:\n{}", whole.stdout);
        let help = bench.run(&[command, "--help"], b"");
        help.ends(0);
        assert!(help.stdout.lines().all(|line| line.chars().count() <= 100), "{command}");
        assert!(help.stdout.contains("Usage: slotwise"), "{command}");
    }
    let version = bench.run(&["--version"], b"");
    assert_eq!(version.stdout, format!("slotwise {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn wrong_usage_is_told_on_stderr_with_2() {
    let bench = Bench::new();
    for args in [&["instal"][..], &["install"], &["practice", "--fault", "gremlin"], &["capture", "--no-such"], &[]] {
        let ran = bench.run(args, b"");
        assert_eq!(ran.code, 2, "{args:?}: {}", ran.stderr);
        assert_eq!(ran.stdout, "", "{args:?}");
        assert!(!ran.stderr.is_empty(), "{args:?}");
    }
    bench.run(&["instal"], b"").says(&["install"]);
}

#[test]
fn each_exit_code_of_the_table_is_reached() {
    let bench = Bench::new();
    bench.machine("good", Fault::None, 1);
    bench.machine("bad", Fault::Slot { slot: "F1-1".into() }, 1);
    for tree in ["good", "bad"] {
        bench.run(&["capture", "--root", tree, "-o", &format!("{tree}.json")], b"").ends(0);
    }
    let good = bench.run(&["verify", "practice/plan.toml", "good.json"], b"");
    good.ends(0);
    assert!(good.stdout.starts_with("AS PLANNED"), "{}", good.stdout);
    let bad = bench.run(&["verify", "practice/plan.toml", "bad.json"], b"");
    bad.ends(1);
    assert!(bad.stdout.contains("missing at F1-1"), "{}", bad.stdout);
    bench.run(&["verify"], b"").ends(2);
    bench.run(&["verify", "practice/plan.toml", "good.json", "--unit", "LF-HRN-9999"], b"").ends(2);
    bench.install(&[]).ends(3);
    bench.run(&["verify", "good.json", "good.json"], b"").ends(65);
    bench.run(&["verify", "practice/plan.toml", "practice/plan.toml"], b"").ends(65);
    bench.run(&["verify", "practice/plan.toml", "nowhere.json"], b"").ends(66);
    bench.run(&["capture", "--root", "nowhere"], b"").ends(66);
    bench.run(&["capture", "--root", "good", "-o", "no/such/folder.json"], b"").ends(73);
    bench.run(&["capture", "--root", "good", "-o", "/dev/full"], b"").ends(74);
    if rustix::process::geteuid().is_root() {
        eprintln!("SKIPPED exit code 77 in each_exit_code_of_the_table_is_reached: root may read everything");
    } else {
        use std::os::unix::fs::PermissionsExt as _;
        let hidden = bench.file("hidden.json", "{}");
        std::fs::set_permissions(&hidden, std::fs::Permissions::from_mode(0o000)).unwrap();
        bench.run(&["verify", "practice/plan.toml", "hidden.json"], b"").ends(77);
    }
}

#[test]
fn verify_reads_a_record_and_gives_stable_json() {
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    bench.install(&whole(&bench.steps(), "tree")).ends(0);
    bench.machine("later", Fault::Channel { socket: "R".into(), channel: "2".into() }, 9);
    bench.run(&["capture", "--root", "later", "-o", "later.json"], b"").ends(0);
    let record = bench.record();
    let ran = bench.run(&["verify", record.to_str().unwrap(), "later.json", "--json"], b"");
    ran.ends(1);
    let json: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    let finding = &json["findings"][0];
    for key in ["kind", "slot", "module", "planned", "reported", "source", "grave", "next"] {
        assert!(finding.get(key).is_some(), "{key} is missing in {finding}");
    }
    assert_eq!((finding["kind"].as_str(), finding["slot"].as_str()), (Some("missing"), Some("R2-1")));
    assert!(json["compared"]["slots"].as_u64().unwrap() > 0);
}

#[test]
fn the_report_of_another_machine_is_no_evidence_for_a_plan() {
    let bench = Bench::new();
    let tree = bench.machine("tree", Fault::None, 1);
    bench.run(&["capture", "--root", "tree", "-o", "good.json"], b"").ends(0);
    let order = std::fs::read_to_string(bench.path("practice/order.toml")).unwrap();
    bench.file("practice/order.toml", order.replace(program::UNIT, "LF-HRN-0999"));
    let ran = bench.run(&["verify", "practice/plan.toml", "good.json"], b"");
    ran.ends(1);
    assert!(ran.stdout.contains("other-machine") && ran.stdout.contains("LF-HRN-0999"), "{}", ran.stdout);
    // With several units, nobody can tell which one is meant unless it is said.
    let other = "\n[[unit]]\nchassis = \"LF-HRN-0137\"\nenclosure = \"LF-EST-0009\"\nbay = \"N4\"\n";
    let two = order.replace(program::UNIT, "LF-HRN-0999") + other;
    bench.file("practice/order.toml", two);
    let ran = bench.run(&["verify", "practice/plan.toml", "good.json"], b"");
    ran.ends(0);
    assert!(ran.stdout.contains("whose report this is"), "{}", ran.stdout);
    bench.run(&["verify", "practice/plan.toml", "good.json", "--unit", program::UNIT], b"").ends(0);
    bench.run(&["verify", "practice/plan.toml", "good.json", "--unit", "LF-HRN-0999"], b"").ends(1);
    assert!(tree.is_dir());
}

#[test]
fn a_plan_without_an_order_asks_for_the_real_tag() {
    let bench = Bench::new();
    bench.file(
        "stock.csv",
        "part,kind,gib,ranks,width,mts,count,pack,price,currency\nOM4R32-2R4-2666,RDIMM,32,2,4,2666,8,1,90,EUR\n",
    );
    let args =
        ["plan", "--board", "boards/heron.toml", "--stock", "stock.csv", "--capacity", "256GiB", "-o", "made.toml"];
    let ran = bench.run(&args, b"");
    ran.ends(0);
    assert!(ran.stdout.contains("install asks for the real one"), "{}", ran.stdout);
    let ran = bench.run(&["install", "made.toml", "--technician", TECHNICIAN, "--plain"], b"LF-HRN-0555\n");
    ran.ends(3);
    ran.says(&["Scan the tag of the machine you will work on"]);
    assert_eq!(bench.job().opened().unit, "LF-HRN-0555");
    assert!(!bench.job().opened().plan.order.stand_ins);
}

#[test]
fn a_reader_that_leaves_early_is_no_trouble() {
    let bench = Bench::new();
    let mut child = bench.command(&["schema", "plan"]).stdin(Stdio::null()).spawn().unwrap();
    drop(child.stdout.take());
    let ran = child.wait_with_output().unwrap();
    let stderr = String::from_utf8(ran.stderr).unwrap();
    assert_eq!((ran.status.code(), stderr.as_str()), (Some(0), ""));
}

#[test]
fn an_id_on_the_command_line_is_checked_like_one_that_is_typed() {
    let bench = Bench::new();
    let ran = bench.run(&["install", "practice/plan.toml", "--technician", "\x1b[2J", "--plain"], b"");
    ran.ends(2);
    assert!(!ran.stderr.contains('\x1b'));
    let ran = bench.run(&["install", "practice/plan.toml", "--plain"], format!("x\n{TECHNICIAN}\n").as_bytes());
    ran.ends(3);
    ran.says(&["REFUSED an id has 2 to 40 characters"]);
    assert_eq!(bench.job().opened().technician, TECHNICIAN);
}
