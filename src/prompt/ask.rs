//! The seam between the runner and a person: one question, one reply.

use std::fmt;
use std::time::Duration;

use super::signals;
use crate::record::How;

/// Where the technician is; always in view.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// 1-based card number and how many.
    pub card: (usize, usize),
    pub card_name: String,
    /// 1-based item on this card and how many.
    pub item: (usize, usize),
    /// Worked time on this job, pauses left out.
    pub elapsed: Duration,
}

impl Place {
    /// `card 3 of 9`.
    pub(super) fn card_text(&self) -> String {
        format!("card {} of {}", self.card.0, self.card.1)
    }

    /// `item 2 of 7`.
    pub(super) fn item_text(&self) -> String {
        format!("item {} of {}", self.item.0, self.item.1)
    }
}

impl fmt::Display for Place {
    /// `card 3 of 9 - item 2 of 7 - 00:12:41`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} - {} - {}", self.card_text(), self.item_text(), Hms(self.elapsed))
    }
}

/// A duration as `HH:MM:SS`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hms(pub Duration);

impl fmt::Display for Hms {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let seconds = self.0.as_secs();
        write!(f, "{:02}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
    }
}

/// How a question is answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wants {
    /// One harmless key or the state in words; Enter alone does not do.
    Confirm { state: String },
    /// Exactly these letters, typed: for critical steps and loud warnings. Case does not matter.
    Word { word: String, meaning: String },
    /// A number in `unit`.
    Number { unit: String },
    /// A scan (or the same characters typed). `what` says in words what to scan: `the slot label`.
    Scan { what: String },
    /// A whole number.
    Count { what: String },
    /// One of these, by number or by text.
    Choice { options: Vec<String> },
    /// A line of free text.
    Line { what: String, optional: bool },
    /// The path of a file.
    Path { what: String },
    /// Time passes; comes back with `Value("done")` when it has, showing elapsed time.
    Time { at_least: Duration },
}

impl Wants {
    /// The kind in one word, as an answers file names it.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Confirm { .. } => "confirm",
            Self::Word { .. } => "word",
            Self::Number { .. } => "number",
            Self::Scan { .. } => "scan",
            Self::Count { .. } => "count",
            Self::Choice { .. } => "choice",
            Self::Line { .. } => "text",
            Self::Path { .. } => "path",
            Self::Time { .. } => "time",
        }
    }
}

/// One question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// Machine-readable name, the step's id; an answers file refers to it.
    pub name: String,
    pub place: Option<Place>,
    /// The slot the hands are at, on a line of its own.
    pub slot: Option<String>,
    pub caution: Option<String>,
    /// A loud warning: drawn differently, answered differently.
    pub warns: bool,
    /// What to do.
    pub text: String,
    pub wants: Wants,
    pub help: Option<String>,
    /// Irreversible or costly: pending input is drained first, Enter alone never passes.
    pub critical: bool,
    /// The picture above the question in full-screen mode (lines, already safe); plain mode leaves it out.
    pub picture: Vec<String>,
}

/// What came back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reply {
    Value {
        text: String,
        how: How,
        took: Duration,
    },
    /// Go back to the item before.
    Back,
    /// A note about this step.
    Note(String),
    /// Something is wrong here.
    Problem(String),
    /// Pass this step without its evidence (asks for the reason and the name through further questions).
    Override,
    Pause,
}

/// Why no reply came.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// The input ended.
    #[error("the input ended")]
    End,
    /// SIGINT, SIGTERM or a hang-up.
    #[error("interrupted")]
    Interrupted,
    /// An answers file has no (or no fitting) answer for this question.
    #[error("{file}:{line}: no answer for `{name}`: {why}")]
    NoAnswer { name: String, file: String, line: usize, why: String },
    /// What an answers file gives at this question again and again leads nowhere.
    #[error("{file}:{line}: key `every` gives {text} to `{name}` again: {why}")]
    Repeated { file: String, line: usize, text: String, name: String, why: String },
    #[error("the terminal failed: {0}")]
    Io(#[from] std::io::Error),
}

/// The window or the line is gone, not the person.
const TERMINAL_CLOSED: &str = "the terminal closed";

impl AskError {
    /// Why the questions stop here, as a record says it.
    pub fn stopped(&self) -> &'static str {
        match self {
            Self::End => "the input ended",
            Self::Interrupted if signals::hung_up() => TERMINAL_CLOSED,
            Self::Interrupted => "interrupted",
            Self::NoAnswer { .. } => "the answers file has no fitting answer",
            Self::Repeated { .. } => "the answers file gives the same answer again",
            // EIO: a terminal whose window or line is gone (Linux; POSIX has it for a hang-up, too).
            Self::Io(error) if error.raw_os_error() == Some(rustix::io::Errno::IO.raw_os_error()) => TERMINAL_CLOSED,
            Self::Io(error) if error.kind() == std::io::ErrorKind::BrokenPipe => "the output was closed",
            Self::Io(_) => "the terminal failed",
        }
    }
}

/// Something that can put a question to a person. `?`/help is answered by the adapter itself and never comes back.
pub trait Ask {
    /// Puts one question and waits for the reply.
    ///
    /// # Errors
    /// [`AskError`] when no reply can come.
    fn ask(&mut self, question: &Question) -> Result<Reply, AskError>;

    /// Says something that needs no answer: refusals, outcomes. The first word is the status word, [`Status::word`].
    ///
    /// # Errors
    /// When the terminal fails.
    fn say(&mut self, message: &Message) -> Result<(), AskError>;

    /// What an answers file holds that no question has used, one line each; empty for a person. The runner says it when
    /// the job ends: an answer nobody asked for is a sign that the file and the checklist have drifted apart.
    fn unused(&self) -> Vec<String> {
        Vec::new()
    }
}

/// Something said. Colour only repeats the status word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    pub status: Status,
    pub text: String,
}

/// The first word of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Done and on disk.
    Recorded,
    /// Not accepted; the same question comes again.
    Refused,
    /// Must be looked at.
    Attention,
    /// Goes on by itself.
    Waiting,
    /// Plain information.
    Info,
    /// What the hands would find where there is no real bench.
    Bench,
}

impl Status {
    /// The status word that begins the line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Recorded => "SAVED",
            Self::Refused => "REFUSED",
            Self::Attention => "ATTENTION",
            Self::Waiting => "WAIT",
            Self::Info => "INFO",
            Self::Bench => "BENCH",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::AskError;
    use std::io::{Error, ErrorKind};

    #[test]
    fn what_stops_the_questions_is_called_by_its_name() {
        let io = |error: Error| AskError::Io(error).stopped();
        // EIO on Linux (errno.h).
        assert_eq!(io(Error::from_raw_os_error(5)), "the terminal closed");
        assert_eq!(io(ErrorKind::BrokenPipe.into()), "the output was closed");
        assert_eq!(io(ErrorKind::StorageFull.into()), "the terminal failed");
        let none = AskError::NoAnswer { name: "n".into(), file: "f".into(), line: 1, why: "w".into() };
        assert_eq!(none.stopped(), "the answers file has no fitting answer");
        assert_eq!([AskError::End.stopped(), AskError::Interrupted.stopped()], ["the input ended", "interrupted"]);
    }
}
