//! The practice job: played, and by a person at a terminal with only what the screen says.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use std::io::Read as _;
use std::time::Duration;

use program::Bench;
use rexpect::process::WaitStatus;
use rexpect::session::{Options, PtySession, spawn_with_options};
use slotwise::record::Answer;
use slotwise::runner::all_steps;

/// What is wrong, how the firmware shows it, what lies on the bench, and then: the exit code, what the verdicts name.
const PLAYED: [(&str, &str, &str, i32, &[&str]); 14] = [
    ("seating", "slot", "good", 0, &["seating"]),
    ("module", "slot", "good", 1, &["module"]),
    ("slot", "slot", "good", 1, &["slot"]),
    ("channel", "slot", "good", 1, &["channel"]),
    ("socket", "slot", "good", 1, &["socket"]),
    ("none", "slot", "good", 0, &[]),
    ("module", "slot", "bad", 1, &["module", "module and module"]),
    ("slot", "slot", "none", 1, &["slot"]),
    // A spare in the place of the bad module is not what the plan names.
    ("module", "channel", "good", 1, &["module"]),
    // A firmware that drops channels whole does not tell a slot from its channel.
    ("slot", "channel", "bad", 1, &["channel"]),
    ("seating", "blind", "none", 0, &["seating"]),
    ("module", "blind", "bad", 1, &["module"]),
    // Where nothing is reported, the slot that is filled first is not told from its channel either.
    ("slot", "blind", "good", 1, &["channel"]),
    ("socket", "blind", "good", 1, &["socket"]),
];

#[test]
fn each_fault_is_played_to_the_right_verdict_and_leaves_a_record_that_replays() {
    for (fault, report, spare, code, verdicts) in PLAYED {
        let what = format!("{fault} {report} {spare}");
        let bench = Bench::new();
        let ran = bench.run(&["practice", "--fault", fault, "--report", report, "--spare", spare, "--seed", "11"], b"");
        ran.ends(code);
        let job = bench.job();
        assert!(job.is_done(), "{what}");
        assert_eq!(job.has_open_findings(), code == 1, "{what}");
        let steps = all_steps(&job).unwrap();
        assert!(steps.iter().all(|(_, _, step)| job.answer(&step.id).is_some()), "{what}");
        assert!(ran.stdout.contains("REFUSED Read `7A41FFFF`"), "a wrong scan is shown");
        assert_eq!(ran.stderr, "", "what is played is the data");
        assert!(ran.stdout.bytes().all(|b| b == b'\n' || (b' '..=b'~').contains(&b)), "{what}");
        let reached: Vec<&str> =
            job.isolations().iter().filter_map(|search| Some(search.verdict.as_ref()?.verdict.what.as_str())).collect();
        assert_eq!(reached.is_empty(), verdicts.is_empty(), "{what}");
        assert!(reached.iter().all(|verdict| verdicts.contains(verdict)), "{what}: {reached:?}");
        for search in job.isolations() {
            // What the record says is what follows from it anew, as another desk would work it out.
            let again = slotwise::isolate::answer(&search.state(&job.opened().board).unwrap());
            assert_eq!(again.verdict.map(|verdict| verdict.what).as_deref(), reached.last().copied(), "{what}");
        }
        if fault == "module" {
            let verdict = &job.isolation().unwrap().verdict.as_ref().unwrap().verdict;
            let struck = job.isolation().unwrap().opened.fitted.iter().find(|fitted| {
                let serial = fitted.module.identity.serial.as_deref().unwrap();
                verdict.which.split(" and ").any(|named| named == serial)
            });
            assert!(struck.is_some(), "{what}: {verdict:?}");
        }
        if fault == "seating" && report == "slot" {
            let stood: Vec<&Answer> =
                job.answers().iter().filter(|(step, _)| step.0.ends_with("/stood")).map(|(_, s)| &s.answer).collect();
            let crooked = |a: &&Answer| matches!(a, Answer::Given { value, .. } if value.contains("not level"));
            assert!(stood.iter().any(crooked), "{stood:?}");
            // What was seen is in the record beside the trial it was seen in, is weighed, and is told.
            let search = job.isolation().unwrap();
            let before = search.opened.before.iter().flat_map(|done| &done.found);
            let found = search.trials.iter().filter_map(|run| run.done.as_ref()).flat_map(|done| &done.found);
            assert!(before.chain(found).any(|one| one.stood == Some(slotwise::isolate::Stood::Open)), "{what}");
            let verdict = &search.verdict.as_ref().unwrap().verdict;
            assert!(verdict.because.contains("stood with a latch open"), "{verdict:?}");
        }
    }
}

