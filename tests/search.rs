//! `slotwise isolate`: the search for a fault, driven by a script and by a technician, with right and wrong reports.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod program;

use program::{Bench, UNIT, right};
use serde_json::{Value, json};
use slotwise::board::{ReportsAs, SlotLabel};
use slotwise::checklist::Evidence;
use slotwise::isolate::{Seen, Step};
use slotwise::machine::{Boot, Fault, Latch, Machine, Reporting, Seated, WhichModule};
use slotwise::module::{Identity, Module};
use slotwise::record::Event;

const SPARE: &str = "7A41D00D";

/// A bench with a job that waits for the machine's report, and the machine.
struct Hands {
    bench: Bench,
    machine: Machine,
    /// Out of the machine.
    tray: Vec<Seated>,
    boots: u32,
}

impl Hands {
    fn new(fault: Fault, reporting: Reporting) -> Self {
        let bench = Bench::new();
        let lines: Vec<String> = bench
            .steps()
            .iter()
            .take_while(|(_, _, step)| step.evidence != Evidence::Snapshot)
            .filter_map(|(_, _, step)| right(step, ""))
            .collect();
        bench.install(&lines).ends(3);
        let plan = bench.plan();
        let like = plan.slot[0].module.clone();
        let identity = Identity { serial: Some(SPARE.to_owned()), ..like.identity };
        let spare = Module { spec: like.spec, identity };
        let tray = vec![Seated { module: spare, latch: Latch::Latched, first_in: "the bench".into() }];
        let machine = Machine::as_planned(&plan, 7).with_fault(fault).with_reporting(reporting);
        Self { bench, machine, tray, boots: 0 }
    }

    fn record(&self) -> String {
        self.bench.record().to_str().unwrap().to_owned()
    }

    /// Starts the machine; the options that tell what it showed.
    fn start(&mut self) -> Vec<String> {
        self.boots += 1;
        self.machine.set_boots(self.boots);
        let Boot::Up(tree) = self.machine.report() else { return vec!["--no-post".to_owned()] };
        let (folder, file) = (format!("tree-{}", self.boots), format!("boot-{}.json", self.boots));
        tree.write_to(&self.bench.path(&folder)).unwrap();
        let ran = self.bench.run(&["capture", "--root", &folder, "-o", &file], b"");
        assert!(ran.code <= 1, "{}", ran.stderr);
        vec!["--snapshot".to_owned(), file]
    }

    fn take(&mut self, slot: &SlotLabel) -> Seated {
        Seated { latch: Latch::Latched, ..self.machine.remove(slot).unwrap() }
    }

    fn carry_out(&mut self, change: &Step) {
        match change {
            Step::Reseat(slot) => assert!(self.machine.reseat(slot)),
            Step::Swap(one, other) => self.machine.swap(one, other),
            Step::Move(from, to) => {
                let seated = self.take(from);
                self.machine.put(to, seated).unwrap();
            }
            Step::Remove(slot) => {
                let seated = self.take(slot);
                self.tray.push(seated);
            }
            Step::Substitute(slot, serial) => {
                if self.machine.at(slot).is_some() {
                    let seated = self.take(slot);
                    self.tray.push(seated);
                }
                let is = |seated: &Seated| seated.module.identity.serial.as_ref() == Some(serial);
                let at = self.tray.iter().position(is).unwrap();
                let seated = self.tray.remove(at);
                self.machine.put(slot, seated).unwrap();
            }
            Step::ClearSettings(_) => {}
        }
    }

    fn isolate(&self, args: &[&str]) -> program::Ran {
        let record = self.record();
        self.bench.run(&[&["isolate", &record, "--json"], args].concat(), b"")
    }

    /// Reports a start; the answer.
    fn done(&mut self, more: &[&str]) -> (i32, Value) {
        let told = self.start();
        let args: Vec<&str> =
            ["--done"].into_iter().chain(told.iter().map(String::as_str)).chain(more.iter().copied()).collect();
        let ran = self.isolate(&args);
        (ran.code, serde_json::from_str(&ran.stdout).unwrap_or_else(|_| panic!("{}", ran.stderr)))
    }

    fn changes(answer: &Value) -> Vec<Step> {
        serde_json::from_value(answer["trial"]["changes"].clone()).unwrap()
    }

    /// To the verdict, by the script's calls alone.
    fn search(&mut self) -> Value {
        self.search_with(&["--spare", SPARE])
    }

    fn search_with(&mut self, more: &[&str]) -> Value {
        let (mut code, mut answer) = self.done(more);
        for _ in 0..30 {
            if answer["verdict"] != Value::Null || answer.get("undecided").is_some() {
                assert_eq!(code, i32::from(answer["verdict"]["what"] != "none"));
                return answer;
            }
            assert_eq!(code, 3, "{answer}");
            let asked = self.isolate(&["--next"]);
            assert_eq!(
                (asked.code, &serde_json::from_str::<Value>(&asked.stdout).unwrap()["trial"]),
                (3, &answer["trial"])
            );
            // No card leads a script's trial, so what needs hands names the cards.
            let by_hand = Self::changes(&answer).iter().any(|change| !matches!(change, Step::ClearSettings(_)));
            let notes = answer.get("notes").map(Value::to_string).unwrap_or_default();
            assert_eq!(notes.contains(slotwise::text::HANDS), by_hand, "{answer}");
            for change in Self::changes(&answer) {
                self.carry_out(&change);
            }
            (code, answer) = self.done(&[]);
        }
        panic!("no end: {answer}");
    }
}

