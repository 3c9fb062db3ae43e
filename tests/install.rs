//! A whole job with the real program: right answers, wrong ones, pauses, findings, and files that are not what they should be.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use program::{Bench, TECHNICIAN, first_scan, joined, line_of, rest, whole};
use slotwise::board::SlotLabel;
use slotwise::checklist::{Evidence, ScanOf, StepId};
use slotwise::machine::Fault;
use slotwise::record::{Answer, Event, Passed, read};

fn events(bench: &Bench) -> Vec<Event> {
    read::Lines::open(&bench.record()).unwrap().map(|line| line.unwrap().line.event).collect()
}

/// The lines of a whole job, with `wrong` put in ahead of the line at `at`.
fn with_wrong(bench: &Bench, at: usize, wrong: &[&str]) -> Vec<String> {
    bench.machine("tree", Fault::None, 1);
    let mut lines = whole(&bench.steps(), "tree");
    lines.splice(at..at, wrong.iter().map(|line| (*line).to_owned()));
    lines
}

fn refusals(bench: &Bench) -> Vec<(String, String)> {
    let refused = |event| match event {
        Event::Refused { value, why, .. } => Some((value, why)),
        _ => None,
    };
    events(bench).into_iter().filter_map(refused).collect()
}

#[test]
fn a_job_done_right_ends_signed_off_with_every_answer_on_record() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    let ran = bench.install(&whole(&steps, "tree"));
    ran.ends(0);
    assert!(ran.stdout.starts_with("DONE "), "{}", ran.stdout);
    let job = bench.job();
    assert!(job.is_done());
    assert_eq!(job.answers().len(), steps.iter().count());
    assert_eq!(job.refused_in_all(), 0);
    assert_eq!(job.comparison().unwrap().findings, []);
    assert_eq!(job.bound(&steps).len(), 8);
}

/// An answers file that gives the right answer to each step, once; to `wrong` it gives the same answer without end.
fn answers_file(bench: &Bench, wrong: Option<(&str, &str)>) -> String {
    let mut answers = String::from("format = \"slotwise-answers/1\"\n");
    let steps = bench.steps();
    let given = steps.iter().map(|(_, _, step)| {
        // A script says that it has waited.
        (step.id.0.as_str(), program::right(step, "tree").unwrap_or_else(|| "done".to_owned()))
    });
    for (step, right) in given.chain([("sign-off/id", TECHNICIAN.to_owned())]) {
        let give = match wrong {
            Some((at, wrong)) if at == step => format!("every = \"{wrong}\""),
            _ => format!("give = [\"{right}\"]"),
        };
        answers += &format!("[[answer]]\nstep = \"{step}\"\n{give}\n");
    }
    answers + "[[answer]]\nstep = \"*/put-right\"\nevery = \"put it right\"\n"
}

#[test]
fn an_answers_file_does_the_same_job() {
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    let unused = "[[answer]]\nstep = \"no-such-step\"\ngive = [\"1\"]\n";
    bench.file("answers.toml", answers_file(&bench, None) + unused);
    let mut args = Bench::install_args().to_vec();
    args.extend(["--answers", "answers.toml"]);
    let ran = bench.run(&args, b"");
    ran.ends(0);
    ran.says(&["no-such-step"]);
    assert!(bench.job().is_done());
}