#[test]
fn what_a_search_took_out_is_not_missing_and_putting_back_is_no_trial() {
    let bench = Bench::new();
    bench.run(&["practice", "--auto", "--fault", "module", "--report", "blind", "--seed", "11"], b"").ends(1);
    let (job, record) = (bench.job(), bench.record());
    let record = record.to_str().unwrap();
    let search = job.isolation().unwrap();
    let (back, trials) = search.trials.split_last().unwrap();
    assert!(back.puts_back && trials.iter().all(|run| !run.puts_back));
    let cards: Vec<String> = all_steps(&job).unwrap().cards.into_iter().map(|card| card.name).collect();
    assert!(cards.iter().any(|card| card.starts_with("Putting back: ")));
    assert!(!cards.iter().any(|card| card.starts_with(&format!("Trial {}:", search.trials.len()))), "{cards:?}");
    let review = bench.run(&["review", record], b"").stdout;
    let told = review.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("modules put back: "), "{review}");
    assert!(told.contains(&format!("trials {}", trials.len())), "{review}");
    assert!(!told.contains("missing at "), "what was taken out is told as missing: {review}");
    assert!(told.contains(": taken out for trial "), "{review}");
    assert!(told.contains(", by request"), "{review}");
    // Each of the others: out for a trial, and the slip says that and nothing of a fault.
    let guilty = &search.verdict.as_ref().unwrap().verdict.which;
    let mut out = 0;
    for fitted in &search.opened.fitted {
        let serial = fitted.module.identity.serial.clone().unwrap();
        let slip = bench.run(&["rma", record, &serial], b"").stdout;
        let slip = slip.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(!slip.contains("FINDING"), "{slip}");
        assert_eq!(slip.contains("The evidence supports a return."), serial == *guilty, "{slip}");
        out += usize::from(slip.contains(&format!("{serial} taken out for trial ")));
        if serial == *guilty {
            // What carries the verdict stands on the slip: where it was when the machine stayed dark.
            let dark =
                |slot: &str| slip.contains(&format!("slot {slot} ")) && slip.contains("the machine does not start");
            let because = &search.verdict.as_ref().unwrap().verdict.because;
            let (from, to) = because.split_once(" to ").unwrap();
            let (from, to) = (from.rsplit(' ').next().unwrap(), to.split('.').next().unwrap());
            assert!(dark(from) && dark(to), "{because}: {slip}");
            assert!(slip.contains("with it in, and at 0 of "), "without it every start came up: {slip}");
            assert!(slip.contains(&format!("{serial} left out after the verdict, by request")), "{slip}");
        }
    }
    assert!(out >= 3, "{out}");
}

#[test]
fn a_bad_spare_is_named_where_it_is_the_likeliest_second_fault() {
    let bench = Bench::new();
    let args = ["practice", "--auto", "--fault", "module", "--report", "blind", "--spare", "bad", "--seed", "12"];
    bench.run(&args, b"").ends(1);
    let job = bench.job();
    let because = &job.isolations()[0].verdict.as_ref().unwrap().verdict.because;
    assert!(
        because.contains("A second fault may hide") && because.contains("most likely module 7A41B00C"),
        "{because}"
    );
}

#[test]
fn a_bad_spare_is_found_by_a_search_of_its_own_and_not_offered_again() {
    let bench = Bench::new();
    let args = ["practice", "--auto", "--fault", "module", "--spare", "bad", "--seed", "2"];
    let ran = bench.run(&args, b"");
    ran.ends(1);
    let job = bench.job();
    let named: Vec<&str> =
        job.isolations().iter().map(|search| search.verdict.as_ref().unwrap().verdict.which.as_str()).collect();
    assert_eq!(named.len(), 2, "{named:?}");
    assert!(named[1].contains("7A41B00C"), "{named:?}");
    assert!(job.isolations()[1].opened.spares.is_empty(), "the spare is in the machine");
    assert_eq!(ran.stdout.matches("BENCH the label of a known-good module in its bag reads 7A41B00C").count(), 1);
    let slip = bench.run(&["rma", bench.record().to_str().unwrap(), "7A41B00C"], b"").stdout;
    assert!(slip.contains("Verdict: module, probability "), "{slip}");
}

