//! `slotwise board check` and `slotwise board draw`, `slotwise schema`: what they print and how they end.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking, in its helpers too")]

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::PathBuf;
use std::rc::Rc;

use slotwise::commands::board::{CheckArgs, DrawArgs, check, draw};
use slotwise::commands::schema::{self, Name, SchemaArgs};
use slotwise::commands::{CommandError, Exit};
use slotwise::env::{Env, SystemClock, Terminal};

/// A stream whose bytes can be looked at.
#[derive(Clone, Default)]
struct Kept(Rc<RefCell<Vec<u8>>>);

impl Write for Kept {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Runs a command at the root of the package, on a terminal of `columns` or on none.
fn run(
    columns: Option<u16>,
    command: impl FnOnce(&mut Env) -> Result<Exit, CommandError>,
) -> (Result<Exit, CommandError>, String) {
    let out = Kept::default();
    let mut env = Env {
        program: "slotwise".to_owned(),
        clock: Rc::new(SystemClock::default()),
        seed: 1,
        root: PathBuf::from("/"),
        folder: PathBuf::from(env!("CARGO_MANIFEST_DIR")),
        variables: BTreeMap::new(),
        terminal: Terminal {
            stdout_is_terminal: columns.is_some(),
            size: columns.map(|columns| (columns, 24)),
            ..Terminal::default()
        },
        stdin: Some(Box::new(std::io::empty())),
        stdout: Box::new(out.clone()),
        stderr: Box::new(std::io::sink()),
    };
    let result = command(&mut env);
    let text = String::from_utf8(out.0.borrow().clone()).unwrap();
    (result, text)
}

fn check_files(files: &[&str], json: bool) -> (Result<Exit, CommandError>, String) {
    let args = CheckArgs { files: files.iter().map(PathBuf::from).collect(), json };
    run(None, |env| check(env, &args))
}

fn draw_file(file: &str, columns: Option<u16>, json: bool) -> String {
    let args = DrawArgs { file: PathBuf::from(file), json };
    let (result, text) = run(columns, |env| draw(env, &args));
    assert_eq!(result.unwrap(), Exit::Done);
    text
}

#[test]
fn a_sound_board_is_told_in_numbers_with_what_is_unknown() {
    let (result, text) = check_files(&["checklists/boards/heron.toml"], false);
    assert_eq!(result.unwrap(), Exit::Done);
    insta::assert_snapshot!(text);
}

#[test]
fn a_board_with_faults_ends_in_65_and_the_others_are_checked_all_the_same() {
    let files = ["tests/files/invalid/board-newer.toml", "not-there.toml", "checklists/boards/wren.toml"];
    let (result, text) = check_files(&files[..1], false);
    assert_eq!(result.unwrap(), Exit::BadData);
    assert!(text.starts_with("tests/files/invalid/board-newer.toml:1:10: fault: "), "{text}");

    let (result, text) = check_files(&files, false);
    assert_eq!(result.unwrap_err().exit, Exit::NoInput);
    assert!(text.contains("board-newer.toml:1:10: fault: ") && text.contains("board Wren, no faults"), "{text}");
}

#[test]
fn check_tells_the_same_in_json() {
    let files = ["tests/files/invalid/board-many.toml", "not-there.toml", "checklists/boards/curlew.toml"];
    let (_, text) = check_files(&files, true);
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(json["files"][0]["faults"][1]["line"], 4);
    assert_eq!(json["files"][0]["faults"][1]["key"], "colour");
    assert!(json["files"][0]["board"].is_null());
    assert!(json["files"][1]["error"].is_string());
    let board = &json["files"][2]["board"];
    assert_eq!((board["slots"].as_u64(), board["largest_gib"].as_u64()), (Some(32), Some(8192)));
    assert!(board["unknown"].as_array().unwrap().contains(&"ranks a channel".into()));
}

#[test]
fn a_board_is_drawn_with_its_channels_and_covers() {
    insta::assert_snapshot!(draw_file("checklists/boards/heron.toml", None, false));
}

#[test]
fn a_narrow_terminal_gets_a_list() {
    let text = draw_file("checklists/boards/heron.toml", Some(40), false);
    assert!(text.contains("F/1") && text.contains("[1]F1-1 [2]F1-2 [3]F1-3"), "{text}");
}

#[test]
fn the_drawing_in_json_has_every_slot() {
    let json: serde_json::Value = serde_json::from_str(&draw_file("checklists/boards/heron.toml", None, true)).unwrap();
    let slots = json["slots"].as_array().unwrap();
    assert_eq!(slots.len(), 24);
    let covered: Vec<bool> = slots.iter().map(|slot| slot["covers"].as_array().unwrap().len() == 2).collect();
    assert_eq!(covered.iter().filter(|covered| **covered).count(), 12);
    assert_eq!(slots[12]["slot"], "R1-1");
}

#[test]
fn the_keys_of_every_other_bank_lie_the_other_way() {
    let json: serde_json::Value = serde_json::from_str(&draw_file("checklists/boards/heron.toml", None, true)).unwrap();
    let keys: Vec<&str> = json["slots"].as_array().unwrap().iter().map(|slot| slot["key"].as_str().unwrap()).collect();
    for (bank, keys) in keys.chunks(6).enumerate() {
        let expected = if bank % 2 == 0 { "front" } else { "rear" };
        assert!(keys.iter().all(|key| *key == expected), "bank {bank}");
    }
}

#[test]
fn every_schema_is_one_and_takes_a_board_that_we_take() {
    for name in [Name::Board, Name::Order, Name::Plan, Name::Checklist, Name::Snapshot, Name::Record] {
        let (result, text) = run(None, |env| schema::run(env, &SchemaArgs { name }));
        assert_eq!(result.unwrap(), Exit::Done);
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        let validator = jsonschema::validator_for(&json).unwrap_or_else(|error| panic!("{name:?}: {error}"));
        let board = std::fs::read_to_string("checklists/boards/wren.toml").unwrap();
        let board = serde_json::to_value(toml::from_str::<toml::Value>(&board).unwrap()).unwrap();
        assert_eq!(validator.is_valid(&board), name == Name::Board, "{name:?}");
    }
}
