//! The conversation with a person: shows a question, reads entries until one is an answer, and says why others are not.

use std::io::Write;
use std::rc::Rc;
use std::time::Duration;

use super::ask::{Ask, AskError, Hms, Message, Question, Reply, Status, Wants};
use super::input::{Got, Input};
use super::keys::{Ends, Entry, LONGEST, Reader};
use super::lines;
use super::meaning::{Meaning, More, meaning, takes_one_key};
use super::page::{self, Look};
use super::stdin::LOOK_UP;
use crate::env::Clock;
use crate::record::How;
use crate::text::{shown, shown_bytes, shown_within};

/// The same code within this time at the next question is the same pull of the trigger.
const DOUBLE: Duration = Duration::from_secs(2);
/// How often a line tells of a wait.
const TELL: Duration = Duration::from_secs(30);
/// The longest part of an entry that is echoed while it comes in, in columns; less than the narrowest page.
const ECHO: usize = 54;

/// Chooses from a list with the arrow keys; `None` when the person leaves it.
pub(super) type Menu = Box<dyn FnMut(&[String]) -> Result<Option<usize>, AskError>>;

/// How a question looks.
pub(super) enum Face {
    /// Always lines.
    Lines,
    /// A page where the window is large enough, else lines.
    Page { look: Look, size: Box<dyn FnMut() -> Option<(u16, u16)>> },
}

/// Someone who reads `out` and answers through `input`.
pub(super) struct Person<I, W> {
    reader: Reader<I>,
    out: W,
    clock: Rc<dyn Clock>,
    face: Face,
    menu: Option<Menu>,
    sleep: Box<dyn FnMut(Duration)>,
    last_scan: Option<LastScan>,
    /// Said since the last page was drawn; stays in view on the next.
    said: Vec<Message>,
    /// When the wait of this name began, so that a note in between does not start it again.
    waiting: Option<(String, Duration)>,
    keys_told: Option<&'static str>,
    suffix_told: bool,
    /// The last entry asked for the help: it stands below the page, which is not drawn over it.
    helped: bool,
}

struct LastScan {
    text: String,
    at: Duration,
    question: String,
}

impl<I: Input, W: Write> Person<I, W> {
    pub(super) fn new(input: I, out: W, clock: Rc<dyn Clock>, face: Face) -> Self {
        Self {
            reader: Reader::new(input, Rc::clone(&clock)),
            out,
            clock,
            face,
            menu: None,
            sleep: Box::new(std::thread::sleep),
            last_scan: None,
            said: Vec::new(),
            waiting: None,
            keys_told: None,
            suffix_told: false,
            helped: false,
        }
    }

    /// Offers a menu for choices.
    pub(super) fn with_menu(mut self, menu: Menu) -> Self {
        self.menu = Some(menu);
        self
    }

    /// Lets time pass in another way than by sleeping.
    pub(super) fn with_sleep(mut self, sleep: Box<dyn FnMut(Duration)>) -> Self {
        self.sleep = sleep;
        self
    }

    fn terminal(&self) -> bool {
        self.reader.input.is_terminal()
    }

    fn line(&mut self, text: &str) -> Result<(), AskError> {
        // A window whose width is known is served whole words; anyone else breaks lines as they like.
        let columns = match &mut self.face {
            Face::Lines => None,
            Face::Page { size, .. } => size().map(|(columns, _)| usize::from(columns)),
        };
        let text = shown_within(text, text.len());
        for row in columns.map_or_else(|| vec![text.as_str()], |columns| text.wrapped(columns.saturating_sub(1))) {
            self.out.write_all(row.as_bytes())?;
            self.out.write_all(b"\n")?;
        }
        Ok(())
    }

    /// The window, if it is large enough for a page.
    fn page_size(&mut self) -> Option<(u16, u16)> {
        match &mut self.face {
            Face::Lines => None,
            Face::Page { size, .. } => size().filter(|(c, r)| *c >= page::LEAST.0 && *r >= page::LEAST.1),
        }
    }

