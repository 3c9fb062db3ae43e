//! Small C programs that make a disk fail, built where there is a compiler; and what was said to be saved against what is there.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::panic,
    reason = "each test binary uses its own part of it, and a check that cannot go on has failed"
)]

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{ChildStderr, Command};
use std::sync::mpsc;
use std::thread::JoinHandle;
use std::time::Duration;

use slotwise::record::{Event, Job, RecordError, read};

/// Says so past the test runner, which keeps the output of tests that pass to itself.
pub fn skipped(test: &str, why: &str) {
    let _ = writeln!(std::io::stderr(), "SKIPPED {test}: {why}");
}

/// Said by each of these tests at its end, when every run has been held to it, so that they can be added up.
pub fn told(test: &str, runs: usize, confirmed: usize) {
    let _ = writeln!(std::io::stderr(), "{test}: {runs} runs, {confirmed} answers confirmed, all of them kept");
}

/// A program, or with `-shared` a library, from `tests/disk/NAME.c`; `None`, said aloud, where there is no compiler.
pub fn built(name: &str, arguments: &[&str], into: &Path, test: &str) -> Option<PathBuf> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/disk").join(name).with_extension("c");
    let made = into.join(name);
    match Command::new("cc").args(arguments).arg("-o").arg(&made).arg(source).arg("-ldl").output() {
        Ok(output) => assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr)),
        Err(error) => {
            skipped(test, &format!("no C compiler `cc` here: {error}"));
            return None;
        }
    }
    Some(made)
}

/// How many answers a run said were saved, the sign-off among them.
pub fn saved(stderr: &str) -> usize {
    stderr.lines().filter(|line| line.starts_with("SAVED")).count()
}

/// What a run can say is saved, of a record that may not have got its name; and the job.
pub fn kept(record: Option<&Path>) -> (usize, Option<Job>) {
    let Some(record) = record else { return (0, None) };
    let mut kept = 0;
    for line in read::Lines::open(record).unwrap() {
        let event = match line {
            Ok(scanned) => scanned.line.event,
            Err(RecordError::Empty { .. } | RecordError::NeverOpened { .. }) => return (0, None),
            Err(error) => panic!("{error}"),
        };
        kept += usize::from(matches!(event, Event::Answered { .. } | Event::Declared { .. }));
    }
    (kept, Some(read::job(record).unwrap().job))
}

/// What a process says, read while it runs.
pub struct Talk {
    first_answer: mpsc::Receiver<()>,
    reader: JoinHandle<String>,
}

impl Talk {
    pub fn of(stderr: ChildStderr) -> Self {
        let (sender, first_answer) = mpsc::channel();
        let reader = std::thread::spawn(move || {
            let mut said = Vec::new();
            let mut lines = BufReader::new(stderr);
            while lines.read_until(b'\n', &mut said).unwrap() > 0 {
                if said.ends_with(b"\n") && saved(&String::from_utf8_lossy(&said)) == 1 {
                    // Nobody may wait for it.
                    let _ = sender.send(());
                }
            }
            String::from_utf8(said).unwrap()
        });
        Self { first_answer, reader }
    }

    /// Returns at the first answer said to be saved, or when there will be none.
    pub fn wait_for_an_answer(&self) {
        let _ = self.first_answer.recv_timeout(Duration::from_secs(10));
    }

    pub fn all(self) -> String {
        self.reader.join().unwrap()
    }
}
