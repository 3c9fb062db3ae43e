//! Text that was made to do harm, in every field a person, a scanner, a file or a firmware fills: what comes out is lines
//! of printable ASCII, and the job goes on.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use std::io::Write as _;
use std::time::Duration;

use program::{Bench, Ran, SITE, UNIT, first_scan, right, whole};
use rexpect::session::{Options, spawn_with_options};
use rustix::termios::{Winsize, tcsetwinsize};
use slotwise::checklist::{ScanOf, Site, expand};
use slotwise::machine::{Boot, Fault, Machine};
use slotwise::plan::{self, Plan};
use slotwise::source::{Text, from_toml};

/// Where the collection is.
fn collection() -> std::path::PathBuf {
    std::env::var("SLOTWISE_SHARED")
        .map_or_else(|_| concat!(env!("CARGO_MANIFEST_DIR"), "/../shared").into(), std::path::PathBuf::from)
        .join("data/record/hostile/strings.jsonl")
}

/// The collected strings; `None`, said aloud, where they are not.
fn strings(test: &str) -> Option<Vec<String>> {
    let path = collection();
    let Ok(text) = std::fs::read_to_string(&path) else {
        eprintln!("SKIPPED {test}: {} is not there", path.display());
        return None;
    };
    let strings: Vec<String> = text
        .lines()
        .filter_map(|line| {
            serde_json::from_str::<serde_json::Value>(line).unwrap()["value"].as_str().map(str::to_owned)
        })
        .collect();
    assert!(strings.len() > 100, "the strings were not read");
    Some(strings)
}

/// On one line, as a scanner or a keyboard sends it.
fn one_line(text: &str) -> String {
    text.replace(['\n', '\r', '\t'], " ")
}

fn is_safe(byte: u8) -> bool {
    byte == b'\n' || (b' '..=b'~').contains(&byte)
}

#[track_caller]
fn assert_safe(ran: &Ran, what: &str) {
    for (name, stream) in [("stdout", &ran.stdout), ("stderr", &ran.stderr)] {
        let bad = stream.lines().find(|line| !line.bytes().all(is_safe));
        assert!(bad.is_none(), "{what:?}: {name} says {bad:?}");
    }
    assert!([0, 1, 2, 3, 65].contains(&ran.code), "{what:?}: exit {}\n{}", ran.code, ran.stderr);
    assert!(!ran.stderr.contains("panicked"), "{what:?}: {}", ran.stderr);
}

#[test]
fn hostile_scans_are_refused_at_every_kind_of_scan_and_the_job_comes_to_its_end() {
    let Some(strings) = strings("hostile_scans_are_refused_at_every_kind_of_scan_and_the_job_comes_to_its_end") else {
        return;
    };
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    // A colon in front is a command, and two are a value with one.
    let hostile: Vec<String> = strings
        .iter()
        .map(|text| one_line(text))
        .filter(|text| !text.trim().is_empty())
        .map(|text| if text.trim_start().starts_with(':') { format!(":{}", text.trim_start()) } else { text })
        .collect();
    let mut lines = whole(&steps, "tree");
    let mut places: Vec<usize> = [ScanOf::Enclosure, ScanOf::Bay, ScanOf::Chassis, ScanOf::Slot, ScanOf::Module]
        .map(|of| first_scan(&steps, of))
        .into();
    places.push(lines.iter().position(|line| line == "tree").unwrap());
    places.sort_unstable();
    for place in places.into_iter().rev() {
        lines.splice(place..place, hostile.iter().cloned());
    }
    let ran = bench.install(&lines);
    assert_safe(&ran, "scans");
    ran.ends(0);
    let job = bench.job();
    assert!(job.is_done());
    assert!(job.refused_in_all() > 300, "{} refused", job.refused_in_all());
    assert_eq!((job.problems().len(), job.overrides().len(), job.corrections().len()), (0, 0, 0));
    let raw = std::fs::read(bench.record()).unwrap();
    assert!(raw.iter().all(|byte| is_safe(*byte)), "the record itself is safe to print");
}