fn slot(name: &str) -> SlotLabel {
    SlotLabel::from(name)
}

#[test]
fn a_script_comes_to_the_right_verdict_and_the_slip_agrees() {
    let bad = || Fault::Module(WhichModule::FirstIn(slot("F3-1")));
    let serial = Bench::new().plan().module_at("F3-1").unwrap().module.identity.serial.clone().unwrap();
    for (fault, reporting, what, which) in [
        (Fault::Seating { slot: slot("F3-1") }, Reporting::default(), "seating", "F3-1"),
        (bad(), Reporting::default(), "module", serial.as_str()),
        (bad(), Reporting::ByChannel, "module", &serial),
        (bad(), Reporting::Blind, "module", &serial),
        (Fault::Slot { slot: slot("F3-1") }, Reporting::default(), "slot", "F3-1"),
        (Fault::Channel { socket: "F".into(), channel: "3".into() }, Reporting::default(), "channel", "F3-1 F3-2 F3-3"),
    ] {
        let plan = Bench::new().plan();
        let fault = match fault {
            Fault::Channel { .. } => {
                let at = plan.board.slot("F3-1").unwrap();
                Fault::Channel { socket: at.socket.label.clone(), channel: at.channel.label.clone() }
            }
            other => other,
        };
        let mut hands = Hands::new(fault, reporting);
        let answer = hands.search();
        assert_eq!(
            (&answer["verdict"]["what"], &answer["verdict"]["which"]),
            (&json!(what), &json!(which)),
            "{answer}"
        );
        // Whoever reads the record alone comes to the same.
        let job = hands.bench.job();
        let search = job.isolation().unwrap();
        assert_eq!(json!(search.verdict.as_ref().unwrap().verdict.what), json!(what));
        let again = slotwise::isolate::answer(&search.state(&job.opened().board).unwrap());
        assert_eq!(json!(again.verdict), answer["verdict"]);
        let slip = hands.bench.run(&["rma", &hands.record(), &serial], b"");
        let supports = slip.stdout.contains("The evidence supports a return");
        assert_eq!(supports, what == "module", "{what}: {}", slip.stdout);
        assert!(slip.stdout.contains(what), "{}", slip.stdout);
        let review = hands.bench.run(&["review", &hands.record()], b"");
        assert!(review.stdout.contains("trial 1: "), "{}", review.stdout);
    }
}

#[test]
fn a_report_of_an_earlier_start_or_of_another_machine_is_refused_and_changes_nothing() {
    let mut hands = Hands::new(Fault::Slot { slot: slot("F3-1") }, Reporting::default());
    let (code, answer) = hands.done(&[]);
    assert_eq!(code, 3);
    let before = std::fs::read(hands.bench.record()).unwrap();
    let stale = hands.isolate(&["--done", "--snapshot", "boot-1.json"]);
    assert_eq!(stale.code, 65, "{}", stale.stderr);
    stale.says(&["not of the start after this trial", "nothing was written"]);
    let other = Machine::as_planned(&hands.bench.plan(), 8);
    let mut unit = hands.bench.plan().order.unit[0].clone();
    unit.chassis = "LF-HRN-0999".to_owned();
    let mut machine = Machine::new(other.board().clone(), unit, 8);
    for planned in &hands.bench.plan().slot {
        machine.insert(&planned.slot, planned.module.clone(), Latch::Latched).unwrap();
    }
    machine.set_boots(9);
    let Boot::Up(tree) = machine.report() else { panic!("dark") };
    tree.write_to(&hands.bench.path("other")).unwrap();
    hands.bench.run(&["capture", "--root", "other", "-o", "other.json"], b"");
    let refused = hands.isolate(&["--done", "--snapshot", "other.json"]);
    assert_eq!(refused.code, 65, "{}", refused.stderr);
    for args in [
        &["--done"][..],
        &["--done", "--report", "F9-9"],
        &["--done", "--snapshot", "nowhere.json"],
        &["--done", "--no-post", "--did", "[{\"reseat\":\"F1-2\"}]"],
        &["--done", "--no-post", "--did", "[{\"swap\":[\"F1-1\",\"F1-1\"]}]"],
        &["--done", "--no-post", "--did", "reseat it"],
        &["--next", "--sure", "2"],
        &["--next", "--rates", "nowhere.toml"],
    ] {
        let ran = hands.isolate(args);
        assert!([2, 65, 66].contains(&ran.code), "{args:?}: {} {}", ran.code, ran.stderr);
        assert!(ran.stderr.contains("way out"), "{args:?}: {}", ran.stderr);
    }
    assert_eq!(std::fs::read(hands.bench.record()).unwrap(), before);
    // The trial is still due, and its own start counts.
    for change in Hands::changes(&answer) {
        hands.carry_out(&change);
    }
    let (code, _) = hands.done(&[]);
    assert!(code == 1 || code == 3);
}

