//! Rooms use only rooms below them, and the middle ones touch no file, clock or terminal.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::fs;
use std::path::{Path, PathBuf};

/// From the top down.
const ROOMS: [&str; 18] = [
    "commands",
    "runner",
    "prompt",
    "report",
    "draw",
    "isolate",
    "record",
    "verify",
    "machine",
    "snapshot",
    "checklist",
    "plan",
    "stock",
    "order",
    "board",
    "module",
    "source",
    "text",
];

/// Below the prompt, only these read or write files.
const MAY_TOUCH_FILES: [&str; 4] = ["record/journal", "record/read.rs", "snapshot/", "machine/tree.rs"];

fn sources() -> Vec<(String, String)> {
    fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, found);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                found.push(path);
            }
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    walk(&root, &mut found);
    found
        .into_iter()
        .map(|path| {
            let name = path.strip_prefix(&root).unwrap().to_string_lossy().into_owned();
            let text = fs::read_to_string(&path).unwrap();
            // Tests may build what they like.
            let code = text.split("#[cfg(test)]").next().unwrap();
            let code = code.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n");
            (name, code)
        })
        .filter(|(name, _)| !name.ends_with("tests.rs") && !name.contains("/tests/"))
        .collect()
}

fn room(name: &str) -> Option<usize> {
    let first = name.split(['/', '.']).next().unwrap();
    ROOMS.iter().position(|room| *room == first)
}

#[test]
fn no_room_names_a_room_above_it() {
    let sources = sources();
    assert!(sources.len() > 100, "the sources were not found");
    let mut wrong = Vec::new();
    for (name, code) in &sources {
        let Some(own) = room(name) else { continue };
        for (above, other) in ROOMS.iter().enumerate().take(own) {
            let named = code.contains(&format!("crate::{other}::")) || code.contains(&format!("crate::{{{other}"));
            if named {
                wrong.push(format!("{name} (room {}) names {other} (room {})", own + 1, above + 1));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_middle_knows_no_file_clock_or_terminal() {
    let mut wrong = Vec::new();
    for (name, code) in sources() {
        if room(&name).is_none_or(|own| own < 3) {
            continue;
        }
        for word in [
            "println!",
            "eprintln!",
            "print!(",
            "Instant::now",
            "SystemTime::now",
            "Local::now",
            "Utc::now",
            "std::env::var",
        ] {
            if code.contains(word) {
                wrong.push(format!("{name}: {word}"));
            }
        }
        let files = code.contains("std::fs") || code.contains("File::open") || code.contains("use std::{fs");
        if files && !MAY_TOUCH_FILES.iter().any(|allowed| name.starts_with(allowed)) {
            wrong.push(format!("{name}: files"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
