//! `slotwise review` and `slotwise rma`: the story of one job and the slip of one module, in a terminal.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod played;
mod program;
mod told;

use std::collections::BTreeSet;

use proptest::prelude::*;
use serde_json::Value;
use slotwise::checklist::StepId;
use slotwise::draw::Look;
use slotwise::record::{Event, How, Job, Role};
use slotwise::report::*;
use slotwise::verify::Grave;

use played::{ALL, Played, STRUCK, position};
use program::Bench;
use told::{at, everything, harmless, hostile, lines, opened, screen, signed_and_then, steps, tell};

#[test]
fn what_stands_out_comes_first_and_the_rest_in_a_readers_order() {
    let ran = Played::get().run("review", "module", &[]);
    ran.ends(1);
    let heads = [
        "LF-HRN-0137  signed off by technician (typed name only, weaker); 1 finding open",
        "PRACTICE JOB",
        "What stands out",
        "XX FINDING OPEN: The last report differs from the plan: missing",
        "!! LEFT OPEN: The findings of the last report were left open, by name",
        "-- REFUSED: An answer was refused",
        "Planned",
        "Slots",
        "[X]",
        "Done, card by card",
        "Measured and counted",
        "What the machine reported",
        "Tried",
        "trial 1: ",
        "Concluded",
    ];
    let places: Vec<usize> = heads.iter().map(|head| position(&ran.stdout, head)).collect();
    assert!(places.is_sorted(), "{places:?}");
    assert_eq!(ran.stderr, "");
}

#[test]
fn a_cured_fault_is_told_and_leaves_nothing_open() {
    let ran = Played::get().run("review", "seating", &[]);
    ran.ends(0);
    assert!(ran.stdout.contains("R3-1  cured"), "{}", ran.stdout);
    assert!(ran.stdout.contains("every module worked"), "{}", ran.stdout);
    assert!(!ran.stdout.contains("FINDING OPEN"));
    Played::get().run("review", "none", &[]).ends(0);
}

#[test]
fn text_keeps_to_eighty_columns_of_ascii_and_every_item_is_there_when_asked() {
    for fault in ["none", "module"] {
        let ran = Played::get().run("review", fault, &["--items"]);
        screen::is_clean(ran.stdout.as_bytes(), false);
        let widest = ran.stdout.lines().map(str::len).max().unwrap();
        assert!(widest <= 80, "{widest}");
        let story = Played::get().json("review", fault, &[]);
        let told = position(&ran.stdout, "Every item");
        let entries = story["cards"].as_array().unwrap().iter().flat_map(|card| card["items"].as_array().unwrap());
        for entry in entries.flat_map(|item| item["entries"].as_array().unwrap()) {
            let line = format!("line {}, ", entry["line"]);
            assert!(ran.stdout[told..].contains(&line), "{line} is missing");
        }
    }
}

#[test]
fn cards_add_up_to_the_time_worked() {
    for fault in ["none", "seating", "module"] {
        let story = Played::get().json("review", fault, &[]);
        let cards = story["cards"].as_array().unwrap();
        let sum: u64 = cards.iter().map(|card| card["took_ms"].as_u64().unwrap()).sum();
        assert_eq!(Some(sum), story["record"]["worked_ms"].as_u64());
    }
}

#[test]
fn the_fingerprint_is_the_hash_that_stock_tools_give() {
    use sha2::{Digest, Sha256};
    let bytes = std::fs::read(Played::get().record("none")).unwrap();
    let last = bytes.trim_ascii_end().rsplit(|byte| *byte == b'\n').next().unwrap();
    let hash: String = Sha256::digest(last).iter().map(|byte| format!("{byte:02x}")).collect();
    let story = Played::get().json("review", "none", &[]);
    assert_eq!(story["record"]["head"].as_str(), Some(hash.as_str()));
    assert!(hash.starts_with(&story["record"]["fingerprint"].as_str().unwrap().replace('-', "")));
}

