//! Plays the technician of the practice job: the same lines a person would see, with the answers behind `>`.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::rc::Rc;

use super::TECHNICIAN;
use super::machine::{NextAnswer, PracticeMachine};
use crate::env::Env;
use crate::prompt::plain::Plain;
use crate::prompt::{Ask, AskError, Message, Question, Reply, Status, Wants};
use crate::record::How;
use crate::runner::SPARE_LABEL;

/// A module label that is nowhere on the tray, scanned once to show what a wrong scan does.
const STRAY: &str = "7A41FFFF";

/// Asks in plain lines and answers itself.
pub struct Auto {
    lines: Plain<Played, Out>,
    queue: Rc<RefCell<VecDeque<u8>>>,
    next: NextAnswer,
    /// What is scanned where a spare is asked for: the module that the bench shows.
    spare: String,
    /// Whether a search was begun for what still failed after the one before.
    searched_again: bool,
    stray_shown: bool,
    /// The question asked last, and how often in a row.
    asked: (String, u32),
}

/// How often the same question may come in a row: a wrong scan, then the right one, then something is amiss.
const MOST_TRIES: u32 = 3;

impl Auto {
    /// Shows everything on `env.stdout`, since the job played is what was asked for; takes each answer from the practice machine's bench.
    pub fn new(env: &mut Env, machine: &PracticeMachine) -> Self {
        let out = Out(Rc::new(RefCell::new(std::mem::replace(&mut env.stdout, Box::new(io::sink())))));
        env.stdout = Box::new(out.clone());
        let queue = Rc::new(RefCell::new(VecDeque::new()));
        let played = Played { queue: Rc::clone(&queue), out: out.clone(), shown: Vec::new() };
        let lines = Plain::new(played, out, Rc::clone(&env.clock)).with_sleep(|_| {});
        Self {
            lines,
            queue,
            next: machine.next(),
            spare: String::new(),
            searched_again: false,
            stray_shown: false,
            asked: (String::new(), 0),
        }
    }

    fn answer(&mut self, question: &Question) -> String {
        match question.name.as_str() {
            "sign-off/id" => return TECHNICIAN.to_owned(),
            name if name.ends_with("/findings") => return self.decide(question),
            name if name.ends_with("/spare") => return std::mem::take(&mut self.spare),
            name if name.rsplit('/').next().is_some_and(|last| last.starts_with("trial-")) => return "1".to_owned(),
            name if name.ends_with("/put-right") => return "practice: what it was, the verdict says".to_owned(),
            name if name.ends_with("/reason") => {
                return "practice: what the verdict names is left for its service".to_owned();
            }
            name if name.ends_with("/name") => return "Practice Technician".to_owned(),
            name if name.ends_with("/pass") => return "3".to_owned(),
            _ => {}
        }
        let next = self.next.borrow_mut().take();
        match &question.wants {
            Wants::Word { word, .. } => word.clone(),
            Wants::Confirm { state } if question.critical || question.warns => {
                question.slot.clone().unwrap_or_else(|| state.clone())
            }
            Wants::Confirm { .. } => "1".to_owned(),
            Wants::Scan { what } if what == "the module label" && !self.stray_shown => {
                self.stray_shown = true;
                STRAY.to_owned()
            }
            _ => next.unwrap_or_else(|| "practice job, answers played".to_owned()),
        }
    }

    /// Searches for the cause, puts the modules back, searches once more for what then still fails, and leaves open the rest.
    fn decide(&mut self, question: &Question) -> String {
        let Wants::Choice { options } = &question.wants else { return "1".to_owned() };
        let has = |words: &str| options.iter().position(|option| option.starts_with(words));
        let chosen = has("put the modules back").or_else(|| has("search")).or_else(|| {
            let again = has("begin a new search").filter(|_| !self.searched_again);
            self.searched_again |= again.is_some();
            again
        });
        (chosen.unwrap_or(options.len() - 1) + 1).to_string()
    }
}

impl Ask for Auto {
    fn ask(&mut self, question: &Question) -> Result<Reply, AskError> {
        if self.asked.0 == question.name {
            self.asked.1 += 1;
        } else {
            self.asked = (question.name.clone(), 1);
        }
        if self.asked.1 > MOST_TRIES {
            return Err(AskError::NoAnswer {
                name: question.name.clone(),
                file: "the played answers".to_owned(),
                line: 0,
                why: format!("refused {MOST_TRIES} times"),
            });
        }
        if !matches!(question.wants, Wants::Time { .. }) {
            let answer = self.answer(question);
            let mut queue = self.queue.borrow_mut();
            queue.clear();
            queue.extend(answer.into_bytes());
            queue.push_back(b'\n');
        }
        match self.lines.ask(question)? {
            // Nobody typed it, and the record says so.
            Reply::Value { text, took, .. } => Ok(Reply::Value { text, how: How::Scripted, took }),
            other => Ok(other),
        }
    }

    fn say(&mut self, message: &Message) -> Result<(), AskError> {
        if let Some(serial) = message.text.strip_prefix(SPARE_LABEL).filter(|_| message.status == Status::Bench) {
            self.spare = serial.trim().to_owned();
        }
        self.lines.say(message)
    }
}

/// The answers as a stream; each is shown as it is read.
struct Played {
    queue: Rc<RefCell<VecDeque<u8>>>,
    out: Out,
    shown: Vec<u8>,
}

impl Read for Played {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let (Some(byte), Some(first)) = (self.queue.borrow_mut().pop_front(), buffer.first_mut()) else { return Ok(0) };
        *first = byte;
        if byte == b'\n' {
            let line = String::from_utf8_lossy(&self.shown).into_owned();
            self.shown.clear();
            writeln!(self.out, "> {line}")?;
        } else {
            self.shown.push(byte);
        }
        Ok(1)
    }
}

#[derive(Clone)]
struct Out(Rc<RefCell<Box<dyn Write>>>);

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.borrow_mut().flush()
    }
}
