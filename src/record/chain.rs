//! Lines as bytes, and the chain that binds each to the one before.
//!
//! The hash is taken over the bytes as written, so `sha256sum` checks a record without this program. There is one way to
//! write a line; a line in any other form is refused on reading, never repaired.

mod along;
mod line_hash;
mod plain;

use std::io;

use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, STANDARD_NO_PAD};
use serde::{Deserialize, Serialize};
use serde_json::ser::{CompactFormatter, Formatter};
use sha2::{Digest, Sha256};

pub use along::{HashLines, LinesAlone, WithBeginning};
pub use line_hash::LineHash;

use super::{Event, Line, RECORD_FORMAT, Wrong, strict};
use crate::checklist::StepId;
use crate::snapshot::Snapshot;

/// What stands before `prev` in every line.
const PREV: &str = ",\"prev\":\"";

/// The longest line in bytes, its newline left out: a snapshot line carries raw tables.
pub const LONGEST_LINE: usize = 8 * 1024 * 1024;

/// SHA-256 (FIPS 180-4) of any bytes, as lower-case hex.
pub fn hash(bytes: &[u8]) -> String {
    LineHash::of(bytes).to_string()
}

/// The first 80 bits of a head's hash in groups of four, to read aloud and compare by eye.
pub fn fingerprint(hash: &str) -> String {
    let short: Vec<char> = hash.chars().take(20).collect();
    short.chunks(4).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join("-")
}

/// The line for a POSIX shell by which coreutils give the digits of [`fingerprint`], for a record as a shell takes its name.
pub fn fingerprint_line(record: &str, lines: u64) -> String {
    format!("head -n {lines} {record} | tail -n 1 | tr -d '\\n' | sha256sum | head -c 20")
}

/// The fingerprint of a public key as `ssh-keygen -l` shows it: SHA-256 of the key, in base64 without padding (RFC 4648).
/// `None` when `key` is not a type and base64.
pub fn key_fingerprint(key: &str) -> Option<String> {
    let (kind, base64) = key.split_once(' ')?;
    let blob = STANDARD.decode(base64).ok()?;
    let named = blob.get(4..4 + kind.len())?;
    (named == kind.as_bytes()).then(|| format!("SHA256:{}", STANDARD_NO_PAD.encode(Sha256::digest(&blob))))
}

/// Where the chain stands: what the next line must say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// How many lines there are.
    pub lines: u64,
    /// The hash of the last one; [`LineHash::FIRST`] before the first.
    pub hash: LineHash,
}

impl Default for Head {
    fn default() -> Self {
        Self { lines: 0, hash: LineHash::FIRST }
    }
}

impl Head {
    /// Moves on behind a line whose bytes (newline left out) were checked or written.
    pub fn advance(&mut self, line: &[u8]) {
        self.advance_by(line, &mut LinesAlone);
    }

    /// The same, with the hash as `hashes` takes it.
    pub fn advance_by(&mut self, line: &[u8], hashes: &mut impl HashLines) {
        self.lines += 1;
        self.hash = hashes.hash(line);
    }
}

/// The bytes of a line, its newline left out. Only printable ASCII, so that showing a record cannot drive a terminal.
///
/// # Errors
/// When the line would break the rules a reader checks: too long, a number too large, a value that does not read back.
pub fn encode(line: &Line) -> Result<Vec<u8>, Wrong> {
    let bytes = to_ascii_json(line)?;
    if bytes.len() > LONGEST_LINE {
        return Err(Wrong::TooLong);
    }
    Ok(bytes)
}

/// Reads the line that is due behind `head` from its bytes (newline left out) and checks everything a line alone can show.
///
/// # Errors
/// The first thing that is wrong with it.
pub fn decode(bytes: &[u8], head: &Head) -> Result<Line, Wrong> {
    if bytes.len() > LONGEST_LINE {
        return Err(Wrong::TooLong);
    }
    if head.lines == 0 && bytes.starts_with(b"\xef\xbb\xbf") {
        return Err(Wrong::ByteOrderMark);
    }
    if bytes.last() == Some(&b'\r') {
        return Err(Wrong::Crlf);
    }
    if bytes.is_empty() {
        return Err(Wrong::EmptyLine);
    }
    if !is_printable(bytes)
        && let Some(at) = bytes.iter().position(|byte| !matches!(byte, b' '..=b'~'))
    {
        return Err(Wrong::RawByte { column: at + 1, byte: bytes[at] });
    }
    // Always one, since all of it is printable ASCII.
    let text = std::str::from_utf8(bytes).unwrap_or_default();
    // The first line is never one of the plain ones.
    let plain = if head.lines == 0 { None } else { plain::read(text) };
    let line = match plain.or_else(|| written(text, head)) {
        Some(line) => line,
        None => with_all_checks(bytes, head)?,
    };
    if line.n != head.lines + 1 {
        return Err(Wrong::WrongNumber { expected: head.lines + 1, found: line.n });
    }
    if line.prev != head.hash {
        return Err(Wrong::ChainBreak { expected: head.hash.to_string(), found: line.prev.to_string() });
    }
    Ok(line)
}