#[test]
fn everything_a_supervisor_must_see_stands_out_with_its_line() {
    let (story, _) = everything(&harmless);
    let found: BTreeSet<(NotableKind, Option<u64>)> =
        story.stands_out.iter().map(|notable| (notable.kind, notable.line)).collect();
    use NotableKind::*;
    let wanted = [
        (Tail, None),
        (Tail, Some(16)),
        (FindingOpen, Some(22)),
        (NotSigned, None),
        (Reopened, Some(27)),
        (Amended, Some(28)),
        (Skipped, Some(11)),
        (Problem, Some(12)),
        (Corrected, Some(9)),
        (Corrected, Some(27)),
        (Refused, Some(6)),
        (Clock, Some(14)),
        (Clock, Some(15)),
        (Fast, Some(2)),
        (Scripted, None),
        (Stopped, Some(17)),
        (OtherHands, None),
        (OpenedAgain, Some(20)),
    ];
    assert_eq!(found, wanted.into());
    assert!(story.stands_out.is_sorted_by_key(|notable| notable.grave));
    assert_eq!(story.stands_out[0].kind, FindingOpen);
    let skipped = story.stands_out.iter().find(|notable| notable.kind == Skipped).unwrap();
    let facts: Vec<(&str, &str)> = skipped.facts.iter().map(|fact| (fact.name, fact.value.as_str())).collect();
    assert_eq!(
        facts,
        [
            ("item", "text"),
            ("on card", "card"),
            ("slot", "B1"),
            ("why", "why skipped"),
            ("name", "who skipped"),
            ("by", "technician at 09:38:00"),
        ]
    );
}

#[test]
fn a_slot_keeps_its_history() {
    let (story, _) = everything(&harmless);
    let slot = story.slots.iter().find(|slot| slot.slot == "slot").unwrap();
    assert_eq!(slot.mark, SlotMark::Finding);
    assert_eq!(slot.serial.as_deref(), Some("serial"));
    let lines: Vec<u64> = slot.history.iter().map(|seen| seen.line).collect();
    // The second report is of the same start, which counts once.
    assert_eq!(lines, [7, 18, 19, 19, 21, 22]);
    assert!(matches!(slot.history[1].what, What::Reported { corrected: Some(3), .. }));
    let other = story.slots.iter().find(|slot| slot.slot == "B1").unwrap();
    assert_eq!(other.mark, SlotMark::Skipped);
    let lines: Vec<u64> = other.history.iter().map(|seen| seen.line).collect();
    assert_eq!(lines, [11, 12, 18, 21]);
}

#[test]
fn colour_repeats_what_the_text_says() {
    let (story, board) = everything(&harmless);
    let drawing = review(&story, &board, ALL);
    let coloured = drawing.coloured().join("\n");
    assert!(coloured.contains("\x1b[1;7;33mXX FINDING OPEN"));
    screen::is_clean(coloured.as_bytes(), true);
    let rows: Vec<String> = screen::rows(coloured.as_bytes()).iter().map(|row| row.trim_end().to_owned()).collect();
    assert_eq!(rows, drawing.plain());
}

#[test]
fn hostile_text_in_any_field_prints_and_does_nothing_else() {
    let Some(strings) = hostile::strings("hostile text in a story") else { return };
    for (name, text) in strings {
        let (story, board) = everything(&|_| text.clone());
        let drawing = review(&story, &board, ALL);
        for (lines, colour) in [(drawing.plain(), false), (drawing.coloured(), true)] {
            let bytes = lines.join("\n").into_bytes();
            screen::is_clean(&bytes, colour);
            let rows = screen::rows(&bytes);
            assert_eq!(rows.len(), lines.len(), "{name}");
            assert!(rows.iter().all(|row| row.len() <= 80), "{name}: {rows:#?}");
        }
        // No value makes a heading, or takes one away.
        for head in ["What stands out", "Planned", "Slots", "Tried", "Concluded", "Notes", "Every item"] {
            assert_eq!(drawing.plain().iter().filter(|line| *line == head).count(), 1, "{name}: {head}");
        }
        let json = slotwise::snapshot::ascii_json(&serde_json::to_string_pretty(&story).unwrap());
        screen::is_clean(json.as_bytes(), false);
        let back: Value = serde_json::from_str(&json).unwrap();
        assert_eq!(back["record"]["unit"].as_str(), Some(text.as_str()), "{name}: JSON keeps the true value");
        if let Some(slip) = slip(&story, &text) {
            let lines = slip_text(&slip, Look::PLAIN);
            for (lines, colour) in [(lines.plain(), false), (lines.coloured(), true)] {
                let bytes = lines.join("\n").into_bytes();
                screen::is_clean(&bytes, colour);
                assert_eq!(screen::rows(&bytes).len(), lines.len(), "{name}");
            }
        }
    }
}

