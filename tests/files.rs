//! Files that people write: every shipped one is valid, and so are those in `tests/files/valid`; each in
//! `tests/files/invalid` is refused with exactly the text beside it. Adding a case is adding a file.
//!
//! A file's name says which format it is: `board-…`, `order-…`, `plan-…`, `checklist-…`. With `SLOTWISE_UPDATE=1` the
//! texts are written anew; look at the difference before keeping them.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking, in its helpers too")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use serde_json::Value;
use slotwise::board::Board;
use slotwise::checklist::{Checklist, Site};
use slotwise::order::Order;
use slotwise::plan::Plan;
use slotwise::source::{Checked, Faults, Text, from_json, from_toml, schema_of};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn files(name: &str, ending: &str) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = fs::read_dir(folder(name))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == ending))
        .collect();
    found.sort();
    assert!(!found.is_empty(), "no {ending} files in {name}");
    found
}

fn name(path: &Path) -> &str {
    path.file_name().unwrap().to_str().unwrap()
}

/// Reads a file of the format its name says; the text of all faults when it is refused.
fn read(path: &Path) -> Result<(), String> {
    let bytes = fs::read(path).unwrap();
    let text = Text { file: name(path), bytes: &bytes };
    let told = |faults: Faults| faults.to_string();
    match format_of(path) {
        "board" => from_toml::<Board>(&text).map(drop).map_err(told),
        "order" => from_toml::<Order>(&text).map(drop).map_err(told),
        "checklist" => from_toml::<Checklist>(&text).map(drop).map_err(told),
        "site" => from_toml::<Site>(&text).map(drop).map_err(told),
        "plan" => slotwise::plan::load(&text, &mut |file| fs::read(path.parent().unwrap().join(file)))
            .map(drop)
            .map_err(|error| error.to_string()),
        other => panic!("{}: what format is `{other}`?", path.display()),
    }
}

fn format_of(path: &Path) -> &str {
    let name = name(path);
    name.split(['-', '.']).next().unwrap()
}

fn schema(format: &str) -> Value {
    match format {
        "board" => schema_of::<Board>(Board::FORMAT),
        "order" => schema_of::<Order>(Order::FORMAT),
        "checklist" => schema_of::<Checklist>(Checklist::FORMAT),
        "site" => schema_of::<Site>(Site::FORMAT),
        "plan" => slotwise::plan::schema(),
        other => panic!("no schema for {other}"),
    }
}

/// What is wrong with a TOML file by a JSON Schema checker that is not ours; `None` when it is no TOML at all.
fn judged_elsewhere(path: &Path) -> Option<bool> {
    let text = fs::read_to_string(path).ok()?;
    let value: toml::Value = toml::from_str(&text).ok()?;
    let value = serde_json::to_value(value).unwrap();
    let validator = jsonschema::validator_for(&schema(format_of(path))).unwrap();
    Some(validator.is_valid(&value))
}

#[test]
fn every_shipped_board_is_valid() {
    for path in files("checklists/boards", "toml") {
        let bytes = fs::read(&path).unwrap();
        let text = Text { file: name(&path), bytes: &bytes };
        from_toml::<Board>(&text).unwrap_or_else(|faults| panic!("{faults}"));
    }
}

#[test]
fn valid_files_are_read() {
    for path in files("tests/files/valid", "toml") {
        if let Err(faults) = read(&path) {
            panic!("{}:\n{faults}", path.display());
        }
        assert_eq!(judged_elsewhere(&path), Some(true), "{}", path.display());
    }
}