#[test]
fn modules_changed_without_a_word_show_in_the_report_and_what_it_shows_counts() {
    let mut hands = Hands::new(Fault::Slot { slot: slot("F3-1") }, Reporting::default());
    let (_, answer) = hands.done(&[]);
    let asked = Hands::changes(&answer);
    // Two other modules change places in place of what was asked for.
    hands.machine.swap(&slot("R1-1"), &slot("R2-1"));
    let (_, answer) = hands.done(&[]);
    let job = hands.bench.job();
    let done = job.isolation().unwrap().trials[0].done.clone().unwrap();
    assert_ne!(done.done, asked);
    let stands = job.isolation().unwrap().arrangement(1);
    let plan = hands.bench.plan();
    let was = plan.module_at("R2-1").unwrap().module.identity.serial.clone();
    let now = stands.iter().find(|one| one.slot == Some(slot("R1-1"))).unwrap();
    assert_eq!(now.module.identity.serial, was);
    assert_eq!(done.seen, Seen::Slots(vec![slot("F3-1")]));
    let notes = answer["notes"].to_string();
    assert!(notes.contains("otherwise than asked"), "{notes}");
}

#[test]
fn slots_read_off_a_screen_and_a_dark_machine_are_evidence_too() {
    let hands = Hands::new(Fault::None, Reporting::default());
    let ran = hands.isolate(&["--done", "--report", "F3-1"]);
    assert_eq!(ran.code, 3, "{}", ran.stderr);
    let first: Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(first["explanations"][0]["what"], "seating");
    let ran = hands.isolate(&["--done", "--report", "none"]);
    assert_eq!(ran.code, 3, "{}", ran.stderr);
    let ran = hands.isolate(&["--done", "--no-post"]);
    assert!(ran.code == 3 || ran.code == 1, "{}", ran.stderr);
    let told = hands.bench.job().isolation().unwrap().trials.iter().filter(|run| run.done.is_some()).count();
    assert_eq!(told, 2);
}

/// Corrected and uncorrected errors that the kernel of a tree counted at one slot.
fn count(bench: &Bench, tree: &str, at: &str, counts: [u32; 2]) {
    let plan = bench.plan();
    let locator = match &plan.board.slot(at).unwrap().slot.reports_as[0] {
        ReportsAs::Locator(locator) => locator.clone(),
        other => panic!("{other:?}"),
    };
    let folder = bench.path(tree).join("sys/devices/system/edac/mc/mc0/dimm0");
    std::fs::create_dir_all(&folder).unwrap();
    let [corrected, uncorrected] = counts.map(|count| format!("{count}\n"));
    for (file, text) in [("dimm_label", locator), ("dimm_ce_count", corrected), ("dimm_ue_count", uncorrected)] {
        std::fs::write(folder.join(file), text).unwrap();
    }
}

#[test]
fn corrected_errors_are_a_note_and_no_search_is_made_of_them() {
    let hands = Hands::new(Fault::None, Reporting::default());
    let bench = &hands.bench;
    for boot in 1..=4 {
        let (tree, file) = (format!("tree-{boot}"), format!("boot-{boot}.json"));
        bench.machine(&tree, Fault::None, boot);
        // The count goes where the module would have been moved to.
        count(bench, &tree, ["F3-1", "R1-1"][boot as usize % 2], [1, 0]);
        assert!(bench.run(&["capture", "--root", &tree, "-o", &file], b"").code <= 1);
        let ran = hands.isolate(&["--done", "--snapshot", &file]);
        let answer: Value = serde_json::from_str(&ran.stdout).unwrap_or_else(|_| panic!("{}", ran.stderr));
        assert_eq!(
            (ran.code, &answer["verdict"]["what"], &answer["trial"]),
            (0, &json!("none"), &Value::Null),
            "{answer}"
        );
        let notes = answer["notes"].to_string();
        for part in ["errors counted in slot", "1 corrected", "edac", "alone convicts no module", "compare the counts"]
        {
            assert!(notes.contains(part), "{notes}");
        }
        let next = hands.isolate(&["--next"]);
        assert!(next.code == 0 && next.stdout.contains("alone convicts no module"), "{} {}", next.stdout, next.stderr);
    }
    let serial = bench.plan().module_at("F3-1").unwrap().module.identity.serial.clone().unwrap();
    let slip = bench.run(&["rma", &hands.record(), &serial], b"");
    assert!(slip.stdout.contains("does not support a return"), "{}", slip.stdout);
    assert!(slip.stdout.contains("alone convicts no module"), "{}", slip.stdout);
    // An uncorrected error does begin one.
    bench.machine("worse", Fault::None, 5);
    count(bench, "worse", "F3-1", [0, 1]);
    bench.run(&["capture", "--root", "worse", "-o", "worse.json"], b"");
    let ran = hands.isolate(&["--done", "--snapshot", "worse.json"]);
    assert_eq!(ran.code, 3, "{} {}", ran.stdout, ran.stderr);
    // The technician is answered in words.
    let hands = Hands::new(Fault::None, Reporting::default());
    hands.bench.machine("tree", Fault::None, 1);
    count(&hands.bench, "tree", "F3-1", [1, 0]);
    let walked = hands.bench.run(&["isolate", &hands.record(), "--snapshot", "tree", "--plain"], b":p\n");
    walked.ends(3);
    walked.says(&[
        "every module works, so there is no fault to search for",
        "alone convicts no module",
        "take another report",
    ]);
    assert!(hands.bench.job().isolation().is_none());
}