#[test]
fn the_program_shows_a_record_full_of_hostile_text_and_stays_clean() {
    let Some(strings) = hostile::strings("hostile text through the program") else { return };
    let bench = Bench::new();
    // A record of the program's own, cut before its sign-off, goes on with every string in every event that takes free text.
    let played = std::fs::read(Played::get().record("none")).unwrap();
    let (mut head, mut bytes) = (slotwise::record::chain::Head::default(), Vec::new());
    let mut last = None;
    for line in played.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
        let decoded = slotwise::record::chain::decode(line, &head).unwrap();
        if matches!(decoded.event, Event::Declared { .. }) {
            break;
        }
        head.advance(line);
        bytes.extend_from_slice(line);
        bytes.push(b'\n');
        last = Some(decoded.at);
    }
    let step = || StepId("sign-off/note".to_owned());
    for (_, text) in &strings {
        let events = [
            Event::Noted { step: None, text: text.clone() },
            Event::Refused { step: step(), value: text.clone(), how: How::Typed, why: text.clone() },
            Event::ProblemReported { step: step(), slot: Some(text.as_str().into()), text: text.clone() },
        ];
        for event in events {
            let line = slotwise::record::Line {
                n: head.lines + 1,
                at: last.unwrap(),
                by: text.clone(),
                event,
                prev: head.hash,
            };
            let encoded = slotwise::record::chain::encode(&line).unwrap();
            head.advance(&encoded);
            bytes.extend_from_slice(&encoded);
            bytes.push(b'\n');
        }
    }
    let record = bench.file("hostile.jsonl", bytes);
    let record = record.to_str().unwrap();
    for args in [
        vec!["review", record, "--items"],
        vec!["review", record, "--json"],
        vec!["rma", record, STRUCK],
        vec!["rma", record, STRUCK, "--json"],
        vec!["report", record, "-o", "page.html"],
    ] {
        let ran = bench.run(&args, b"");
        assert_eq!(ran.stderr, "", "{args:?}");
        ran.ends(0);
        screen::is_clean(ran.stdout.as_bytes(), false);
        screen::rows(ran.stdout.as_bytes());
    }
    screen::is_clean(&std::fs::read(bench.path("page.html")).unwrap(), false);
}

#[test]
fn a_slip_says_what_speaks_for_and_against_a_return() {
    let said = |fault: &str| {
        let ran = Played::get().run("rma", fault, &[STRUCK]);
        ran.ends(0);
        screen::is_clean(ran.stdout.as_bytes(), false);
        assert!(ran.stdout.lines().all(|line| line.len() <= 80));
        let text = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        let end = if fault == "module" {
            "The evidence supports a return."
        } else {
            "The evidence does not support a return."
        };
        assert!(text.contains(end), "{text}");
        text
    };
    assert!(said("seating").contains("The verdict is on seating, not on this module."));
    assert!(said("module").contains("The trouble followed it from R3-1 to"));
    assert!(said("none").contains("No fault was found where it was: 1 report"));
}

/// The machine of the practice job has no error counters.
#[test]
fn errors_without_a_counter_are_not_known_and_not_zero() {
    let struck = Played::get().json("rma", "none", &[STRUCK]);
    let because = struck["conclusion"]["because"].to_string();
    assert!(because.contains("Whether there were errors is not known") && !because.contains("counted"), "{because}");
    let seen = struck["stays"][0]["seen"].as_array().unwrap();
    let reported = seen.iter().find(|seen| seen["seen"] == "reported").unwrap();
    assert_eq!([&reported["corrected"], &reported["uncorrected"]], [&serde_json::Value::Null; 2]);
    let review = Played::get().run("review", "none", &[]).stdout;
    let review = review.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(review.contains("errors are not known: no error counter could be read"), "{review}");

    // Counted at some reports, and at all.
    let (story, _) = signed_and_then(Vec::new());
    for (counted, words) in [
        (&[Some(0), None][..], "In 1 of 2 reports no error counter of it could be read"),
        (&[Some(0), Some(0)], "2 reports, it was neither missing nor shut off, and no errors counted."),
    ] {
        let mut story = story.clone();
        let slot = story.slots.iter_mut().find(|slot| slot.serial.as_deref() == Some("serial")).unwrap();
        slot.history.retain(|seen| matches!(seen.what, What::Scanned { .. }));
        let scanned = slot.history[0].clone();
        slot.history.extend(counted.iter().map(|count| Seen {
            what: What::Reported {
                state: slotwise::snapshot::SlotState::Fitted,
                size_mib: None,
                configured_mts: None,
                maker: None,
                part: None,
                serial: Some("serial".to_owned()),
                corrected: *count,
                uncorrected: *count,
                because: None,
            },
            ..scanned.clone()
        }));
        let because = slip(&story, "serial").unwrap().conclusion.because.join(" ");
        assert!(because.contains(words), "{because}");
    }
}

