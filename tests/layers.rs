//! Rooms use only rooms below them, and the middle ones touch no file, clock or terminal. The order is the one that the
//! library's own page tells.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Below the prompt, only these read or write files.
const MAY_TOUCH_FILES: [&str; 4] = ["record/journal", "record/read.rs", "snapshot/", "machine/tree.rs"];

/// Rooms that talk to people and so may know terminals; those below them may not.
const LOWEST_WITH_A_TERMINAL: &str = "prompt";

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// The rooms of the table in `lib.rs`, from the top down; those on one row are level.
fn rooms() -> Vec<Vec<String>> {
    let lib = fs::read_to_string(root().join("lib.rs")).unwrap();
    let rows = lib.lines().filter_map(|line| line.strip_prefix("//! | ")).filter_map(|row| row.split(" | ").next());
    rows.map(|first| first.split('`').skip(1).step_by(2).map(str::to_owned).collect::<Vec<_>>())
        .filter(|row| !row.is_empty())
        .collect()
}

/// Where a room stands, 0 at the top.
fn place(rooms: &[Vec<String>], name: &str) -> Option<usize> {
    rooms.iter().position(|row| row.iter().any(|room| room == name))
}

/// Source without comments and without what is compiled for tests only.
fn code(text: &str) -> String {
    let mut out = String::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.trim_start().starts_with("//") {
            continue;
        }
        if line.trim() != "#[cfg(test)]" {
            out.push_str(line);
            out.push('\n');
            continue;
        }
        // The item that follows: one line, or up to the brace that closes it, which formatting puts below its first letter.
        let indent = line.len() - line.trim_start().len();
        let item = lines.by_ref().find(|line| !line.trim_start().starts_with("#[")).unwrap_or_default();
        if item.ends_with('{') {
            let end = format!("{}}}", " ".repeat(indent));
            let _ = lines.by_ref().find(|line| *line == end);
        }
    }
    out
}

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
    let mut found = Vec::new();
    walk(&root(), &mut found);
    let sources: Vec<_> = found
        .into_iter()
        .map(|path| {
            let name = path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
            (name, code(&fs::read_to_string(&path).unwrap()))
        })
        // Tests may build what they like.
        .filter(|(name, _)| !name.ends_with("tests.rs") && !name.contains("/tests/"))
        .collect();
    assert!(sources.len() > 100, "the sources were not found");
    sources
}

/// The rooms that a source names, alone or in a list: `crate::a::B`, `crate::{a, b::{C, D}}`.
fn named(code: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    let word = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    for (at, found) in code.match_indices("crate::") {
        let rest = &code[at + found.len()..];
        let Some(list) = rest.strip_prefix('{') else {
            names.insert(word(rest));
            continue;
        };
        let mut depth = 1;
        let mut start = true;
        for (at, c) in list.char_indices() {
            match c {
                '{' => depth += 1,
                '}' => depth -= 1,
                ',' if depth == 1 => start = true,
                c if start && !c.is_whitespace() => {
                    names.insert(word(&list[at..]));
                    start = false;
                }
                _ => {}
            }
            if depth == 0 {
                break;
            }
        }
    }
    names
}

fn room(name: &str) -> &str {
    name.split(['/', '.']).next().unwrap()
}

#[test]
fn every_room_of_the_library_is_in_its_table_and_the_other_way_round() {
    let lib = fs::read_to_string(root().join("lib.rs")).unwrap();
    let declared: BTreeSet<String> = lib
        .lines()
        .filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';'))
        // What comes from outside, which every room above the middle takes.
        .filter(|name| *name != "env")
        .map(str::to_owned)
        .collect();
    let told: BTreeSet<String> = rooms().into_iter().flatten().collect();
    assert_eq!(told, declared);
}

#[test]
fn no_room_names_a_room_above_it() {
    let rooms = rooms();
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (name, code) in sources() {
        let Some(own) = place(&rooms, room(&name)) else { continue };
        for other in named(&code) {
            let Some(at) = place(&rooms, &other) else { continue };
            seen += 1;
            if at < own {
                wrong.push(format!("{name} names {other}, which stands above {}", room(&name)));
            }
        }
    }
    assert!(seen > 300, "only {seen} uses of rooms were seen at all");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_middle_knows_no_file_clock_or_terminal() {
    let rooms = rooms();
    let talks = place(&rooms, LOWEST_WITH_A_TERMINAL).unwrap();
    let mut wrong = Vec::new();
    for (name, code) in sources() {
        if place(&rooms, room(&name)).is_none_or(|own| own <= talks) {
            continue;
        }
        for word in [
            "println!",
            "eprintln!",
            "print!(",
            "dbg!",
            "io::stdin",
            "io::stdout",
            "io::stderr",
            "is_terminal()",
            "Instant::now",
            "SystemTime::now",
            "Local::now",
            "Utc::now",
            "env::var",
            "env::args",
            "current_dir",
            "process::Command",
        ] {
            if code.contains(word) {
                wrong.push(format!("{name}: {word}"));
            }
        }
        let files =
            ["std::fs", "fs::", "File::open", "File::create", "OpenOptions"].iter().any(|word| code.contains(word));
        if files && !MAY_TOUCH_FILES.iter().any(|allowed| name.starts_with(allowed)) {
            wrong.push(format!("{name}: files"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn these_checks_see_what_they_look_for() {
    let text = "use crate::{\n    draw::{A, b},\n    text,\n};\n// crate::commands\nfn f() -> crate::plan::Plan {}\n\
                #[cfg(test)]\nmod tests {\n    use crate::runner;\n}\nuse crate::board;\n#[cfg(test)]\nmod more;\nuse crate::order;\n";
    let names: Vec<String> = named(&code(text)).into_iter().collect();
    assert_eq!(names, ["board", "draw", "order", "plan", "text"]);
}
