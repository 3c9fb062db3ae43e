//! Keys from a terminal as they are pressed.

use std::io;
use std::time::Duration;

use rustix::io::ioctl_fionread;
use rustix::termios::{
    InputModes, LocalModes, OptionalActions, OutputModes, QueueSelector, SpecialCodeIndex, tcflush, tcgetattr,
    tcsetattr,
};

use super::ask::AskError;
use super::input::{Got, Input};
use super::signals::{self, Modes};
use super::stdin::Stdin;

/// What comes closer than this to what came before is part of it when input is drained.
const DRAIN_QUIET: Duration = Duration::from_millis(40);
/// How often a drain looks again.
const DRAIN_ROUNDS: usize = 200;
/// Bytes of drained input that are kept to be named.
const DRAIN_KEPT: usize = 4096;

/// Standard input as a source of keys; the modes it had come back when this is dropped, in a panic too.
pub(super) struct Tty {
    stdin: Stdin,
    modes: Modes,
}

impl Tty {
    /// Takes over standard input, which must be a terminal.
    ///
    /// Not only while a question waits but for as long as someone is asked at all: between two questions the usual modes
    /// would echo what a scanner sends, and an FS in it (ISO/IEC 15434) would end the program as Ctrl-\. Ctrl-C stays
    /// alive all the time.
    pub(super) fn open() -> io::Result<Self> {
        let stdin = Stdin::new();
        let fd = stdin.fd;
        let before = tcgetattr(fd)?;
        let mut modes = before.clone();
        // CR, LF and bytes with the eighth bit come as they are; DC1 and DC3 do not stop the output.
        modes.input_modes -= InputModes::ICRNL
            | InputModes::INLCR
            | InputModes::IGNCR
            | InputModes::ISTRIP
            | InputModes::IXON
            | InputModes::IXOFF;
        modes.output_modes |= OutputModes::OPOST | OutputModes::ONLCR;
        modes.local_modes -= LocalModes::ICANON | LocalModes::ECHO | LocalModes::ECHONL | LocalModes::IEXTEN;
        modes.local_modes |= LocalModes::ISIG;
        let codes = &mut modes.special_codes;
        codes[SpecialCodeIndex::VINTR] = 0x03;
        // 0 is _POSIX_VDISABLE on Linux: no key quits or suspends.
        codes[SpecialCodeIndex::VQUIT] = 0;
        codes[SpecialCodeIndex::VSUSP] = 0;
        codes[SpecialCodeIndex::VMIN] = 1;
        codes[SpecialCodeIndex::VTIME] = 0;
        let modes = Modes { before, while_asking: modes };
        signals::begin(Some(modes.clone()))?;
        // From here on the drop puts back what the next line changes.
        let tty = Self { stdin, modes };
        tcsetattr(fd, OptionalActions::Now, &tty.modes.while_asking)?;
        Ok(tty)
    }
}

impl Drop for Tty {
    fn drop(&mut self) {
        // What was scanned too late must not reach the shell as a command.
        let _ = tcflush(self.stdin.fd, QueueSelector::IFlush);
        let _ = tcsetattr(self.stdin.fd, OptionalActions::Now, &self.modes.before);
        signals::end();
    }
}

impl Input for Tty {
    fn next(&mut self, wait: Option<Duration>) -> Result<Got, AskError> {
        self.stdin.next(wait)
    }

    fn drain(&mut self) -> Result<Vec<u8>, AskError> {
        let mut dropped = self.stdin.take();
        // Read rather than only flushed, so that it can be said what did not count. A source that never falls quiet is
        // left after a while: what it sends then is read, and refused, as an entry.
        for _ in 0..DRAIN_ROUNDS {
            if ioctl_fionread(self.stdin.fd).map_err(io::Error::from)? == 0 {
                if dropped.is_empty() || !self.stdin.readable_within(DRAIN_QUIET)? {
                    break;
                }
            } else if !self.stdin.fill()? {
                break;
            }
            let more = self.stdin.take();
            if dropped.len() < DRAIN_KEPT {
                dropped.extend(more);
            }
        }
        tcflush(self.stdin.fd, QueueSelector::IFlush).map_err(io::Error::from)?;
        Ok(dropped)
    }

    fn is_terminal(&self) -> bool {
        true
    }
}
