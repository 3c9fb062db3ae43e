//! Everything a run takes from outside: arguments' folder, clock, seed, machine root, terminal, variables, streams.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::path::PathBuf;
use std::time::Duration;

use chrono::{DateTime, FixedOffset};

/// Wall and steady time.
pub trait Clock {
    /// The wall clock with its offset.
    fn now(&self) -> DateTime<FixedOffset>;
    /// Time since some fixed moment; never jumps back.
    fn steady(&self) -> Duration;
}

/// The machine's own clocks.
#[derive(Debug)]
pub struct SystemClock {
    start: std::time::Instant,
}

impl Default for SystemClock {
    fn default() -> Self {
        Self { start: std::time::Instant::now() }
    }
}

impl Clock for SystemClock {
    fn now(&self) -> DateTime<FixedOffset> {
        chrono::Local::now().fixed_offset()
    }

    fn steady(&self) -> Duration {
        self.start.elapsed()
    }
}

/// What is known of the three streams.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Terminal {
    pub stdin_is_terminal: bool,
    pub stdout_is_terminal: bool,
    pub stderr_is_terminal: bool,
    /// Columns and rows, where a terminal says.
    pub size: Option<(u16, u16)>,
}

/// Everything a run takes from outside.
pub struct Env {
    pub clock: std::rc::Rc<dyn Clock>,
    /// How the program was called, so that a command it suggests can be typed as it stands.
    pub program: String,
    /// Seeds everything random.
    pub seed: u64,
    /// The folder under which the machine's `/proc` and `/sys` are read.
    pub root: PathBuf,
    /// Where relative paths start.
    pub folder: PathBuf,
    pub variables: BTreeMap<String, String>,
    pub terminal: Terminal,
    /// What is read in place of the process's own standard input; `None` for that itself.
    pub stdin: Option<Box<dyn Read>>,
    /// Data goes here.
    pub stdout: Box<dyn Write>,
    /// Talk, prompts and progress go here.
    pub stderr: Box<dyn Write>,
}

impl Env {
    /// A variable that is set and not empty.
    pub fn variable(&self, name: &str) -> Option<&str> {
        self.variables.get(name).map(String::as_str).filter(|value| !value.is_empty())
    }

    /// Whether what is shown may use colour on a stream that is (or is not) a terminal.
    /// `NO_COLOR` present and not empty wins, then `TERM=dumb`, then whether it is a terminal.
    pub fn colour(&self, is_terminal: bool) -> bool {
        is_terminal && self.variable("NO_COLOR").is_none() && self.variable("TERM") != Some("dumb")
    }

    /// Whether the locale takes more than ASCII: the first of `LC_ALL`, `LC_CTYPE`, `LANG` that is set names UTF-8.
    pub fn unicode(&self) -> bool {
        ["LC_ALL", "LC_CTYPE", "LANG"].iter().find_map(|name| self.variable(name)).is_some_and(|locale| {
            let locale = locale.to_ascii_lowercase();
            locale.contains("utf-8") || locale.contains("utf8")
        })
    }
}
