//! What is told of a record that was amended after its sign-off, and of who signed how.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod played;
mod program;
mod told;

use serde_json::Value;
use slotwise::checklist::StepId;
use slotwise::draw::Look;
use slotwise::record::{Event, How};
use slotwise::report::*;

use played::{ALL, Played, STRUCK, position};
use program::Bench;
use told::{everything, harmless, lines, opened, signed_and_then, steps, tell};

fn amend(amends: u64, now: &str) -> Event {
    Event::Amended { amends, was: Some("what it said".to_owned()), now: now.to_owned(), why: "a photo".to_owned() }
}

fn flat(lines: &[String]) -> String {
    lines.iter().flat_map(|line| line.split_whitespace()).collect::<Vec<_>>().join(" ")
}

fn slip_said(story: &Story) -> String {
    flat(&slip_text(&slip(story, "serial").unwrap(), Look::PLAIN).plain())
}

#[test]
fn an_amended_line_is_marked_where_the_slip_shows_it_and_the_old_stays() {
    let (story, board) = signed_and_then(vec![("sam", amend(7, "another module")), ("sam", amend(3, "far away"))]);
    let said = slip_said(&story);
    let mark = "AMENDED: line 7, by sam, 2026-11-25 10:30:00, in line 27: now \"another module\". It said: \"what it \
                said\". Why: \"a photo\".";
    // Beside the headline and beside the line itself, which stays.
    assert_eq!(said.matches(mark).count(), 2, "{said}");
    assert!(said.contains(&format!("put in: serial (scanned, label read as label) {mark}")), "{said}");
    assert!(said.contains("AMENDED: line 7 was amended after the sign-off. By itself"), "{said}");
    // What is amended elsewhere in the record is not kept from the desk.
    let elsewhere = position(&said, "Also amended in this record");
    assert!(position(&said, "AMENDED: line 3, by sam") > elsewhere, "{said}");
    let page = slip_page(&slip(&story, "serial").unwrap());
    assert_eq!(page.matches("AMENDED: line 7, by sam").count(), 2, "{page}");
    assert_eq!(page.matches("AMENDED: line 3, by sam").count(), 1, "{page}");
    // The story marks it at the item and in the slot's history.
    let told = flat(&review(&story, &board, ALL).plain());
    assert_eq!(told.matches(mark).count(), 2, "{told}");
    assert!(slotwise::report::page(&story, &board).matches("AMENDED: line 7, by sam").count() >= 2);
}

#[test]
fn an_amendment_of_an_amendment_marks_the_line_too() {
    let (story, _) = signed_and_then(vec![("sam", amend(7, "another module")), ("kim", amend(27, "it was right"))]);
    let said = slip_said(&story);
    assert!(said.contains("AMENDED: line 27, by kim, 2026-11-25 10:30:00, in line 28: now \"it was right\""), "{said}");
    assert!(!said.contains("Also amended"), "{said}");
}

#[test]
fn the_stand_says_how_each_role_signed_and_that_nothing_was_checked_here() {
    let declared = |name: &str, role, key: Option<&str>| Event::Declared {
        name: name.to_owned(),
        role,
        statement: "statement".to_owned(),
        reason: Some("reason".to_owned()),
        key: key.map(str::to_owned),
    };
    use slotwise::record::Role;
    let (story, board) = signed_and_then(vec![("sam", declared("sam", Role::Supervisor, None))]);
    let wanted = "signed off by technician (typed name only, weaker) and supervisor (typed name only, weaker)";
    assert_eq!(story.record.stand(), wanted);
    for said in [slip_said(&story), flat(&review(&story, &board, ALL).plain())] {
        assert!(said.contains(wanted) && said.contains("a typed name can be anyone's; `slotwise audit"), "{said}");
    }
    for page in [slip_page(&slip(&story, "serial").unwrap()), slotwise::report::page(&story, &board)] {
        assert!(page.contains(wanted) && page.contains("Signatures and keys were not checked for it"), "{page}");
    }
    // A key that is named and never signed is not taken for a signature.
    let (story, _) = signed_and_then(vec![("technician", declared("technician", Role::Technician, Some("SHA256:x")))]);
    assert_eq!(story.record.stand(), "signed off by technician (its signature is missing)");
    // By whom, as a record says it: who only countersigned put no hand to the work.
    assert_eq!(story.record.workers, ["technician", "colleague"]);
    let (story, board) = signed_and_then(vec![("sam", declared("sam", Role::Supervisor, None))]);
    let hands = story.stands_out.iter().find(|notable| notable.kind == NotableKind::OtherHands).unwrap();
    assert_eq!(hands.facts.last().unwrap().value, "colleague");
    let said = flat(&review(&story, &board, ALL).plain());
    assert!(said.contains("by technician and colleague; lines also by sam"), "{said}");
}

