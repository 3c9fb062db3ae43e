//! Every hostile entry at every exit: a record that holds it in each free field, shown by each command that shows a record,
//! with two oracles: the bytes of the stream, and the screen as a terminal sees it. And the rules for hostile text, one by one.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod program;
mod sealed;
mod told;

use std::cell::RefCell;
use std::fs;
use std::io::{self, Write};
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::atomic::{AtomicUsize, Ordering};

use base64::Engine as _;
use rexpect::session::{Options, spawn_with_options};
use rustix::termios::{Winsize, tcsetwinsize};
use slotwise::commands::Exit;
use slotwise::commands::archive::is_safe_name;
use slotwise::env::{Env, SystemClock, Terminal};
use slotwise::module::Match;
use slotwise::module::scan::read as read_scan;
use slotwise::record::sign::Hash;
use slotwise::record::{Journal, Opened, Role, chain, is_job_id, job_id};
use slotwise::text::{shown, shown_bytes, shown_within};
use told::{events, hostile, lines, opened};

/// The entries of the collection, those that are no UTF-8 as what reading them leaves, and the general strings (MIT).
fn entries(check: &str) -> Option<Vec<(String, String)>> {
    let mut entries = hostile::strings(check)?;
    let folder = hostile::folder();
    for line in fs::read_to_string(folder.join("strings.jsonl")).unwrap().lines() {
        let entry: serde_json::Value = serde_json::from_str(line).unwrap();
        if let Some(hex) = entry["bytes_hex"].as_str() {
            let bytes: Vec<u8> =
                (0..hex.len() / 2).map(|n| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).unwrap()).collect();
            entries.push((entry["id"].as_str().unwrap().to_owned(), String::from_utf8_lossy(&bytes).into_owned()));
        }
    }
    assert_eq!(entries.len(), 169, "not every entry is here");
    let general: Vec<String> = serde_json::from_slice(&fs::read(folder.join("blns.base64.json")).unwrap()).unwrap();
    for (n, text) in general.iter().enumerate() {
        let bytes = base64::engine::general_purpose::STANDARD.decode(text).unwrap();
        entries.push((format!("general {n}"), String::from_utf8_lossy(&bytes).into_owned()));
    }
    Some(entries)
}

/// A stream that is kept.
#[derive(Clone, Default)]
struct Kept(Rc<RefCell<Vec<u8>>>);

