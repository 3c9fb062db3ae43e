//! Line mode: for pipes and files, for `--plain`, and for terminals too small or too simple for pages.

use std::io::{Read, Write};
use std::rc::Rc;
use std::time::Duration;

use super::ask::{Ask, AskError, Message, Question, Reply};
use super::input::Piped;
use super::person::{Face, Person};
use crate::env::Clock;

/// Asks in lines over any reader and writer. Entries end with LF, CR, CRLF, or Tab (a scanner's suffix; in free text a Tab is
/// text); other control characters are part of the entry. Lines are taken in order, each by the question reached then.
/// The end of the input is [`AskError::End`].
pub struct Plain<R, W> {
    person: Person<Piped<R>, W>,
}

impl<R: Read, W: Write> Plain<R, W> {
    /// Asks over `reader` and `writer`; `clock` measures how long an answer took.
    pub fn new(reader: R, writer: W, clock: Rc<dyn Clock>) -> Self {
        Self { person: Person::new(Piped::new(reader), writer, clock, Face::Lines) }
    }

    /// Lets waits pass by calling `sleep` rather than by sleeping.
    #[must_use]
    pub fn with_sleep(self, sleep: impl FnMut(Duration) + 'static) -> Self {
        Self { person: self.person.with_sleep(Box::new(sleep)) }
    }
}

impl<R: Read, W: Write> Ask for Plain<R, W> {
    fn ask(&mut self, question: &Question) -> Result<Reply, AskError> {
        self.person.ask(question)
    }

    fn say(&mut self, message: &Message) -> Result<(), AskError> {
        self.person.say(message)
    }
}
