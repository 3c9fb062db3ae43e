//! `slotwise report` and the slip as a page: whole, closed to the outside, readable without colour, and unmoved by what a
//! record holds.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod pages;
mod program;
mod told;

use std::collections::{BTreeMap, BTreeSet};

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
        "Every item",
        "How far this page can be trusted",
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