impl Write for Kept {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

struct Said {
    exit: Exit,
    stdout: Vec<u8>,
    stderr: Vec<u8>,
}

/// The whole program in this process, its streams kept; as on a terminal with colour, or as in a pipe.
fn run(folder: &Path, terminal: bool, args: &[&str]) -> Said {
    let (stdout, stderr) = (Kept::default(), Kept::default());
    let mut env = Env {
        clock: Rc::new(SystemClock::default()),
        program: "slotwise".to_owned(),
        seed: 7,
        root: PathBuf::from("/nowhere"),
        folder: folder.to_owned(),
        variables: [("TERM".to_owned(), "xterm".to_owned())].into(),
        terminal: Terminal {
            stdin_is_terminal: false,
            stdout_is_terminal: terminal,
            stderr_is_terminal: terminal,
            size: Some((80, 24)),
        },
        stdin: Some(Box::new(io::empty())),
        stdout: Box::new(stdout.clone()),
        stderr: Box::new(stderr.clone()),
    };
    let exit = slotwise::commands::run(std::iter::once("slotwise").chain(args.iter().copied()), &mut env);
    drop(env);
    Said { exit, stdout: stdout.0.take(), stderr: stderr.0.take() }
}

/// A record in which everything happens, and a signed one, with `text` in every free field.
fn records(folder: &Path, text: &str) {
    // A slot is called something; a plan without is refused before there is a record.
    let fill = |field: &str| if field == "slot" && text.trim().is_empty() { "A1".to_owned() } else { text.to_owned() };
    fs::write(folder.join("told.jsonl"), lines(opened(&fill), events(&fill)).2).unwrap();
    let inner = folder.join("signed");
    let _ = fs::remove_dir_all(&inner);
    fs::create_dir(&inner).unwrap();
    let who = if text.trim().is_empty() || text.trim() == "slotwise" { "blank" } else { text };
    let opened: Opened = Opened { technician: who.to_owned(), ..opened(&fill) };
    let mut journal = Journal::create(&inner, who, sealed::at(0), opened).unwrap();
    sealed::seal(&mut journal, 10, who, Role::Technician, &sealed::key(1), Hash::Sha256);
    fs::rename(journal.path(), folder.join("signed.jsonl")).unwrap();
}

/// Every command that shows a record, and what it is called here.
fn exits<'a>(serial: &'a str, text: &'a str) -> Vec<Vec<&'a str>> {
    let mut exits = vec![
        vec!["review", "told.jsonl"],
        vec!["review", "told.jsonl", "--items"],
        vec!["review", "told.jsonl", "--json"],
        vec!["rma", "told.jsonl", "--", serial],
        vec!["rma", "told.jsonl", "--json", "--", serial],
        vec!["audit", "told.jsonl"],
        vec!["audit", "signed.jsonl"],
        vec!["audit", "told.jsonl", "signed.jsonl"],
        vec!["audit", "signed.jsonl", "--json"],
        vec!["report", "told.jsonl", "-o", "page.html", "--force"],
        vec!["resume", "told.jsonl", "--plain"],
    ];
    exits.push(vec!["sign", "signed.jsonl", "--role", "supervisor", "--typed", "--name", text]);
    exits.push(vec!["audit", "--fingerprint", text, "told.jsonl"]);
    // What nobody asked for, as the name of a command, a value and a file.
    exits.push(vec![text, "told.jsonl"]);
    exits.push(vec!["sign", "signed.jsonl", "--typed", "--role", text]);
    exits.push(vec!["archive", "unpack", text]);
    exits.retain(|exit| !exit.iter().any(|argument| argument.contains('\0')));
    exits
}

fn size(of: usize) -> NonZero<u16> {
    NonZero::new(u16::try_from(of).unwrap()).unwrap()
}

/// First oracle: the bytes. Second: a terminal of the usual kind shows just these lines, and its cursor stands behind them.
#[track_caller]
fn only_prints(what: &str, stream: &[u8], colour: bool) -> usize {
    told::screen::is_clean(stream, colour);
    let rows = told::screen::rows(stream);
    assert!(rows.len() < 60_000, "{what}");
    let width = rows.iter().map(String::len).max().unwrap_or(0) + 2;
    if width > 8_000 {
        return rows.len();
    }
    let mut terminal = vt100::Parser::new(size(rows.len()), size(width), 0);
    // Where a line begins is the line discipline's to say, which is not here.
    terminal.process(&stream.split(|byte| *byte == b'\n').collect::<Vec<_>>().join(&b"\r\n"[..]));
    let screen = terminal.screen();
    for (seen, due) in screen.rows(0, width as u16).zip(&rows) {
        assert_eq!(seen.trim_end(), due.trim_end(), "{what}");
    }
    let last = rows.last().map_or(0, String::len);
    assert_eq!(screen.cursor_position(), ((rows.len() - 1) as u16, last as u16), "{what}");
    assert_eq!((screen.alternate_screen(), screen.hide_cursor()), (false, false), "{what}");
    rows.len()
}

#[test]
fn every_entry_at_every_exit_prints_and_does_nothing_else() {
    let Some(entries) = entries("hostile text at every exit") else { return };
    let (next, shows) = (AtomicUsize::new(0), AtomicUsize::new(0));
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                let folder = tempfile::tempdir().unwrap();
                while let Some((name, text)) = entries.get(next.fetch_add(1, Ordering::Relaxed)) {
                    shows.fetch_add(at_every_exit(folder.path(), name, text), Ordering::Relaxed);
                }
            });
        }
    });
    let _ = writeln!(io::stderr(), "{} entries at {} exits", entries.len(), shows.into_inner());
}