    fn show(&mut self, question: &Question) -> Result<(), AskError> {
        let size = self.page_size();
        if let (Some(size), Face::Page { look, .. }) = (size, &self.face) {
            let page = page::page(question, &self.said, *look, size);
            self.out.write_all(page.as_bytes())?;
        } else {
            for line in lines::question(question) {
                self.line(&line)?;
            }
            let keys = lines::keys(question, self.terminal());
            if self.keys_told != Some(keys) {
                self.keys_told = Some(keys);
                self.line(&format!("KEYS {keys}"))?;
            }
        }
        // What the bench shows belongs to the question, and stays on its page when it is drawn once more.
        self.said.retain(|message| message.status == Status::Bench);
        self.out.flush()?;
        Ok(())
    }

    /// Says something at this question and keeps it in view.
    fn tell(&mut self, status: Status, text: impl Into<String>) -> Result<(), AskError> {
        self.say(&Message { status, text: text.into() })
    }

    /// Drops what came before the question could be read: on a terminal it was meant for another question, or for none.
    /// On a pipe nothing is dropped: there lines are read in order.
    fn drain(&mut self) -> Result<(), AskError> {
        let dropped = self.reader.drain()?;
        // An Enter too many says nothing, and so needs no words.
        if dropped.iter().all(|byte| matches!(byte, b'\r' | b'\n')) {
            return Ok(());
        }
        let what = shown_bytes(&dropped);
        self.tell(Status::Attention, format!("{what} came before the question was shown and did not count"))
    }

    /// Reads one entry, echoed on a terminal, told on a pipe.
    fn entry(&mut self, ends: Ends) -> Result<Entry, AskError> {
        let paged = self.page_size().is_some();
        let terminal = self.terminal();
        if terminal {
            self.out.write_all(b"> ")?;
            self.out.flush()?;
        }
        let out = &mut self.out;
        let mut echoed = String::new();
        let entry = self.reader.entry(ends, &mut |bytes| {
            let text = tail(bytes);
            if paged {
                write!(out, "\r\x1b[K> {text}")?;
            } else if let Some(more) = text.strip_prefix(echoed.as_str()) {
                out.write_all(more.as_bytes())?;
            } else {
                // No cursor moves here, so what was erased is shown by showing the line again.
                write!(out, "\n> {text}")?;
            }
            echoed = text;
            out.flush()?;
            Ok(())
        })?;
        if terminal {
            self.out.write_all(b"\n")?;
        } else if let Entry::Text { bytes, .. } = &entry {
            let line = format!("READ {}", shown_bytes(bytes));
            self.line(line.trim_end())?;
        }
        self.out.flush()?;
        Ok(entry)
    }

    /// One further line of text; `None` when it was left empty or taken back.
    fn more(&mut self, more: &More) -> Result<Option<Reply>, AskError> {
        self.line(&format!("WANT {}", more.wants()))?;
        let text = match self.entry(Ends { tab: false, quiet: false, one_key: false })? {
            Entry::Text { bytes, .. } => bytes,
            Entry::Interrupt => return Ok(Some(Reply::Pause)),
            Entry::End => return Err(AskError::End),
            Entry::TooLong => {
                self.tell(Status::Refused, too_long())?;
                return Ok(None);
            }
            Entry::Arrow | Entry::Inert => return Ok(None),
        };
        match str::from_utf8(&text).map(str::trim) {
            Ok("" | ":b" | ":back") => Ok(None),
            Ok(":p" | ":pause") => Ok(Some(Reply::Pause)),
            Ok(text) if text.len() > 4096 => {
                self.tell(Status::Refused, "that is longer than 4096 bytes; say it shorter")?;
                Ok(None)
            }
            Ok(text) => Ok(Some(more.reply(text))),
            Err(_) => {
                self.tell(Status::Refused, "that holds bytes that are no text")?;
                Ok(None)
            }
        }
    }

    fn help(&mut self, question: &Question) -> Result<(), AskError> {
        // On a page the lines are wrapped at words; elsewhere a screen reader or a pipe takes them whole.
        let columns = self.page_size().map_or(usize::MAX, |(columns, _)| usize::from(columns) - 1);
        for line in lines::help(question, self.terminal()) {
            let line = crate::text::shown_within(&format!("HELP {line}"), 2000);
            for row in line.wrapped(columns) {
                self.line(row)?;
            }
        }
        self.helped = true;
        Ok(())
    }

