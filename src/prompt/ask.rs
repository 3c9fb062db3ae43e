//! The seam between the runner and a person: one question, one reply.

use std::time::Duration;

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
    /// Time passes; comes back with `Value("done")` when it has, showing elapsed time. `None` waits until the person
    /// gives a path or presses the key the adapter names.
    Time { at_least: Duration },
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
    #[error("the answers file has no answer for `{name}` (line {line}): {why}")]
    NoAnswer { name: String, line: usize, why: String },
    #[error("the terminal failed: {0}")]
    Io(#[from] std::io::Error),
}

/// Something that can put a question to a person. `?`/help is answered by the adapter itself and never comes back.
pub trait Ask {
    /// Puts one question and waits for the reply.
    ///
    /// # Errors
    /// [`AskError`] when no reply can come.
    fn ask(&mut self, question: &Question) -> Result<Reply, AskError>;

    /// Says something that needs no answer: refusals, outcomes. The first word is the status word (`OK`, `REFUSED`, `WAIT`).
    ///
    /// # Errors
    /// When the terminal fails.
    fn say(&mut self, message: &Message) -> Result<(), AskError>;
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
}