#[test]
fn a_verdict_on_a_socket_is_on_the_slip_of_each_module_that_was_in_it_also_where_nothing_was_reported() {
    let bench = Bench::new();
    bench.run(&["practice", "--auto", "--fault", "socket", "--report", "blind", "--seed", "1"], b"").ends(1);
    let (job, record) = (bench.job(), bench.record());
    let verdict = &job.isolation().unwrap().verdict.as_ref().unwrap().verdict;
    assert_eq!(verdict.what, "socket");
    let named: Vec<&str> = verdict.which.split(' ').collect();
    let mut covered = 0;
    for fitted in job.isolation().unwrap().opened.fitted.iter().filter(|one| named.contains(&one.slot.as_str())) {
        let serial = fitted.module.identity.serial.as_deref().unwrap();
        let slip = bench.run(&["rma", record.to_str().unwrap(), serial], b"").stdout;
        assert!(slip.contains("Verdict: socket, probability "), "{slip}");
        assert!(slip.contains("The verdict is on socket, not on this module."), "{slip}");
        assert!(!slip.contains("holds no verdict on it"), "{slip}");
        covered += 1;
    }
    assert!(covered > 1, "{verdict:?}");
}

#[test]
fn a_slot_that_is_cured_is_marked_cured_and_nobody_is_told_to_look_there() {
    let bench = Bench::new();
    bench.run(&["practice", "--auto", "--fault", "seating", "--seed", "11"], b"").ends(0);
    let review = bench.run(&["review", bench.record().to_str().unwrap()], b"").stdout;
    let map = review.split("\nSlots\n").nth(1).unwrap().split("\n\n").next().unwrap();
    assert!(map.contains("[=]") && map.contains("[=] cured"), "{map}");
    assert!(!map.contains("look here") && !map.contains("[!]") && !map.contains("[X]"), "{map}");
}

#[test]
fn the_same_seed_strikes_the_same_slot_and_another_one_another() {
    let struck = |seed: &str| {
        let bench = Bench::new();
        bench.run(&["practice", "--seed", seed], b"").ends(0);
        bench.job().isolation().unwrap().opened.first.clone()
    };
    let first = struck("1");
    assert_eq!(first, struck("1"));
    assert!(["2", "3", "4", "5"].iter().any(|seed| struck(seed) != first));
}

#[test]
fn the_practice_plan_is_searched_for_and_is_the_one_that_stands_beside_it() {
    let bench = Bench::new();
    bench.run(&["practice", "--auto", "--fault", "none", "--seed", "3"], b"").ends(0);
    let searched = bench.job().opened().plan.clone();
    let by_hand = bench.plan();
    let seats = |plan: &slotwise::plan::Plan| {
        let seat =
            |one: &slotwise::plan::PlanSlot| (one.slot.clone(), one.module.identity.serial.clone(), one.lot.clone());
        plan.slot.iter().map(seat).collect::<Vec<_>>()
    };
    assert_eq!(seats(&searched), seats(&by_hand));
    assert_eq!((searched.mts, searched.capacity()), (by_hand.mts, by_hand.capacity()));
    assert!(searched.reasons.iter().any(|reason| reason.contains("8 of 8 channels")), "{:?}", searched.reasons);
}

/// A terminal with the practice job in it.
struct Bystander {
    session: PtySession,
    seen: String,
}

impl Bystander {
    fn start(bench: &Bench, args: &[&str], variables: &[(&str, &str)]) -> Self {
        Self::start_in(bench, args, variables, (80, 24))
    }