fn at_every_exit(folder: &Path, name: &str, text: &str) -> usize {
    let before = fs::read_dir(folder).unwrap().count();
    records(folder, text);
    let mut shows = 0;
    let mut pages = Vec::new();
    let general = name.starts_with("general");
    for args in exits(text, text) {
        // The general ones at the exits that show all of a record.
        if general && !matches!(args[..], ["review", _, "--items"] | ["audit", _] | ["report", ..] | ["archive", ..]) {
            continue;
        }
        for terminal in if general { &[false][..] } else { &[false, true] } {
            let terminal = *terminal;
            let what = format!("{name}: {args:?}");
            let said = run(folder, terminal, &args);
            assert!(said.exit.code() < 78, "{what}");
            // What is wrong with the command line itself is told in the colours of its parser.
            let by_parser = said.exit == Exit::Usage || args[0] == text;
            if !by_parser || !terminal {
                only_prints(&what, &said.stdout, terminal);
                only_prints(&what, &said.stderr, terminal);
            } else {
                let odd = said.stderr.iter().find(|byte| !matches!(byte, b' '..=b'~' | b'\n' | 0x1b));
                assert_eq!(odd, None, "{what}");
                let plain = run(folder, false, &args).stderr;
                let lines = |bytes: &[u8]| bytes.iter().filter(|byte| **byte == b'\n').count();
                assert_eq!(lines(&plain), lines(&said.stderr), "{what}");
            }
            shows += 2;
            if args.contains(&"--json") && matches!(said.exit, Exit::Done | Exit::Findings) {
                let json: serde_json::Value = serde_json::from_slice(&said.stdout).unwrap();
                assert!(json.to_string().contains(&serde_json::to_string(text).unwrap()), "{what}: the true value");
            }
            if let Ok(page) = fs::read(folder.join("page.html")) {
                only_prints(&what, &page, false);
                pages.push(page);
                fs::remove_file(folder.join("page.html")).unwrap();
                shows += 1;
            }
        }
    }
    assert_eq!(pages.len(), if general { 1 } else { 2 }, "{name}");
    d9_page(name, &pages[0]);
    // What is only text is the same number of lines as its cleaned form, which a terminal would not mind.
    let count = |text: &str| {
        records(folder, text);
        ["review", "audit"]
            .map(|command| told::screen::rows(&run(folder, false, &[command, "told.jsonl"]).stdout).len())
    };
    if !general && text.trim() == text && shown_within(text, 40).as_str() == shown_within(text, 4_000).as_str() {
        assert_eq!(count(text), count(shown(text).as_str()), "{name}");
    }
    // No name of a file comes from the text.
    let names: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert!(before == 0 || names.len() == before, "{name}: {names:?}");
    shows
}

/// D9: the text is text: as many tags as without it, a policy that lets nothing in, no script.
#[track_caller]
fn d9_page(name: &str, page: &[u8]) {
    let page = std::str::from_utf8(page).unwrap();
    assert!(page.contains("<meta charset=\"utf-8\">") && page.contains("default-src 'none'"), "{name}");
    for bad in ["<script", "<iframe", "<object", "<embed", "<base", "<form", "<img", "<a ", "<link"] {
        assert!(!page.contains(bad), "{name}: {bad}");
    }
    // Whatever an attribute holds, it ends where it should: no event handler stands in a tag.
    for tag in page.split('<').skip(1).map(|tag| tag.split('>').next().unwrap()) {
        let outside: String = tag.split('"').step_by(2).collect();
        assert!(!outside.contains(" on"), "{name}: <{tag}>");
    }
}