    /// What an entry leads to: a reply, or `None` to ask again.
    fn take(&mut self, question: &Question, entry: Entry, asked: Duration) -> Result<Option<Reply>, AskError> {
        let (bytes, how, burst) = match entry {
            Entry::Interrupt => return Ok(Some(Reply::Pause)),
            Entry::End => return Err(AskError::End),
            Entry::TooLong => {
                self.tell(Status::Refused, too_long())?;
                return Ok(None);
            }
            Entry::Inert => {
                self.tell(Status::Info, "Ctrl-D, Ctrl-Z and Ctrl-\\ do nothing here; Ctrl-C pauses")?;
                return Ok(None);
            }
            Entry::Arrow => return self.choose(question, asked),
            Entry::Text { bytes, how, burst, unclosed } => {
                if unclosed && how == How::Scanned && !self.suffix_told {
                    self.suffix_told = true;
                    self.tell(
                        Status::Info,
                        "this scanner sends no Enter after a code; that works, but set one if you can",
                    )?;
                }
                (bytes, how, burst)
            }
        };
        match meaning(question, &bytes, burst) {
            Meaning::Value(text) if self.is_double(question, &text) => {
                self.tell(
                    Status::Info,
                    format!("{} came twice within 2 seconds; the second is ignored", shown(&text)),
                )?;
                Ok(None)
            }
            Meaning::Value(text) => {
                let now = self.clock.steady();
                if matches!(question.wants, Wants::Scan { .. }) {
                    self.last_scan = Some(LastScan { text: text.clone(), at: now, question: question.name.clone() });
                }
                Ok(Some(Reply::Value { text, how, took: now.saturating_sub(asked) }))
            }
            Meaning::Reply(reply) => Ok(Some(reply)),
            Meaning::More(more) => self.more(&more),
            Meaning::Help => self.help(question).map(|()| None),
            Meaning::Refused(why) => self.tell(Status::Refused, why).map(|()| None),
        }
    }

    /// Whether this is the last scan once more, at another question.
    fn is_double(&self, question: &Question, text: &str) -> bool {
        let data = match question.wants {
            Wants::Scan { .. } | Wants::Line { .. } => true,
            // A word is typed; on a pipe it may well follow a scan of the same slot at once.
            Wants::Word { .. } => self.terminal(),
            _ => false,
        };
        let now = self.clock.steady();
        data && !text.is_empty()
            && self.last_scan.as_ref().is_some_and(|last| {
                last.text == text && last.question != question.name && now.saturating_sub(last.at) <= DOUBLE
            })
    }

    /// The arrow keys open a list where there is one. What it yields is asked once more with a key of our own, because a
    /// scan fired into an open list could move and close it.
    fn choose(&mut self, question: &Question, asked: Duration) -> Result<Option<Reply>, AskError> {
        let (Wants::Choice { options }, Some(menu)) = (&question.wants, self.menu.as_mut()) else { return Ok(None) };
        let Some(option) = menu(options)?.and_then(|n| options.get(n)) else { return Ok(None) };
        self.reader.drain()?;
        self.line(&format!("WANT 1 takes {}, 3 goes back", shown(option)))?;
        let took = self.clock.steady().saturating_sub(asked);
        match self.entry(Ends { tab: true, quiet: false, one_key: true })? {
            Entry::Text { bytes, burst: false, .. } if bytes == b"1" => {
                Ok(Some(Reply::Value { text: option.clone(), how: How::Typed, took }))
            }
            Entry::Interrupt => Ok(Some(Reply::Pause)),
            Entry::End => Err(AskError::End),
            _ => self.tell(Status::Info, "nothing was chosen").map(|()| None),
        }
    }

    /// Lets time pass, told as it goes.
    fn wait(&mut self, question: &Question, at_least: Duration) -> Result<Reply, AskError> {
        let start = match &self.waiting {
            Some((name, start)) if *name == question.name => *start,
            _ => self.clock.steady(),
        };
        self.waiting = Some((question.name.clone(), start));
        let paged = self.page_size().is_some();
        let step = if paged { Duration::from_secs(1) } else { TELL };
        let mut told = None;
        loop {
            let now = self.clock.steady();
            let elapsed = now.saturating_sub(start);
            let over = elapsed >= at_least;
            let since = now.saturating_sub(*told.get_or_insert(now));
            let line = format!("WAIT {} of {}", Hms(elapsed), Hms(at_least));
            if paged && (over || since.is_zero() || since >= step) {
                told = Some(now);
                write!(self.out, "\r\x1b[K{line}{}", if over { "\n" } else { "" })?;
            } else if !paged && since >= step {
                told = Some(now);
                self.line(&line)?;
            }
            self.out.flush()?;
            if over {
                self.waiting = None;
                return Ok(Reply::Value { text: "done".into(), how: How::Read, took: elapsed });
            }
            let next = at_least.saturating_sub(elapsed).min(step.saturating_sub(since)).max(MIN_STEP);
            if let Some(reply) = self.wait_once(question, next, now)? {
                return Ok(reply);
            }
        }
    }