    /// In a window of so many columns and rows, which it has before the program starts.
    fn start_in(bench: &Bench, args: &[&str], variables: &[(&str, &str)], (columns, rows): (u16, u16)) -> Self {
        let program = bench.command(args);
        let mut command = std::process::Command::new("/bin/sh");
        command.args(["-c", &format!("/usr/bin/stty cols {columns} rows {rows} && exec \"$0\" \"$@\"")]);
        command.arg(program.get_program()).args(program.get_args());
        command.current_dir(bench.path(".")).env_clear();
        command.env("TERM", "xterm-256color").env("LANG", "C.UTF-8");
        for (name, value) in variables {
            command.env(name, value);
        }
        command.stdin(std::process::Stdio::inherit());
        command.stdout(std::process::Stdio::inherit());
        command.stderr(std::process::Stdio::inherit());
        let session = spawn_with_options(command, Options::new().timeout_ms(Some(20_000))).unwrap();
        Self { session, seen: String::new() }
    }

    /// Everything up to the next input line, or `None` when the program has ended.
    fn screen(&mut self) -> Option<String> {
        match self.session.exp_string("\n> ") {
            Ok(text) => {
                self.seen = text.clone();
                Some(text)
            }
            Err(rexpect::error::Error::EOF { .. }) => None,
            Err(error) => panic!("no prompt came: {error}; last:\n{}", strip(&self.seen)),
        }
    }
}

/// What a newcomer types, going by the screen alone. `None` when it says that time passes by itself.
fn by_the_screen(screen: &str, reported: &mut u32) -> Option<String> {
    let plain = unbroken(&strip(screen));
    let lines: Vec<&str> = plain.lines().map(str::trim_end).collect();
    let bench = lines.iter().rev().find_map(|line| line.split_once("BENCH ").map(|(_, said)| said.to_owned()));
    let has = |text: &str| plain.contains(text);
    if has("go on with this trial") {
        return Some("1\r".to_owned());
    }
    if has("What now?") {
        *reported += 1;
        return Some("1\r".to_owned());
    }
    if let Some(word) =
        lines.iter().find_map(|line| wanted(line).strip_prefix("type ").and_then(|rest| rest.split_once(" and Enter")))
    {
        let word = word.0;
        if !word.starts_with("the ")
            && !word.starts_with("your ")
            && !word.starts_with("its ")
            && !word.starts_with("it in your")
        {
            return Some(format!("{word}\r"));
        }
    }
    if has("1 if so:") {
        return Some("1".to_owned());
    }
    if let Some(said) = bench {
        if let Some((_, reads)) = said.rsplit_once(" reads ") {
            return Some(format!("{}\r", reads.split(' ').next().unwrap()));
        }
        if let Some((_, count)) = said.rsplit_once("you count ") {
            return Some(format!("{count}\r"));
        }
        if let Some((_, seen)) = said.rsplit_once("you see: ") {
            // By the number in front of what is seen.
            let number = lines.iter().find_map(|line| {
                let (number, words) = wanted(line).split_once(" = ")?;
                (words == seen).then(|| number.to_owned())
            });
            return Some(format!("{}\r", number.unwrap_or_else(|| panic!("{seen:?} is not on offer in\n{plain}"))));
        }
    }
    if has("in your words") {
        return Some("done at the practice bench\r".to_owned());
    }
    if has("wait ") {
        return None;
    }
    panic!("nothing on this screen says what to do:\n{plain}");
}

/// A line without the word that begins it where there are no pages.
fn wanted(line: &str) -> &str {
    line.strip_prefix("WANT ").unwrap_or(line).trim()
}

/// Where a narrow window broke lines, the words belong to the line before: one that begins with none of the words lines
/// begin with.
fn unbroken(screen: &str) -> String {
    const BEGIN: [&str; 14] = [
        "card ",
        "CARD ",
        "CAUTION ",
        "WARNING ",
        "DO ",
        "SLOT ",
        "WANT ",
        "KEYS ",
        "BENCH ",
        "INFO ",
        "SAVED",
        "REFUSED ",
        "ATTENTION ",
        "WAIT ",
    ];
    if !screen.contains("CARD ") {
        return screen.to_owned();
    }
    let mut out = String::new();
    for line in screen.lines().map(str::trim_end) {
        let begins = BEGIN.iter().any(|word| line.starts_with(word));
        out.push_str(if begins || out.is_empty() { "\n" } else { " " });
        out.push_str(line);
    }
    out
}