#[test]
fn hostile_ids_and_tags_are_taken_as_text_or_refused_in_words() {
    let Some(strings) = strings("hostile_ids_and_tags_are_taken_as_text_or_refused_in_words") else { return };
    let bench = Bench::new();
    for text in &strings {
        if text.contains('\0') {
            // No argument can hold it.
            continue;
        }
        let id = format!("--technician={text}");
        assert_safe(&bench.run(&["install", "practice/plan.toml", &id, "--plain"], b""), text);
        let tag = format!("--unit={text}");
        let ran = bench.run(&["install", "practice/plan.toml", "--technician=kim", &tag, "--plain"], b"");
        assert_safe(&ran, text);
        ran.ends(2);
        // The same text as the name of every file.
        for args in [["resume", text], ["verify", text], ["install", text]] {
            let mut args = args.to_vec();
            if args[0] == "verify" {
                args.push(text);
            }
            let ran = bench.run(&args, b"");
            for stream in [&ran.stdout, &ran.stderr] {
                assert!(stream.bytes().all(is_safe), "{args:?}: {stream:?}");
            }
            assert_ne!(ran.code, 0, "{args:?}");
            assert_ne!(ran.code, 101, "{args:?}: {}", ran.stderr);
        }
    }
    let ran = bench.run(
        &["install", "practice/plan.toml", "--plain"],
        strings.iter().map(|text| one_line(text) + "\n").collect::<String>().as_bytes(),
    );
    assert_safe(&ran, "ids typed");
}

/// The practice plan with one text in every field of free text.
fn spoiled(bench: &Bench, text: &str) -> String {
    let plan = std::fs::read_to_string(bench.path("practice/plan.toml")).unwrap();
    let mut plan: toml::Table = plan.parse().unwrap();
    let text = toml::Value::String(text.to_owned());
    plan.insert("name".to_owned(), text.clone());
    plan.insert("reasons".to_owned(), toml::Value::Array(vec![text.clone()]));
    let order = std::fs::read_to_string(bench.path("practice/order.toml")).unwrap();
    let mut order: toml::Table = order.parse().unwrap();
    order.insert("name".to_owned(), text.clone());
    for unit in order["unit"].as_array_mut().unwrap() {
        let unit = unit.as_table_mut().unwrap();
        // The bay is one of the board's.
        for key in ["chassis", "enclosure"] {
            unit.insert(key.to_owned(), text.clone());
        }
    }
    std::fs::write(bench.path("practice/order.toml"), written(order)).unwrap();
    let slots = plan["slot"].as_array_mut().unwrap();
    for (n, slot) in slots.iter_mut().enumerate() {
        let slot = slot.as_table_mut().unwrap();
        for key in ["lot", "maker", "part"] {
            slot.insert(key.to_owned(), text.clone());
        }
        if n == 0 {
            slot.insert("serial".to_owned(), text.clone());
        }
    }
    written(plan)
}

/// A file of ours: the format comes first.
fn written(mut table: toml::Table) -> String {
    let format = table.remove("format").unwrap();
    format!("format = {format}\n{}", toml::to_string(&table).unwrap())
}