/// At every kind of question: an answer that is refused, or that leads nowhere, is not given without end. The job pauses,
/// names file, line, key and step, and goes on with the corrected file.
#[test]
fn an_answers_file_that_gives_the_same_refused_answer_pauses_the_job() {
    let bench = Bench::new();
    let steps = bench.steps();
    let find = |is: &dyn Fn(&Evidence) -> bool| {
        steps.iter().map(|(_, _, step)| step).find(|step| is(&step.evidence)).unwrap().clone()
    };
    let choice = find(&|evidence| matches!(evidence, Evidence::Choice { .. }));
    let Evidence::Choice { options, good, .. } = &choice.evidence else { panic!() };
    let bad = options.iter().find(|option| !good.contains(option)).unwrap();
    let id = |is: &dyn Fn(&Evidence) -> bool| find(is).id.0;
    let confirm = id(&|evidence| matches!(evidence, Evidence::Confirm { .. }));
    let wrong = [
        (id(&|evidence| matches!(evidence, Evidence::Scan { .. })), "F9-9"),
        (id(&|evidence| matches!(evidence, Evidence::Reading { .. })), "99"),
        (id(&|evidence| matches!(evidence, Evidence::Count { .. })), "99"),
        (choice.id.0.clone(), bad),
        (id(&|evidence| *evidence == Evidence::Snapshot), "nowhere"),
        ("sign-off/id".to_owned(), "nobody"),
        // Not refused, but the same step comes again after each.
        (confirm.clone(), ":note again"),
        (confirm, "3"),
    ];
    for (step, wrong) in wrong {
        let bench = Bench::new();
        bench.machine("tree", Fault::None, 1);
        let answers = answers_file(&bench, Some((&step, wrong)));
        let line = answers.lines().position(|line| line == format!("step = \"{step}\"")).unwrap();
        bench.file("answers.toml", answers);
        let mut args = Bench::install_args().to_vec();
        args.extend(["--answers", "answers.toml"]);
        let ran = bench.run(&args, b"");
        ran.ends(3);
        ran.says(&[
            &format!("ATTENTION answers.toml:{line}: key `every` gives "),
            &format!(" to `{step}` again: "),
            "ATTENTION try: correct this answer in the file",
        ]);
        assert!(ran.stdout.starts_with("PAUSED "), "{}", ran.stdout);
        assert!(ran.stderr.matches("REFUSED").count() <= 2, "{step}: {}", ran.stderr);
        assert!(refusals(&bench).len() <= 2 && bench.job().is_paused(), "{step}");
        let Some(Event::Paused { why, .. }) = events(&bench).pop() else { panic!("{step}") };
        assert_eq!(why, "the answers file gives the same answer again");
        bench.file("answers.toml", answers_file(&bench, None));
        bench.run(&["resume", bench.record().to_str().unwrap(), "--answers", "answers.toml"], b"").ends(0);
    }
}

#[test]
fn an_answers_file_that_runs_dry_pauses_the_job_and_names_the_step() {
    let bench = Bench::new();
    bench.file(
        "answers.toml",
        "format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"order-in-hand/rules\"\ngive = [\"1\"]\n",
    );
    let mut args = Bench::install_args().to_vec();
    args.extend(["--answers", "answers.toml"]);
    let ran = bench.run(&args, b"");
    ran.ends(65);
    ran.says(&["answers.toml", "order-in-hand/manual", "resume"]);
    let job = bench.job();
    assert!(job.is_paused());
    assert_eq!(job.answers().len(), 1);
}

#[test]
fn a_wrong_scan_is_refused_in_words_and_the_right_one_then_taken() {
    let bench = Bench::new();
    let steps = bench.steps();
    let at = first_scan(&steps, ScanOf::Module);
    // Nobody's module, the chassis tag, a slot label, a module of another slot.
    let lines = with_wrong(&bench, at, &["7A41FFFF", program::UNIT, "F3-1", "7A410C55"]);
    bench.install(&lines).ends(0);
    let refused = refusals(&bench);
    assert_eq!(refused.len(), 4, "{refused:#?}");
    for ((value, why), word) in
        refused.iter().zip(["knows no such module", "tag of the machine", "label of slot F3-1", "slot"])
    {
        assert!(why.contains(word), "{value}: {why}");
        // The serial that is wanted is never in a refusal.
        assert!(!why.contains("7A410C6C"), "{why}");
    }
    assert!(bench.job().is_done());
}