/// Whether all bytes are printable ASCII. Looks at every byte, whatever the first ones are: so many at once.
fn is_printable(bytes: &[u8]) -> bool {
    bytes.chunks(256).all(|chunk| chunk.iter().fold(true, |all, byte| all & matches!(byte, b' '..=b'~')))
}

/// The line, when its bytes are what this program writes for it, byte for byte: then they hold no key twice, no fraction and
/// no other form, and only numbers need a look. The short way that almost every line goes.
fn written(text: &str, head: &Head) -> Option<Line> {
    let bytes = text.as_bytes();
    let mut line = laid_out(text)?;
    let opens = matches!(&line.event, Event::Opened(opened) if opened.format == RECORD_FORMAT);
    // `prev` stands last, and that of the first line is nothing but digits.
    let before_prev = bytes.len().saturating_sub(line.prev.len() + 2);
    if (head.lines == 0) != opens || has_long_number(bytes.get(..before_prev)?) {
        return None;
    }
    let aside = put_aside(&mut line);
    let mut same = Same { wanted: bytes, aside: &aside };
    let written = line.serialize(&mut serde_json::Serializer::with_formatter(&mut same, Ascii));
    let all = same.wanted.is_empty() && same.aside.is_empty();
    written.ok()?;
    if let Event::SnapshotTaken { snapshot, .. } = &mut line.event {
        let emptied = snapshot.sources.iter_mut().filter(|source| source.raw.is_empty());
        emptied.zip(aside).for_each(|(source, raw)| source.raw = raw);
    }
    all.then_some(line)
}

/// Takes the raw bytes out of a snapshot: texts that are written as they are, and most of the line. What is read of them is
/// compared, instead of being written once more.
///
/// All of them or none: then each that is missing ends the comparison at its own place, and only there can the next go in.
fn put_aside(line: &mut Line) -> Vec<String> {
    let Event::SnapshotTaken { snapshot, .. } = &mut line.event else { return Vec::new() };
    let plain = |raw: &str| {
        !raw.is_empty() && is_printable(raw.as_bytes()) && memchr::memchr2(b'"', b'\\', raw.as_bytes()).is_none()
    };
    if !snapshot.sources.iter().all(|source| plain(&source.raw)) {
        return Vec::new();
    }
    snapshot.sources.iter_mut().map(|source| std::mem::take(&mut source.raw)).collect()
}

/// The line, taken apart where this program puts the parts. What follows `event` goes straight into the event's own fields:
/// serde would read a line that is flat and tagged into a tree first, twice, and most of its bytes are in the two large events.
/// Gives something only for a line that has this layout; whether it is right, the caller's comparison tells.
fn laid_out(text: &str) -> Option<Line> {
    #[derive(Deserialize)]
    struct Taken {
        step: Option<StepId>,
        snapshot: Box<Snapshot>,
    }
    let (n, rest) = text.strip_prefix("{\"n\":")?.split_once(",\"at\":\"")?;
    let (at, rest) = rest.split_once("\",\"by\":")?;
    let mut strings = serde_json::Deserializer::from_str(rest).into_iter::<String>();
    let by = strings.next()?.ok()?;
    let rest = rest.get(strings.byte_offset()..)?;
    let (event, rest) = rest.strip_prefix(",\"event\":\"")?.split_once('"')?;
    let (fields, prev) = rest.split_at_checked(rest.len().checked_sub(LineHash::FIRST.len() + PREV.len() + 2)?)?;
    let prev = prev.strip_prefix(PREV)?.strip_suffix("\"}")?;
    // What else stands in the line is passed over; that nothing else does, the comparison tells.
    let event = match event {
        "opened" => Event::Opened(serde_json::from_str(text).ok()?),
        "snapshot-taken" => {
            let Taken { step, snapshot } = serde_json::from_str(text).ok()?;
            Event::SnapshotTaken { step, snapshot }
        }
        _ => serde_json::from_str(&format!("{{\"event\":\"{event}\"{fields}}}")).ok()?,
    };
    Some(Line { n: n.parse().ok()?, at: super::time::parse(at)?, by, event, prev: LineHash::parse(prev)? })
}