#[test]
fn a_verdict_on_record_that_rests_on_corrected_errors_alone_supports_no_return() {
    use slotwise::isolate::Verdict;
    use slotwise::record::Journal;
    use slotwise::runner::{Search, all_steps, comparison, open_search};
    let hands = Hands::new(Fault::None, Reporting::default());
    let (bench, path) = (&hands.bench, hands.bench.record());
    let mut journal = Journal::look(&path).unwrap();
    let steps = all_steps(journal.job()).unwrap();
    let now = || chrono::Local::now().fixed_offset();
    journal.append("kim", now(), Event::Resumed { step: None, away_ms: None, clock_note: None }).unwrap();
    let (from, to) = (slot("F3-1"), slot("R1-1"));
    let serial = bench.plan().module_at("F3-1").unwrap().module.identity.serial.clone().unwrap();
    // As a version wrote it that took a count for a failure: at the start, and after the module was moved.
    for (boot, at) in [(1, &from), (2, &to)] {
        let (tree, file) = (format!("tree-{boot}"), format!("boot-{boot}.json"));
        bench.machine(&tree, Fault::None, boot);
        count(bench, &tree, at.as_str(), [1, 0]);
        bench.run(&["capture", "--root", &tree, "-o", &file], b"");
        let snapshot = slotwise::snapshot::read_json(&std::fs::read(bench.path(&file)).unwrap()).unwrap();
        let changes = vec![Step::Swap(from.clone(), to.clone())];
        if boot == 2 {
            let (changes, why) = (changes.clone(), String::new());
            let opened = Event::TrialOpened { trial: 1, changes, minutes: 1, why, guided: false };
            journal.append("kim", now(), opened).unwrap();
        }
        let taken = Event::SnapshotTaken { step: None, snapshot: Box::new(snapshot.clone()) };
        let line = journal.append("kim", now(), taken).unwrap();
        let seen = Seen::Slots(vec![at.clone()]);
        if boot == 2 {
            let done = Event::TrialDone {
                trial: 1,
                done: changes,
                seen: seen.clone(),
                found: Vec::new(),
                snapshot_line: Some(line),
            };
            journal.append("kim", now(), done).unwrap();
        }
        let findings = comparison(journal.job(), &steps, &snapshot).findings;
        journal.append("kim", now(), Event::Compared { snapshot_line: line, findings }).unwrap();
        if boot == 1 {
            let search = Search::shipped("install").unwrap();
            let opened = open_search(journal.job(), &steps, &search, seen, Some(line), Vec::new());
            journal.append("kim", now(), Event::IsolationOpened(Box::new(opened))).unwrap();
        }
    }
    let (what, probability, because) = ("module".to_owned(), "0.9997".to_owned(), "It followed.".to_owned());
    let verdict = Verdict { what, which: serial.clone(), probability, because };
    journal.append("kim", now(), Event::VerdictReached { verdict, explanations: Vec::new() }).unwrap();
    drop(journal);
    let slip = bench.run(&["rma", &hands.record(), &serial], b"");
    let told = slip.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("The evidence does not support a return"), "{} {}", slip.stdout, slip.stderr);
    assert!(slip.stdout.contains("holds only a count of corrected errors"), "{}", slip.stdout);
}

#[test]
fn a_search_stopped_half_way_is_undecided_and_nothing_goes_back() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::Slot { slot: slot("F2-1") }, 1);
    let mut lines: Vec<String> = steps.iter().filter_map(|(_, _, step)| right(step, "tree")).collect();
    let report = lines.iter().position(|line| line == "tree").unwrap();
    // Search; no spare; stop at the first trial; leave the finding open.
    let said = ["1", "", "2", "4", "1", "the board goes to its service", "Kim Holt"];
    lines.splice(report + 1..report + 1, said.iter().map(|line| (*line).to_owned()));
    lines.push("kim".to_owned());
    let ran = bench.install(&lines);
    ran.ends(1);
    ran.says(&["the search ends undecided", "nothing goes back to the maker on it"]);
    // Who thinks better of it begins again.
    ran.says(&["1 = begin a new search, for what still fails"]);
    let job = bench.job();
    let reached = job.isolation().unwrap().verdict.clone().unwrap();
    assert_eq!(reached.verdict.what, "undecided");
    let serial = bench.plan().module_at("F2-1").unwrap().module.identity.serial.clone().unwrap();
    let record = bench.record();
    let slip = bench.run(&["rma", record.to_str().unwrap(), &serial], b"");
    assert!(slip.stdout.contains("The evidence does not support a"), "{}", slip.stdout);
}

#[test]
fn a_search_is_for_a_job_at_its_report_and_goes_on_after_a_pause() {
    let bench = Bench::new();
    bench.install(&["1".to_owned()]).ends(3);
    let record = bench.record();
    let record = record.to_str().unwrap();
    let early = bench.run(&["isolate", record, "--plain"], b"");
    assert_eq!(early.code, 65);
    early.says(&["the job is still at", "slotwise resume"]);
    // At the report: begun from a file, paused at the first trial, gone on with.
    let hands = Hands::new(Fault::Slot { slot: slot("F2-1") }, Reporting::default());
    hands.bench.machine("tree", Fault::Slot { slot: slot("F2-1") }, 1);
    let record = hands.record();
    let begun = hands.bench.run(&["isolate", &record, "--snapshot", "tree", "--plain"], b"\n:p\n");
    begun.ends(3);
    begun.says(&["missing at F2-1", "Trial 1", "How this machine reports, inferred: it names the slot that fails"]);
    // Taken up again, the job offers the trial it was paused at.
    let resumed = hands.bench.run(&["resume", &record, "--plain"], b"p\n");
    resumed.ends(3);
    resumed.says(&["Trial 1", "go on with this trial"]);
    let again = hands.bench.run(&["isolate", &record, "--plain"], b"1\n:p\n");
    again.ends(3);
    again.says(&["Trial 1", "the cards of this trial come next"]);
    let job = hands.bench.job();
    assert_eq!(job.isolations().len(), 1);
    assert!(job.isolation().unwrap().open_trial().is_some());
    assert_eq!(job.opened().unit, UNIT);
    let events = slotwise::record::read::Lines::open(&hands.bench.record()).unwrap();
    let opened = events.filter(|line| matches!(line.as_ref().unwrap().line.event, Event::TrialOpened { .. })).count();
    assert_eq!(opened, 1);
}