#[test]
fn a_slip_names_the_module_its_slots_and_the_record() {
    let slip = Played::get().json("rma", "seating", &[STRUCK]);
    assert_eq!(slip["part"].as_str(), Some("OM4R32-2R4-2666"));
    assert_eq!(slip["known_from"].as_array().unwrap().len(), 3);
    let stays = slip["stays"].as_array().unwrap();
    assert_eq!(stays[0]["slot"].as_str(), Some("R3-1"));
    let mut seen: Vec<&serde_json::Value> = stays.iter().flat_map(|s| s["seen"].as_array().unwrap()).collect();
    seen.sort_by_key(|seen| seen["line"].as_u64());
    let kinds: Vec<&str> = seen.iter().map(|seen| seen["seen"].as_str().unwrap()).collect();
    assert_eq!(kinds[..4], ["scanned", "reported", "found", "started"]);
    // Its trouble is gone once it was seated anew, whatever trial did that, and it works at each start after that.
    let last = seen.iter().rposition(|seen| seen["came"] == "failed").unwrap();
    let later: Vec<&str> = seen[last + 1..].iter().filter_map(|seen| seen["came"].as_str()).collect();
    assert!(later.len() >= 2 && later.iter().all(|came| *came == "worked"), "{seen:?}");
    assert!(!kinds[last..].contains(&"found"), "{kinds:?}");
    // The start before the search counts as those in it do.
    let starts = seen.iter().filter(|seen| seen["seen"] == "started").count();
    let failed = seen.iter().filter(|seen| seen["came"] == "failed").count();
    let because = slip["conclusion"]["because"].to_string();
    assert!(because.contains(&format!("It failed at {failed} of {starts} starts")), "{because}");
    assert_eq!(slip["conclusion"]["supports_return"].as_bool(), Some(false));
    let story = Played::get().json("review", "seating", &[]);
    assert_eq!(slip["record"], story["record"]);
}

#[test]
fn a_serial_the_record_does_not_know_is_told_with_those_it_does() {
    let ran = Played::get().run("rma", "none", &["7A410C99"]);
    ran.ends(65);
    ran.says(&["names no module with the serial 7A410C99", "it names 7A410C10, "]);
    assert_eq!(ran.stdout, "");
}

#[test]
fn only_a_verdict_with_a_probability_supports_a_return() {
    let (mut story, _) = signed_and_then(Vec::new());
    let verdict = |kind: &str, serial: &str, ppm| Verdict {
        line: 25,
        at: slotwise::record::time::text(&at(45)),
        kind: kind.to_owned(),
        slot: None,
        serial: Some(serial.to_owned()),
        ppm,
        why: vec!["the fault went with it".to_owned()],
        amended: Vec::new(),
        since: None,
    };
    let supports = |story: &Story| slip(story, "serial").unwrap().conclusion.supports_return;
    assert!(!supports(&story), "no verdict");
    for (kind, serial, ppm, wanted) in [
        ("module", "serial", Some(984_321), true),
        ("seating", "serial", Some(990_000), false),
        ("module", "serial", None, false),
        ("module", "00B1", Some(999_999), false),
    ] {
        story.verdicts = vec![verdict(kind, serial, ppm)];
        assert_eq!(supports(&story), wanted, "{kind} {serial} {ppm:?}");
    }
    story.verdicts = vec![verdict("module", "serial", Some(984_321))];
    let text = slip_text(&slip(&story, "serial").unwrap(), Look::PLAIN).plain().join("\n");
    assert!(text.contains("Verdict: module, probability 98.4 %. The evidence supports a return."), "{text}");
}

#[test]
fn a_module_that_was_exchanged_for_another_no_longer_answers_for_the_slot() {
    let fill = &harmless;
    let scan = |serial: &str| Event::Answered {
        step: StepId("fill/a/module".to_owned()),
        value: serial.to_owned(),
        how: How::Scanned,
        took_ms: 48,
        serial: Some(serial.to_owned()),
    };
    let by = |minute, event| (minute, "technician".to_owned(), event);
    let back = Event::Corrected { step: StepId("fill/a/module".to_owned()), corrects: 2, why: "wrong one".to_owned() };
    let problem = Event::ProblemReported {
        step: StepId("fill/a/press".to_owned()),
        slot: None,
        text: "the latch does not close".to_owned(),
    };
    let events = vec![by(1, scan("0001")), by(2, back), by(3, scan("0002")), by(4, problem)];
    let (lines, head, _) = lines(opened(fill), events);
    let (story, _) = tell(&lines, &head, &steps(fill), None);
    let seen = |serial: &str| -> Vec<u64> {
        slip(&story, serial).unwrap().stays.iter().flat_map(|stay| &stay.seen).map(|seen| seen.line).collect()
    };
    assert_eq!(seen("0001"), [2], "the scan that was taken back, and nothing after it");
    assert_eq!(seen("0002"), [4, 5]);
}

