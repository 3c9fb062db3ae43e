//! Questions on a real (pseudo) terminal: this test binary starts itself on one and answers as a person or scanner would.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stderr, reason = "helpers of tests")]

mod program;

use std::fs::File;
use std::io::{IsTerminal, Write};
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use program::{heeding, with_signals};
use rexpect::process::{Signal, WaitStatus};
use rexpect::session::{Options, PtySession, spawn_with_options};
use rustix::termios::{InputModes, LocalModes, SpecialCodeIndex, Winsize, tcgetattr, tcgetwinsize, tcsetwinsize};
use slotwise::env::{Env, SystemClock, Terminal};
use slotwise::prompt::{AskError, Message, Place, Question, Status, Wants, Wish, choose};

const SCENE: &str = "SLOTWISE_TEST_SCENE";

fn question(name: &str) -> Question {
    let wants = match name {
        "confirm" => Wants::Confirm { state: "both latches closed".into() },
        "word" => Wants::Word { word: "POWER".into(), meaning: "switch on".into() },
        "choice" => Wants::Choice { options: vec!["clean".into(), "bent pin".into(), "burnt".into()] },
        "line" => Wants::Line { what: "a remark".into(), optional: false },
        "time" => Wants::Time { at_least: Duration::from_secs(2) },
        _ => Wants::Scan { what: "the slot label".into() },
    };
    Question {
        name: name.into(),
        place: Some(Place {
            card: (3, 9),
            card_name: "Insert".into(),
            item: (2, 7),
            elapsed: Duration::from_secs(761),
        }),
        slot: Some("P1-D3".into()),
        caution: Some("Hold the module by its edges".into()),
        warns: false,
        text: "Look at the slot.".into(),
        wants,
        help: Some("Both ends, evenly.".into()),
        critical: false,
        picture: vec!["\u{2588}\u{2500} \x1b[1mP1-D3\x1b[0m".into()],
    }
}

/// What runs on the terminal: not a test of its own, does nothing unless a scene is named.
#[test]
fn scene() {
    let Ok(scene) = std::env::var(SCENE) else { return };
    let size = tcgetwinsize(std::io::stderr()).map(|size| (size.ws_col, size.ws_row)).ok();
    let mut env = Env {
        program: "slotwise".to_owned(),
        clock: std::rc::Rc::new(SystemClock::default()),
        seed: 0,
        root: "/".into(),
        folder: "/".into(),
        variables: std::env::vars().collect(),
        terminal: Terminal {
            stdin_is_terminal: std::io::stdin().is_terminal(),
            stdout_is_terminal: std::io::stdout().is_terminal(),
            stderr_is_terminal: std::io::stderr().is_terminal(),
            size,
        },
        stdin: None,
        stdout: Box::new(std::io::stdout()),
        stderr: Box::new(std::io::stderr()),
    };
    let wish = Wish { answers: None, plain: scene.starts_with("plain ") };
    let mut ask = choose(&mut env, &wish).unwrap();
    let mut out = std::io::stderr();
    for word in scene.split(' ') {
        match word {
            "plain" | "idle" => {}
            "busy" => {
                out.write_all(b"BUSY\n").unwrap();
                sleep(Duration::from_millis(700));
            }
            "panic" => panic!("on purpose"),
            "say" => ask.say(&Message { status: Status::Recorded, text: "slot\x1b[2J".into() }).unwrap(),
            _ => {
                let reply = ask.ask(&question(word));
                out.write_all(format!("GOT {reply:?}\n").as_bytes()).unwrap();
                if matches!(reply, Err(AskError::Interrupted | AskError::End)) {
                    break;
                }
            }
        }
    }
    drop(ask);
    out.write_all(b"OVER\n").unwrap();
    if scene.ends_with(" idle") {
        sleep(Duration::from_millis(700));
        out.write_all(b"STILL HERE\n").unwrap();
    }
}