#[test]
fn a_spare_that_comes_to_hand_during_the_search_counts_from_then_on() {
    let mut hands = Hands::new(Fault::Slot { slot: slot("F3-1") }, Reporting::default());
    let (code, answer) = hands.done(&[]);
    assert_eq!(code, 3, "{answer}");
    let spares = |hands: &Hands| hands.bench.job().isolation().unwrap().opened.spares.len();
    assert_eq!(spares(&hands), 0);
    // Asking what comes next writes nothing, so the spare would be forgotten: that is said, with the way out.
    let before = std::fs::read(hands.bench.record()).unwrap();
    let lost = hands.isolate(&["--next", "--spare", SPARE]);
    assert_eq!(lost.code, 2, "{}", lost.stderr);
    lost.says(&["would be lost", "give it with --done"]);
    let own = hands.bench.plan().module_at("F1-1").unwrap().module.identity.serial.clone().unwrap();
    for args in [&["--next", "--spare", own.as_str()][..], &["--done", "--report", "none", "--spare", &own]] {
        let refused = hands.isolate(args);
        assert_eq!(refused.code, 65, "{args:?} {}", refused.stderr);
        refused.says(&["is one of the machine's own", "comes from outside"]);
    }
    assert_eq!(std::fs::read(hands.bench.record()).unwrap(), before);
    // Given with a start, it is an event, once; the trials after it may use it.
    for change in Hands::changes(&answer) {
        hands.carry_out(&change);
    }
    let (_, mut answer) = hands.done(&["--spare", SPARE]);
    assert_eq!(spares(&hands), 1);
    for _ in 0..20 {
        if answer["trial"] == Value::Null {
            break;
        }
        for change in Hands::changes(&answer) {
            hands.carry_out(&change);
        }
        (_, answer) = hands.done(&["--spare", SPARE]);
    }
    assert_eq!(answer["verdict"]["what"], "slot", "{answer}");
    assert_eq!(spares(&hands), 1, "the same serial once more is no news");
    let brought = slotwise::record::read::Lines::open(&hands.bench.record())
        .unwrap()
        .filter(|line| matches!(line.as_ref().unwrap().line.event, Event::SpareBrought { .. }));
    assert_eq!(brought.count(), 1);
    let review = hands.bench.run(&["review", &hands.record()], b"").stdout;
    assert!(review.contains("a known-good module came to hand"), "{review}");
    // After the verdict there is nothing a spare could tell.
    let late = hands.isolate(&["--next", "--spare", "7A41E00E"]);
    assert_eq!(late.code, 65, "{}", late.stderr);
    late.says(&["the search is over"]);
}

#[test]
fn the_technician_brings_a_spare_at_the_offer_of_a_trial_or_by_its_option() {
    let hands = Hands::new(Fault::Slot { slot: slot("F2-1") }, Reporting::default());
    hands.bench.machine("tree", Fault::Slot { slot: slot("F2-1") }, 1);
    let record = hands.record();
    // No spare at first; at the offer of the trial one has come, and the trial is offered anew.
    let answers = format!("\n3\n{SPARE}\n:p\n");
    let begun = hands.bench.run(&["isolate", &record, "--snapshot", "tree", "--plain"], answers.as_bytes());
    begun.ends(3);
    begun.says(&["a known-good module is at hand now", "is on hand as known-good from here on"]);
    assert_eq!(begun.stderr.matches("Trial 1, about").count(), 2, "{}", begun.stderr);
    let named = hands.bench.run(&["isolate", &record, "--spare", "7A41E00E", "--plain"], b":p\n");
    named.ends(3);
    named.says(&["module 7A41E00E is on hand as known-good"]);
    let spares = hands.bench.job().isolation().unwrap().opened.spares.clone();
    let serials: Vec<_> = spares.iter().filter_map(|spare| spare.identity.serial.clone()).collect();
    assert_eq!(serials, [SPARE, "7A41E00E"]);
}

/// Writes the job of `record` again as another job, line by line, with what `change` makes of its first line.
fn again(record: &std::path::Path, folder: &std::path::Path, n: usize, change: impl Fn(&mut slotwise::record::Opened)) {
    let mut lines = slotwise::record::read::Lines::open(record).unwrap().map(|line| line.unwrap().line);
    let first = lines.next().unwrap();
    let Event::Opened(opened) = first.event else { panic!("a record opens a job") };
    let mut opened = opened;
    opened.job = format!("{}-{n:02}", &opened.job[..opened.job.len() - 3]);
    change(&mut opened);
    let mut journal = slotwise::record::Journal::create(folder, &first.by, first.at, *opened).unwrap();
    for line in lines {
        journal.append(&line.by, line.at, line.event).unwrap();
    }
}