#[test]
fn d1_one_function_makes_what_is_shown_and_only_the_screen_writes_escapes() {
    let mut sources = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
    let mut seen = 0;
    while let Some(path) = sources.pop() {
        if path.is_dir() {
            sources.extend(fs::read_dir(path).unwrap().map(|entry| entry.unwrap().path()));
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        let name = path.to_string_lossy();
        if name.ends_with("tests.rs") {
            continue;
        }
        seen += 1;
        let ours = ["/draw/", "/prompt/", "/text/"].iter().any(|room| name.contains(room));
        assert!(ours || !code.contains("\\x1b") && !code.contains("\\u{1b}"), "{name} writes an escape");
        // D8: nothing is handed to another program, least of all to a shell.
        assert!(!code.contains("process::Command"), "{name} runs another program");
        // D10: no table for a spreadsheet leaves the program; the one writer feeds our own reader, in memory.
        assert!(!code.contains("csv::Writer") || name.ends_with("stock/fitted.rs"), "{name} writes CSV");
    }
    assert!(seen > 150, "{seen}");
}

#[test]
fn d2_what_cannot_be_shown_is_equal_to_nothing_and_look_alikes_are_named() {
    for (read, wanted) in [("\u{410}1B2", "A1B2"), ("A1B2\u{200b}", "A1B2"), ("A1B2", "\u{410}1B2"), ("é", "é")] {
        assert_eq!(read_scan(read).matches(wanted), Match::No, "{read:?}");
    }
    let found = read_scan("O123").matches("0123");
    assert!(!found.accepts());
    assert_eq!(found.difference().unwrap(), "place 1: letter O was read, digit 0 is expected");
    assert!(!read_scan("a1b2").matches("A1B2").accepts(), "no folding behind the person's back");
}

#[test]
fn d3_a_long_value_is_cut_with_its_true_length() {
    let long = "A".repeat(10_000);
    assert_eq!(shown(&long).columns(), 80);
    assert!(shown(&long).as_str().ends_with("... (10000 characters)"));
}

#[test]
fn d4_placeholders_are_no_identity() {
    for value in ["Not Specified", "00000000", "FFFFFFFF", "   ", "Unknown"] {
        assert!(slotwise::snapshot::is_placeholder(value), "{value:?}");
    }
}

/// D5: no colour where it is not wanted, and none that text chose: the table above lets only our own through.
#[test]
fn d5_text_never_chooses_colour() {
    let folder = tempfile::tempdir().unwrap();
    let colours = |text: &str| {
        records(folder.path(), text);
        let said = run(folder.path(), true, &["review", "told.jsonl"]);
        assert!(!run(folder.path(), false, &["review", "told.jsonl"]).stdout.contains(&0x1b));
        said.stdout.split(|byte| *byte == 0x1b).count()
    };
    assert_eq!(colours("\x1b[31mX\x1b[0m"), colours(shown("\x1b[31mX\x1b[0m").as_str()));
}

#[test]
fn d6_no_name_of_a_file_is_made_of_anything_but_letters_digits_and_dashes() {
    let Some(entries) = entries("hostile text in names of files") else { return };
    for (name, text) in entries {
        let job = job_id(sealed::at(0), &text, 7);
        assert!(is_job_id(&job) && job.starts_with("2026-11-25-") && job.len() <= 64, "{name}: {job}");
        assert!(is_safe_name(&format!("{job}.jsonl")), "{name}: {job}");
        assert!(!is_safe_name(&text) || text == "SHA256SUMS", "{name}: {text:?} would be unpacked");
    }
}

/// D7: documents that are bombs or mean two things are refused as lines of a record.
#[test]
fn d7_documents_with_two_meanings_or_without_bounds_are_refused() {
    if hostile::strings("hostile documents").is_none() {
        return;
    }
    let mut refused = 0;
    for line in fs::read_to_string(hostile::folder().join("json_cases.jsonl")).unwrap().lines() {
        let case: serde_json::Value = serde_json::from_str(line).unwrap();
        let text = match (case["text"].as_str(), case["hex"].as_str(), case["id"].as_str().unwrap()) {
            (Some(text), ..) => text.as_bytes().to_vec(),
            (None, Some(hex), _) => {
                (0..hex.len() / 2).map(|n| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).unwrap()).collect()
            }
            (None, None, "depth-100000") => b"{\"a\":".repeat(100_000),
            (None, None, _) => [b"[".repeat(128), b"]".repeat(128)].concat(),
        };
        let head = chain::Head::default();
        let wrong = chain::decode(text.strip_suffix(b"\n").unwrap_or(&text), &head).unwrap_err();
        assert!(wrong.to_string().bytes().all(|byte| matches!(byte, b' '..=b'~')), "{case}: {wrong}");
        refused += 1;
    }
    assert_eq!(refused, 27);
    assert_eq!(chain::decode(&vec![b'['; chain::LONGEST_LINE + 1], &chain::Head::default()).unwrap_err(), {
        slotwise::record::Wrong::TooLong
    });
}