#[test]
fn after_an_amendment_a_new_signature_is_wanted_and_no_step_is_called_open() {
    // All steps of this job have their answer but the one that was passed.
    let (story, board) = signed_and_then(vec![("sam", amend(7, "another module"))]);
    assert_eq!(story.items(ItemStand::Open), 0);
    assert_eq!(story.record.state, Stand::Amended);
    let said = flat(&review(&story, &board, ALL).plain());
    assert!(said.contains("not signed off: amended after the sign-off, a new signature is needed"), "{said}");
    assert!(said.contains("NOT SIGNED OFF: The job was changed after its sign-off stand a new signature"), "{said}");
    assert!(!said.contains("steps are open"), "{said}");
    // Taken back and given anew, no step is open either; before any signature, none is missed yet.
    let words = || StepId("power/words".to_owned());
    let given = Event::Answered { step: words(), value: "x".to_owned(), how: How::Typed, took_ms: 9_000, serial: None };
    let back = Event::Corrected { step: words(), corrects: 24, why: "why".to_owned() };
    let (story, _) = signed_and_then(vec![("technician", back), ("technician", given)]);
    assert_eq!((story.items(ItemStand::Open), story.record.state), (0, Stand::Reopened));
    assert!(story.record.stand().ends_with("after the sign-off, a new signature is needed"));
    let mut unsigned = told::events(&harmless);
    unsigned.truncate(24);
    let (lines, head, _) = lines(opened(&harmless), unsigned);
    let (story, _) = tell(&lines, &head, &steps(&harmless), None);
    assert_eq!(story.record.stand(), "not signed off: no step is open");
    // With a step taken back, steps are open.
    let (story, _) = everything(&harmless);
    assert_eq!(story.record.stand(), "not signed off: steps are open");
}

/// A record of the program's own, signed, with `lines` amended.
fn amended(fault: &str, lines: &[(&str, &str)]) -> Bench {
    let bench = Bench::new();
    bench.file("r.jsonl", std::fs::read(Played::get().record(fault)).unwrap());
    for (line, now) in lines {
        let args = ["amend", "r.jsonl", "--line", line, "--now", now, "--why", "bench error", "--name", "sam"];
        bench.run(&args, b"").ends(0);
    }
    bench
}

/// The numbers of the lines of a played record of which this holds.
fn lines_of(fault: &str, wanted: impl Fn(&Value) -> bool) -> Vec<String> {
    let text = std::fs::read_to_string(Played::get().record(fault)).unwrap();
    let lines = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    lines.filter(|line| wanted(line)).map(|line| line["n"].to_string()).collect()
}

/// The step at which the first module was read; it is not the one that was struck.
const FIRST_SCAN: &str = "fill-a-slot/f1-1/module";

#[test]
fn an_amended_verdict_supports_nothing_by_itself_and_the_headline_says_so() {
    let head = |bench: &Bench| {
        let ran = bench.run(&["rma", "r.jsonl", STRUCK], b"");
        ran.ends(0);
        let said = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        let json: Value = serde_json::from_str(&bench.run(&["rma", "r.jsonl", STRUCK, "--json"], b"").stdout).unwrap();
        (said, json["conclusion"]["supports_return"].as_bool().unwrap())
    };
    let (said, supports) = head(&amended("module", &[]));
    assert!(supports && said.contains("The evidence supports a return."), "{said}");

    // The verdict is reached once, and confirmed when the modules were put back.
    let verdicts = lines_of("module", |line| line["event"] == "verdict-reached");
    let [first, verdict] = verdicts.as_slice() else { panic!("{verdicts:?}") };
    let (said, supports) = head(&amended("module", &[(verdict, "the verdict is wrong")]));
    assert!(!supports && !said.contains("evidence supports a return"), "{said}");
    assert!(said.contains("AMENDED: the verdict (module, probability"), "{said}");
    assert!(said.contains("now \"the verdict is wrong\". Why: \"bench error\"."), "{said}");
    assert!(said.contains("The trouble followed it from"), "the old stays: {said}");
    let bench = amended("module", &[(verdict, "the verdict is wrong")]);
    let review = flat(&[bench.run(&["review", "r.jsonl"], b"").stdout]);
    let wanted =
        format!("VERDICT: The search for the fault ended: module; amended after the sign-off (line {verdict})");
    assert!(review.contains(&wanted) && review.contains(&format!("amended line {verdict} by sam in line")), "{review}");

    // A trial, a report and the scan of another module before the search: the verdict rests on each.
    let one = |wanted: fn(&Value) -> bool| lines_of("module", wanted).swap_remove(0);
    let trial = one(|line| line["event"] == "trial-done");
    let report = one(|line| line["event"] == "snapshot-taken");
    let scan = one(|line| line["event"] == "answered" && line["step"] == FIRST_SCAN && line["value"] != STRUCK);
    for line in [trial, report, scan, first.clone()] {
        let (said, supports) = head(&amended("module", &[(&line, "otherwise")]));
        assert!(!supports && !said.contains("evidence supports a return"), "{said}");
        assert!(said.contains(&format!("AMENDED: line {line}, which the verdict (module, probability")), "{said}");
    }
    // A reading on the way is shown, and takes nothing from the verdict.
    let other = one(|line| line["event"] == "answered" && line["step"] == "static/humidity");
    let (said, supports) = head(&amended("module", &[(&other, "41 %")]));
    assert!(supports && said.contains("The evidence supports a return."), "{said}");
    assert!(said.contains(&format!("Also amended in this record AMENDED: line {other}, by sam")), "{said}");
}