#[test]
fn one_module_does_not_stand_in_two_slots() {
    let bench = Bench::new();
    let steps = bench.steps();
    let scans: Vec<usize> = (0..whole(&steps, "").len()).collect();
    let first = first_scan(&steps, ScanOf::Module);
    let lines = whole(&steps, "tree");
    // The next card's module scan, given the module of the card before.
    let serial = lines[first].clone();
    let next = scans.into_iter().skip(first + 1).find(|n| lines[*n].starts_with("7A41")).unwrap();
    let lines = with_wrong(&bench, next, &[&serial]);
    bench.install(&lines).ends(0);
    let refused = refusals(&bench);
    assert_eq!(refused.len(), 1);
    assert!(refused[0].1.contains("already"), "{}", refused[0].1);
}

#[test]
fn strap_readings_outside_the_limits_are_refused_with_their_direction() {
    let bench = Bench::new();
    let steps = bench.steps();
    let at = line_of(&steps, "static/wrist");
    let lines = with_wrong(&bench, at, &["0", "abc", "0.74", "35.1", "-1", "1e3", "\u{221e}"]);
    let ran = bench.install(&lines);
    ran.ends(0);
    ran.says(&["abc is no number"]);
    let refused = refusals(&bench);
    let values: Vec<&str> = refused.iter().map(|(value, _)| value.as_str()).collect();
    assert_eq!(values, ["0", "0.74", "35.1", "-1"]);
    assert!(refused[1].1.contains("below") || refused[1].1.contains("low"), "{}", refused[1].1);
    assert!(refused[2].1.contains("above") || refused[2].1.contains("high"), "{}", refused[2].1);
}

#[test]
fn back_takes_an_answer_back_by_a_new_line_that_names_it() {
    let bench = Bench::new();
    // Two answers, back, the reason, the second again, and the rest.
    let mut lines = with_wrong(&bench, 2, &[":b", "read the wrong page"]);
    let again = lines[1].clone();
    lines.insert(4, again);
    bench.install(&lines).ends(0);
    let job = bench.job();
    assert_eq!(job.corrections().len(), 1);
    let correction = &job.corrections()[0];
    assert_eq!((correction.step.0.as_str(), correction.why.as_str()), ("order-in-hand/manual", "read the wrong page"));
    let corrected = correction.corrects;
    assert!(matches!(
        &events(&bench)[corrected as usize - 1],
        Event::Answered { step, .. } if step.0 == "order-in-hand/manual"
    ));
    assert!(job.answer(&correction.step).unwrap().line > corrected);
}

#[test]
fn notes_and_problems_are_kept_and_leave_the_step_open() {
    let bench = Bench::new();
    let mut lines = with_wrong(&bench, 0, &["note a dent in the lid", "! the lid is bent", "3", "nobody told me"]);
    // Both problems are put right in words before the step has its answer.
    lines.splice(5..5, ["LF-HRN-0137", "straightened it", "asked the foreman"].map(str::to_owned));
    let ran = bench.install(&lines);
    ran.ends(0);
    ran.says(&["is a code of this job; words are wanted here", "put right: straightened it"]);
    let job = bench.job();
    let settled: Vec<_> = job.problems().iter().map(|problem| problem.settled.as_deref()).collect();
    assert_eq!(settled, [Some("straightened it"), Some("asked the foreman")]);
    assert_eq!(job.notes()[0].text, "a dent in the lid");
    let problems: Vec<&str> = job.problems().iter().map(|problem| problem.text.as_str()).collect();
    assert_eq!(problems[0], "the lid is bent");
    assert!(problems[1].contains("nobody told me"), "{problems:?}");
}

#[test]
fn what_is_seen_to_be_wrong_is_put_right_in_words_before_the_step_is_done() {
    let bench = Bench::new();
    let at = line_of(&bench.steps(), "fill-a-slot/f1-1/look");
    let mut lines = with_wrong(&bench, at, &["stands proud"]);
    lines.insert(at + 2, "pressed the high end".to_owned());
    bench.install(&lines).ends(0);
    let job = bench.job();
    let problem = &job.problems()[0];
    assert_eq!(
        (problem.text.as_str(), problem.settled.as_deref()),
        ("seen: stands proud", Some("pressed the high end"))
    );
    assert_eq!(problem.slot, Some(SlotLabel::from("F1-1")));
}