#[test]
fn a_plan_of_hostile_texts_is_walked_to_its_end_or_refused_and_moves_no_cursor() {
    let Some(strings) = strings("a_plan_of_hostile_texts_is_walked_to_its_end_or_refused_and_moves_no_cursor") else {
        return;
    };
    let (mut walked, mut last) = (0, String::new());
    for text in &strings {
        let bench = Bench::new();
        let file = bench.file("practice/hostile.toml", spoiled(&bench, text));
        let bytes = std::fs::read(&file).unwrap();
        let folder = file.parent().unwrap().to_owned();
        let plan: Option<Plan> =
            plan::load(&Text { file: "hostile.toml", bytes: &bytes }, &mut |name| std::fs::read(folder.join(name)))
                .ok();
        let mut lines = vec!["1".to_owned(); 3];
        if let Some(plan) = &plan {
            let checklist =
                from_toml(&Text { file: "install.toml", bytes: slotwise::checklist::STOCK_PROCEDURE.as_bytes() })
                    .unwrap();
            let site: Site = from_toml(&Text { file: "site.toml", bytes: SITE.as_bytes() }).unwrap();
            let unit = plan.order.unit[0].chassis.clone();
            if let Ok(steps) = expand(&checklist, plan, &unit, Some(&site)) {
                let known = |step: &&slotwise::checklist::Step| {
                    !matches!(&step.evidence, slotwise::checklist::Evidence::Scan { of: ScanOf::Module, .. })
                };
                // Every answer as it stands in the plan, up to the first module.
                lines = steps
                    .iter()
                    .map(|(_, _, step)| step)
                    .take_while(known)
                    .filter_map(|step| right(step, "tree"))
                    .map(|line| one_line(&line))
                    .map(|line| if line.starts_with(':') { format!(":{line}") } else { line })
                    .collect();
            }
            let mut machine = Machine::as_planned(plan, 7);
            let Boot::Up(tree) = machine.power_on() else { panic!("the machine is dark") };
            tree.write_to(&bench.path("tree")).unwrap();
            let ran = bench.run(&["capture", "--root", "tree", "-o", "snapshot.json", "--force"], b"");
            assert_safe(&ran, text);
            assert_safe(&bench.run(&["verify", "practice/hostile.toml", "snapshot.json"], b""), text);
            assert_safe(&bench.run(&["verify", "practice/hostile.toml", "snapshot.json", "--json"], b""), text);
        }
        let args = ["install", "practice/hostile.toml", "--site", "site.toml", "--technician", "kim", "--plain"];
        let ran = bench.run(&args, program::joined(&lines).as_bytes());
        assert_safe(&ran, text);
        assert_eq!(ran.code == 65, plan.is_none(), "{text:?}: {}", ran.stderr);
        last.clone_from(&ran.stderr);
        if ran.code == 3 {
            walked += 1;
            let record = bench.record();
            let raw = std::fs::read(&record).unwrap();
            assert!(raw.iter().all(|byte| is_safe(*byte)), "{text:?}: the record is not safe to print");
            assert_safe(&bench.run(&["resume", record.to_str().unwrap(), "--plain"], b""), text);
        }
    }
    assert!(walked > 20, "only {walked} of {} plans were walked at all; the last: {last}", strings.len());
}

/// What no UTF-8 is, as a firmware may hold it: single control bytes of the second table, and the collection's. A NUL ends
/// a string of the firmware (DSP0134 6.1.3), so what holds one cannot come this way.
fn raw_bytes(test: &str) -> Vec<Vec<u8>> {
    let mut all =
        vec![b"\x9b2J".to_vec(), b"\x1b]0;\xff\x07".to_vec(), b"\x85\x90\x9c\x9d".to_vec(), b"A\xff\xfeB".to_vec()];
    let own = all.len();
    if strings(test).is_some() {
        let text = std::fs::read_to_string(collection()).unwrap();
        let entries = text.lines().filter_map(|line| {
            let entry: serde_json::Value = serde_json::from_str(line).unwrap();
            let hex = entry["bytes_hex"].as_str()?.to_owned();
            Some((0..hex.len() / 2).map(|n| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).unwrap()).collect())
        });
        all.extend(entries.filter(|bytes: &Vec<u8>| !bytes.contains(&0)));
        assert!(all.len() >= own + 8, "the bytes were not read");
    }
    all
}