#[test]
fn a_shop_learns_its_rates_from_its_own_finished_records_and_from_nothing_else() {
    // One search that ended in a seating, with the job signed off.
    let mut hands = Hands::new(Fault::Seating { slot: slot("F3-1") }, Reporting::default());
    let answer = hands.search();
    assert_eq!(answer["verdict"]["what"], "seating", "{answer}");
    hands.start();
    let tree = format!("tree-{}", hands.boots);
    hands.bench.resume(&program::rest(&hands.bench.job(), &tree)).ends(0);
    let record = hands.bench.record();
    let shop = hands.bench.path("shop");
    std::fs::create_dir(&shop).unwrap();
    let learn = |more: &[&str]| hands.bench.run(&[&["isolate", "--learn", "shop"], more].concat(), b"");
    assert_eq!(learn(&[]).code, 66);
    for n in 0..9 {
        again(&record, &shop, n, |_| {});
    }
    // A practice job is no job of the shop, and what is cut or changed is not whole.
    again(&record, &shop, 50, |opened| {
        let practice = json!({"fault": "seating", "seed": "1"});
        opened.practice = Some(serde_json::from_value(practice).unwrap());
    });
    let whole = std::fs::read_to_string(&record).unwrap();
    std::fs::write(shop.join("changed.jsonl"), whole.replacen("0.99", "0.98", 1)).unwrap();
    let cut: String = whole.lines().take(60).map(|line| format!("{line}\n")).collect();
    std::fs::write(shop.join("cut.jsonl"), cut).unwrap();
    let few = learn(&["-o", "own.toml"]);
    assert_eq!(few.code, 65, "{}", few.stdout);
    few.says(&[
        "9 verdicts in shop",
        "at least 10",
        "practice",
        "changed.jsonl",
        "not signed off",
        "nothing was written",
    ]);
    assert!(!hands.bench.path("own.toml").exists());
    again(&record, &shop, 9, |_| {});
    let enough = learn(&["-o", "own.toml"]);
    enough.ends(0);
    assert!(enough.stdout.contains("13 records read, 10 verdicts counted"), "{}", enough.stdout);
    assert!(enough.stdout.contains("seating: 10") && enough.stdout.contains("left out: "), "{}", enough.stdout);
    let text = std::fs::read_to_string(hands.bench.path("own.toml")).unwrap();
    let rates: toml::Table = toml::from_str(&text).unwrap();
    let share = &rates["share"]["seating"];
    // By hand: (10 + 20 x 0.539) / 30; the shares are rounded so that they add up to 1.
    let value: f64 = share["value"].as_str().unwrap().parse().unwrap();
    assert!((value - 20.78 / 30.0).abs() < 1e-5, "{text}");
    assert!(share["source"].as_str().unwrap().contains("learnt from 10 verdicts"), "{text}");
    assert_eq!(rates["second"]["fault"]["source"].as_str(), Some("assumed"), "what is not learnt keeps its source");
    assert!(text.starts_with("# Learnt by"), "{text}");
    // And a search goes by it.
    let mut other = Hands::new(Fault::Seating { slot: slot("F1-1") }, Reporting::default());
    std::fs::write(other.bench.path("own.toml"), &text).unwrap();
    let (_, answer) = other.done(&["--rates", "own.toml"]);
    assert_eq!(answer["explanations"][0]["what"], "seating");
    assert_eq!(other.bench.job().isolation().unwrap().opened.rates.name, "own");
    for wrong in [&["--next"][..], &["--spare", "X1"]] {
        assert_eq!(learn(wrong).code, 2, "{wrong:?}");
    }
}

/// A search walked at the bench up to the cards of its first trial, for a bad slot F2-1.
fn at_the_first_trial() -> Hands {
    let hands = Hands::new(Fault::Slot { slot: slot("F2-1") }, Reporting::default());
    hands.bench.machine("tree", Fault::Slot { slot: slot("F2-1") }, 1);
    let begun = hands.bench.run(&["isolate", &hands.record(), "--snapshot", "tree", "--plain"], b"\n1\n:p\n");
    begun.ends(3);
    hands
}

/// The answers from where the job stands up to its report, `change` may put others in place of one; then `report`.
fn up_to_the_report(hands: &Hands, report: &str, change: impl Fn(&str) -> Option<Vec<String>>) -> Vec<String> {
    let job = hands.bench.job();
    let steps = slotwise::runner::all_steps(&job).unwrap();
    let again = slotwise::runner::doubtful(&steps, &job);
    let open = |step: &&slotwise::checklist::Step| again.contains(&step.id) || job.answer(&step.id).is_none();
    let before = steps.iter().map(|(_, _, step)| step).take_while(|step| step.evidence != Evidence::Snapshot);
    let mut lines: Vec<String> = before
        .filter(open)
        .flat_map(|step| change(&step.id.0).unwrap_or_else(|| right(step, report).into_iter().collect()))
        .collect();
    lines.extend([report.to_owned(), ":p".to_owned()]);
    lines
}

#[test]
fn at_the_bench_too_a_report_of_an_earlier_start_or_another_machine_leaves_the_trial_waiting() {
    let hands = at_the_first_trial();
    let lines = up_to_the_report(&hands, "tree", |_| None);
    let stale = hands.bench.resume(&lines);
    stale.ends(3);
    stale.says(&["stale-snapshot", "the trial still waits for the report of its own start"]);
    let plan = hands.bench.plan();
    let mut unit = plan.order.unit[0].clone();
    unit.chassis = "LF-HRN-0999".to_owned();
    let mut machine = Machine::new(plan.board.clone(), unit, 8);
    for planned in &plan.slot {
        machine.insert(&planned.slot, planned.module.clone(), Latch::Latched).unwrap();
    }
    machine.set_boots(9);
    let Boot::Up(tree) = machine.report() else { panic!("dark") };
    tree.write_to(&hands.bench.path("other")).unwrap();
    let other = hands.bench.resume(&up_to_the_report(&hands, "other", |_| None));
    other.ends(3);
    other.says(&["other-machine", "the trial still waits for the report of its own start"]);
    let job = hands.bench.job();
    assert!(job.isolation().unwrap().open_trial().is_some());
    assert_eq!(job.isolation().unwrap().done(), 0, "neither counts as what the trial showed");
}