struct Bench {
    session: PtySession,
    keys: File,
}

impl Bench {
    fn start(scene: &str) -> Self {
        Self::with(scene, &[])
    }

    fn with(scene: &str, variables: &[(&str, &str)]) -> Self {
        Self::of(scene, variables, heeding)
    }

    fn of(scene: &str, variables: &[(&str, &str)], signals: impl Fn(&Command) -> Command) -> Self {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command.args(["--exact", "scene", "--nocapture", "--test-threads=1"]).env_clear().env(SCENE, scene);
        command.envs([("TERM", "xterm"), ("LANG", "C.UTF-8"), ("RUST_BACKTRACE", "0")]).envs(variables.iter().copied());
        let options = Options::default().timeout_ms(Some(10_000));
        let session = spawn_with_options(signals(&command), options).unwrap();
        let keys = session.process().get_file_handle().unwrap();
        let bench = Self { session, keys };
        bench.size(80, 24);
        bench
    }

    fn size(&self, columns: u16, rows: u16) {
        let size = Winsize { ws_col: columns, ws_row: rows, ws_xpixel: 0, ws_ypixel: 0 };
        tcsetwinsize(&self.keys, size).unwrap();
    }

    /// Sends bytes at once, as a scanner does.
    fn send(&mut self, bytes: &[u8]) {
        self.keys.write_all(bytes).unwrap();
    }

    /// Waits for text; returns what stood before it.
    fn see(&mut self, text: &str) -> String {
        match self.session.exp_string(text) {
            // The session hands out one character a byte.
            Ok(before) => {
                let bytes: Vec<u8> = before.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
                String::from_utf8(bytes).unwrap()
            }
            Err(error) => panic!("waited for {text:?}: {error}"),
        }
    }

    /// Waits until the input line is there.
    fn prompt(&mut self) -> String {
        let before = self.see("\n> ");
        // The reader has to be at its poll before a burst can be measured.
        sleep(Duration::from_millis(50));
        before
    }

    /// Whether the terminal is as a shell expects it. (Echo is left out: the pty is made without.)
    fn is_restored(&self) -> bool {
        let modes = tcgetattr(&self.keys).unwrap();
        modes.local_modes.contains(LocalModes::ICANON | LocalModes::IEXTEN | LocalModes::ISIG)
            && modes.input_modes.contains(InputModes::ICRNL)
            && modes.special_codes[SpecialCodeIndex::VQUIT] == 0x1c
    }

    fn over(&mut self) {
        self.see("OVER");
        assert!(self.is_restored(), "the terminal's modes came back");
    }
}

#[test]
fn ctrl_c_pauses_and_the_terminal_comes_back() {
    let mut bench = Bench::start("scan");
    bench.prompt();
    assert!(!bench.is_restored());
    bench.send(b"P1\x03");
    bench.see("GOT Ok(Pause)");
    bench.over();
}

/// As under nohup(1), and as a script's `&` starts a command: the page offers Ctrl-C, and a hang-up is to be ignored.
#[test]
fn ctrl_c_pauses_where_sigint_was_ignored_at_the_start_and_a_hang_up_stays_ignored() {
    for scene in ["scan idle", "plain scan idle"] {
        let mut bench = Bench::of(scene, &[], |command| with_signals("--ignore-signal=HUP,INT", command));
        bench.prompt();
        bench.session.process_mut().signal(Signal::SIGHUP).unwrap();
        sleep(Duration::from_millis(300));
        bench.send(b"P1\x03");
        bench.see("GOT Ok(Pause)");
        bench.over();
        // Nobody is asked any more: what was ignored is ignored again.
        bench.send(b"\x03");
        bench.see("STILL HERE");
    }
}

