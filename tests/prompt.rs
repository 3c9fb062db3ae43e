//! Questions in lines, over pipes and from answers files.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stderr, reason = "helpers of tests")]

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::io::{self, Cursor, Write};
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;

use chrono::{DateTime, FixedOffset};
use proptest::collection::vec;
use proptest::prelude::*;
use slotwise::env::{Clock, Env, Terminal};
use slotwise::prompt::plain::Plain;
use slotwise::prompt::{Ask, AskError, Message, Place, Question, Reply, Status, Wants, Wish, choose};
use slotwise::record::How;
use slotwise::source::Text;

/// A clock that goes on by itself, a step a look, and can be pushed.
struct StepClock {
    at: Cell<Duration>,
    step: Duration,
}

impl Clock for StepClock {
    fn now(&self) -> DateTime<FixedOffset> {
        DateTime::default()
    }
    fn steady(&self) -> Duration {
        self.at.set(self.at.get() + self.step);
        self.at.get()
    }
}

fn clock(step_ms: u64) -> Rc<StepClock> {
    Rc::new(StepClock { at: Cell::default(), step: Duration::from_millis(step_ms) })
}

/// A writer whose bytes can be looked at while it is in use.
#[derive(Clone, Default)]
struct Out(Rc<RefCell<Vec<u8>>>);

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Out {
    fn text(&self) -> String {
        String::from_utf8(self.0.borrow().clone()).expect("only ASCII is written")
    }
    fn assert_clean(&self, about: &str) {
        let bytes = self.0.borrow();
        assert!(bytes.iter().all(|b| (b' '..=b'~').contains(b) || *b == b'\n'), "{about}: {:?}", self.text());
    }
}

fn question(name: &str, wants: Wants) -> Question {
    Question {
        name: name.into(),
        place: Some(Place {
            card: (3, 9),
            card_name: "Insert".into(),
            item: (2, 7),
            elapsed: Duration::from_secs(761),
        }),
        slot: Some("P1-D3".into()),
        caution: None,
        warns: false,
        text: "Press the module down.".into(),
        wants,
        help: Some("Both ends, evenly.".into()),
        critical: false,
        picture: vec!["+--+".into()],
    }
}

fn scan(name: &str) -> Question {
    question(name, Wants::Scan { what: "the slot label".into() })
}

fn confirm() -> Question {
    question("latches", Wants::Confirm { state: "both latches closed".into() })
}

struct Bench {
    ask: Plain<Cursor<Vec<u8>>, Out>,
    out: Out,
}