    /// Waits once, or until a key asks for something.
    fn wait_once(&mut self, question: &Question, time: Duration, asked: Duration) -> Result<Option<Reply>, AskError> {
        if !self.terminal() {
            (self.sleep)(time.min(LOOK_UP));
            return Ok((self.reader.input.told()? == Got::Interrupt).then_some(Reply::Pause));
        }
        match self.reader.next(Some(time.min(Duration::from_secs(1))))? {
            Got::Quiet => Ok(None),
            Got::Interrupt => Ok(Some(Reply::Pause)),
            Got::End => Err(AskError::End),
            Got::Byte(byte) => {
                self.reader.put_back(byte);
                if self.page_size().is_some() {
                    self.out.write_all(b"\n")?;
                }
                let entry = self.entry(ends(question))?;
                self.take(question, entry, asked)
            }
        }
    }
}

/// The shortest piece of a wait.
const MIN_STEP: Duration = Duration::from_millis(50);

/// How an entry to this question ends.
fn ends(question: &Question) -> Ends {
    Ends {
        tab: !matches!(question.wants, Wants::Line { .. } | Wants::Path { .. }),
        quiet: matches!(question.wants, Wants::Scan { .. }),
        one_key: takes_one_key(question),
    }
}

fn too_long() -> String {
    format!("more than {} KiB came without an end; it was not kept", LONGEST / 1024)
}

/// The end of what was entered, as far as it is whole characters, cleaned; short enough for one row.
fn tail(bytes: &[u8]) -> String {
    let whole = match str::from_utf8(bytes) {
        Err(error) if error.error_len().is_none() => bytes.get(..error.valid_up_to()).unwrap_or(bytes),
        _ => bytes,
    };
    if whole.len() <= ECHO / 10 {
        return shown_bytes(whole).to_string();
    }
    // Each byte takes ten columns at most; only so many from the end are looked at, however long the entry is.
    let mut from = whole.len().saturating_sub(ECHO);
    while from < whole.len() && whole.get(from).is_some_and(|b| b & 0xc0 == 0x80) {
        from += 1;
    }
    let mut text: String = whole
        .get(from..)
        .unwrap_or_default()
        .utf8_chunks()
        .flat_map(|chunk| {
            let valid = chunk.valid().chars().map(|c| shown(c.encode_utf8(&mut [0; 4])).to_string());
            valid.chain(chunk.invalid().iter().map(|b| shown_bytes(&[*b]).to_string())).collect::<Vec<_>>()
        })
        .collect();
    if text.len() > ECHO || from > 0 {
        text = format!("...{}", text.get(text.len().saturating_sub(ECHO - 3)..).unwrap_or_default());
    }
    text
}

impl<I: Input, W: Write> Ask for Person<I, W> {
    fn ask(&mut self, question: &Question) -> Result<Reply, AskError> {
        if self.waiting.as_ref().is_some_and(|(name, _)| *name != question.name) {
            self.waiting = None;
        }
        self.show(question)?;
        self.drain()?;
        if let Wants::Time { at_least } = question.wants {
            let reply = self.wait(question, at_least)?;
            self.said.retain(|message| message.status != Status::Bench);
            return Ok(reply);
        }
        let asked = self.clock.steady();
        loop {
            let entry = self.entry(ends(question))?;
            if let Some(reply) = self.take(question, entry, asked)? {
                self.said.retain(|message| message.status != Status::Bench);
                return Ok(reply);
            }
            if !std::mem::take(&mut self.helped) && self.page_size().is_some() {
                self.show(question)?;
            }
        }
    }

    fn say(&mut self, message: &Message) -> Result<(), AskError> {
        for line in lines::message(message) {
            self.line(&line)?;
        }
        self.out.flush()?;
        if matches!(self.face, Face::Page { .. }) {
            self.said.push(message.clone());
        }
        Ok(())
    }
}
