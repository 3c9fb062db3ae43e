//! The lines of which a record has most, read without a detour: in the one form they have, key by key, or not at all.
//!
//! Whatever is not exactly in that form (an escape in a text, another order, a number with too many digits) gives nothing,
//! and the way that says what is wrong reads it again. So this can refuse too much, and must never take too much.

use super::LineHash;
use crate::checklist::StepId;
use crate::record::{Event, How, Line, Role, time};

/// Digits that stay below [`crate::record::LARGEST_NUMBER`] whatever they are.
const SURE_DIGITS: usize = 15;

/// The line, when it is of a common kind, without escapes, and in the form in which it is written.
///
/// `text` must be printable ASCII.
pub(super) fn read(text: &str) -> Option<Line> {
    let mut form = Form { rest: text };
    form.due("{\"n\":")?;
    let n = form.number()?;
    form.due(",\"at\":")?;
    let at = form.text()?;
    let at = time::in_own_form(at).then(|| time::parse(at))??;
    form.due(",\"by\":")?;
    let by = form.text()?.to_owned();
    form.due(",\"event\":")?;
    let event = form.event()?;
    form.due(",\"prev\":")?;
    let prev = LineHash::parse(form.text()?)?;
    (form.rest == "}").then_some(Line { n, at, by, event, prev })
}

/// What is left to read of a line.
struct Form<'a> {
    rest: &'a str,
}

impl<'a> Form<'a> {
    /// Takes just this.
    fn due(&mut self, what: &str) -> Option<()> {
        self.rest = self.rest.strip_prefix(what)?;
        Some(())
    }

    /// A text in quotes that is written as it is.
    fn text(&mut self) -> Option<&'a str> {
        let rest = self.rest.strip_prefix('"')?;
        let (text, rest) = rest.split_at_checked(quote_or_escape(rest.as_bytes())?)?;
        // An escape stops here, too.
        self.rest = rest.strip_prefix('"')?;
        Some(text)
    }

    /// The text of `key`, where that comes next.
    fn keyed(&mut self, key: &str) -> Option<String> {
        self.due(key)?;
        Some(self.text()?.to_owned())
    }

    /// The same of a key that may be left out.
    #[allow(clippy::option_option, reason = "outside: whether the form holds; inside: whether the key is there")]
    fn perhaps(&mut self, key: &str) -> Option<Option<String>> {
        if self.rest.starts_with(key) { self.keyed(key).map(Some) } else { Some(None) }
    }

    /// A whole number without sign or leading zeros.
    fn number(&mut self) -> Option<u64> {
        let length = self.rest.bytes().take_while(u8::is_ascii_digit).count();
        let (digits, rest) = self.rest.split_at_checked(length)?;
        if length > SURE_DIGITS || (length > 1 && digits.starts_with('0')) {
            return None;
        }
        self.rest = rest;
        digits.parse().ok()
    }

    /// The event's name and its fields, in the order of its declaration.
    fn event(&mut self) -> Option<Event> {
        Some(match self.text()? {
            "answered" => {
                let step = StepId(self.keyed(",\"step\":")?);
                let value = self.keyed(",\"value\":")?;
                let how = self.how()?;
                self.due(",\"took_ms\":")?;
                Event::Answered { step, value, how, took_ms: self.number()?, serial: self.perhaps(",\"serial\":")? }
            }
            "noted" => {
                let step = self.perhaps(",\"step\":")?.map(StepId);
                Event::Noted { step, text: self.keyed(",\"text\":")? }
            }
            "declared" => {
                let name = self.keyed(",\"name\":")?;
                let role = self.role()?;
                let statement = self.keyed(",\"statement\":")?;
                let reason = self.perhaps(",\"reason\":")?;
                Event::Declared { name, role, statement, reason, key: self.perhaps(",\"key\":")? }
            }
            "signed" => {
                self.due(",\"declared\":")?;
                let declared = self.number()?;
                let key = self.keyed(",\"key\":")?;
                Event::Signed { declared, key, signature: self.keyed(",\"signature\":")? }
            }
            _ => return None,
        })
    }

    fn how(&mut self) -> Option<How> {
        self.due(",\"how\":")?;
        Some(match self.text()? {
            "scanned" => How::Scanned,
            "typed" => How::Typed,
            "scripted" => How::Scripted,
            "read" => How::Read,
            _ => return None,
        })
    }

    fn role(&mut self) -> Option<Role> {
        self.due(",\"role\":")?;
        Some(match self.text()? {
            "technician" => Role::Technician,
            "supervisor" => Role::Supervisor,
            _ => return None,
        })
    }
}

/// Where the first quote or backslash stands.
fn quote_or_escape(bytes: &[u8]) -> Option<usize> {
    const AT_ONCE: usize = 16;
    let ends = |byte: &u8| matches!(byte, b'"' | b'\\');
    let (chunks, _) = bytes.as_chunks::<AT_ONCE>();
    // Without a way out of the inner loop, so that it becomes one comparison of all bytes of a chunk.
    let clear = chunks.iter().take_while(|chunk| !chunk.iter().fold(false, |found, byte| found | ends(byte))).count();
    let from = clear * AT_ONCE;
    bytes.get(from..)?.iter().position(ends).map(|at| from + at)
}
