//! A real terminal: pages where the window allows, keys read by ourselves.
//!
//! The general-purpose prompts of dialoguer serve for one thing here: the list that the arrow keys open at a choice. Its
//! other prompts are not used, each for a reason: a yes/no that takes the first key is answered by any scan that begins
//! with `y`; a text field drops control characters of a scan without a word and echoes what it is sent as it is; an open
//! list is moved by `j` and `k` and closed by Enter, which a scan may hold, so what it yields is asked once more.

use std::io::{self, Write};
use std::rc::Rc;

use console::Term;
use dialoguer::Select;
use dialoguer::theme::SimpleTheme;
use rustix::termios::tcgetwinsize;

use super::ask::{Ask, AskError, Message, Question, Reply};
use super::page::Look;
use super::person::{Face, Person};
use super::signals;
use super::tty::Tty;
use crate::env::Clock;
use crate::text::shown;

/// Asks on the terminal that is standard input and standard error. The terminal's modes come back when it is dropped; a
/// program that leaves by `std::process::exit` must drop it first.
pub struct Screen {
    person: Person<Tty, Box<dyn Write>>,
}

impl Screen {
    /// Takes the terminal over. `pages` off means lines whatever the window's size; `fallback` is the size where the
    /// terminal does not say.
    ///
    /// # Errors
    /// When standard input is no terminal or its modes cannot be set.
    pub fn open(
        mut out: Box<dyn Write>,
        clock: Rc<dyn Clock>,
        look: Look,
        pages: bool,
        fallback: (u16, u16),
    ) -> io::Result<Self> {
        let tty = Tty::open()?;
        if !pages {
            return Ok(Self { person: Person::new(tty, out, clock, Face::Lines) });
        }
        // A shell that left bracketed paste on would wrap a paste in escapes.
        out.write_all(b"\x1b[?2004l")?;
        let size = move || {
            let told = tcgetwinsize(rustix::stdio::stderr()).ok().map(|size| (size.ws_col, size.ws_row));
            told.filter(|(columns, rows)| *columns > 0 && *rows > 0).or(Some(fallback))
        };
        let person = Person::new(tty, out, clock, Face::Page { look, size: Box::new(size) });
        Ok(Self { person: person.with_menu(Box::new(menu)) })
    }
}

/// A list moved through with the arrow keys. Ctrl-C in it raises SIGINT, which our watcher turns into a pause at the next
/// read; the cursor that the list hides is shown again whatever happened.
fn menu(options: &[String]) -> Result<Option<usize>, AskError> {
    let term = Term::stderr();
    let items: Vec<String> = options.iter().map(|option| shown(option).to_string()).collect();
    let chosen = Select::with_theme(&SimpleTheme)
        .with_prompt("arrows move, Enter takes, Esc leaves")
        .items(&items)
        .report(false)
        .interact_on_opt(&term);
    term.show_cursor()?;
    match chosen {
        Ok(chosen) => Ok(chosen),
        Err(dialoguer::Error::IO(error)) if error.kind() == io::ErrorKind::Interrupted => {
            if signals::must_end() {
                Err(AskError::Interrupted)
            } else {
                Ok(None)
            }
        }
        Err(dialoguer::Error::IO(error)) => Err(error.into()),
    }
}

impl Ask for Screen {
    fn ask(&mut self, question: &Question) -> Result<Reply, AskError> {
        self.person.ask(question)
    }

    fn say(&mut self, message: &Message) -> Result<(), AskError> {
        self.person.say(message)
    }
}
