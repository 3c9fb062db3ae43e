//! Files that are not what they should be, at every place that takes one: told by name, and nothing is begun or lost.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use program::{Bench, whole};
use slotwise::checklist::STOCK_PROCEDURE;
use slotwise::machine::Fault;
use slotwise::record::Event;

const ANSWERS: &str = "format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"order-in-hand/rules\"\ngive = [\"1\"]\n";
const SITE: &str = "format = \"slotwise-site/1\"\n[[limit]]\nname = \"wait-after-cords\"\nvalue = \"0\"\nunit = \"s\"\nsource = \"bench\"\n";

/// A good text spoiled in every way that a file is: the name of the spoiled file, its bytes, and a word of what is said.
fn spoiled(good: &str, format: &str) -> Vec<(&'static str, Vec<u8>, String)> {
    let newer = good.replace(&format!("{format}/1"), &format!("{format}/9"));
    assert_ne!(newer, good, "the format's name is not in the file");
    let mut latin = good.as_bytes().to_vec();
    latin.extend(b"# caf\xe9\n");
    vec![
        ("empty.toml", Vec::new(), "empty".to_owned()),
        ("binary.toml", vec![0x7f, b'E', b'L', b'F', 2, 1, 1, 0, 0, 159, 146, 150], "binary.toml".to_owned()),
        ("zeros.toml", vec![0; 8192], "zeros.toml".to_owned()),
        ("cut.toml", good.as_bytes()[..good.len() - 3].to_vec(), "cut.toml".to_owned()),
        ("latin.toml", latin, "latin.toml".to_owned()),
        ("huge.toml", vec![b'#'; 17 * 1024 * 1024], "16 MiB".to_owned()),
        (
            "deep.toml",
            format!("{good}\nx = {}1{}\n", "[".repeat(5000), "]".repeat(5000)).into_bytes(),
            "deep.toml".to_owned(),
        ),
        (
            "typo.toml",
            good.replace(&format!("format = \"{format}"), &format!("frmat = \"{format}")).into_bytes(),
            "format".to_owned(),
        ),
        ("newer.toml", newer.into_bytes(), format!("{format}/9")),
    ]
}

/// Every spoiled form of a file given as `option`: exit 65, the file and the trouble named, no record made.
fn all_refused(option: &str, good: &str, format: &str) {
    let bench = Bench::new();
    for (name, bytes, word) in spoiled(good, format) {
        bench.file(name, bytes);
        let mut args = vec!["install", "practice/plan.toml", "--technician", "kim", "--plain"];
        args.extend([option, name]);
        let ran = bench.run(&args, b"1\n");
        assert_eq!(ran.code, 65, "{option} {name}: {}", ran.stderr);
        assert!(ran.stderr.contains(name) && ran.stderr.contains(&word), "{option} {name}: {}", ran.stderr);
        assert!(ran.stderr.len() < 20_000, "{option} {name}: {} bytes of complaint", ran.stderr.len());
        assert!(ran.stderr.bytes().all(|b| b == b'\n' || (b' '..=b'~').contains(&b)), "{option} {name}");
        assert!(!bench.path("records").exists(), "{option} {name}");
    }
    let missing = bench.run(&["install", "practice/plan.toml", "--technician", "kim", option, "nowhere.toml"], b"");
    missing.ends(66);
    missing.says(&["nowhere.toml"]);
    let folder = bench.run(&["install", "practice/plan.toml", "--technician", "kim", option, "practice"], b"");
    assert!([65, 66, 74].contains(&folder.code), "{option}: a folder: {}", folder.stderr);
    folder.says(&["practice"]);
    assert!(!bench.path("records").exists());
}

#[test]
fn a_spoiled_checklist_is_told_and_no_record_is_made() {
    all_refused("--checklist", STOCK_PROCEDURE, "slotwise-checklist");
}

#[test]
fn a_spoiled_site_file_is_told_and_no_record_is_made() {
    all_refused("--site", SITE, "slotwise-site");
}

#[test]
fn a_spoiled_answers_file_is_told_and_no_record_is_made() {
    all_refused("--answers", ANSWERS, "slotwise-answers");
}