/// The page as it stands in a window: what was drawn since it was last cleared, row by row as the window breaks it.
fn rows(screen: &str, columns: usize) -> Vec<String> {
    let drawn = screen.rsplit_once("\x1b[2J").map_or(screen, |(_, page)| page);
    // The session hands out one character a byte.
    let bytes: Vec<u8> = strip(drawn).chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let text = String::from_utf8(bytes).unwrap();
    let broken = |line: &str| -> Vec<String> {
        let letters: Vec<char> = line.trim_end_matches('\r').chars().collect();
        if letters.is_empty() {
            vec![String::new()]
        } else {
            letters.chunks(columns).map(|row| row.iter().collect()).collect()
        }
    };
    text.lines().flat_map(broken).collect()
}

/// The screen without escape sequences.
fn strip(screen: &str) -> String {
    let mut out = String::new();
    let mut rest = screen.chars();
    while let Some(c) = rest.next() {
        if c == '\x1b' {
            for c in rest.by_ref() {
                if c.is_ascii_alphabetic() {
                    break;
                }
            }
        } else {
            out.push(c);
        }
    }
    out
}

/// Plays the job in a window by what it shows; every screen goes to `look`.
fn play(bench: &Bench, variables: &[(&str, &str)], size: (u16, u16), mut look: impl FnMut(&str)) {
    let mut terminal = Bystander::start_in(bench, &["practice", "--seed", "5"], variables, size);
    let mut reported = 0;
    let mut answers = 0;
    while let Some(screen) = terminal.screen() {
        look(&screen);
        // Whatever comes before a question is shown is dropped; a person is slower than this.
        std::thread::sleep(Duration::from_millis(30));
        if let Some(answer) = by_the_screen(&screen, &mut reported) {
            // Keys one by one, as a hand does.
            for key in answer.chars() {
                terminal.session.send(&key.to_string()).unwrap();
                terminal.session.flush().unwrap();
                std::thread::sleep(Duration::from_millis(2));
            }
        }
        answers += 1;
        assert!(answers < 400, "the job does not come to an end; last:\n{}", strip(&terminal.seen));
    }
    assert!(
        matches!(terminal.session.process().wait().unwrap(), WaitStatus::Exited(_, 0)),
        "{}",
        strip(&terminal.seen)
    );
    assert!((1..=2).contains(&reported), "the report differed, and then the modules went back: {reported}");
    assert!(bench.job().is_done());
}

#[test]
fn a_newcomer_gets_through_at_a_terminal_with_only_what_the_screen_says() {
    let bench = Bench::new();
    let mut maps = 0;
    play(&bench, &[], (80, 24), |screen| {
        let rows = rows(screen, 80);
        let page = rows.join("\n");
        // One row more is the input line.
        assert!(rows.len() < 24, "{} rows do not fit:\n{page}", rows.len());
        assert!(rows.iter().all(|row| row.chars().count() < 80), "too wide:\n{page}");
        if page.contains(" SLOT ") {
            maps += 1;
            assert!(page.contains("HERE") && !page.contains("taller window"), "no map:\n{page}");
        }
        let placed = rows.iter().filter(|row| row.starts_with("card ")).count();
        assert!(placed == 1 || page.contains("Sign-off"), "place and time:\n{page}");
    });
    assert!(maps > 40, "{maps} pages with a slot");
}

#[test]
fn forty_columns_without_colour_or_unicode_are_enough_for_the_whole_job() {
    let bench = Bench::new();
    let mut screens = 0;
    play(&bench, &[("NO_COLOR", "1"), ("LANG", "C")], (40, 24), |screen| {
        screens += 1;
        let plain = |c: char| matches!(c, ' '..='~' | '\r' | '\n' | '\x08');
        // Once, at the start, a paste is told to come bare.
        let screen = screen.replace("\x1b[?2004l", "");
        assert!(screen.chars().all(plain), "{screen:?}");
        for line in screen.lines().map(str::trim_end) {
            assert!(line.len() < 40, "{line:?} in:\n{screen}");
        }
    });
    assert!(screens > 100, "{screens}");
}

