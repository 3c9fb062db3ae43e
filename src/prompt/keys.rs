//! From bytes and their timing to entries: what was typed or scanned up to its end.
//!
//! A keyboard-wedge scanner is a keyboard. It ends a code with CR, LF, CRLF, Tab or nothing at all, and a code may hold
//! EOT, FS, GS, RS and US (ISO/IEC 15434), which a terminal in its usual mode takes for commands. So bytes are read as they are.

use std::rc::Rc;
use std::time::Duration;

use super::ask::AskError;
use super::input::{Got, Input};
use crate::env::Clock;
use crate::record::How;

/// Longest entry kept, in bytes; the rest of it is read and dropped.
pub(super) const LONGEST: usize = 64 * 1024;
/// Two characters closer than this did not come from a hand.
const FAST: Duration = Duration::from_millis(35);
/// A scan without a suffix is over after this much quiet.
const SCAN_QUIET: Duration = Duration::from_millis(100);
/// A single key stands alone when this much quiet follows.
const KEY_QUIET: Duration = Duration::from_millis(150);
/// Shortest run of fast characters that is called a scan.
const SCAN_LENGTH: usize = 6;
/// After a Tab suffix a CR or LF within this time belongs to the same suffix.
const SUFFIX: Duration = Duration::from_millis(300);

/// Enter this soon after a single key was meant for that key.
const HABIT: Duration = Duration::from_millis(700);

const ETX: u8 = 0x03;
const EOT: u8 = 0x04;
const BACKSPACE: u8 = 0x08;
const KILL_LINE: u8 = 0x15;
const SUB: u8 = 0x1a;
const ESC: u8 = 0x1b;
const FS: u8 = 0x1c;
const DELETE: u8 = 0x7f;

/// How an entry ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Ends {
    /// Tab ends it (a scanner's suffix) rather than being part of it.
    pub tab: bool,
    /// Quiet after fast characters ends it (a scanner without a suffix).
    pub quiet: bool,
    /// One key followed by quiet is all of it; a colon begins a command all the same.
    pub one_key: bool,
}

/// What was entered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Entry {
    Text {
        bytes: Vec<u8>,
        how: How,
        /// Several characters where one key was wanted.
        burst: bool,
        /// Nothing closed it but quiet: the scanner sends no suffix.
        unclosed: bool,
    },
    /// Longer than [`LONGEST`].
    TooLong,
    /// The up or down arrow, alone.
    Arrow,
    /// Ctrl-D, Ctrl-Z or Ctrl-\ alone: these do nothing here.
    Inert,
    Interrupt,
    End,
}

/// Assembles entries.
pub(super) struct Reader<I> {
    pub(super) input: I,
    clock: Rc<dyn Clock>,
    /// A byte read too far.
    unread: Option<u8>,
    /// The last entry ended with CR: a LF right behind belongs to it.
    after_cr: bool,
    after_tab: Option<Duration>,
    /// The last entry was one key: an Enter pressed behind it by habit belongs to it and answers nothing further.
    after_key: Option<Duration>,
}

impl<I: Input> Reader<I> {
    pub(super) fn new(input: I, clock: Rc<dyn Clock>) -> Self {
        Self { input, clock, unread: None, after_cr: false, after_tab: None, after_key: None }
    }

    /// The next byte, one that was put back first.
    pub(super) fn next(&mut self, wait: Option<Duration>) -> Result<Got, AskError> {
        match self.unread.take() {
            Some(byte) => Ok(Got::Byte(byte)),
            None => self.input.next(wait),
        }
    }

    /// Puts a byte back.
    pub(super) fn put_back(&mut self, byte: u8) {
        self.unread = Some(byte);
    }

    /// Takes out what has come so far.
    pub(super) fn drain(&mut self) -> Result<Vec<u8>, AskError> {
        let mut dropped: Vec<u8> = self.unread.take().into_iter().collect();
        dropped.extend(self.input.drain()?);
        Ok(dropped)
    }