#[test]
fn a_limit_that_the_checklist_does_not_have_is_named() {
    let bench = Bench::new();
    bench.file("odd.toml", SITE.replace("wait-after-cords", "wait-after-chords"));
    let ran = bench.run(&["install", "practice/plan.toml", "--site", "odd.toml", "--technician", "kim"], b"");
    ran.ends(65);
    ran.says(&["odd.toml", "wait-after-chords"]);
    assert!(!bench.path("records").exists());
}

#[test]
fn a_plan_made_for_another_board_names_the_slots_that_are_not_there() {
    let bench = Bench::new();
    let wren = concat!(env!("CARGO_MANIFEST_DIR"), "/checklists/boards/wren.toml");
    std::fs::copy(wren, bench.path("boards/wren.toml")).unwrap();
    let plan = std::fs::read_to_string(bench.path("practice/plan.toml")).unwrap();
    let other = plan.replace("heron.toml", "wren.toml");
    assert_ne!(other, plan, "the plan does not name its board by file");
    bench.file("practice/other.toml", other);
    let ran = bench.run(&["install", "practice/other.toml", "--technician", "kim", "--plain"], b"");
    ran.ends(65);
    ran.says(&["other.toml", "F1-1", "R4-1"]);
    assert!(!bench.path("records").exists());
}

#[test]
fn a_plan_whose_slots_stand_twice_or_nowhere_is_told_in_one_go() {
    let bench = Bench::new();
    let plan = std::fs::read_to_string(bench.path("practice/plan.toml")).unwrap();
    let faulty = plan.replace("\"F1-1\"", "\"R1-1\"").replace("\"F2-1\"", "\"Q9-9\"");
    bench.file("practice/faulty.toml", faulty);
    let ran = bench.run(&["install", "practice/faulty.toml", "--technician", "kim", "--plain"], b"");
    ran.ends(65);
    ran.says(&["faulty.toml", "R1-1", "Q9-9"]);
}

/// Snapshots that are none.
fn spoiled_snapshots(good: &str) -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("empty.json", Vec::new()),
        ("binary.json", vec![0x7f, b'E', b'L', b'F', 0, 159, 146, 150]),
        ("zeros.json", vec![0; 8192]),
        ("cut.json", good.as_bytes()[..good.len() / 2].to_vec()),
        ("huge.json", [good.as_bytes(), &vec![b' '; 17 * 1024 * 1024]].concat()),
        ("deep.json", "[".repeat(200_000).into_bytes()),
        ("newer.json", good.replace("slotwise-snapshot/1", "slotwise-snapshot/7").into_bytes()),
        ("plan.json", b"format = \"slotwise-plan/1\"\n".to_vec()),
    ]
}

#[test]
fn a_spoiled_snapshot_is_refused_by_verify_and_at_the_step_which_then_takes_the_good_one() {
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    bench.run(&["capture", "--root", "tree", "-o", "good.json"], b"").ends(0);
    let good = std::fs::read_to_string(bench.path("good.json")).unwrap();
    let mut lines = whole(&bench.steps(), "tree");
    let report = lines.iter().position(|line| line == "tree").unwrap();
    let mut names = Vec::new();
    for (name, bytes) in spoiled_snapshots(&good) {
        bench.file(name, bytes);
        let ran = bench.run(&["verify", "practice/plan.toml", name], b"");
        assert_eq!((ran.code, ran.stdout.as_str()), (65, ""), "{name}: {}", ran.stderr);
        assert!(ran.stderr.contains(name), "{name}: {}", ran.stderr);
        names.push(name.to_owned());
    }
    lines.splice(report..report, names.iter().cloned());
    let ran = bench.install(&lines);
    ran.ends(0);
    let refused: Vec<String> = program_events(&bench)
        .into_iter()
        .filter_map(|event| match event {
            Event::Refused { value, .. } => Some(value),
            _ => None,
        })
        .collect();
    assert_eq!(refused, names);
    for name in &names {
        // What is refused is named.
        ran.says(&[&format!("REFUSED {name}")]);
    }
}