/// `table` with every string `from` holding `bytes` in its place, as long as it was: lengths and numbers stay right.
fn struck(table: &[u8], from: &str, bytes: &[u8]) -> (Vec<u8>, Vec<u8>) {
    let to: Vec<u8> = bytes.iter().copied().cycle().take(from.len()).collect();
    let mut table = table.to_vec();
    let places: Vec<usize> = (0..table.len()).filter(|at| table[*at..].starts_with(from.as_bytes())).collect();
    assert!(!places.is_empty(), "{from} is not in the table");
    for at in places {
        table[at..at + from.len()].copy_from_slice(&to);
    }
    (table, to)
}

#[test]
fn bytes_that_are_no_text_in_the_firmwares_strings_leave_by_no_exit_as_they_are() {
    const FIRMWARE: &str = "sys/firmware/dmi/tables/DMI";
    for bytes in raw_bytes("bytes_that_are_no_text_in_the_firmwares_strings_leave_by_no_exit_as_they_are") {
        let bench = Bench::new();
        let what = format!("{bytes:x?}");
        let tree = bench.machine("tree", Fault::None, 1);
        let mut table = std::fs::read(tree.join(FIRMWARE)).unwrap();
        let mut serial = Vec::new();
        // A locator of one module, maker and part of all, the serial of another, and what the machine says of itself.
        for from in ["MEM0-CH2-S0", "OM4R32-2R4-2666", "Larkfield", "7A410C27"] {
            (table, serial) = struck(&table, from, &bytes);
        }
        std::fs::write(tree.join(FIRMWARE), table).unwrap();
        let id = tree.join("sys/class/dmi/id");
        std::fs::create_dir_all(&id).unwrap();
        let line = [&bytes[..], b"\n"].concat();
        for name in ["sys_vendor", "product_name", "board_serial", "bios_version"] {
            std::fs::write(id.join(name), &line).unwrap();
        }
        let counted = tree.join("sys/devices/system/edac/mc/mc0/dimm0");
        std::fs::create_dir_all(&counted).unwrap();
        std::fs::write(counted.join("dimm_label"), &line).unwrap();
        std::fs::write(counted.join("dimm_ce_count"), "3\n").unwrap();
        let shows = |args: &[&str]| {
            let ran = bench.run(args, b"");
            assert_safe(&ran, &format!("{what}: {args:?}"));
            ran
        };
        shows(&["capture", "--root", "tree"]);
        let json = shows(&["capture", "--root", "tree", "--json"]).stdout;
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        // No byte is lost, none becomes a letter: what is UTF-8 is text, all else is read byte by byte.
        let text = |bytes: &[u8]| match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
        };
        let due = text(&serial);
        assert_eq!(json["counts"][0]["locator"].as_str(), Some(text(&bytes).as_str()), "{what}: {}", json["counts"]);
        let found = json["slots"].as_array().unwrap().iter().any(|slot| slot["serial"].as_str() == Some(due.as_str()));
        let told: Vec<_> = json["slots"].as_array().unwrap().iter().map(|slot| &slot["serial"]).collect();
        assert!(found, "{what}: {due:?} is not in the JSON: {told:?}");
        shows(&["capture", "--root", "tree", "-o", "snapshot.json", "--force"]);
        assert!(std::fs::read(bench.path("snapshot.json")).unwrap().iter().all(|byte| is_safe(*byte)), "{what}");
        shows(&["verify", "practice/plan.toml", "snapshot.json"]);
        shows(&["verify", "practice/plan.toml", "snapshot.json", "--json"]);
        let mut lines = whole(&bench.steps(), "tree");
        let report = lines.iter().position(|line| line == "tree").unwrap();
        let leave = ["leave the findings open, by name and reason", "firmware of another trade", "Kim Holt"];
        lines.splice(report + 1..report + 1, leave.iter().map(|line| (*line).to_owned()));
        let ran = bench.install(&lines);
        assert_safe(&ran, &what);
        ran.ends(1);
        let record = bench.record();
        assert!(std::fs::read(&record).unwrap().iter().all(|byte| is_safe(*byte)), "{what}: the record");
        let record = record.to_str().unwrap();
        for args in [
            &["review", record, "--items"][..],
            &["review", record, "--json"],
            &["audit", record],
            &["audit", record, "--json"],
            &["rma", record, "7A410C27"],
            &["rma", record, "7A410C27", "--json"],
            &["report", record, "-o", "page.html", "--force"],
            &["resume", record, "--plain"],
        ] {
            shows(args);
        }
        assert!(std::fs::read(bench.path("page.html")).unwrap().iter().all(|byte| is_safe(*byte)), "{what}: the page");
    }
}

