//! The practice job: played, and by a person at a terminal with only what the screen says.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use std::io::Read as _;
use std::time::{Duration, Instant};

use program::Bench;
use rexpect::process::WaitStatus;
use rexpect::session::{Options, PtySession, spawn_with_options};
use slotwise::record::Answer;
use slotwise::runner::all_steps;
use slotwise::verify::FindingKind;

#[test]
fn each_fault_is_played_to_its_end_and_leaves_a_record_that_replays() {
    // A module that was not latched works once it is; the others stay, and are signed off as open findings.
    for (fault, code, rounds) in
        [("seating", 0, 1), ("none", 0, 0), ("module", 1, 1), ("slot", 1, 1), ("channel", 1, 1)]
    {
        let bench = Bench::new();
        let begun = Instant::now();
        let ran = bench.run(&["practice", "--fault", fault, "--seed", "11"], b"");
        ran.ends(code);
        assert!(begun.elapsed() < Duration::from_secs(30), "{fault} took {:?}", begun.elapsed());
        let job = bench.job();
        assert!(job.is_done(), "{fault}");
        assert_eq!(job.rounds().len(), rounds, "{fault}");
        assert_eq!(job.comparison().unwrap().findings.is_empty(), code == 0, "{fault}");
        let steps = all_steps(&job).unwrap();
        assert!(steps.iter().all(|(_, _, step)| job.answer(&step.id).is_some()), "{fault}");
        assert!(ran.stdout.contains("REFUSED Read `7A41FFFF`"), "a wrong scan is shown");
        assert_eq!(ran.stderr, "", "what is played is the data");
        assert!(ran.stdout.bytes().all(|b| b == b'\n' || (b' '..=b'~').contains(&b)), "{fault}");
        if fault == "seating" {
            let stood = job.answers().iter().find(|(step, _)| step.0.ends_with("/stood")).unwrap().1;
            assert!(matches!(&stood.answer, Answer::Given { value, .. } if value.contains("not level")), "{stood:?}");
        }
        if code == 1 {
            assert_eq!(job.comparison().unwrap().findings[0].kind, FindingKind::Missing, "{fault}");
        }
    }
}

#[test]
fn the_same_seed_strikes_the_same_slot_and_another_one_another() {
    let struck = |seed: &str| {
        let bench = Bench::new();
        bench.run(&["practice", "--seed", seed], b"").ends(0);
        bench.job().rounds()[0].slots.clone()
    };
    let first = struck("1");
    assert_eq!(first, struck("1"));
    assert!(["2", "3", "4", "5"].iter().any(|seed| struck(seed) != first));
}

/// A terminal with the practice job in it.
struct Bystander {
    session: PtySession,
    seen: String,
}

impl Bystander {
    fn start(bench: &Bench, args: &[&str], variables: &[(&str, &str)]) -> Self {
        let mut command = bench.command(args);
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
            Err(_) => None,
        }
    }
}

/// What a newcomer types, going by the screen alone. `None` when it says that time passes by itself.
fn by_the_screen(screen: &str, reported: &mut u32) -> Option<String> {
    let plain: String = strip(screen);
    let lines: Vec<&str> = plain.lines().map(str::trim_end).collect();
    let bench = lines.iter().rev().find_map(|line| line.split_once("BENCH ").map(|(_, said)| said.to_owned()));
    let has = |text: &str| plain.contains(text);
    if has("type your id") || has("scan your id") {
        return Some("practice\r".to_owned());
    }
    if has("What now?") {
        *reported += 1;
        return Some("1\r".to_owned());
    }
    if let Some(word) =
        lines.iter().find_map(|line| line.trim().strip_prefix("type ").and_then(|rest| rest.split_once(" and Enter")))
    {
        let word = word.0;
        if !word.starts_with("the ") && !word.starts_with("your ") && !word.starts_with("in your") {
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
                let (number, words) = line.trim().split_once(" = ")?;
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

#[test]
fn a_newcomer_gets_through_at_a_terminal_with_only_what_the_screen_says() {
    let bench = Bench::new();
    let mut terminal = Bystander::start(&bench, &["practice", "--seed", "5"], &[]);
    let mut reported = 0;
    let mut answers = 0;
    while let Some(screen) = terminal.screen() {
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
    assert_eq!(reported, 1, "the report differed once");
    assert!(bench.job().is_done());
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
fn forty_columns_and_serial_consoles_get_lines() {
    let bench = Bench::new();
    let mut child = bench.command(&["practice", "--seed", "5", "--auto"]).env("COLUMNS", "40").spawn().unwrap();
    drop(child.stdin.take());
    let mut stdout = String::new();
    child.stdout.take().unwrap().read_to_string(&mut stdout).unwrap();
    assert!(child.wait().unwrap().success());
    assert!(stdout.lines().count() > 500 && !stdout.contains('\x1b'));
}
