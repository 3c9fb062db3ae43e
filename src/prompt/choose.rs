//! Which adapter asks.

use std::cell::RefCell;
use std::io::{self, Write};
use std::rc::Rc;

use super::answers::Answers;
use super::ask::Ask;
use super::page::Look;
use super::person::{Face, Person};
use super::plain::Plain;
use super::screen::Screen;
use super::stdin::Pipe;
use crate::env::Env;
use crate::source::{Faults, Text};

/// What the person who started the program wants.
#[derive(Debug, Clone, Default)]
pub struct Wish<'a> {
    /// `--answers FILE`, read.
    pub answers: Option<Text<'a>>,
    /// `--plain`.
    pub plain: bool,
}

/// Why nobody can be asked.
#[derive(Debug, thiserror::Error)]
pub enum ChooseError {
    #[error("the answers file cannot be used:\n{0}")]
    Answers(#[from] Faults),
    #[error("the terminal cannot be used: {0}; --plain reads lines from a pipe")]
    Terminal(#[from] io::Error),
}

/// Picks the adapter: an answers file before all; a terminal gets pages unless `--plain` or `TERM=dumb`; all else gets
/// lines. Takes the streams out of `env` and leaves stand-ins that still write to the same place; standard input is taken.
///
/// # Errors
/// When the answers file has faults or the terminal fails.
pub fn choose(env: &mut Env, wish: &Wish<'_>) -> Result<Box<dyn Ask>, ChooseError> {
    let out = Shared(Rc::new(RefCell::new(std::mem::replace(&mut env.stderr, Box::new(io::sink())))));
    env.stderr = Box::new(out.clone());
    if let Some(text) = &wish.answers {
        return Ok(Box::new(Answers::read(text, out)?));
    }
    let clock = Rc::clone(&env.clock);
    let terminal = env.terminal;
    if terminal.stdin_is_terminal {
        let pages =
            terminal.stderr_is_terminal && !wish.plain && env.variable("TERM").is_some_and(|term| term != "dumb");
        let look = Look { colour: env.colour(terminal.stderr_is_terminal), unicode: env.unicode() };
        let fallback = terminal.size.unwrap_or((80, 24));
        return Ok(Box::new(Screen::open(Box::new(out), clock, look, pages, fallback)?));
    }
    match &mut env.stdin {
        Some(stdin) => Ok(Box::new(Plain::new(std::mem::replace(stdin, Box::new(io::empty())), out, clock))),
        None => Ok(Box::new(Person::new(Pipe::open()?, out, clock, Face::Lines))),
    }
}

/// One stream with two owners on one thread.
#[derive(Clone)]
struct Shared(Rc<RefCell<Box<dyn Write>>>);

impl Write for Shared {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.borrow_mut().flush()
    }
}