/// The long way, which finds what is wrong and says it.
fn with_all_checks(bytes: &[u8], head: &Head) -> Result<Line, Wrong> {
    strict::check(bytes)?;
    let line: Line = match serde_json::from_slice(bytes) {
        Ok(line) => line,
        Err(error) => return Err(refusal(bytes, head, &error)),
    };
    if head.lines == 0 {
        check_first(bytes)?;
    }
    if to_ascii_json(&line)? != bytes {
        return Err(Wrong::OtherForm);
    }
    Ok(line)
}

/// Whether there are as many digits in a row as [`strict::LARGEST_NUMBER`] has, in a number or in a text.
fn has_long_number(bytes: &[u8]) -> bool {
    const DIGITS: usize = 16;
    let mut at = DIGITS - 1;
    // Looks at every sixteenth byte, and around it only where that is a digit.
    while at < bytes.len() {
        if bytes[at].is_ascii_digit() {
            let before = bytes[..at].iter().rev().take_while(|byte| byte.is_ascii_digit()).count();
            let behind = bytes[at..].iter().take_while(|byte| byte.is_ascii_digit()).count();
            if before + behind >= DIGITS {
                return true;
            }
        }
        at += DIGITS;
    }
    false
}

/// Takes only what is wanted, in order; where something else is wanted, that must be the next text put aside.
struct Same<'a> {
    wanted: &'a [u8],
    aside: &'a [String],
}

impl io::Write for Same<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let rest = self.wanted.strip_prefix(bytes).or_else(|| {
            let (next, others) = self.aside.split_first()?;
            self.aside = others;
            self.wanted.strip_prefix(next.as_bytes())?.strip_prefix(bytes)
        });
        self.wanted = rest.ok_or(io::ErrorKind::InvalidData)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Says more exactly why a line is none: another format, an event of a later version.
fn refusal(bytes: &[u8], head: &Head, error: &serde_json::Error) -> Wrong {
    if head.lines == 0
        && let Err(wrong) = check_first(bytes)
    {
        return wrong;
    }
    let value: serde_json::Value = serde_json::from_slice(bytes).unwrap_or_default();
    let text = |key| value.get(key).and_then(serde_json::Value::as_str);
    match (text("event"), text("prev")) {
        (Some(event), _) if !is_known(event) => Wrong::UnknownEvent { event: event.to_owned() },
        (_, Some(prev)) if LineHash::parse(prev).is_none() => {
            Wrong::ChainBreak { expected: head.hash.to_string(), found: prev.to_owned() }
        }
        _ => Wrong::NotALine { why: error.to_string() },
    }
}

/// The first line opens a job in a format this program reads.
fn check_first(bytes: &[u8]) -> Result<(), Wrong> {
    let value: serde_json::Value = serde_json::from_slice(bytes).unwrap_or_default();
    let text = |key| value.get(key).and_then(serde_json::Value::as_str);
    match (text("event"), text("format")) {
        (_, Some(format)) if format != RECORD_FORMAT => Err(Wrong::Format { found: format.to_owned() }),
        (Some("opened"), Some(_)) => Ok(()),
        _ => Err(Wrong::NotARecord),
    }
}

/// Whether this program knows an event of this name: then it misses the event's fields, not the event.
fn is_known(event: &str) -> bool {
    let probe = serde_json::json!({ "event": event });
    !serde_json::from_value::<Event>(probe).is_err_and(|error| error.to_string().starts_with("unknown variant"))
}

fn to_ascii_json(line: &Line) -> Result<Vec<u8>, Wrong> {
    let mut bytes = Vec::with_capacity(512);
    line.serialize(&mut serde_json::Serializer::with_formatter(&mut bytes, Ascii))
        .map_err(|error| Wrong::NotALine { why: error.to_string() })?;
    Ok(bytes)
}

/// Compact JSON in which DEL and everything beyond ASCII is written as `\uXXXX` (RFC 8259 section 7): serde_json leaves
/// them raw, and U+009B or U+202E in a record would act on the terminal that shows it.
struct Ascii;

impl Formatter for Ascii {
    fn write_string_fragment<W: ?Sized + io::Write>(&mut self, writer: &mut W, fragment: &str) -> io::Result<()> {
        if is_printable(fragment.as_bytes()) {
            return CompactFormatter.write_string_fragment(writer, fragment);
        }
        for c in fragment.chars() {
            if matches!(c, ' '..='~') {
                writer.write_all(&[c as u8])?;
            } else {
                for unit in c.encode_utf16(&mut [0; 2]) {
                    write!(writer, "\\u{unit:04x}")?;
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