#[test]
fn a_pause_at_a_question_beside_a_step_is_a_pause() {
    let bench = Bench::new();
    let lines: Vec<String> = ["1", "1", ":b", ":p", "never reached"].map(str::to_owned).to_vec();
    bench.install(&lines).ends(3);
    let job = bench.job();
    assert!(job.is_paused());
    assert_eq!((job.answers().len(), job.corrections().len()), (2, 0));
}

#[test]
fn passing_a_step_takes_a_kind_a_reason_and_a_name() {
    let bench = Bench::new();
    let steps = bench.steps();
    let at = line_of(&steps, "static/humidity");
    bench.machine("tree", Fault::None, 1);
    let mut lines = whole(&steps, "tree");
    let passing = ["override", "3", "x", "the meter is at the calibration house", "Kim Holt"];
    lines.splice(at..=at, passing.iter().map(|line| (*line).to_owned()));
    let ran = bench.install(&lines);
    ran.ends(0);
    ran.says(&["at least 3 letters are needed", "PASSED without evidence: static/humidity by Kim Holt"]);
    let job = bench.job();
    let passed = job.answer(&StepId("static/humidity".into())).unwrap();
    assert!(
        matches!(&passed.answer, Answer::Passed { as_what: Passed::CouldNot, name, .. } if name == "Kim Holt"),
        "{passed:?}"
    );
}

#[test]
fn a_missing_fastener_stops_the_job_before_the_power_comes_on() {
    let bench = Bench::new();
    let steps = bench.steps();
    let asked: Vec<_> = steps.iter().filter_map(|(_, _, step)| program::right(step, "tree").map(|_| step)).collect();
    let at = asked.iter().position(|step| step.id.0.starts_with("cover-on/") && step.id.0.ends_with("/loose")).unwrap();
    bench.machine("tree", Fault::None, 1);
    let lines = whole(&steps, "tree");
    // One screw is missing: nothing that follows is asked.
    let mut short = lines[..at].to_vec();
    short.push("1".to_owned());
    let ran = bench.install(&short);
    ran.ends(3);
    let job = bench.job();
    assert_eq!(job.refused_in_all(), 1);
    let open = job.open_step(&steps).and_then(|(card, step)| steps.cards.get(card)?.steps.get(step)).unwrap();
    assert_eq!(open.id, asked[at].id);
    assert!(job.answer(&StepId("power-on/power".into())).is_none());
}

#[test]
fn the_end_of_the_input_pauses_and_resume_asks_the_open_item_again() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    let lines = whole(&steps, "tree");
    let at = first_scan(&steps, ScanOf::Module) + 1;
    let ran = bench.install(&lines[..at]);
    ran.ends(3);
    assert!(ran.stdout.contains("slotwise resume"), "{}", ran.stdout);
    let job = bench.job();
    assert!(job.is_paused());
    let ran = bench.resume(&rest(&job, "tree"));
    ran.ends(0);
    ran.says(&["Once more, after the pause", "back at this job"]);
    // The first question asks for the label on the board, so the slot is named ahead of it.
    let first = ran.stderr.split("WANT").next().unwrap();
    let place = "INFO go on at slot R1-1: socket R, channel 1, position 1; module ";
    assert!(first.contains(place) && first.contains(", serial ending in 0C6C\n"), "{first}");
    // Slot and module were scanned twice, and the first scans stay in the record.
    let scans = |id: &str| {
        events(&bench).iter().filter(|event| matches!(event, Event::Answered { step, .. } if step.0 == id)).count()
    };
    assert_eq!(scans("fill-a-slot/r1-1/module"), 2);
    assert_eq!(scans("fill-a-slot/r1-1/slot"), 2);
    assert_eq!(scans("fill-a-slot/f1-1/module"), 1);
}