#[test]
fn separators_in_a_code_end_nothing() {
    let mut bench = Bench::start("scan scan2");
    bench.prompt();
    bench.send(b"[)>\x1e06\x1dS123\x1c\x1f\x1e\x04\r");
    bench.see(r#"GOT Ok(Value { text: "[)>\u{1e}06\u{1d}S123\u{1c}\u{1f}\u{1e}\u{4}", how: Scanned"#);
    bench.prompt();
    for inert in [b"\x04", b"\x1c", b"\x1a", b"\x13"] {
        bench.send(inert);
        sleep(Duration::from_millis(250));
    }
    bench.send(b"\x15ABCDEFG\t");
    bench.see(r#"text: "ABCDEFG""#);
    bench.over();
}

#[test]
fn a_scan_that_comes_between_two_questions_kills_nothing_and_counts_for_neither() {
    let mut bench = Bench::start("scan busy scan2");
    bench.prompt();
    bench.send(b"P1-D3A7\r");
    bench.see("BUSY");
    bench.send(b"P1\x1c\x04\x1aD3\r");
    bench.see("ATTENTION P1\\x1C\\x04\\x1AD3\\x0D came before the question was shown and did not");
    bench.see("count");
    bench.prompt();
    bench.send(b"P1-D3A8\r");
    bench.see(r#"text: "P1-D3A8""#);
    bench.over();
}

#[test]
fn a_scan_without_a_suffix_ends_with_quiet() {
    let mut bench = Bench::start("scan");
    bench.prompt();
    bench.send(b"P1-D3A7");
    bench.see("this scanner sends no Enter");
    bench.see(r#"GOT Ok(Value { text: "P1-D3A7", how: Scanned"#);
    bench.over();
}

#[test]
fn slow_keys_are_typed() {
    let mut bench = Bench::start("scan");
    bench.prompt();
    for key in b"P1-D3A7\r" {
        bench.send(&[*key]);
        sleep(Duration::from_millis(60));
    }
    bench.see(r#"text: "P1-D3A7", how: Typed"#);
    bench.over();
}

#[test]
fn a_scan_answers_no_yes_or_no_and_one_key_does_without_enter() {
    let mut bench = Bench::start("confirm");
    bench.prompt();
    for (scan, words) in [
        (b"yK7712345\r".as_slice(), "yK7712345 looks like a scan"),
        (b"1234567890\r", "1234567890 looks like a scan"),
        (b"1234567890", "1234567890 looks like a scan"),
        (b"b12\r", "b12 looks like a scan"),
        (b"y", "y says nothing about the machine"),
        (b"\r", "Enter alone is no answer"),
    ] {
        bench.send(scan);
        if scan == b"y" {
            bench.send(b"\r");
        }
        bench.see(words);
        bench.prompt();
    }
    bench.send(b"1");
    bench.see(r#"GOT Ok(Value { text: "both latches closed", how: Typed"#);
    bench.over();
}

#[test]
fn what_came_before_a_critical_word_does_not_count() {
    let mut bench = Bench::start("busy word");
    bench.see("BUSY");
    bench.send(b"POWER\r");
    bench.see("POWER\\x0D came before the question was shown and did not count");
    bench.prompt();
    bench.send(b"POWER\r");
    bench.see(r#"GOT Ok(Value { text: "POWER""#);
    bench.over();
}

#[test]
fn a_narrow_window_gets_lines_without_a_single_escape() {
    let mut bench = Bench::start("scan say scan2 scan3");
    let page = bench.prompt();
    assert!(page.contains("\x1b[2J"), "a page at 80 columns: {page:?}");
    bench.size(40, 24);
    bench.send(b"P1-D3A7\r");
    bench.see("GOT Ok");
    let lines = bench.prompt();
    assert!(lines.contains("card 3 of 9 - item 2 of 7 - 00:12:41\r\n"), "{lines:?}");
    assert!(!lines.contains('\x1b'), "{lines:?}");
    assert!(lines.contains("SAVED slot\\x1B[2J"), "{lines:?}");
    assert!(lines.lines().skip(1).all(|line| line.len() < 40), "{lines:?}");
    assert!(lines.contains("KEYS :? help  :b back  :n note  :!\r\nproblem  :p pause"), "between words: {lines:?}");
    bench.size(80, 24);
    bench.send(b"P1-D3A8\r");
    bench.see("GOT Ok");
    assert!(bench.prompt().contains("\x1b[2J"), "wide again");
    bench.send(b"\x03");
    bench.over();
}

#[test]
fn no_color_and_a_plain_locale_leave_ascii_without_colour() {
    let mut bench = Bench::with("confirm", &[("NO_COLOR", "1"), ("LANG", "C")]);
    let page = bench.prompt();
    let body = page.split("\x1b[2J\x1b[H").nth(1).unwrap();
    assert!(body.bytes().all(|b| matches!(b, b' '..=b'~' | b'\r' | b'\n')), "{body:?}");
    assert!(body.contains("!! CAUTION: Hold the module by its edges"));
    let mut bench = Bench::with("confirm", &[]);
    let page = bench.prompt();
    assert!(page.contains('\u{2588}') && page.contains("\x1b[1;7m!! CAUTION"), "{page:?}");
}

#[test]
fn a_dumb_terminal_and_plain_get_lines_and_still_read_keys() {
    for (scene, variables) in [("confirm", [("TERM", "dumb")]), ("plain confirm", [("TERM", "xterm")])] {
        let mut bench = Bench::with(scene, &variables);
        let lines = bench.prompt();
        let lines = lines.split("running 1 test").nth(1).unwrap();
        assert!(lines.bytes().all(|b| matches!(b, b' '..=b'~' | b'\r' | b'\n')), "{lines:?}");
        bench.send(b"xy\x1b[2J\x7f\r");
        // Erased keys are shown by showing the line again, not by moving the cursor.
        let echo = bench.see("REFUSED");
        assert!(echo.contains("xy\\x1B[2J\r\n> xy\\x1B[2\r\n"), "{echo:?}");
        assert!(!echo.contains('\x1b'));
        bench.prompt();
        bench.send(b"1");
        bench.see("both latches closed\", how: Typed");
        bench.over();
    }
}

#[test]
fn a_hostile_scan_is_echoed_as_text() {
    let mut bench = Bench::start("scan");
    bench.prompt();
    bench.send("SN\x1b]0;x\x07\u{202e}\u{9b}2J\r".as_bytes());
    let echo = bench.see("GOT");
    assert!(echo.contains("> SN\\x1B]0;x\\x07\\u{202E}\\u{9B}2J\r\n"), "{echo:?}");
    let echo = echo.replace("\x1b[K", "");
    assert!(echo.bytes().all(|b| matches!(b, b' '..=b'~' | b'\r' | b'\n')), "{echo:?}");
}

#[test]
fn an_order_to_end_leaves_with_the_terminal_restored() {
    for signal in [Signal::SIGTERM, Signal::SIGHUP] {
        let mut bench = Bench::start("scan");
        bench.prompt();
        bench.session.process_mut().signal(signal).unwrap();
        bench.see("GOT Err(Interrupted)");
        bench.over();
    }
}

#[test]
fn the_record_says_that_the_terminal_closed_and_not_that_a_person_left() {
    for (signal, why) in [(Signal::SIGHUP, "the terminal closed"), (Signal::SIGTERM, "interrupted")] {
        let folder = tempfile::tempdir().unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_slotwise"));
        command.args(["practice", "--fault", "none", "--seed", "7", "--records", "records"]).current_dir(folder.path());
        command.env_clear().envs([("TERM", "xterm"), ("LANG", "C.UTF-8")]);
        let mut session = spawn_with_options(heeding(&command), Options::default().timeout_ms(Some(10_000))).unwrap();
        session.exp_string("\n> ").unwrap();
        session.process_mut().signal(signal).unwrap();
        session.exp_string("PAUSED").unwrap();
        let record = std::fs::read_dir(folder.path().join("records")).unwrap().next().unwrap().unwrap().path();
        let text = std::fs::read_to_string(record).unwrap();
        let last = text.lines().last().unwrap();
        assert!(last.contains("\"event\":\"paused\"") && last.contains(why), "{last}");
    }
}

#[test]
fn a_panic_restores_the_terminal() {
    let mut bench = Bench::start("scan panic");
    bench.prompt();
    bench.send(b"P1-D3A7\r");
    bench.see("on purpose");
    bench.see("FAILED");
    assert!(bench.is_restored());
}

#[test]
fn a_second_ctrl_c_while_the_program_is_busy_ends_it_with_the_terminal_restored() {
    let mut bench = Bench::start("busy busy busy busy busy busy scan");
    bench.see("BUSY");
    bench.send(b"\x03");
    sleep(Duration::from_millis(200));
    bench.send(b"\x03");
    let status = bench.session.process().wait().unwrap();
    assert!(matches!(status, WaitStatus::Signaled(_, Signal::SIGINT, _)), "{status:?}");
    assert!(bench.is_restored());
}

#[test]
fn one_ctrl_c_while_busy_pauses_at_the_next_question() {
    let mut bench = Bench::start("busy scan");
    bench.see("BUSY");
    bench.send(b"\x03");
    bench.see("GOT Ok(Pause)");
    bench.over();
}

#[test]
fn a_choice_is_made_by_number_or_in_the_list_the_arrows_open() {
    let mut bench = Bench::start("choice choice");
    bench.prompt();
    bench.send(b"2\r");
    bench.see(r#"text: "bent pin""#);
    bench.prompt();
    bench.send(b"\x1b[B");
    bench.see("arrows move");
    sleep(Duration::from_millis(100));
    bench.send(b"\x1b[B");
    sleep(Duration::from_millis(100));
    bench.send(b"\r");
    bench.see("WANT 1 takes clean, 3 goes back");
    bench.prompt();
    bench.send(b"1");
    bench.see(r#"text: "clean""#);
    bench.over();
}

#[test]
fn a_scan_fired_into_the_open_list_chooses_nothing() {
    let mut bench = Bench::start("choice");
    bench.prompt();
    bench.send(b"\x1b[B");
    bench.see("arrows move");
    sleep(Duration::from_millis(100));
    bench.send(b"jk7j12345\r1234\r");
    bench.see("WANT 1 takes");
    bench.prompt();
    bench.send(b"1234567\r");
    bench.see("nothing was chosen");
    bench.prompt();
    bench.send(b"3\r");
    bench.see(r#"text: "burnt""#);
    bench.over();
}

#[test]
fn ctrl_c_in_the_open_list_pauses_and_shows_the_cursor() {
    let mut bench = Bench::start("choice");
    bench.prompt();
    bench.send(b"\x1b[A");
    bench.see("arrows move");
    sleep(Duration::from_millis(100));
    bench.send(b"\x03");
    bench.see("\x1b[?25h");
    bench.see("GOT Ok(Pause)");
    bench.over();
}

#[test]
fn a_wait_counts_each_second_and_can_be_paused() {
    let mut bench = Bench::start("time time");
    bench.see("WAIT 00:00:01 of 00:00:02");
    bench.see("text: \"done\", how: Read");
    bench.see("WAIT 00:00:00 of 00:00:02");
    bench.send(b"p");
    bench.see("GOT Ok(Pause)");
    bench.over();
}

#[test]
fn help_is_shown_below_the_question() {
    let mut bench = Bench::start("confirm");
    bench.prompt();
    bench.send(b"?");
    let help = bench.prompt();
    assert!(help.contains("HELP Both ends, evenly.") && help.contains("Ctrl-C pauses"), "{help:?}");
    bench.send(b"1");
    bench.over();
}