#[test]
fn the_bench_stays_in_view_when_its_question_is_put_once_more() {
    let bench = Bench::new();
    let mut terminal = Bystander::start(&bench, &["practice", "--seed", "5"], &[]);
    for _ in 0..2 {
        terminal.screen().unwrap();
        std::thread::sleep(Duration::from_millis(60));
        terminal.session.send("1").unwrap();
        terminal.session.flush().unwrap();
    }
    assert!(terminal.screen().unwrap().contains("BENCH the tag on the enclosure reads LF-EST-0009"));
    // Later than the Enter of habit behind a key that needs none.
    std::thread::sleep(Duration::from_millis(1500));
    terminal.session.send("\r").unwrap();
    terminal.session.flush().unwrap();
    let again = strip(&terminal.screen().unwrap());
    assert!(again.contains("REFUSED Enter alone is no answer"), "{again}");
    assert!(again.contains("BENCH the tag on the enclosure reads LF-EST-0009"), "{again}");
    std::thread::sleep(Duration::from_millis(60));
    terminal.session.send("LF-EST-0009\r").unwrap();
    terminal.session.flush().unwrap();
    let next = strip(&terminal.screen().unwrap());
    assert!(next.contains("SAVED") && !next.contains("BENCH the tag on the enclosure"), "{next}");
    terminal.session.send_control('c').unwrap();
    let _ = terminal.session.exp_eof();
}

#[test]
fn with_many_findings_the_page_that_asks_what_now_names_every_slot() {
    let bench = Bench::new();
    let plan = bench.plan();
    let mut machine = slotwise::machine::Machine::as_planned(&plan, 7);
    let gone = ["F1-1", "F3-1", "R2-1", "R4-1"];
    for slot in gone {
        machine.remove(&slot.into()).unwrap();
    }
    let slotwise::machine::Boot::Up(tree) = machine.report() else { panic!("the machine is dark") };
    tree.write_to(&bench.path("tree")).unwrap();
    let lines = program::whole(&bench.steps(), "tree");
    let report = lines.iter().position(|line| line == "tree").unwrap();
    bench.install(&lines[..report]).ends(3);
    let record = bench.record();
    let mut terminal = Bystander::start(&bench, &["resume", record.to_str().unwrap()], &[]);
    assert!(terminal.screen().unwrap().contains("path of"));
    std::thread::sleep(Duration::from_millis(60));
    terminal.session.send("tree\r").unwrap();
    terminal.session.flush().unwrap();
    let rows = rows(&terminal.screen().unwrap(), 80);
    let page = rows.join("\n");
    assert!(page.contains("What now?"), "{page}");
    assert!(page.contains("missing at F1-1, F3-1, R2-1, R4-1"), "{page}");
    assert!(rows.len() < 24, "{} rows do not fit:\n{page}", rows.len());
    terminal.session.send_control('c').unwrap();
    let _ = terminal.session.exp_eof();
    assert!(matches!(terminal.session.process().wait().unwrap(), WaitStatus::Exited(_, 3)));
}

#[test]
fn the_sign_off_shows_all_that_was_passed_without_evidence() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", slotwise::machine::Fault::None, 1);
    let passed = [
        "static/humidity",
        "fill-a-slot/f1-1/look",
        "fill-a-slot/f2-1/look",
        "fill-a-slot/r1-1/look",
        "fill-a-slot/r2-1/look",
    ];
    let mut lines = Vec::new();
    for (_, _, step) in steps.iter() {
        let Some(line) = program::right(step, "tree") else { continue };
        if passed.contains(&step.id.0.as_str()) {
            lines.extend([":override", "3", "the lamp is broken", "Kim Holt"].map(str::to_owned));
        } else {
            lines.push(line);
        }
    }
    bench.install(&lines).ends(3);
    assert_eq!(bench.job().overrides().len(), passed.len());
    let record = bench.record();
    let mut terminal = Bystander::start(&bench, &["resume", record.to_str().unwrap()], &[]);
    let rows = rows(&terminal.screen().unwrap(), 80);
    let page = rows.join("\n");
    assert!(page.contains("Sign-off."), "{page}");
    for id in passed {
        assert!(page.contains(&format!("PASSED without evidence: {id}")), "{id} is not on the page:\n{page}");
    }
    assert!(rows.len() < 24, "{} rows do not fit:\n{page}", rows.len());
    terminal.session.send_control('c').unwrap();
    let _ = terminal.session.exp_eof();
}