#[test]
fn scanner_control_characters_end_nothing() {
    let bench = Bench::new();
    let steps = bench.steps();
    let at = first_scan(&steps, ScanOf::Module);
    let lines =
        with_wrong(&bench, at, &["\u{4}", "\u{1c}", "[)>\u{1e}06\u{1d}S7A41FFFF\u{1e}\u{4}", "\u{3}", "\u{1a}"]);
    let ran = bench.install(&lines);
    ran.ends(0);
    assert!(bench.job().is_done());
    assert!(ran.stderr.bytes().all(|b| b == b'\n' || (b' '..=b'~').contains(&b)), "a control character came out");
}

#[test]
fn what_begins_with_y_confirms_nothing() {
    let bench = Bench::new();
    let lines = with_wrong(&bench, 0, &["y", "Y7A410C6C", "yes", "ok", ""]);
    let ran = bench.install(&lines);
    ran.ends(0);
    assert_eq!(bench.job().answers().len(), bench.steps().iter().count());
    ran.says(&["Enter alone is no answer"]);
}

#[test]
fn a_second_runner_is_refused_while_the_first_goes_on() {
    let bench = Bench::new();
    let mut first = bench.command(&Bench::install_args()).spawn().unwrap();
    let records = bench.path("records");
    for _ in 0..200 {
        if records.is_dir() && std::fs::read_dir(&records).unwrap().count() > 0 {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    std::thread::sleep(std::time::Duration::from_millis(100));
    let second = bench.resume(&[]);
    second.ends(74);
    second.says(&["open in another slotwise"]);
    first.kill().unwrap();
    first.wait().unwrap();
    bench.resume(&[]).ends(3);
}

#[test]
fn findings_open_the_machine_again_and_a_clean_report_closes_it() {
    let bench = Bench::new();
    let steps = bench.steps();
    let slot = SlotLabel::from("F2-1");
    bench.machine("tree", Fault::Seating { slot: slot.clone() }, 1);
    bench.machine("tree-2", Fault::None, 2);
    let lines = whole(&steps, "tree");
    let report = lines.iter().position(|line| line == "tree").unwrap();
    let mut first = lines[..=report].to_vec();
    first.push("2".to_owned());
    let ran = bench.install(&first);
    ran.ends(3);
    ran.says(&["missing at F2-1"]);
    let job = bench.job();
    assert_eq!(job.rounds().len(), 1);
    assert_eq!(job.rounds()[0].slots, [slot]);
    // The report from before the round is refused as stale: it is of the same boot.
    let mut lines = rest(&job, "tree-2");
    let report = lines.iter().position(|line| line == "tree-2").unwrap();
    lines.splice(report..report, ["tree".to_owned(), "1".to_owned()]);
    let ran = bench.resume(&lines);
    ran.ends(0);
    ran.says(&["stale-snapshot", "agrees with the plan"]);
    let job = bench.job();
    assert!(job.is_done());
    assert!(job.answers().keys().any(|step| step.0 == "again-1/seat-anew/f2-1/module"));
}

#[test]
fn findings_left_open_stand_in_the_record_by_name_and_in_the_exit_code() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::Slot { slot: SlotLabel::from("F2-1") }, 1);
    let mut lines = whole(&steps, "tree");
    let report = lines.iter().position(|line| line == "tree").unwrap();
    let leave = ["4", "no spare on the bench", "Kim Holt"];
    lines.splice(report + 1..report + 1, leave.iter().map(|line| (*line).to_owned()));
    let ran = bench.install(&lines);
    ran.ends(1);
    assert!(ran.stdout.starts_with("DONE WITH 1 FINDING"), "{}", ran.stdout);
    ran.says(&[
        "OPEN FINDINGS: 1",
        "The findings are left open. Why?",
        "LEFT OPEN, what the report shows: report/report",
    ]);
    // The report was taken: nothing is passed without its evidence, and no kind of that is asked for.
    assert!(!ran.stderr.contains("without its evidence") && !ran.stderr.contains("without evidence"), "{}", ran.stderr);
    let job = bench.job();
    let left = job.overrides();
    assert!(matches!(left.as_slice(), [(_, one)] if job.leaves_findings_open(one.line)), "{left:?}");
    let record = bench.record();
    let review = bench.run(&["review", record.to_str().unwrap(), "--items"], b"");
    let said = review.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("!! LEFT OPEN: The findings of the last report were left open, by name"), "{said}");
    assert!(said.contains("FINDINGS LEFT OPEN: no spare on the bench (Kim Holt)"), "{said}");
    assert!(said.contains(" answered, 0 skipped, 0 open, 1 left open with its findings"), "{said}");
    assert!(!said.contains("SKIPPED"), "{said}");
}