#[test]
fn the_report_of_another_kind_of_machine_is_no_clean_report() {
    let bench = Bench::new();
    // One socket, two channels, two slots: none of its locators are those of the board in the plan.
    let mut plan = bench.plan();
    let wren = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/checklists/boards/wren.toml")).unwrap();
    let wren: slotwise::board::Board =
        slotwise::source::from_toml(&slotwise::source::Text { file: "wren.toml", bytes: &wren }).unwrap();
    let module = plan.slot[0].module.clone();
    let unit = plan.order.unit.remove(0);
    let mut machine = slotwise::machine::Machine::new(wren.clone(), unit, 3);
    let slot = wren.slots().next().unwrap().slot.label.clone();
    machine.insert(&slot, module, slotwise::machine::Latch::Latched).unwrap();
    let slotwise::machine::Boot::Up(tree) = machine.report() else { panic!("the machine is dark") };
    tree.write_to(&bench.path("wren")).unwrap();
    bench.run(&["capture", "--root", "wren", "-o", "wren.json"], b"").ends(0);
    let ran = bench.run(&["verify", "practice/plan.toml", "wren.json"], b"");
    ran.ends(1);
    assert!(ran.stdout.contains("unknown-slot"), "{}", ran.stdout);
}

#[test]
fn a_record_that_is_none_is_told_and_left_as_it_is() {
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    bench.install(&whole(&bench.steps(), "tree")[..9]).ends(3);
    let good = std::fs::read(bench.record()).unwrap();
    let lines = good.iter().filter(|b| **b == b'\n').count();
    assert!(lines > 9);
    let second = good.iter().position(|b| *b == b'\n').unwrap() + 1;
    let mut edited = good.clone();
    // A letter of the first line, which all later lines vouch for.
    let at = edited.windows(4).position(|window| window == b"Lark").unwrap();
    edited[at] = b'l';
    let cases: Vec<(&str, Vec<u8>, i32)> = vec![
        ("binary.jsonl", vec![0x7f, b'E', b'L', b'F', 0, 159, b'\n', 150, b'\n'], 65),
        ("headless.jsonl", good[second..].to_vec(), 65),
        ("edited.jsonl", edited, 65),
        ("plan.jsonl", std::fs::read(bench.path("practice/plan.toml")).unwrap(), 65),
    ];
    for (name, bytes, code) in cases {
        let path = bench.file(name, &bytes);
        let ran = bench.run(&["resume", name, "--plain"], b"");
        assert_eq!(ran.code, code, "{name}: {}", ran.stderr);
        assert!(ran.stderr.contains(name), "{name}: {}", ran.stderr);
        assert_eq!(std::fs::read(path).unwrap(), bytes, "{name} was changed");
    }
    let missing = bench.run(&["resume", "nowhere.jsonl"], b"");
    missing.ends(66);
    missing.says(&["nowhere.jsonl", "way out"]);
}

fn program_events(bench: &Bench) -> Vec<Event> {
    slotwise::record::read::Lines::open(&bench.record()).unwrap().map(|line| line.unwrap().line.event).collect()
}

#[test]
fn files_that_are_no_records_are_told_once_each_and_have_no_fingerprint() {
    let bench = Bench::new();
    std::fs::create_dir(bench.path("records")).unwrap();
    bench.file("records/empty.jsonl", "");
    bench.file("records/other.jsonl", "x\n");
    std::os::unix::fs::symlink("other.jsonl", bench.path("records/link.jsonl")).unwrap();
    let ran = bench.run(&["audit", "records"], b"");
    ran.ends(65);
    let told: Vec<&str> = ran.stdout.lines().collect();
    for (line, name) in told.iter().zip(["records/empty.jsonl", "records/link.jsonl", "records/other.jsonl"]) {
        assert!(line.starts_with(&format!("WRONG      -{}{name}: ", " ".repeat(24))), "{line}");
        assert_eq!(line.matches(name).count(), 1, "{line}");
    }
    assert_eq!(told.last(), Some(&"3 records: 0 proven, 0 not proven, 3 wrong"));
}