impl Bench {
    fn fed(input: &[u8]) -> Self {
        Self::at_pace(input, 5_000)
    }
    fn at_pace(input: &[u8], step_ms: u64) -> Self {
        let out = Out::default();
        Self { ask: Plain::new(Cursor::new(input.to_vec()), out.clone(), clock(step_ms)), out }
    }
    fn value(&mut self, question: &Question) -> String {
        match self.ask.ask(question).unwrap() {
            Reply::Value { text, how: How::Typed, .. } => text,
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn a_question_is_one_line_an_event_and_the_picture_is_left_out() {
    let mut bench = Bench::fed(b"P1-D3\n");
    assert_eq!(bench.value(&scan("slot")), "P1-D3");
    bench.ask.say(&Message { status: Status::Recorded, text: "slot P1-D3".into() }).unwrap();
    assert_eq!(
        bench.out.text(),
        "card 3 of 9 - item 2 of 7 - 00:12:41\n\
         CARD Insert\n\
         DO Press the module down.\n\
         SLOT P1-D3\n\
         WANT scan the slot label\n\
         KEYS :? help  :b back  :n note  :! problem  :p pause, then Enter\n\
         READ P1-D3\n\
         SAVED slot P1-D3\n"
    );
}

#[test]
fn every_suffix_of_a_scanner_ends_an_entry() {
    let mut bench = Bench::fed(b"A\nB\rC\r\nD\tE\t\r\nF");
    for want in ["A", "B", "C", "D", "E", "F"] {
        assert_eq!(bench.value(&scan(want)), want);
    }
    assert!(matches!(bench.ask.ask(&scan("end")), Err(AskError::End)));
}

#[test]
fn separators_in_a_code_are_part_of_it() {
    let code = "[)>\u{1e}06\u{1d}S123\u{1d}1POM4\u{1f}\u{1c}\u{1e}\u{4}";
    let mut bench = Bench::fed(format!("{code}\rnext\r").as_bytes());
    assert_eq!(bench.value(&scan("a")), code);
    assert_eq!(bench.value(&scan("b")), "next");
    bench.out.assert_clean("separators");
}

#[test]
fn a_scan_never_answers_a_yes_or_no() {
    let mut bench = Bench::fed(b"y7K2\ny\n\nP1-D3\n1\n");
    assert_eq!(bench.value(&confirm()), "both latches closed");
    assert_eq!(bench.out.text().matches("REFUSED").count(), 4);
}

#[test]
fn a_scan_that_spells_a_command_is_data() {
    let mut bench = Bench::fed(b"b\np\npause\noverride\n:b\n");
    for want in ["b", "p", "pause", "override"] {
        assert_eq!(bench.value(&scan(want)), want);
    }
    assert_eq!(bench.ask.ask(&scan("x")).unwrap(), Reply::Back);
}

#[test]
fn commands_work_at_every_kind_of_question() {
    for wants in kinds() {
        let q = question("x", wants);
        let mut bench =
            Bench::fed(b":?\n:b\n:n stiff\n:note\nworn\n:! bent\n:problem\ntorn\n:p\n:override\n:n\n\n:pause\n");
        let replies: Vec<Reply> = (0..8).map(|_| bench.ask.ask(&q).unwrap()).collect();
        assert_eq!(
            replies,
            [
                Reply::Back,
                Reply::Note("stiff".into()),
                Reply::Note("worn".into()),
                Reply::Problem("bent".into()),
                Reply::Problem("torn".into()),
                Reply::Pause,
                Reply::Override,
                Reply::Pause,
            ],
            "{:?}",
            q.wants
        );
        assert!(bench.out.text().contains("HELP Both ends, evenly."));
    }
}

#[test]
fn the_end_of_the_input_is_an_error_at_a_follow_up_too() {
    let mut bench = Bench::fed(b":note\n");
    assert!(matches!(bench.ask.ask(&scan("x")), Err(AskError::End)));
    let mut bench = Bench::fed(b"");
    assert!(matches!(bench.ask.ask(&confirm()), Err(AskError::End)));
}

#[test]
fn a_denied_statement_is_a_problem_in_the_persons_words() {
    let mut bench = Bench::fed(b"3\nleft latch open\n");
    let reply = bench.ask.ask(&confirm()).unwrap();
    assert_eq!(reply, Reply::Problem("not so: both latches closed; instead: left latch open".into()));
}

#[test]
fn an_overlong_line_is_refused_in_words_and_the_next_is_whole() {
    let mut input = vec![b'x'; 70_000];
    input.extend(b"\nOK1\n");
    let mut bench = Bench::fed(&input);
    assert_eq!(bench.value(&scan("x")), "OK1");
    assert!(bench.out.text().contains("REFUSED more than 64 KiB came without an end"));
    let mut input = vec![b'x'; 60_000];
    input.extend(b"\nOK1\n");
    let mut bench = Bench::fed(&input);
    assert_eq!(bench.value(&scan("x")), "OK1");
    assert!(bench.out.text().contains("REFUSED 60000 characters are too many"));
}

#[test]
fn the_same_code_within_two_seconds_at_the_next_question_is_ignored() {
    let mut bench = Bench::at_pace(b"P1-D3\nP1-D3\nOM4\n", 100);
    assert_eq!(bench.value(&scan("slot")), "P1-D3");
    assert_eq!(bench.value(&scan("module")), "OM4");
    assert!(bench.out.text().contains("INFO P1-D3 came twice within 2 seconds; the second is ignored"));
    let mut bench = Bench::at_pace(b"P1-D3\nP1-D3\n", 3_000);
    assert_eq!(bench.value(&scan("slot")), "P1-D3");
    assert_eq!(bench.value(&scan("again")), "P1-D3", "after a while it is a scan of its own");
    let mut bench = Bench::at_pace(b"P1-D3\nP1-D3\n", 100);
    assert_eq!(bench.value(&scan("slot")), "P1-D3");
    assert_eq!(bench.value(&scan("slot")), "P1-D3", "the same question again, after a refusal, takes it");
}

#[test]
fn a_wait_tells_every_thirty_seconds_and_takes_its_time() {
    let out = Out::default();
    let clock = clock(0);
    let sleeping = Rc::clone(&clock);
    let mut ask = Plain::new(Cursor::new(b"later\n".to_vec()), out.clone(), Rc::<StepClock>::clone(&clock))
        .with_sleep(move |time| sleeping.at.set(sleeping.at.get() + time));
    let wait = question("wait", Wants::Time { at_least: Duration::from_secs(100) });
    let Reply::Value { text, how, took } = ask.ask(&wait).unwrap() else { panic!() };
    assert_eq!((text.as_str(), how, took), ("done", How::Read, Duration::from_secs(100)));
    let told: Vec<String> = out.text().lines().filter(|l| l.starts_with("WAIT")).map(str::to_owned).collect();
    assert_eq!(told, ["WAIT 00:00:30 of 00:01:40", "WAIT 00:01:00 of 00:01:40", "WAIT 00:01:30 of 00:01:40"]);
    // What was there in the meantime answers the next question.
    assert!(matches!(ask.ask(&scan("next")).unwrap(), Reply::Value { text, .. } if text == "later"));
}

/// Every hostile string through every way in; only clean lines come out, as many as a harmless string gives.
#[test]
fn hostile_text_is_echoed_safely() {
    let shared =
        std::env::var("SLOTWISE_SHARED").unwrap_or_else(|_| concat!(env!("CARGO_MANIFEST_DIR"), "/../shared").into());
    let file = PathBuf::from(shared).join("data/record/hostile/strings.jsonl");
    let Ok(strings) = std::fs::read_to_string(&file) else {
        eprintln!("SKIPPED hostile_text_is_echoed_safely: {} is not there", file.display());
        return;
    };
    let mut count = 0;
    for line in strings.lines() {
        let case: serde_json::Value = serde_json::from_str(line).unwrap();
        let id = case["id"].as_str().unwrap();
        count += 1;
        let Some(value) = case["value"].as_str() else {
            // Bytes that need not be text: refused where they are not, and the next scan is whole.
            let hex = case["bytes_hex"].as_str().unwrap();
            let byte = |n| u8::from_str_radix(&hex[n..n + 2], 16).unwrap();
            let mut input: Vec<u8> = (0..hex.len()).step_by(2).map(byte).collect();
            let is_text = str::from_utf8(&input).is_ok();
            input.extend(b"\nz\n");
            let mut bench = Bench::fed(&input);
            assert_eq!(bench.value(&scan("a")) == "z", !is_text, "{id}");
            assert_eq!(bench.out.text().contains("REFUSED"), !is_text, "{id}");
            bench.out.assert_clean(id);
            continue;
        };
        // As text of the question and as what is said.
        let said = |value: &str| {
            let mut bench = Bench::fed(b"x\n");
            let mut q = scan(value);
            q.slot = Some(value.into());
            q.place.as_mut().unwrap().card_name = value.into();
            q.wants = Wants::Choice { options: vec![value.into(), "x".into()] };
            bench.ask.ask(&q).unwrap();
            bench.out
        };
        let out = said(value);
        out.assert_clean(id);
        assert_eq!(out.text().lines().count(), said("harmless").text().lines().count(), "{id}");
        // As a scan and as a note: the value comes back as it was, as far as it is one line.
        let one_line = !value.contains(['\n', '\r', '\t']) && !value.trim().is_empty() && !value.starts_with(':');
        for (input, q) in [
            (format!("{value}\nz\nz\nz\nz\n"), scan("a")),
            (format!(":n {value}\nz\nz\nz\nz\n"), scan("a")),
            (format!("{value}\n1\n"), confirm()),
        ] {
            let mut bench = Bench::fed(input.as_bytes());
            let reply = bench.ask.ask(&q);
            bench.out.assert_clean(id);
            if one_line && input.starts_with(":n ") {
                assert_eq!(reply.unwrap(), Reply::Note(value.trim().into()), "{id}");
            } else if one_line && matches!(q.wants, Wants::Scan { .. }) && value != "?" && value.len() <= 4096 {
                assert!(matches!(reply.unwrap(), Reply::Value { text, .. } if text == value), "{id}");
            }
        }
    }
    assert!(count > 100, "{count}");
}

fn kinds() -> Vec<Wants> {
    vec![
        Wants::Confirm { state: "cover is on".into() },
        Wants::Word { word: "POWER".into(), meaning: "switch on".into() },
        Wants::Number { unit: "V".into() },
        Wants::Scan { what: "the slot label".into() },
        Wants::Count { what: "modules".into() },
        Wants::Choice { options: vec!["a".into(), "b2".into()] },
        Wants::Line { what: "a remark".into(), optional: true },
        Wants::Path { what: "the picture".into() },
    ]
}

proptest! {
    /// Any bytes at any question: it ends in a reply or the end of the input, and only clean lines are written.
    #[test]
    fn any_bytes_lead_to_a_reply_or_the_end(
        input in vec(prop_oneof![any::<u8>(), proptest::sample::select(b"13by:!n?p\n\r\t\x04\x1c".to_vec())], 0..200),
        kind in 0_usize..8,
    ) {
        let mut bench = Bench::fed(&input);
        let q = question("x", kinds()[kind].clone());
        let mut replies = 0;
        loop {
            match bench.ask.ask(&q) {
                Ok(_) => replies += 1,
                Err(AskError::End) => break,
                Err(other) => prop_assert!(false, "{other}"),
            }
        }
        prop_assert!(replies <= input.len());
        bench.out.assert_clean("any bytes");
    }

    /// A statement stands confirmed only if a line says `1` or the state itself; a critical one never by a single key.
    #[test]
    fn nothing_but_its_own_answer_confirms_a_statement(line in "[ -9;-~]{0,14}", critical in any::<bool>()) {
        let mut bench = Bench::fed(format!("{line}\n").as_bytes());
        let q = Question { critical, ..confirm() };
        if let Ok(Reply::Value { .. }) = bench.ask.ask(&q) {
            let said = line.trim().to_ascii_lowercase();
            prop_assert!(if critical { said == "p1-d3" } else { said == "1" }, "{line:?}");
        }
    }
}

fn env(input: &[u8], out: &Out) -> Env {
    Env {
        program: "slotwise".to_owned(),
        clock: std::rc::Rc::new(StepClock { at: Cell::default(), step: Duration::from_secs(5) }),
        seed: 0,
        root: "/nowhere".into(),
        folder: "/nowhere".into(),
        variables: BTreeMap::new(),
        terminal: Terminal::default(),
        stdin: Some(Box::new(Cursor::new(input.to_vec()))),
        stdout: Box::new(io::sink()),
        stderr: Box::new(out.clone()),
    }
}

#[test]
fn without_a_terminal_lines_are_chosen_and_the_stream_still_serves_others() {
    let out = Out::default();
    let mut env = env(b"P1-D3\n", &out);
    let mut ask = choose(&mut env, &Wish::default()).unwrap();
    assert!(matches!(ask.ask(&scan("a")).unwrap(), Reply::Value { how: How::Typed, .. }));
    env.stderr.write_all(b"still here\n").unwrap();
    assert!(env.clock.steady() > Duration::ZERO);
    assert!(out.text().ends_with("READ P1-D3\nstill here\n"));
}

#[test]
fn an_answers_file_comes_before_everything_and_reads_no_input() {
    let out = Out::default();
    let mut env = env(b"from the pipe\n", &out);
    let text = b"format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"a\"\ngive = [\"from the file\"]\n";
    let wish = Wish { answers: Some(Text { file: "a.toml", bytes: text }), plain: true };
    let mut ask = choose(&mut env, &wish).unwrap();
    let reply = ask.ask(&scan("a")).unwrap();
    assert_eq!(reply, Reply::Value { text: "from the file".into(), how: How::Scripted, took: Duration::ZERO });
    assert_eq!(ask.unused(), Vec::<String>::new());
    assert!(matches!(ask.ask(&scan("b")), Err(AskError::NoAnswer { .. })));
}

#[test]
fn a_faulty_answers_file_is_refused_with_its_name() {
    let out = Out::default();
    let mut env = env(b"", &out);
    let wish = Wish {
        answers: Some(Text { file: "a.toml", bytes: b"format = \"slotwise-answers/1\"\nanwser = 1\n" }),
        plain: false,
    };
    let Err(error) = choose(&mut env, &wish) else { panic!("accepted") };
    assert!(error.to_string().contains("a.toml"), "{error}");
}