    /// Reads one entry. `echo` is shown the bytes so far after each change, on a terminal only.
    pub(super) fn entry(
        &mut self,
        ends: Ends,
        echo: &mut dyn FnMut(&[u8]) -> Result<(), AskError>,
    ) -> Result<Entry, AskError> {
        let terminal = self.input.is_terminal();
        let mut bytes = Vec::new();
        let mut too_long = false;
        let mut pace = Pace::default();
        loop {
            let wait = self.wait(&bytes, ends, &pace).filter(|_| terminal);
            let byte = match self.next(wait)? {
                Got::Byte(byte) => byte,
                Got::Interrupt => return Ok(Entry::Interrupt),
                Got::End if bytes.is_empty() || terminal => return Ok(Entry::End),
                Got::End => return Ok(pace.entry(bytes, too_long, terminal, true, ends)),
                Got::Quiet => match bytes.as_slice() {
                    [EOT | SUB | FS] => return Ok(Entry::Inert),
                    [ESC, b'[' | b'O', b'A' | b'B'] => return Ok(Entry::Arrow),
                    _ => {
                        self.after_key = (bytes.len() == 1).then(|| self.clock.steady());
                        return Ok(pace.entry(bytes, too_long, terminal, true, ends));
                    }
                },
            };
            if self.belongs_to_last(byte, bytes.is_empty(), terminal) {
                continue;
            }
            pace.mark(self.clock.steady());
            match byte {
                ETX if terminal => return Ok(Entry::Interrupt),
                b'\r' | b'\n' => {
                    self.after_cr = byte == b'\r';
                    return Ok(pace.entry(bytes, too_long, terminal, false, ends));
                }
                b'\t' if ends.tab => {
                    self.after_tab = Some(self.clock.steady());
                    return Ok(pace.entry(bytes, too_long, terminal, false, ends));
                }
                BACKSPACE | DELETE if terminal => erase_last(&mut bytes),
                KILL_LINE if terminal => bytes.clear(),
                _ if bytes.len() < LONGEST => bytes.push(byte),
                _ => too_long = true,
            }
            if terminal {
                echo(&bytes)?;
            }
        }
    }

    /// How long to wait for the next byte before what is there counts as all.
    fn wait(&self, bytes: &[u8], ends: Ends, pace: &Pace) -> Option<Duration> {
        match bytes {
            [] => None,
            [key] if ends.one_key && key.is_ascii_graphic() && *key != b':' => Some(KEY_QUIET),
            [EOT | SUB | FS] | [ESC, b'[' | b'O', b'A' | b'B'] => Some(KEY_QUIET),
            // Began with a single key but went on: whatever sent it has to fall quiet before it is refused whole.
            [key, ..] if ends.one_key && *key != b':' && pace.fast() => Some(SCAN_QUIET),
            _ if ends.quiet && bytes.len() >= SCAN_LENGTH && pace.fast() => Some(SCAN_QUIET),
            _ => None,
        }
    }

    /// Whether this byte is the rest of the last entry's suffix.
    fn belongs_to_last(&mut self, byte: u8, first: bool, terminal: bool) -> bool {
        let after_cr = std::mem::take(&mut self.after_cr);
        let after_tab = self.after_tab.take();
        let after_key = self.after_key.take();
        if !first {
            return false;
        }
        if after_cr {
            return byte == b'\n';
        }
        let within = |since: Duration, time| !terminal || self.clock.steady().saturating_sub(since) <= time;
        let ours = matches!(byte, b'\r' | b'\n')
            && (after_tab.is_some_and(|tab| within(tab, SUFFIX)) || after_key.is_some_and(|key| within(key, HABIT)));
        self.after_cr = ours && byte == b'\r';
        ours
    }
}

/// The slowest gap between two characters of an entry.
#[derive(Debug, Default)]
struct Pace {
    last: Option<Duration>,
    slowest: Duration,
}

impl Pace {
    fn mark(&mut self, now: Duration) {
        if let Some(last) = self.last {
            self.slowest = self.slowest.max(now.saturating_sub(last));
        }
        self.last = Some(now);
    }

    fn fast(&self) -> bool {
        self.slowest <= FAST
    }

    fn entry(&self, bytes: Vec<u8>, too_long: bool, terminal: bool, unclosed: bool, ends: Ends) -> Entry {
        if too_long {
            return Entry::TooLong;
        }
        let many = bytes.len() > 1;
        let scanned = terminal && bytes.len() >= SCAN_LENGTH && self.fast();
        // A hand that types a word is slower than a scanner; only what came at once is taken for one.
        let burst = terminal && ends.one_key && many && (scanned || self.slowest < KEY_QUIET / 2);
        let how = if scanned { How::Scanned } else { How::Typed };
        Entry::Text { bytes, how, burst, unclosed: unclosed && terminal && many }
    }
}

