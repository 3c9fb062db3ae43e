//! What goes wrong at a bench that is nobody's answer: triggers pulled twice, screws that are gone, clocks, disks.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use std::cell::{Cell, RefCell};
use std::io::{BufRead, BufReader, Cursor, Read as _, Write};
use std::process::{Command, ExitStatus, Stdio};
use std::rc::Rc;
use std::time::{Duration, Instant};

use chrono::{DateTime, FixedOffset, TimeDelta};
use program::{Bench, SITE, TECHNICIAN, first_scan, heeding, joined, line_of, rest, right, whole};
use rustix::process::{Pid, Signal, kill_process};
use slotwise::checklist::{Evidence, ScanOf};
use slotwise::env::{Clock, Env, Terminal};
use slotwise::machine::Fault;
use slotwise::record::{Answer, Event, read};

fn events(bench: &Bench) -> Vec<Event> {
    read::Lines::open(&bench.record()).unwrap().map(|line| line.unwrap().line.event).collect()
}

/// Every scan of the job comes twice, as from a trigger pulled twice: each question still has its own answer.
#[test]
fn a_trigger_pulled_twice_answers_one_question() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    let mut lines = Vec::new();
    let mut scans = 0;
    for (_, _, step) in steps.iter() {
        let Some(line) = right(step, "tree") else { continue };
        if matches!(step.evidence, Evidence::Scan { .. }) {
            lines.push(line.clone());
            scans += 1;
        }
        lines.push(line);
    }
    lines.push(TECHNICIAN.to_owned());
    assert!(scans > 15, "{scans}");
    bench.install(&lines).ends(0);
    let job = bench.job();
    assert!(job.is_done());
    assert_eq!(job.answers().len(), steps.iter().count());
    for (_, _, step) in steps.iter() {
        let Some(line) = right(step, "tree") else { continue };
        let Evidence::Scan { of, .. } = &step.evidence else { continue };
        let Answer::Given { value, .. } = &job.answer(&step.id).unwrap().answer else { panic!("{}", step.id.0) };
        assert_eq!(value, &line, "{of:?} at {}", step.id.0);
    }
    assert_eq!(job.bound(&steps).len(), 8, "each module stands in one slot");
}

#[test]
fn a_missing_fastener_is_explained_by_name_or_found_and_only_then_comes_the_power() {
    for explained in [true, false] {
        let bench = Bench::new();
        let steps = bench.steps();
        bench.machine("tree", Fault::None, 1);
        let asked: Vec<_> = steps.iter().map(|(_, _, step)| step).filter(|step| right(step, "").is_some()).collect();
        let at =
            asked.iter().position(|step| step.id.0.starts_with("cover-on/") && step.id.0.ends_with("/loose")).unwrap();
        let mut lines = whole(&steps, "tree");
        let count = lines[at].clone();
        let trouble: &[&str] = if explained {
            &["1", "override", "3", "fell into the rack, seen under node N2", "Kim Holt"]
        } else {
            &["1", "0", "", &count]
        };
        lines.splice(at..=at, trouble.iter().map(|line| (*line).to_owned()));
        let ran = bench.install(&lines);
        ran.ends(0);
        let job = bench.job();
        let answer = &job.answer(&asked[at].id).unwrap().answer;
        assert_eq!(matches!(answer, Answer::Passed { .. }), explained, "{answer:?}");
        if explained {
            ran.says(&["a part is loose in the machine", "by Kim Holt: fell into the rack, seen under node N2"]);
        }
        // The refused counts stand in the record ahead of the word that switches the power on.
        let all = events(&bench);
        let power =
            all.iter().position(|event| matches!(event, Event::Answered { step, .. } if step.0 == "power-on/power"));
        let refused =
            all.iter().position(|event| matches!(event, Event::Refused { step, .. } if *step == asked[at].id));
        assert!(refused.unwrap() < power.unwrap());
    }
}