#[test]
fn a_card_that_was_passed_leaves_its_change_undone_and_the_belief_knows_it() {
    let hands = at_the_first_trial();
    let job = hands.bench.job();
    let asked = job.isolation().unwrap().open_trial().unwrap().changes.clone();
    assert!(asked.iter().any(|step| trial_slots(step).contains(&slot("F2-1"))), "{asked:?}");
    hands.bench.machine("second", Fault::Slot { slot: slot("F2-1") }, 2);
    let lines = up_to_the_report(&hands, "second", |id| {
        let passed = [":override", "1", "the riser would not come off", "Kim Holt"];
        // Every module that was to be handled stays where it is.
        (id.starts_with("trial-1/") && id.ends_with("/module")).then(|| passed.map(str::to_owned).to_vec())
    });
    let ran = hands.bench.resume(&lines);
    ran.ends(3);
    ran.says(&["part of the trial was passed; what counts: change nothing", "this start showed: failing: F2-1"]);
    let job = hands.bench.job();
    let run = &job.isolation().unwrap().trials[0];
    assert_eq!(run.done.as_ref().unwrap().done, []);
    let state = job.isolation().unwrap().state(&job.opened().board).unwrap();
    assert_eq!(state.insertions_of(&slot("F2-1")), Some(0), "nothing was inserted");
    // Not seated anew, so a bad seating explains it as well as before.
    assert_eq!(slotwise::isolate::explanations(&state)[0].what, "seating");
}

/// The slots a change names.
fn trial_slots(step: &Step) -> Vec<SlotLabel> {
    match step {
        Step::Reseat(slot) | Step::Remove(slot) | Step::Substitute(slot, _) => vec![slot.clone()],
        Step::Swap(one, other) | Step::Move(one, other) => vec![one.clone(), other.clone()],
        Step::ClearSettings(_) => Vec::new(),
    }
}

#[test]
fn reports_that_contradict_each_other_end_undecided_and_send_nothing_back() {
    let hands = Hands::new(Fault::None, Reporting::default());
    let mut last = hands.isolate(&["--done", "--report", "F1-1"]);
    for told in ["R1-1", "F3-1", "R4-1", "F4-1", "R2-1"] {
        if last.code != 3 {
            break;
        }
        // Nothing was changed, and each start names another slot.
        last = hands.isolate(&["--done", "--report", told, "--did", "[]"]);
    }
    assert_eq!(last.code, 1, "{} {}", last.stdout, last.stderr);
    let answer: Value = serde_json::from_str(&last.stdout).unwrap();
    assert_eq!(answer["verdict"], Value::Null, "{answer}");
    assert!(answer["undecided"].as_str().unwrap().contains("contradict each other"), "{answer}");
    assert!(answer["notes"].to_string().contains("is not as told"), "{answer}");
    let job = hands.bench.job();
    assert_eq!(job.isolation().unwrap().verdict.as_ref().unwrap().verdict.what, "undecided");
    for planned in &hands.bench.plan().slot {
        let serial = planned.module.identity.serial.clone().unwrap();
        let slip = hands.bench.run(&["rma", &hands.record(), &serial], b"");
        assert!(slip.stdout.contains("does not support a"), "{}", slip.stdout);
    }
}

#[test]
fn a_module_of_the_machine_is_no_spare_from_the_first_start_on() {
    let hands = Hands::new(Fault::Slot { slot: slot("F3-1") }, Reporting::default());
    let own = hands.bench.plan().module_at("F1-1").unwrap().module.identity.serial.clone().unwrap();
    let before = std::fs::read(hands.bench.record()).unwrap();
    for args in [&["--next", "--no-post", "--spare", &own][..], &["--done", "--no-post", "--spare", &own]] {
        let refused = hands.isolate(args);
        assert_eq!(refused.code, 65, "{args:?}: {}", refused.stderr);
        refused.says(&["is one of the machine's own", "comes from outside"]);
    }
    assert_eq!(std::fs::read(hands.bench.record()).unwrap(), before);
}