#[test]
fn invalid_files_are_refused_with_the_text_beside_them() {
    let update = std::env::var_os("SLOTWISE_UPDATE").is_some();
    let mut wrong = Vec::new();
    for path in files("tests/files/invalid", "toml") {
        let Err(found) = read(&path) else { panic!("{} is read", path.display()) };
        let found = found + "\n";
        let beside = path.with_extension("txt");
        if update {
            fs::write(&beside, &found).unwrap();
        } else if fs::read_to_string(&beside).unwrap_or_default() != found {
            wrong.push(format!("{}:\n{found}", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Our walk and a general checker must refuse the same files for what a schema can say. Rules beyond it are told by
/// the name: such a case ends in `-rule`.
#[test]
fn an_independent_schema_checker_agrees() {
    let mut judged = BTreeSet::new();
    for path in files("tests/files/invalid", "toml") {
        let rule = path.file_stem().unwrap().to_str().unwrap().ends_with("-rule");
        if let Some(valid) = judged_elsewhere(&path) {
            assert_eq!(valid, rule, "{}", path.display());
            judged.insert(rule);
        }
    }
    assert_eq!(judged, BTreeSet::from([false, true]), "cases of both sorts are there");
}

#[test]
fn faults_come_in_line_order_with_their_lines() {
    let text =
        "format = \"slotwise-board/1\"\nname = 1\ncolour = \"red\"\ngeneration = \"DDR6\"\n[limits]\nkind = []\n";
    let faults = from_toml::<Board>(&Text { file: "b.toml", bytes: text.as_bytes() }).unwrap_err();
    let json = serde_json::to_value(&faults).unwrap();
    let seen: Vec<(Option<u64>, &str)> = json["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| (fault["line"].as_u64(), fault["key"].as_str().unwrap()))
        .collect();
    assert_eq!(
        seen,
        [(None, "socket"), (Some(2), "name"), (Some(3), "colour"), (Some(4), "generation"), (Some(6), "limits.kind")]
    );
}

#[test]
fn a_plan_may_name_its_board_and_order() {
    let plan = "format = \"slotwise-plan/1\"\nname = \"p\"\nboard_file = \"b.toml\"\norder_file = \"o.toml\"\n\
                slot = [{ slot = \"Q2\", do = \"insert\", gib = 16 }]\n";
    let board = fs::read(folder("checklists/boards/wren.toml")).unwrap();
    let order = b"format = \"slotwise-order/1\"\nname = \"o\"\nunit = [{ chassis = \"LF-1\" }]\n".to_vec();
    let text = Text { file: "p.toml", bytes: plan.as_bytes() };
    let mut asked = Vec::new();
    let read = slotwise::plan::load(&text, &mut |file| {
        asked.push(file.to_owned());
        Ok(if file == "b.toml" { board.clone() } else { order.clone() })
    });
    let read = read.unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((asked.len(), read.board.name.as_str(), read.order.name.as_str()), (2, "Wren", "o"));

    let missing = || std::io::Error::other("not there");
    let error = slotwise::plan::load(&text, &mut |_| Err(missing())).unwrap_err().to_string();
    assert!(error.contains("p.toml:3:14: ") && error.contains("cannot read `b.toml`: not there"), "{error}");
    let error = slotwise::plan::load(&text, &mut |_| Ok(b"name = 1".to_vec())).unwrap_err().to_string();
    assert!(error.contains("b.toml: fault: ") && error.contains("o.toml: fault: "), "{error}");
}

#[test]
fn a_plan_written_by_a_program_reads_back() {
    let board = fs::read(folder("checklists/boards/heron.toml")).unwrap();
    let board: Board = from_toml(&Text { file: "heron.toml", bytes: &board }).unwrap();
    let order = toml::from_str(
        "format = \"slotwise-order/1\"\nname = \"o\"\n[[unit]]\nchassis = \"LF-1\"\nenclosure = \"E\"\nbay = \"N2\"\n",
    );
    let slot = toml::from_str("slot = \"F1-1\"\ndo = \"insert\"\ngib = 32\nkind = \"RDIMM\"\nserial = \"0A1B2C3D\"\n");
    let plan = Plan {
        format: Plan::FORMAT.to_owned(),
        name: "p".to_owned(),
        board_sha256: Some(board.sha256()),
        mts: None,
        reasons: vec!["a reason".to_owned()],
        considered: None,
        slot: vec![slot.unwrap()],
        remove: Vec::new(),
        order: order.unwrap(),
        board,
    };
    let text = toml::to_string(&plan).unwrap();
    let read = from_toml::<Plan>(&Text { file: "p.toml", bytes: text.as_bytes() }).unwrap_or_else(|f| panic!("{f}"));
    assert_eq!(read, plan);

    let changed = text.replace("\nname = \"Heron\"", "\nname = \"Egret\"");
    let faults = from_toml::<Plan>(&Text { file: "p.toml", bytes: changed.as_bytes() }).unwrap_err();
    assert!(faults.to_string().contains("this plan was made for another board"), "{faults}");
}

#[test]
fn json_with_a_key_twice_is_refused_with_its_line() {
    let text = b"{\"format\": \"slotwise-plan/1\",\n \"a\": {\"b\": 1, \"b\": 2}}";
    let faults = from_json::<Value>(&Text { file: "p.json", bytes: text }, "slotwise-plan/1").unwrap_err();
    assert!(faults.to_string().contains("key `b` stands twice"), "{faults}");
    assert_eq!(faults.position(&faults.faults[0]).map(|(line, _)| line), Some(2));
}

#[test]
fn json_is_held_to_the_caps_and_to_its_format() {
    let refused = |text: &str| {
        let text = Text { file: "s.json", bytes: text.as_bytes() };
        from_json::<Value>(&text, "slotwise-snapshot/1").unwrap_err().to_string()
    };
    let deep = format!("{{\"format\": \"slotwise-snapshot/1\", \"a\": {}{}}}", "[".repeat(20), "]".repeat(20));
    assert!(refused(&deep).contains("nested deeper than 16 levels"));
    assert!(refused("{}").contains("missing key `format`"));
    assert!(refused("{\"format\": \"slotwise-order/1\"}").contains("this is an order file; a snapshot file is wanted"));
    assert!(refused("{\"format\": \"slotwise-snapshot/2\"}").contains("take a newer slotwise"));
    assert!(refused("{\"format\": \"slotwise-snapshot/1\"} x").contains("trailing characters"));
}

/// What may reach a terminal: printable ASCII and line ends.
fn is_safe(text: &str) -> bool {
    text.bytes().all(|byte| byte == b'\n' || (b' '..=b'~').contains(&byte))
}

/// A board file with one part of it put in place of another, so that the reader gets past its first checks.
fn garbled() -> impl Strategy<Value = Vec<u8>> {
    let wren = fs::read(folder("checklists/boards/wren.toml")).unwrap();
    let len = wren.len();
    (any::<proptest::sample::Index>(), 0..40usize, proptest::collection::vec(any::<u8>(), 0..12)).prop_map(
        move |(at, cut, with)| {
            let at = at.index(len);
            let mut bytes = wren.clone();
            bytes.splice(at..(at + cut).min(len), with);
            bytes
        },
    )
}

proptest! {
    #[test]
    fn arbitrary_bytes_are_refused_in_safe_text(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let text = Text { file: "x\u{1b}[2J.toml", bytes: &bytes };
        let faults = from_toml::<Board>(&text).unwrap_err();
        prop_assert!(is_safe(&faults.to_string()), "{faults}");
        let faults = from_json::<Value>(&text, "slotwise-snapshot/1").unwrap_err();
        prop_assert!(is_safe(&faults.to_string()), "{faults}");
    }

    #[test]
    fn text_like_toml_is_refused_in_safe_text(text in "(format = \"slotwise-(board|plan)/[12]\"\n)?([a-c\"'\\[\\]{}=.,#\n\u{202e}\u{9b}1-3 ]{0,80})") {
        let told = from_toml::<Board>(&Text { file: "x", bytes: text.as_bytes() }).unwrap_err().to_string();
        prop_assert!(is_safe(&told), "{told}");
        let told = slotwise::plan::load(&Text { file: "x", bytes: text.as_bytes() }, &mut |_| Ok(Vec::new())).unwrap_err();
        prop_assert!(is_safe(&told.to_string()), "{told}");
    }

    #[test]
    fn a_garbled_board_never_panics(bytes in garbled()) {
        if let Err(faults) = from_toml::<Board>(&Text { file: "x", bytes: &bytes }) {
            prop_assert!(!faults.faults.is_empty());
            prop_assert!(is_safe(&faults.to_string()), "{faults}");
        }
    }
}