/// D10 in words: what a spreadsheet would calculate stays what it is in JSON, and there is no table to open.
#[test]
fn d10_formulas_stay_text() {
    let folder = tempfile::tempdir().unwrap();
    for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"] {
        records(folder.path(), text);
        let said = run(folder.path(), false, &["review", "told.jsonl", "--json"]);
        let json: serde_json::Value = serde_json::from_slice(&said.stdout).unwrap();
        assert_eq!(json["record"]["unit"].as_str(), Some(text));
    }
    assert_eq!(shown_bytes(b"=1\xff").as_str(), "=1\\xFF");
}

/// The page of a question on a real terminal: the first entries of each class, and the prompt stays where it was.
#[test]
fn on_a_terminal_the_page_stays_where_it_is() {
    const TEST: &str = "hostile text in the page of a question";
    let Some(strings) = hostile::strings(TEST) else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut kinds = std::collections::BTreeMap::new();
    for (name, text) in strings {
        let kind = name.split('-').next().unwrap().to_owned();
        let some: &mut Vec<(String, String)> = kinds.entry(kind).or_default();
        if some.len() < 2 && shown(&text).columns() < 60 && text.trim() == text {
            some.push((name, text));
        }
    }
    let entries: Vec<_> = kinds.into_values().flatten().collect();
    assert!(entries.len() > 15, "{}", entries.len());
    for (name, text) in entries {
        let screens = [text.clone(), shown(&text).to_string()].map(|text| page(folder.path(), &text));
        let [hostile, harmless] = screens;
        assert_eq!(hostile.1, harmless.1, "{name}: the cursor moved\n{}\n{}", hostile.0, harmless.0);
        // Where a value is cut, its length stands, which is not that of its cleaned form: the rows stay, not their widths.
        let rows = |screen: &str| screen.lines().count();
        assert_eq!(rows(&hostile.0), rows(&harmless.0), "{name}\n{}\n{}", hostile.0, harmless.0);
        assert!(hostile.0.chars().all(|c| matches!(c, ' '..='~' | '\n')), "{name}: {}", hostile.0);
    }
}

/// The screen, and where its cursor stands, when the job of such a record asks its first question.
fn page(folder: &Path, text: &str) -> (String, (u16, u16)) {
    let _ = fs::remove_file(folder.join("told.jsonl"));
    records(folder, text);
    // Without its sign-off.
    let record = folder.join("told.jsonl");
    let whole = fs::read_to_string(&record).unwrap();
    fs::write(&record, whole.split_inclusive('\n').take(2).collect::<String>()).unwrap();
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_slotwise"));
    command.args(["resume", record.to_str().unwrap()]).env_clear().env("TERM", "xterm").env("NO_COLOR", "1");
    let mut session = spawn_with_options(command, Options::new().timeout_ms(Some(10_000))).unwrap();
    tcsetwinsize(
        session.process().get_file_handle().unwrap(),
        Winsize { ws_col: 80, ws_row: 24, ws_xpixel: 0, ws_ypixel: 0 },
    )
    .unwrap();
    let seen = session.exp_string("\n> ").unwrap() + "\n> ";
    session.send_control('c').unwrap();
    let _ = session.exp_eof();
    let mut terminal = vt100::Parser::new(size(24), size(80), 0);
    // The session hands out one character a byte.
    terminal.process(&seen.chars().map(|c| c as u8).collect::<Vec<_>>());
    (terminal.screen().contents(), terminal.screen().cursor_position())
}