#[test]
fn the_typed_sign_off_says_that_it_is_weaker_and_what_a_key_is_for() {
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    let ran = bench.install(&whole(&bench.steps(), "tree"));
    ran.ends(0);
    let said = ran.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("signed off by typed name only, which is weaker than a key."), "{said}");
    assert!(said.contains("slotwise sign RECORD --role technician --key FILE"), "{said}");
    assert!(!said.contains("closed; "), "a record stays open for notes, amendments and signatures");
    assert!(!said.contains("record is closed"), "{said}");
}

#[test]
fn a_plan_with_several_units_asks_which_by_its_tag() {
    let bench = Bench::new();
    let order = std::fs::read_to_string(bench.path("practice/order.toml")).unwrap();
    bench.file(
        "practice/order.toml",
        order + "\n[[unit]]\nchassis = \"LF-HRN-0138\"\nenclosure = \"LF-EST-0009\"\nbay = \"N4\"\n",
    );
    let ran = bench.install(&["LF-HRN-9999".to_owned(), "LF-HRN-0138".to_owned()]);
    ran.ends(3);
    ran.says(&["REFUSED that is no unit of this order"]);
    assert!(!ran.stderr.contains("LF-HRN-0137"), "the tags are not shown before one is scanned");
    assert_eq!(bench.job().opened().unit, "LF-HRN-0138");
    let mut args = Bench::install_args().to_vec();
    args.extend(["--unit", "LF-HRN-0139"]);
    bench.run(&args, b"").ends(2);
}

#[test]
fn files_that_are_not_what_they_should_be_are_told_and_no_record_is_made() {
    let bench = Bench::new();
    let plan = std::fs::read_to_string(bench.path("practice/plan.toml")).unwrap();
    let many = "x = 1\n".repeat(4_000_000);
    let cases: [(&str, Vec<u8>, i32, &str); 8] = [
        ("empty.toml", Vec::new(), 65, "empty"),
        ("binary.toml", vec![0, 159, 146, 150, 0, 1], 65, "binary.toml"),
        ("cut.toml", plan.as_bytes()[..plan.len() - 40].to_vec(), 65, "cut.toml"),
        ("huge.toml", many.into_bytes(), 65, "16 MiB"),
        ("newer.toml", plan.replace("slotwise-plan/1", "slotwise-plan/9").into_bytes(), 65, "slotwise-plan/9"),
        ("order.toml", std::fs::read(bench.path("practice/order.toml")).unwrap(), 65, "order file"),
        ("slot.toml", plan.replace("\"F1-1\"", "\"F1-9\"").into_bytes(), 65, "F1-9"),
        (
            "other.toml",
            plan.replace("name = \"Heron", "board_sha256 = \"00\"\nname = \"Heron").into_bytes(),
            65,
            "board_sha256",
        ),
    ];
    for (name, bytes, code, word) in cases {
        let file = format!("practice/{name}2");
        bench.file(&file, bytes);
        let ran = bench.run(&["install", &file, "--technician", "kim", "--plain"], b"");
        assert_eq!(ran.code, code, "{name}: {}", ran.stderr);
        assert!(ran.stderr.contains(word), "{name}: {}", ran.stderr);
        assert!(!bench.path("records").exists(), "{name}");
    }
    bench.run(&["install", "nowhere.toml", "--technician", "kim"], b"").ends(66);
}