#[test]
fn the_word_pause_pauses_at_every_kind_of_question() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    let lines = whole(&steps, "tree");
    let stops = [
        0,
        line_of(&steps, "static/wrist"),
        first_scan(&steps, ScanOf::Module),
        line_of(&steps, "power-on/power"),
        lines.iter().position(|line| line == "tree").unwrap(),
        lines.len() - 1,
    ];
    let asked: Vec<_> = steps.iter().map(|(_, _, step)| step).filter(|step| right(step, "").is_some()).collect();
    for (n, stop) in stops.into_iter().enumerate() {
        let paused = if n == 0 {
            bench.install(&[":p".to_owned()])
        } else {
            // From where the job stands up to the question at which it stops.
            let job = bench.job();
            let mut due = rest(&job, "tree");
            let left = asked.iter().skip(stop).count() + 1;
            due.truncate(due.len() - left);
            due.push(":p".to_owned());
            bench.resume(&due)
        };
        paused.ends(3);
        let pauses = events(&bench)
            .into_iter()
            .filter_map(|event| match event {
                Event::Paused { step, why } => Some((step, why)),
                _ => None,
            })
            .collect::<Vec<_>>();
        assert_eq!(pauses.len(), n + 1);
        let (step, why) = pauses.last().unwrap();
        assert_eq!(step.as_ref(), asked.get(stop).map(|step| &step.id), "{}", paused.stderr);
        assert_eq!(why, "the technician paused");
    }
    bench.resume(&rest(&bench.job(), "tree")).ends(0);
    assert!(bench.job().is_done());
}

/// A wall clock that is set back while it runs, and a steady one beside it.
struct Wall {
    start: DateTime<FixedOffset>,
    steady: Cell<Duration>,
    /// From the so-manieth look at the clock on, it reads so much earlier.
    set_back: (u32, TimeDelta),
    looks: Cell<u32>,
}

impl Clock for Wall {
    fn now(&self) -> DateTime<FixedOffset> {
        self.looks.set(self.looks.get() + 1);
        self.steady.set(self.steady.get() + Duration::from_secs(3));
        let at = self.start + TimeDelta::from_std(self.steady.get()).unwrap();
        if self.looks.get() >= self.set_back.0 { at - self.set_back.1 } else { at }
    }

    fn steady(&self) -> Duration {
        self.steady.get()
    }
}

#[derive(Clone, Default)]
struct Out(Rc<RefCell<Vec<u8>>>);

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Runs the program in this process, with a clock of ours. Its exit code and what it said on both streams.
fn run_with(bench: &Bench, args: &[&str], input: &str, start: &str, set_back: (u32, TimeDelta)) -> (u8, String) {
    let start = DateTime::parse_from_rfc3339(start).unwrap();
    let out = Out::default();
    let mut env = Env {
        clock: Rc::new(Wall { start, steady: Cell::default(), set_back, looks: Cell::default() }),
        seed: 5,
        program: "slotwise".to_owned(),
        root: bench.path("nowhere"),
        folder: bench.path("."),
        variables: [("LANG".to_owned(), "C".to_owned())].into(),
        terminal: Terminal::default(),
        stdin: Some(Box::new(Cursor::new(input.to_owned().into_bytes()))),
        stdout: Box::new(out.clone()),
        stderr: Box::new(out.clone()),
    };
    let args = std::iter::once("slotwise").chain(args.iter().copied()).map(std::ffi::OsString::from);
    let code = slotwise::commands::run(args, &mut env).code();
    drop(env);
    (code, String::from_utf8(Rc::unwrap_or_clone(out.0).into_inner()).unwrap())
}

#[test]
fn a_clock_set_back_during_a_job_and_between_two_sittings_loses_nothing_and_is_told() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    let lines = whole(&steps, "tree");
    let half = &lines[..60];
    // Set back two hours in the midst of the first sitting.
    let (code, said) =
        run_with(&bench, &Bench::install_args(), &joined(half), "2026-11-25T14:00:00+01:00", (20, TimeDelta::hours(2)));
    assert_eq!(code, 3, "{said}");
    let job = bench.job();
    assert!(job.answers().len() >= 60, "{}", job.answers().len());
    let worked = job.worked();
    assert!(worked < Duration::from_secs(3600), "time worked is no hour: {worked:?}");
    assert!(worked > Duration::ZERO);
    // The second sitting begins a day before the first.
    let record = bench.record();
    let args = ["resume", record.to_str().unwrap(), "--plain"];
    let input = joined(&rest(&job, "tree"));
    let (code, said) = run_with(&bench, &args, &input, "2026-11-24T09:00:00+01:00", (u32::MAX, TimeDelta::zero()));
    // The report was made by this test's machine, whose clock nobody turned.
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("before the last line; order comes from the line numbers"), "{said}");
    let job = bench.job();
    assert!(job.is_done());
    assert_eq!(job.answers().len(), steps.iter().count());
    assert!(job.worked() < Duration::from_secs(2 * 3600), "{:?}", job.worked());
    let noted = events(&bench)
        .into_iter()
        .any(|event| matches!(event, Event::Resumed { clock_note: Some(_), away_ms: None, .. }));
    assert!(noted, "the record says that the clock went back");
}

