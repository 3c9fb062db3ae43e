//! `slotwise report` and the slip as a page: whole, closed to the outside, readable without colour, and unmoved by what a
//! record holds.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod pages;
mod program;
mod told;

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};
use slotwise::board::Board;
use slotwise::report::*;

use pages::Page;
use program::Bench;
use told::{everything, harmless, hostile, screen};

/// Both pages of one story.
fn both(story: &Story, board: &Board, serial: &str) -> [(&'static str, String); 2] {
    [("report", page(story, board)), ("slip", slip_page(&slip(story, serial).unwrap()))]
}

fn harmless_pages() -> [(&'static str, String); 2] {
    let (story, board) = everything(&harmless);
    both(&story, &board, "serial")
}

#[test]
fn pages_parse_without_a_fault() {
    for (name, text) in harmless_pages() {
        let page = Page::read(&text);
        assert_eq!(page.faults, [""; 0], "{name}");
        assert!(text.starts_with("<!DOCTYPE html><html lang=\"en\"><head><meta charset=\"utf-8\">"));
        screen::is_clean(text.as_bytes(), false);
    }
}

#[test]
fn pages_take_nothing_from_outside_and_run_nothing() {
    for (name, text) in harmless_pages() {
        let page = Page::read(&text);
        for tag in &page.tags {
            let forbidden = ["script", "link", "img", "iframe", "object", "embed", "form", "base", "a", "use", "image"];
            assert!(!forbidden.contains(&tag.name.as_str()), "{name}: {tag:?}");
            for (key, _) in &tag.attributes {
                assert!(!key.starts_with("on") && !["style", "href", "src"].contains(&key.as_str()), "{name}: {tag:?}");
            }
        }
        let style = text.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
        for word in ["url(", "@import", "http", "<", "expression"] {
            assert!(!style.contains(word), "{name}: the style has {word}");
        }
        let policy = page.all("meta").find(|meta| meta.get("http-equiv") == Some("Content-Security-Policy")).unwrap();
        let hash = STANDARD.encode(Sha256::digest(style.as_bytes()));
        let wanted = format!("default-src 'none'; style-src 'sha256-{hash}'; base-uri 'none'; form-action 'none'");
        assert_eq!(policy.get("content"), Some(wanted.as_str()), "{name}");
    }
}

#[test]
fn a_page_reads_in_the_order_of_its_headings() {
    let (story, board) = everything(&harmless);
    let text = page(&story, &board);
    let parts = [
        "<h1>",
        "What stands out",
        ">finding open<",
        "The slots",
        "What was planned",
        "What was done",
        "What was measured and counted",
        "What the machine reported",
        "What was tried",
        "What was concluded",
        "Notes",
        "How far this page can be trusted",
        "Every item",
    ];
    let places: Vec<usize> = parts.iter().map(|part| text.find(part).unwrap_or_else(|| panic!("{part}"))).collect();
    assert!(places.is_sorted(), "{places:?}");
    let parsed = Page::read(&text);
    let ids: Vec<&str> = parsed.tags.iter().filter_map(|tag| tag.get("id")).collect();
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len(), "an id stands twice: {ids:?}");
    for tag in parsed.tags.iter() {
        for label in tag.get("aria-labelledby").unwrap_or_default().split_whitespace() {
            assert!(ids.contains(&label), "nothing is called {label}");
        }
    }
    for table in parsed.all("th") {
        assert!(table.get("scope").is_some(), "{table:?}");
    }
    let levels: Vec<u8> = parsed
        .tags
        .iter()
        .filter(|tag| !tag.closes)
        .filter_map(|tag| tag.name.strip_prefix('h')?.parse().ok())
        .collect();
    assert!(levels.windows(2).all(|two| two[1] <= two[0] + 1), "a level of headings is left out: {levels:?}");
}

#[test]
fn every_state_of_a_slot_has_a_shape_and_a_word_of_its_own() {
    let (mut story, board) = everything(&harmless);
    let mut shapes: BTreeMap<String, String> = BTreeMap::new();
    for mark in SlotMark::ALL {
        story.slots[0].mark = mark;
        let text = page(&story, &board);
        let map = text.split("<svg class=\"map\"").nth(1).unwrap().split("</svg>").next().unwrap();
        let cell = map.split("<g transform=\"translate(0 0)\">").nth(1).unwrap();
        let shape =
            cell.split("<g transform=").nth(1).unwrap().split_once('>').unwrap().1.split("</g>").next().unwrap();
        let form: String = Page::read(shape)
            .tags
            .iter()
            .flat_map(|tag| ["d", "cx", "r"].map(|key| tag.get(key).unwrap_or_default().to_owned()))
            .collect();
        assert!(cell.contains(&format!(">{}</text>", mark.word())), "{mark:?}");
        assert!(text.contains(mark.meaning()), "{mark:?} is not in the legend");
        assert_eq!(shapes.insert(form, mark.word().to_owned()), None, "{mark:?} looks like another");
        let heard = text.split("<desc id=\"map-desc\">").nth(1).unwrap().split("</desc>").next().unwrap();
        assert!(heard.contains(mark.word()), "{mark:?} is not heard: {heard}");
    }
    assert_eq!(shapes.values().collect::<BTreeSet<_>>().len(), SlotMark::ALL.len());
}

#[test]
fn the_map_has_each_slot_once_and_inside_the_drawing() {
    for name in ["heron", "curlew", "wren"] {
        let path = format!("{}/checklists/boards/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let bytes = std::fs::read(path).unwrap();
        let board: Board =
            slotwise::source::from_toml(&slotwise::source::Text { file: "board.toml", bytes: &bytes }).unwrap();
        let (mut story, _) = everything(&harmless);
        let told = |label: &str| SlotTold { slot: label.to_owned(), history: Vec::new(), ..story.slots[0].clone() };
        story.slots = board.slots().map(|at| told(at.slot.label.as_str())).collect();
        let text = page(&story, &board);
        let map = text.split("<svg class=\"map\"").nth(1).unwrap().split("</svg>").next().unwrap();
        let size: Vec<usize> = map
            .split("viewBox=\"0 0 ")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap()
            .split(' ')
            .map(|n| n.parse().unwrap())
            .collect();
        let corners: Vec<(usize, usize)> = map
            .split("<g transform=\"translate(")
            .skip(1)
            .step_by(2)
            .map(|part| {
                let (x, y) = part.split(')').next().unwrap().split_once(' ').unwrap();
                (x.parse().unwrap(), y.parse().unwrap())
            })
            .collect();
        assert_eq!(corners.len(), board.slots().count(), "{name}");
        assert_eq!(corners.iter().collect::<BTreeSet<_>>().len(), corners.len(), "{name}: two slots in one place");
        let cell = &map.split("<rect ").nth(1).unwrap();
        let side = |name: &str| -> usize {
            let value = cell.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap();
            value.parse().unwrap()
        };
        let (wide, high) = (side("width"), side("height"));
        assert!(corners.iter().all(|(x, y)| x + wide < size[0] && y + high < size[1]), "{name}");
        assert!(size[1] <= size[0], "{name}: the map is higher than wide");
        for at in board.slots() {
            assert!(map.contains(&format!(">{}</text>", at.slot.label)), "{name}: {}", at.slot.label);
        }
    }
}

#[test]
fn hostile_text_in_any_field_changes_no_tag_and_no_policy() {
    let Some(strings) = hostile::strings("hostile text in a page") else { return };
    // What is equal to what decides what is told, so the harmless text is the same in all fields as well.
    let plain: Vec<_> = {
        let (story, board) = everything(&|_| "harmless".to_owned());
        both(&story, &board, "harmless").map(|(_, text)| (skeleton(&text), text)).to_vec()
    };
    for (name, text) in strings {
        let (story, board) = everything(&|_| text.clone());
        let mut pages = vec![page(&story, &board)];
        // A serial of blanks is no name for a module.
        if !text.trim().is_empty() {
            pages.push(slip_page(&slip(&story, &text).unwrap()));
        }
        for (page, (plain, raw)) in pages.iter().zip(&plain) {
            screen::is_clean(page.as_bytes(), false);
            let parsed = Page::read(page);
            assert_eq!(parsed.faults, [""; 0], "{name}");
            let skeleton = skeleton(page);
            let differs = skeleton.iter().zip(plain).position(|(own, due)| own != due);
            assert_eq!((skeleton.len(), differs), (plain.len(), None), "{name}");
            if text.contains('<') {
                let (own, due) = (page.matches(&text).count(), raw.matches(&text).count());
                assert_eq!(own, due, "{name}: the text stands in the page as it is");
            }
            let shown = slotwise::text::shown_within(&text, 2000);
            assert!(parsed.text.contains(shown.as_str()), "{name}: the page does not show {shown}");
        }
    }
}

/// The skeleton, the bar code left out: its bars are as many as the text is long.
fn skeleton(text: &str) -> Vec<(String, bool, Vec<String>)> {
    let (before, rest) = match text.split_once("<div class=\"label\">") {
        Some((before, rest)) => (before, rest.split_once("<span class=\"serial\">").unwrap().1),
        None => (text, ""),
    };
    [before, rest].iter().flat_map(|part| Page::read(part).skeleton()).collect()
}

#[test]
fn a_slip_shows_the_serial_as_bars_where_a_scanner_could_send_it() {
    let (story, _) = everything(&harmless);
    let mut slip = slip(&story, "serial").unwrap();
    let bars = |slip: &Slip| {
        let text = slip_page(slip);
        let parsed = Page::read(&text);
        let svg = parsed.all("svg").find(|svg| svg.get("class") == Some("bars"))?;
        Some((svg.get("aria-label").unwrap().to_owned(), parsed.all("rect").count()))
    };
    // Start, six letters and the check character have three bars each, the stop has four.
    assert_eq!(bars(&slip), Some(("Bar code, Code 128, of serial".to_owned(), 8 * 3 + 4)));
    slip.serial = "SN\u{202e}1".to_owned();
    assert_eq!(bars(&slip), None);
    assert!(slip_page(&slip).contains("No bar code"));
}

#[test]
fn the_program_writes_the_page_whole_and_says_where() {
    let bench = Bench::new();
    let ran = bench.run(&["practice", "--auto", "--fault", "none", "--seed", "7"], b"");
    ran.ends(0);
    let record = bench.record();
    let record = record.to_str().unwrap();
    let ran = bench.run(&["report", record, "-o", "page.html"], b"");
    ran.ends(0);
    assert_eq!((ran.stdout.as_str(), ran.stderr.as_str()), ("page.html\n", ""));
    let first = std::fs::read_to_string(bench.path("page.html")).unwrap();
    assert_eq!(Page::read(&first).faults, [""; 0]);
    assert!(first.contains("Practice job."));
    // The same record gives the same page, byte for byte.
    bench.run(&["report", record, "-o", "again.html"], b"").ends(0);
    assert_eq!(first, std::fs::read_to_string(bench.path("again.html")).unwrap());
    let ran = bench.run(&["rma", record, "7A410C9A", "-o", "slip.html"], b"");
    ran.ends(0);
    assert_eq!(ran.stdout, "slip.html\n");
    let slip = std::fs::read_to_string(bench.path("slip.html")).unwrap();
    assert_eq!(Page::read(&slip).faults, [""; 0]);
    let ran = bench.run(&["report", record, "-o", "no/such/folder/page.html"], b"");
    ran.ends(73);
    ran.says(&["cannot write no/such/folder/page.html"]);
}

/// The rules of a page's style for paper, each as its selectors and its declarations.
fn print_rules(text: &str) -> Vec<(Vec<String>, String)> {
    let style = text.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    let paper = style.split("@media print{").nth(1).unwrap().split("\n}\n").next().unwrap();
    let rule = |line: &str| {
        let (selectors, declared) = line.strip_suffix('}')?.split_once('{')?;
        Some((selectors.split(',').map(str::to_owned).collect(), declared.to_owned()))
    };
    paper.lines().filter(|line| !line.is_empty()).map(|line| rule(line).unwrap_or_else(|| panic!("{line}"))).collect()
}

#[test]
fn on_paper_headings_stay_with_what_they_head_and_every_sheet_says_whose_it_is() {
    let (story, board) = everything(&harmless);
    let text = page(&story, &board);
    let rules = print_rules(&text);
    let holds = |selector: &str, declared: &str| {
        let on = rules.iter().filter(|(selectors, _)| selectors.iter().any(|own| own == selector));
        let found = on.flat_map(|(_, all)| all.split(';')).any(|own| own == declared);
        assert!(found, "{selector} has no {declared} on paper");
    };
    for heading in ["h2", "h3", "caption", ".items tr.card", ".keep:has(>h3)"] {
        holds(heading, "break-after:avoid");
    }
    for whole in [".keep", "figure", ".verdict", "main>footer"] {
        holds(whole, "break-inside:avoid");
    }
    for tint in [".stop", ".look"] {
        holds(tint, "background:none");
    }
    assert!(text.contains("\ntr{break-inside:avoid}\n") && text.contains("\nthead{display:table-header-group}\n"));
    let sheets: Vec<&str> = text.split("@page{").skip(1).collect();
    assert!(sheets[0].contains("counter(page) \" of \" counter(pages)"), "{sheets:?}");
    assert!(sheets[1].contains(&format!("\"record {}\"", story.record.fingerprint)), "{sheets:?}");
    // A rule for what is not on the page has lost what it was made for.
    let parsed = Page::read(&text);
    let has = |key: &str, name: &str| {
        parsed.tags.iter().any(|tag| tag.get(key).unwrap_or_default().split_whitespace().any(|own| own == name))
    };
    for selector in rules.iter().flat_map(|(selectors, _)| selectors).filter(|one| !one.contains(".slip")) {
        for label in selector.split("[aria-labelledby=").skip(1).map(|rest| rest.split(']').next().unwrap()) {
            assert!(has("aria-labelledby", label), "{selector} is on no page");
        }
        for class in selector.split('.').skip(1).map(|rest| rest.split([' ', '>', ':', '[', ')']).next().unwrap()) {
            // What is grave, labels of a slip, and verdicts may be wanting.
            let may = ["label", "verdict"].contains(&class);
            assert!(may || has("class", class), "{selector} is on no page");
        }
    }
}

/// The example with a long search, as a browser prints it.
#[test]
fn the_long_example_prints_on_at_most_fourteen_sheets() {
    const TEST: &str = "the_long_example_prints_on_at_most_fourteen_sheets";
    let bench = Bench::new();
    let record = concat!(env!("CARGO_MANIFEST_DIR"), "/logs-example/slot.jsonl");
    bench.run(&["report", record, "-o", "page.html"], b"").ends(0);
    let (sheets, profile) = (bench.path("page.pdf"), bench.path("profile"));
    let arguments = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"];
    let print = |browser: &str| {
        let mut command = std::process::Command::new(browser);
        command.args(arguments).arg(format!("--user-data-dir={}", profile.display()));
        command.arg(format!("--print-to-pdf={}", sheets.display()));
        command.arg(format!("file://{}", bench.path("page.html").display()));
        command.output().ok()
    };
    let Some(printed) = ["chromium", "chromium-browser", "google-chrome"].into_iter().find_map(print) else {
        let _ = writeln!(std::io::stderr(), "SKIPPED {TEST}: no chromium is there to print with");
        return;
    };
    let pdf = std::fs::read(&sheets).unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&printed.stderr)));
    // A page object of a PDF (ISO 32000-1, 7.7.3.3), which this browser writes in the clear.
    let pages =
        String::from_utf8_lossy(&pdf).split("/Type /Page").skip(1).filter(|rest| !rest.starts_with('s')).count();
    assert!((5..=14).contains(&pages), "{pages} sheets");
}