#[test]
fn a_report_that_is_none_is_refused_and_asked_for_again() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    bench.file("broken.json", "{\"format\":\"slotwise-snapshot/1\",");
    bench.file("newer.json", "{\"format\":\"slotwise-snapshot/7\"}");
    std::fs::create_dir(bench.path("bare")).unwrap();
    let mut lines = whole(&steps, "tree");
    let report = lines.iter().position(|line| line == "tree").unwrap();
    let wrong = ["nowhere.json", "broken.json", "newer.json", "bare"];
    lines.splice(report..report, wrong.iter().map(|line| (*line).to_owned()));
    bench.install(&lines).ends(0);
    let refused = refusals(&bench);
    let values: Vec<&str> = refused.iter().map(|(value, _)| value.as_str()).collect();
    assert_eq!(values, wrong);
    assert!(refused[2].1.contains("slotwise-snapshot/7"), "{}", refused[2].1);
}

#[test]
fn a_folder_that_cannot_be_made_is_told() {
    let bench = Bench::new();
    bench.file("taken", "a file");
    let mut args = Bench::install_args().to_vec();
    args.extend(["--records", "taken/records"]);
    let ran = bench.run(&args, b"");
    assert!([73, 74].contains(&ran.code), "{}", ran.stderr);
    ran.says(&["cannot write", "taken"]);
}

#[test]
fn a_full_disk_stops_the_job_and_says_what_is_not_recorded() {
    let bench = Bench::new();
    let disk = bench.path("disk");
    std::fs::create_dir(&disk).unwrap();
    let mounted = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"])
        .arg(&disk)
        .status()
        .is_ok_and(|status| status.success());
    if !mounted {
        eprintln!("SKIPPED a_full_disk_stops_the_job_and_says_what_is_not_recorded: no right to mount a small disk");
        return;
    }
    bench.machine("tree", Fault::None, 1);
    let lines = whole(&bench.steps(), "tree");
    let mut args = Bench::install_args().to_vec();
    args.extend(["--records", "disk"]);
    let ran = bench.run(&args, joined(&lines).as_bytes());
    let record = std::fs::read_dir(&disk).unwrap().next().map(|entry| entry.unwrap().path());
    let kept = record.as_ref().map(|path| read::job(path).unwrap().job.answers().len());
    let acknowledged = ran.stderr.lines().filter(|line| *line == "SAVED").count();
    let unmounted = std::process::Command::new("umount").arg("-l").arg(&disk).status();
    assert!(unmounted.is_ok_and(|status| status.success()));
    assert_eq!(ran.code, 74, "{}", ran.stderr);
    ran.says(&["NOT recorded", "disk is full"]);
    assert!(kept.unwrap_or(0) >= acknowledged, "{kept:?} kept, {acknowledged} said to be recorded");
}

#[test]
fn hostile_text_in_notes_ids_and_scans_moves_no_cursor() {
    let bench = Bench::new();
    let path = std::env::var("SLOTWISE_SHARED")
        .map_or_else(|_| concat!(env!("CARGO_MANIFEST_DIR"), "/../shared").into(), std::path::PathBuf::from)
        .join("data/record/hostile/strings.jsonl");
    let Ok(text) = std::fs::read_to_string(&path) else {
        eprintln!("SKIPPED hostile_text_in_notes_ids_and_scans_moves_no_cursor: {} is not there", path.display());
        return;
    };
    let mut lines = Vec::new();
    for line in text.lines() {
        let entry: serde_json::Value = serde_json::from_str(line).unwrap();
        if let Some(value) = ["text", "value", "s", "string"].iter().find_map(|key| entry[key].as_str()) {
            let value = value.replace(['\n', '\r', '\t'], " ");
            lines.push(format!(":note {value}"));
        }
    }
    assert!(lines.len() > 50, "the strings were not read");
    let ran = bench.install(&lines);
    ran.ends(3);
    let safe = |b: u8| b == b'\n' || (b' '..=b'~').contains(&b);
    assert!(ran.stderr.bytes().all(safe) && ran.stdout.bytes().all(safe));
    assert!(bench.job().notes().len() > 50);
    let raw = std::fs::read(bench.record()).unwrap();
    assert!(raw.iter().all(|b| safe(*b)), "the record itself is safe to print");
}