/// Mounts a small file system that cannot be written to. `None`, said aloud, where that is not permitted.
fn read_only(bench: &Bench, test: &str) -> Option<Mounted> {
    let disk = bench.path("disk");
    std::fs::create_dir(&disk).unwrap();
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=1m,ro", "tmpfs"])
        .arg(&disk)
        .status()
        .is_ok_and(|status| status.success());
    if !mounted {
        eprintln!("SKIPPED {test}: no right to mount a small disk");
        return None;
    }
    Some(Mounted(disk))
}

struct Mounted(std::path::PathBuf);

impl Drop for Mounted {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

#[test]
fn a_folder_that_cannot_be_written_is_told_before_the_first_question() {
    let bench = Bench::new();
    let Some(_disk) = read_only(&bench, "a_folder_that_cannot_be_written_is_told_before_the_first_question") else {
        return;
    };
    for records in ["disk", "disk/records"] {
        let mut args = Bench::install_args().to_vec();
        args.extend(["--records", records]);
        let ran = bench.run(&args, b"1\n1\n1\n");
        assert!([73, 74].contains(&ran.code), "{}", ran.stderr);
        ran.says(&[records, "Read-only file system"]);
        assert!(!ran.stderr.contains("card 1"), "a question was put: {}", ran.stderr);
        let ran = bench.run(&["practice", "--auto", "--records", records], b"");
        assert!([73, 74].contains(&ran.code), "{}", ran.stderr);
    }
    bench.machine("tree", Fault::None, 1);
    let ran = bench.run(&["capture", "--root", "tree", "-o", "disk/new.json"], b"");
    assert_eq!(ran.code, 73, "{}", ran.stderr);
}

/// Reads the program's talk until `text` stands in it so often.
fn heard(talk: &mut impl BufRead, text: &str, times: usize) {
    let (mut line, mut seen) = (String::new(), 0);
    while seen < times {
        line.clear();
        assert_ne!(talk.read_line(&mut line).unwrap(), 0, "{text:?} was not said {times} times");
        seen += usize::from(line.contains(text));
    }
}

struct Ended {
    status: ExitStatus,
    took: Duration,
    stdout: String,
}

/// Runs `command` on a pipe that stays open, sends `input`, and sends it the signals once `text` was said so often.
fn ended_by(signals: &[Signal], command: &Command, input: &[u8], (text, times): (&str, usize)) -> Ended {
    let mut child =
        heeding(command).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(input).unwrap();
    let mut talk = BufReader::new(child.stderr.take().unwrap());
    heard(&mut talk, text, times);
    for signal in signals {
        // It is at its next question by then.
        std::thread::sleep(Duration::from_millis(300));
        kill_process(Pid::from_child(&child), *signal).unwrap();
    }
    let from = Instant::now();
    talk.read_to_end(&mut Vec::new()).unwrap();
    let took = from.elapsed();
    let ended = child.wait_with_output().unwrap();
    drop(stdin);
    Ended { status: ended.status, took, stdout: String::from_utf8(ended.stdout).unwrap() }
}

#[test]
fn an_order_to_end_on_a_pipe_that_stays_open_is_a_pause_in_the_record() {
    let why =
        [(Signal::TERM, "interrupted"), (Signal::INT, "the technician paused"), (Signal::HUP, "the terminal closed")];
    for (signal, why) in why {
        let bench = Bench::new();
        bench.machine("tree", Fault::None, 1);
        let lines = whole(&bench.steps(), "tree");
        // A half line is nobody's answer.
        let input = joined(&lines[..5]) + "half a li";
        let ended = ended_by(&[signal], &bench.command(&Bench::install_args()), input.as_bytes(), ("SAVED", 5));
        assert_eq!(ended.status.code(), Some(3), "{signal:?}: {:?}", ended.status);
        assert!(ended.took < Duration::from_secs(5), "{signal:?}: {:?}", ended.took);
        assert!(ended.stdout.starts_with("PAUSED "), "{signal:?}: {}", ended.stdout);
        let told = events(&bench);
        assert_eq!(told.iter().filter(|event| matches!(event, Event::Answered { .. })).count(), 5, "{signal:?}");
        assert!(
            matches!(told.last(), Some(Event::Paused { why: said, .. }) if said == why),
            "{signal:?}: {:?}",
            told.last()
        );
        bench.resume(&rest(&bench.job(), "tree")).ends(0);
    }
}

#[test]
fn an_order_to_end_is_heeded_in_the_midst_of_a_wait() {
    let bench = Bench::new();
    bench.file("site.toml", SITE.replace("\"0\"", "\"600\""));
    let input = joined(&whole(&bench.steps(), "tree"));
    let ended = ended_by(&[Signal::TERM], &bench.command(&Bench::install_args()), input.as_bytes(), ("WANT wait", 1));
    assert_eq!(ended.status.code(), Some(3), "{:?}", ended.status);
    assert!(ended.took < Duration::from_secs(5), "{:?}", ended.took);
    assert!(matches!(events(&bench).last(), Some(Event::Paused { why, .. }) if why == "interrupted"));
}

#[test]
fn a_hang_up_that_is_to_be_ignored_is_ignored() {
    let bench = Bench::new();
    let program = bench.command(&Bench::install_args());
    // As under nohup(1).
    let mut command = Command::new("sh");
    command.args(["-c", "trap '' HUP; exec \"$@\"", "sh"]).arg(program.get_program()).args(program.get_args());
    command.current_dir(program.get_current_dir().unwrap()).env_clear().env("LANG", "C");
    let input = joined(&whole(&bench.steps(), "tree")[..2]);
    let ended = ended_by(&[Signal::HUP, Signal::TERM], &command, input.as_bytes(), ("SAVED", 2));
    assert_eq!(ended.status.code(), Some(3), "{:?}", ended.status);
    assert!(matches!(events(&bench).last(), Some(Event::Paused { why, .. }) if why == "interrupted"));
}

/// The record is moved away while a job runs, or edited by a copy: the next answer is not said to be saved, the program
/// says where the record is, and the job goes on there.
#[test]
fn a_record_that_leaves_its_path_ends_the_job_at_the_next_answer() {
    let moved: fn(&std::path::Path) -> &'static str = |record| {
        std::fs::rename(record, record.parent().unwrap().with_file_name("elsewhere.jsonl")).unwrap();
        "elsewhere.jsonl"
    };
    let edited: fn(&std::path::Path) -> &'static str = |record| {
        std::fs::write(record.with_extension("new"), "edited\n").unwrap();
        std::fs::rename(record.with_extension("new"), record).unwrap();
        "rescued-1.jsonl"
    };
    for (resumed, act) in [(false, moved), (true, moved), (false, edited), (true, edited)] {
        let bench = Bench::new();
        bench.machine("tree", Fault::None, 1);
        let mut lines = whole(&bench.steps(), "tree");
        let mut command = bench.command(&Bench::install_args());
        if resumed {
            bench.install(&lines[..5]).ends(3);
            lines = rest(&bench.job(), "tree");
            command = bench.command(&["resume", bench.record().to_str().unwrap(), "--plain"]);
        }
        let mut child = command.spawn().unwrap();
        let mut stdin = child.stdin.take().unwrap();
        stdin.write_all(joined(&lines[..3]).as_bytes()).unwrap();
        let mut talk = BufReader::new(child.stderr.take().unwrap());
        heard(&mut talk, "SAVED", 3);
        let record = bench.record();
        let confirmed = read::job(&record).unwrap().job;
        let now = act(&record);
        stdin.write_all(joined(&lines[3..]).as_bytes()).unwrap();
        let mut said = String::new();
        talk.read_to_string(&mut said).unwrap();
        let ended = child.wait_with_output().unwrap();
        assert_eq!(ended.status.code(), Some(74), "{said}");
        assert!(!said.contains("SAVED"), "{said}");
        assert!(said.contains("this answer is NOT recorded"), "{said}");
        let command = said.lines().find_map(|line| line.split_once("slotwise resume ")).unwrap().1;
        assert!(command.ends_with(now), "{said}");
        let job = read::job(std::path::Path::new(command)).unwrap().job;
        assert_eq!(job, confirmed, "{said}");
        bench.run(&["resume", command, "--plain"], joined(&rest(&job, "tree")).as_bytes()).ends(0);
    }
}