/// What a page for a person says, on one line.
fn page(hands: &Hands, args: &[&str]) -> (i32, String) {
    let record = hands.record();
    let ran = hands.bench.run(&[&args[..1], &[record.as_str()], &args[1..]].concat(), b"");
    (ran.code, ran.stdout.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[test]
fn what_a_search_moved_is_a_finding_of_the_job_as_verify_names_it_until_it_is_put_back() {
    let plan = Hands::new(Fault::None, Reporting::default()).bench.plan();
    let mut moved = 0;
    for planned in &plan.slot {
        let mut hands = Hands::new(Fault::Seating { slot: planned.slot.clone() }, Reporting::ByChannel);
        let answer = hands.search_with(&[]);
        assert_eq!(answer["verdict"]["what"], "seating", "{answer}");
        let snapshot = format!("boot-{}.json", hands.boots);
        let kinds = |against: &str| {
            let ran = hands.bench.run(&["verify", against, &snapshot, "--json"], b"");
            let found: Value = serde_json::from_str(&ran.stdout).unwrap();
            let found = found["findings"].as_array().unwrap().clone();
            found.iter().map(|one| (one["kind"].clone(), one["slot"].clone())).collect::<Vec<_>>()
        };
        let by_plan = kinds("practice/plan.toml");
        let last = hands.bench.job().comparison().unwrap().clone();
        let last: Vec<(Value, Value)> = last.findings.iter().map(|one| (json!(one.kind), json!(one.slot))).collect();
        assert_eq!(last, by_plan);
        let (code, text) = page(&hands, &["review"]);
        assert_eq!(code, i32::from(!by_plan.is_empty()), "{text}");
        moved += by_plan.len();
    }
    assert!(moved > 0, "no search moved anything");
}

#[test]
fn starts_after_a_verdict_that_speak_against_it_are_named_first_and_support_no_return() {
    let mut hands = Hands::new(Fault::Module(WhichModule::FirstIn(slot("F1-1"))), Reporting::default());
    let answer = hands.search_with(&[]);
    assert_eq!(answer["verdict"]["what"], "module", "{answer}");
    let serial = answer["verdict"]["which"].as_str().unwrap().to_owned();
    let (_, before) = page(&hands, &["rma", &serial]);
    assert!(before.contains("The evidence supports a return."), "{before}");
    let machine = std::mem::replace(&mut hands.machine, Machine::as_planned(&hands.bench.plan(), 7));
    hands.machine = machine.with_fault(Fault::None);
    for _ in 0..6 {
        assert_eq!(hands.done(&[]).0, 0);
    }
    let (_, after) = page(&hands, &["rma", &serial]);
    let head = after.find("EVIDENCE CHANGED since the verdict (module, ").unwrap_or_else(|| panic!("{after}"));
    assert!(head < after.find("The module").unwrap(), "{after}");
    assert!(after.contains("the module worked at 6 of 6 starts, in "), "{after}");
    assert!(after.contains("The evidence does not support a return. Run the fault search again"), "{after}");
    let (_, json) = page(&hands, &["rma", &serial, "--json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["conclusion"]["supports_return"], false);
    assert_eq!(json["conclusion"]["since"]["lines"].as_array().unwrap().len(), 6);
    let (_, review) = page(&hands, &["review"]);
    assert!(review.contains("The search for the fault ended: module; the evidence has changed since"), "{review}");
    let record = hands.record();
    hands.bench.run(&["report", &record, "-o", "job.html"], b"").ends(0);
    let report = std::fs::read_to_string(hands.bench.path("job.html")).unwrap();
    assert!(report.contains("EVIDENCE CHANGED since this verdict"));
}

#[test]
fn a_module_that_fails_again_after_a_verdict_on_its_seating_is_said_to() {
    let mut hands = Hands::new(Fault::Seating { slot: slot("F1-1") }, Reporting::default());
    let answer = hands.search_with(&[]);
    assert_eq!(answer["verdict"]["what"], "seating", "{answer}");
    let serial = hands.machine.at(&slot("F1-1")).unwrap().module.identity.serial.clone().unwrap();
    let machine = std::mem::replace(&mut hands.machine, Machine::as_planned(&hands.bench.plan(), 7));
    hands.machine = machine.with_fault(Fault::Slot { slot: slot("F1-1") });
    hands.done(&[]);
    let (_, slip) = page(&hands, &["rma", &serial]);
    assert!(slip.contains("EVIDENCE CHANGED since the verdict (seating, "), "{slip}");
    assert!(
        slip.contains("the module failed at 1 of 1 start, in F1-1. The evidence does not support a return."),
        "{slip}"
    );
    let (_, review) = page(&hands, &["review"]);
    assert!(review.contains("The search for the fault ended: seating; the evidence has changed since"), "{review}");
}

#[test]
fn a_verdict_has_one_probability_on_every_screen_and_none_is_certain() {
    let mut hands = Hands::new(Fault::Module(WhichModule::FirstIn(slot("F1-1"))), Reporting::default());
    let answer = hands.search();
    let number: f64 = answer["verdict"]["probability"].as_str().unwrap().parse().unwrap();
    assert!(number < 1.0, "{answer}");
    let serial = answer["verdict"]["which"].as_str().unwrap().to_owned();
    let same = |one: &&Value| one["what"] == "module" && one["which"] == serial.as_str();
    let explained = answer["explanations"].as_array().unwrap().iter().find(same).unwrap();
    assert_eq!(explained["probability"], answer["verdict"]["probability"], "{answer}");
    let words = slotwise::isolate::per_cent(number);
    let (_, review) = page(&hands, &["review"]);
    assert!(review.contains(&format!("probability {words} because")), "{review}");
    assert!(review.contains(&format!("module {serial}, probability {words}")), "{review}");
    let (_, slip) = page(&hands, &["rma", &serial]);
    assert!(slip.contains(&format!("Verdict: module, probability {words}.")), "{slip}");
    let (_, next) = page(&hands, &["isolate", "--next"]);
    assert!(next.contains(&format!("VERDICT: module {serial}, probability {words}")), "{next}");
    for shown in [&review, &slip, &next] {
        assert!(!shown.contains("probability 0.") && !shown.contains("probability 1 "), "{shown}");
    }
}