#[test]
fn a_record_that_is_missing_or_damaged_is_not_told() {
    let bench = Bench::new();
    let ran = bench.run(&["review", "nowhere.jsonl"], b"");
    ran.ends(66);
    let mut bytes = std::fs::read(Played::get().record("none")).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    bench.file("damaged.jsonl", bytes);
    for args in [
        vec!["review", "damaged.jsonl"],
        vec!["report", "damaged.jsonl", "-o", "page.html"],
        vec!["rma", "damaged.jsonl", STRUCK, "-o", "page.html"],
    ] {
        let ran = bench.run(&args, b"");
        ran.ends(65);
        assert_eq!(ran.stdout, "");
        assert!(!bench.path("page.html").exists());
    }
}

proptest! {
    #[test]
    fn time_on_the_cards_is_the_time_worked_however_the_clock_runs(
        gaps in proptest::collection::vec((-30_i64..300, 0_usize..6), 1..40),
        signed: bool,
    ) {
        let fill = &harmless;
        let mut minute = 0;
        let mut paused = false;
        let mut events = Vec::new();
        for (gap, kind) in gaps {
            minute += gap;
            let names = ["ready/one", "fill/a/press", "fill/b/press", "on/no/card"];
            let step = StepId(names[kind % 4].to_owned());
            let event = match (paused, kind) {
                (false, 0) => Event::Paused { step: Some(step), why: "tea".to_owned() },
                (true, 0 | 1) => Event::Resumed { step: Some(step), away_ms: None, clock_note: None },
                (_, 2) => Event::TailSetAside { file: "tail".to_owned(), bytes: 1, why: "cut".to_owned() },
                (_, 3) => Event::Noted { step: None, text: "note".to_owned() },
                (false, 4) => Event::Resumed { step: None, away_ms: None, clock_note: None },
                (true, _) => Event::Noted { step: Some(step), text: "note".to_owned() },
                (false, _) => Event::Refused { step, value: "x".to_owned(), how: How::Typed, why: "y".to_owned() },
            };
            paused = match event {
                Event::Paused { .. } => true,
                Event::Resumed { .. } => false,
                _ => paused,
            };
            events.push((minute, "technician".to_owned(), event));
        }
        if signed && !paused {
            let answer = StepId("fill/a/press".to_owned());
            let (name, statement) = ("technician".to_owned(), "done".to_owned());
            let (value, why) = ("x".to_owned(), "y".to_owned());
            let refused = Event::Refused { step: answer, value, how: How::Typed, why };
            let declared = Event::Declared { name, role: Role::Technician, statement, reason: None, key: None };
            let late = Event::Noted { step: None, text: "the day after".to_owned() };
            let last = [(minute + 1, refused), (minute + 2, declared), (minute + 1440, late)];
            events.extend(last.map(|(minute, event)| (minute, "technician".to_owned(), event)));
        }
        let (lines, head, _) = lines(opened(fill), events);
        let worked = Job::replay(lines.clone()).unwrap().worked().as_millis();
        let (story, _) = tell(&lines, &head, &steps(fill), None);
        let sum: u64 = story.cards.iter().map(|card| card.took_ms).sum();
        prop_assert_eq!(u128::from(sum), worked);
        prop_assert_eq!(u128::from(story.record.worked_ms), worked);
    }
}

#[test]
fn grave_things_are_told_by_signs_that_differ() {
    let (story, board) = everything(&harmless);
    let text = review(&story, &board, ALL).plain().join("\n");
    for (grave, sign) in [(Grave::Stop, "XX "), (Grave::Look, "!! "), (Grave::Note, "-- ")] {
        let wanted = story.stands_out.iter().filter(|notable| notable.grave == grave).count();
        assert!(wanted > 0);
        assert_eq!(text.lines().filter(|line| line.starts_with(sign)).count(), wanted, "{sign}");
    }
}

#[test]
fn a_spare_that_failed_in_the_search_is_not_said_to_have_shown_no_fault_and_is_not_sent_back_either() {
    let bench = Bench::new();
    let args = ["practice", "--auto", "--fault", "slot", "--report", "channel", "--spare", "bad", "--seed", "5"];
    bench.run(&args, b"").ends(1);
    let slip = bench.run(&["rma", bench.record().to_str().unwrap(), "7A41B00C"], b"").stdout;
    let told = slip.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("The evidence does not support a return."), "{slip}");
    assert!(told.contains("It also failed in ") && told.contains(", which this verdict does not explain."), "{slip}");
    assert!(slip.contains("It failed at "), "{slip}");
    assert!(!slip.contains("No fault was found where it was"), "{slip}");
}