/// Takes off the last character, all of its bytes.
fn erase_last(bytes: &mut Vec<u8>) {
    while let Some(byte) = bytes.pop() {
        // 10xxxxxx continues a UTF-8 character.
        if byte & 0xc0 != 0x80 {
            break;
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use std::cell::Cell;
    use std::collections::VecDeque;

    use chrono::{DateTime, FixedOffset};

    use super::*;

    /// A clock that a test moves.
    #[derive(Default)]
    pub(in super::super) struct HandClock(pub Cell<Duration>);

    impl Clock for HandClock {
        fn now(&self) -> DateTime<FixedOffset> {
            DateTime::default()
        }
        fn steady(&self) -> Duration {
            self.0.get()
        }
    }

    /// Keys with the time that passes before each; a terminal in all but the wire.
    pub(in super::super) struct Timed {
        pub clock: Rc<HandClock>,
        pub keys: VecDeque<(u64, u8)>,
    }

    impl Timed {
        pub(in super::super) fn new(clock: &Rc<HandClock>) -> Self {
            Self { clock: Rc::clone(clock), keys: VecDeque::new() }
        }
        /// `text` arrives after `first` ms, with `gap` ms between characters.
        pub(in super::super) fn then(mut self, first: u64, gap: u64, text: &[u8]) -> Self {
            self.keys.extend(text.iter().enumerate().map(|(n, b)| (if n == 0 { first } else { gap }, *b)));
            self
        }
    }

    impl Input for Timed {
        fn next(&mut self, wait: Option<Duration>) -> Result<Got, AskError> {
            let Some((after, byte)) = self.keys.front_mut() else {
                let Some(wait) = wait else { return Ok(Got::End) };
                self.clock.0.set(self.clock.0.get() + wait);
                return Ok(Got::Quiet);
            };
            let after_time = Duration::from_millis(*after);
            if let Some(wait) = wait.filter(|wait| *wait < after_time) {
                self.clock.0.set(self.clock.0.get() + wait);
                *after -= u64::try_from(wait.as_millis()).unwrap();
                return Ok(Got::Quiet);
            }
            self.clock.0.set(self.clock.0.get() + after_time);
            let byte = *byte;
            self.keys.pop_front();
            Ok(Got::Byte(byte))
        }
        /// Everything that arrives without delay counts as having been there.
        fn drain(&mut self) -> Result<Vec<u8>, AskError> {
            let mut dropped = Vec::new();
            while let Some((0, byte)) = self.keys.front() {
                dropped.push(*byte);
                self.keys.pop_front();
            }
            Ok(dropped)
        }
        fn is_terminal(&self) -> bool {
            true
        }
    }

    const SCAN: Ends = Ends { tab: true, quiet: true, one_key: false };
    const KEY: Ends = Ends { tab: true, quiet: false, one_key: true };

    fn read(keys: &[(u64, u64, &[u8])], ends: Ends) -> Vec<Entry> {
        let clock = Rc::new(HandClock::default());
        let timed = keys.iter().fold(Timed::new(&clock), |timed, (first, gap, text)| timed.then(*first, *gap, text));
        let mut reader = Reader::new(timed, clock);
        let mut entries = Vec::new();
        loop {
            match reader.entry(ends, &mut |_| Ok(())).unwrap() {
                Entry::End => return entries,
                entry => entries.push(entry),
            }
        }
    }

    fn text(bytes: &[u8], how: How) -> Entry {
        Entry::Text { bytes: bytes.to_vec(), how, burst: false, unclosed: false }
    }

    #[test]
    fn fast_characters_with_any_suffix_are_one_scan() {
        for suffix in [b"\r".as_slice(), b"\n", b"\r\n", b"\t", b"\t\r", b"\t\r\n"] {
            let code = [b"P1-D3A7".as_slice(), suffix].concat();
            let got = read(&[(900, 4, &code)], SCAN);
            assert_eq!(got, [text(b"P1-D3A7", How::Scanned)], "{suffix:?}");
        }
        let got = read(&[(900, 4, b"P1-D3A7")], SCAN);
        assert_eq!(got, [Entry::Text { bytes: b"P1-D3A7".to_vec(), how: How::Scanned, burst: false, unclosed: true }]);
    }

    #[test]
    fn slow_characters_are_typed_and_wait_for_enter() {
        assert_eq!(read(&[(900, 180, b"P1-D3A7\r")], SCAN), [text(b"P1-D3A7", How::Typed)]);
        assert_eq!(read(&[(900, 5, b"P1-D3\r")], SCAN), [text(b"P1-D3", How::Typed)], "too short to tell");
    }

    #[test]
    fn controls_inside_a_code_are_kept_and_alone_they_do_nothing() {
        let code = b"[)>\x1e06\x1dS123\x1f\x1c\x1e\x04\r";
        assert_eq!(read(&[(900, 4, code)], SCAN), [text(code.strip_suffix(b"\r").unwrap(), How::Scanned)]);
        assert_eq!(
            read(&[(500, 4, b"\x04"), (500, 4, b"\x1a"), (500, 4, b"\x1c")], SCAN),
            [Entry::Inert, Entry::Inert, Entry::Inert]
        );
        assert_eq!(read(&[(500, 4, b"\x03")], SCAN), [Entry::Interrupt]);
    }

    #[test]
    fn one_key_and_quiet_is_an_answer_and_a_scan_that_begins_with_it_is_not() {
        assert_eq!(read(&[(900, 4, b"1"), (900, 4, b"b")], KEY), [text(b"1", How::Typed), text(b"b", How::Typed)]);
        assert_eq!(read(&[(900, 4, b"1\r")], KEY), [text(b"1", How::Typed)]);
        for code in [b"1234567890\r".as_slice(), b"1234567890", b"b1\r", b"y7K2\r"] {
            let got = read(&[(900, 4, code)], KEY);
            let bytes = code.strip_suffix(b"\r").unwrap_or(code);
            assert_eq!(got.len(), 1, "{got:?}");
            assert!(matches!(&got[0], Entry::Text { bytes: b, burst: true, .. } if b == bytes), "{got:?}");
        }
    }

    #[test]
    fn an_enter_pressed_behind_a_key_by_habit_answers_nothing_more() {
        assert_eq!(
            read(&[(900, 4, b"1"), (400, 0, b"\r"), (900, 4, b"3")], KEY),
            [text(b"1", How::Typed), text(b"3", How::Typed)]
        );
        assert_eq!(read(&[(900, 4, b"1"), (2000, 0, b"\r")], KEY), [text(b"1", How::Typed), text(b"", How::Typed)]);
    }

    #[test]
    fn at_a_key_prompt_a_colon_begins_a_word_and_any_other_key_is_all_of_it() {
        assert_eq!(read(&[(900, 180, b":override\r")], KEY), [text(b":override", How::Typed)]);
        // A wrong key is told at once and takes no later key with it.
        let one = |key: &[u8]| Entry::Text { bytes: key.to_vec(), how: How::Typed, burst: false, unclosed: false };
        assert_eq!(read(&[(900, 180, b"2"), (900, 180, b"3")], KEY), [one(b"2"), one(b"3")]);
    }

    #[test]
    fn erasing_takes_whole_characters() {
        assert_eq!(read(&[(900, 90, "ab\u{e9}\x7f\x08c\r".as_bytes())], SCAN), [text(b"ac", How::Typed)]);
        assert_eq!(read(&[(900, 90, b"abc\x15d\r")], SCAN), [text(b"d", How::Typed)]);
        assert_eq!(read(&[(900, 90, b"\x7fd\r")], SCAN), [text(b"d", How::Typed)]);
    }

    #[test]
    fn an_endless_entry_is_cut_and_the_next_one_is_whole() {
        let mut long = vec![b'x'; LONGEST + 10];
        long.extend(b"\rOK\r");
        assert_eq!(read(&[(0, 0, &long)], SCAN), [Entry::TooLong, text(b"OK", How::Typed)]);
    }

    #[test]
    fn arrows_alone_are_seen() {
        assert_eq!(read(&[(900, 1, b"\x1b[B")], SCAN), [Entry::Arrow]);
    }
}