#[test]
fn an_answer_that_a_verdict_rests_on_and_that_is_taken_back_shakes_it() {
    let bench = amended("module", &[]);
    let args = ["amend", "r.jsonl", "--step", FIRST_SCAN, "--why", "bench error", "--name", "kim"];
    bench.run(&args, b"").ends(0);
    let ran = bench.run(&["rma", "r.jsonl", STRUCK], b"");
    let said = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("which the verdict (module, probability"), "{said}");
    assert!(said.contains("by kim") && said.contains("now \"this answer is taken back\""), "{said}");
    assert!(!said.contains("evidence supports a return"), "{said}");
}

#[test]
fn the_slip_says_how_its_fingerprint_is_checked() {
    let ran = Played::get().run("rma", "none", &[STRUCK]);
    assert!(!ran.stdout.contains("made by"), "{}", ran.stdout);
    // On one line, so that it can be copied.
    let (_, behind) = ran.stdout.split_once("to check it this prints the digits:\n").unwrap();
    let command = behind.lines().next().unwrap();
    let record = Played::get().record("none");
    let command = command.replace("RECORD", &format!("'{}'", record.display()));
    let printed = std::process::Command::new("sh").args(["-c", &command]).output().unwrap().stdout;
    let digits = String::from_utf8(printed).unwrap();
    let fingerprint: Vec<&str> = (0..5).filter_map(|group| digits.get(4 * group..4 * group + 4)).collect();
    assert!(ran.stdout.contains(&format!("fingerprint {}\n", fingerprint.join("-"))), "{digits}: {}", ran.stdout);
}

/// What was tried is marked where it is told, too: the round, the trial, the search's own lines.
#[test]
fn what_was_tried_is_marked_when_its_line_was_amended() {
    let tried = lines_of("module", |line| line["event"] == "trial-done");
    let begun = lines_of("module", |line| line["event"] == "isolation-opened");
    let [first, ..] = &tried[..] else { panic!("no trial") };
    let bench = amended("module", &[(first, "the other socket"), (&begun[0], "rates of the house")]);
    let review = bench.run(&["review", "r.jsonl"], b"").stdout;
    let section = review.split("\nTried\n").nth(1).unwrap().split("\nConcluded").next().unwrap();
    let section = section.split_whitespace().collect::<Vec<_>>().join(" ");
    for (line, now) in [(first, "the other socket"), (&begun[0], "rates of the house")] {
        let (_, behind) = section.split_once(&format!(" line {line}, ")).unwrap();
        let mark = position(behind, &format!("AMENDED: line {line}, by sam"));
        assert!(behind[mark..].contains(now), "{behind}");
        // Beside its own line, ahead of the next.
        let next = behind.find(" line ").unwrap_or(behind.len());
        assert!(mark < next.max(mark + 1) && !behind[..mark].contains("trial 2:"), "{behind}");
    }
    bench.run(&["report", "r.jsonl", "-o", "r.html"], b"").ends(0);
    let page = std::fs::read_to_string(bench.path("r.html")).unwrap();
    let section = page.split("What was tried").nth(1).unwrap().split("What was concluded").next().unwrap();
    assert_eq!(section.matches("class=\"amended\"").count(), 2, "{section}");
}