#[test]
fn ctrl_c_pauses_and_resume_goes_on_at_the_same_item() {
    let bench = Bench::new();
    let mut terminal = Bystander::start(&bench, &["practice", "--seed", "5"], &[("NO_COLOR", "1"), ("LANG", "C")]);
    let mut reported = 0;
    for _ in 0..6 {
        let screen = terminal.screen().unwrap();
        assert!(!screen.contains("\x1b[1m") && !screen.contains("\x1b[7m"), "colour under NO_COLOR");
        assert!(screen.is_ascii(), "more than ASCII under LANG=C");
        std::thread::sleep(Duration::from_millis(30));
        let answer = by_the_screen(&screen, &mut reported).unwrap();
        terminal.session.send(&answer).unwrap();
        terminal.session.flush().unwrap();
    }
    let screen = terminal.screen().unwrap();
    let place = |screen: &str| strip(screen).lines().find(|line| line.starts_with("card ")).unwrap().to_owned();
    let stopped = place(&screen);
    std::thread::sleep(Duration::from_millis(100));
    terminal.session.send_control('c').unwrap();
    let mut tail = String::new();
    let _ = terminal.session.exp_eof().map(|text| tail = text);
    assert!(matches!(terminal.session.process().wait().unwrap(), WaitStatus::Exited(_, 3)), "{tail}");
    assert!(tail.contains("slotwise resume records/"), "{tail}");
    assert!(bench.job().is_paused());
    let record = bench.record();
    let mut terminal = Bystander::start(&bench, &["resume", record.to_str().unwrap()], &[]);
    // Which machine this is, is checked once more first.
    let mut again = 0;
    let resumed = loop {
        let screen = terminal.screen().unwrap();
        if !screen.contains("Once more, after the pause") {
            break place(&screen);
        }
        again += 1;
        std::thread::sleep(Duration::from_millis(30));
        terminal.session.send(&by_the_screen(&screen, &mut reported).unwrap()).unwrap();
        terminal.session.flush().unwrap();
    };
    assert_eq!(again, 3, "enclosure, bay, chassis");
    let item = |place: &str| place.split(" - ").take(2).map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(item(&resumed), item(&stopped));
}

#[test]
fn what_is_played_without_a_terminal_is_lines() {
    let bench = Bench::new();
    let mut child = bench.command(&["practice", "--seed", "5", "--auto"]).env("COLUMNS", "40").spawn().unwrap();
    drop(child.stdin.take());
    let mut stdout = String::new();
    child.stdout.take().unwrap().read_to_string(&mut stdout).unwrap();
    assert!(child.wait().unwrap().success());
    assert!(stdout.lines().count() > 500 && !stdout.contains('\x1b'));
}

#[test]
fn a_made_up_reading_or_count_is_refused_with_what_the_practice_bench_shows() {
    let bench = Bench::new();
    let mut terminal = Bystander::start(&bench, &["practice", "--seed", "5"], &[]);
    let (mut reported, mut refused) = (0, 0);
    let made_up = [
        ("every tool you bring", "BENCH you count 2", "9\r", "Read 9, but on this bench you count 2."),
        (
            "Read the tester",
            "BENCH the instrument reads 1.2",
            "10\r",
            "but the instrument on this bench reads 1.2 MOhm.",
        ),
    ];
    for _ in 0..60 {
        let screen = terminal.screen().unwrap();
        let page = strip(&screen);
        std::thread::sleep(Duration::from_millis(60));
        let asked = made_up.iter().find(|(step, shown, ..)| page.contains(step) && page.contains(shown));
        let answer = match asked {
            Some((.., why)) if page.split_whitespace().collect::<Vec<_>>().join(" ").contains(why) => {
                refused += 1;
                by_the_screen(&screen, &mut reported)
            }
            Some((_, _, wrong, _)) => Some((*wrong).to_owned()),
            None => by_the_screen(&screen, &mut reported),
        };
        if refused == made_up.len() {
            break;
        }
        if let Some(answer) = answer {
            terminal.session.send(&answer).unwrap();
            terminal.session.flush().unwrap();
        }
    }
    assert_eq!(refused, made_up.len(), "{}", strip(&terminal.seen));
    terminal.session.send_control('c').unwrap();
    let _ = terminal.session.exp_eof();
    let job = bench.job();
    let tools = job.answers().iter().find(|(step, _)| step.0 == "order-in-hand/tools").unwrap().1;
    assert!(matches!(&tools.answer, Answer::Given { value, .. } if value == "2"), "{tools:?}");
}