/// Our own sequences: the page's, those of the line being typed, and colour.
fn without_ours(mut screen: String) -> String {
    for own in ["\x1b[2J\x1b[H", "\x1b[?2004l", "\x1b[K", "\x1b[J"] {
        screen = screen.replace(own, "");
    }
    let mut out = String::new();
    let mut rest = screen.as_str();
    while let Some(at) = rest.find("\x1b[") {
        out.push_str(&rest[..at]);
        let tail = &rest[at + 2..];
        let end = tail.find(|c: char| !(c.is_ascii_digit() || c == ';')).unwrap_or(tail.len());
        if tail[end..].starts_with('m') {
            rest = &tail[end + 1..];
        } else {
            out.push_str("\x1b[");
            rest = tail;
        }
    }
    out + rest
}

#[test]
fn on_a_terminal_hostile_scans_change_neither_cursor_nor_colour() {
    let Some(strings) = strings("on_a_terminal_hostile_scans_change_neither_cursor_nor_colour") else { return };
    let bench = Bench::new();
    let mut args = Bench::install_args().to_vec();
    args.retain(|arg| *arg != "--plain");
    let mut command = bench.command(&args);
    command.env("TERM", "xterm").env("LANG", "C").env("NO_COLOR", "1");
    for set in [std::process::Command::stdin, std::process::Command::stdout, std::process::Command::stderr] {
        set(&mut command, std::process::Stdio::inherit());
    }
    let mut session = spawn_with_options(command, Options::new().timeout_ms(Some(10_000))).unwrap();
    let mut keys = session.process().get_file_handle().unwrap();
    tcsetwinsize(&keys, Winsize { ws_col: 80, ws_row: 24, ws_xpixel: 0, ws_ypixel: 0 }).unwrap();
    // Up to the first scan.
    for _ in 0..2 {
        session.exp_string("\n> ").unwrap();
        std::thread::sleep(Duration::from_millis(60));
        keys.write_all(b"1").unwrap();
    }
    let mut seen = String::new();
    for text in strings.iter().take(60) {
        seen += &session.exp_string("\n> ").unwrap();
        std::thread::sleep(Duration::from_millis(60));
        // A real Ctrl-C is a pause; all else is what a scanner may send. The x keeps a colon from being a command.
        let text = one_line(text).replace('\x03', "");
        keys.write_all(format!("x{text}\r").as_bytes()).unwrap();
    }
    seen += &session.exp_string("\n> ").unwrap();
    // The session hands out one character a byte.
    let out = without_ours(seen);
    let bad = out.lines().find(|line| !line.chars().all(|c| matches!(c, ' '..='~' | '\r' | '\x08' | '\x07')));
    assert!(bad.is_none(), "{bad:?}");
    assert!(out.matches("REFUSED").count() > 30, "the scans did not arrive: {}", out.matches("REFUSED").count());
    session.send_control('c').unwrap();
    let _ = session.exp_eof();
    let status = session.process().wait().unwrap();
    assert!(matches!(status, rexpect::process::WaitStatus::Exited(_, 3)), "{status:?}");
    assert!(bench.job().is_paused());
    assert_eq!(bench.job().opened().unit, UNIT);
}
