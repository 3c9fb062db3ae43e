//! Keys from a terminal as they are pressed.

use std::io;
use std::os::fd::BorrowedFd;
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::{Errno, ioctl_fionread, read};
use rustix::termios::{
    InputModes, LocalModes, OptionalActions, OutputModes, QueueSelector, SpecialCodeIndex, tcflush, tcgetattr,
    tcsetattr,
};

use super::ask::AskError;
use super::input::{Got, Input};
use super::signals::{self, Modes};

/// How often a wait looks whether a signal came. The signal's own thread cannot wake a poll of this one.
const LOOK_UP: Duration = Duration::from_millis(100);

/// What comes closer than this to what came before is part of it when input is drained.
const DRAIN_QUIET: Duration = Duration::from_millis(40);
/// How often a drain looks again.
const DRAIN_ROUNDS: usize = 200;
/// Bytes of drained input that are kept to be named.
const DRAIN_KEPT: usize = 4096;

/// Standard input as a source of keys; the modes it had come back when this is dropped, in a panic too.
pub(super) struct Tty {
    fd: BorrowedFd<'static>,
    modes: Modes,
    buffer: Vec<u8>,
    at: usize,
}

impl Tty {
    /// Takes over standard input, which must be a terminal.
    ///
    /// Not only while a question waits but for as long as someone is asked at all: between two questions the usual modes
    /// would echo what a scanner sends, and an FS in it (ISO/IEC 15434) would end the program as Ctrl-\. Ctrl-C stays
    /// alive all the time.
    pub(super) fn open() -> io::Result<Self> {
        let fd = rustix::stdio::stdin();
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
        signals::begin(modes.clone())?;
        // From here on the drop puts back what the next line changes.
        let tty = Self { fd, modes, buffer: Vec::new(), at: 0 };
        tcsetattr(fd, OptionalActions::Now, &tty.modes.while_asking)?;
        Ok(tty)
    }

    /// Whether something comes within this time.
    fn readable_within(&self, time: Duration) -> Result<bool, AskError> {
        let timeout = Timespec { tv_sec: 0, tv_nsec: i64::from(time.subsec_nanos()) };
        let mut fds = [PollFd::from_borrowed_fd(self.fd, PollFlags::IN)];
        match poll(&mut fds, Some(&timeout)) {
            Ok(ready) => Ok(ready > 0),
            Err(Errno::INTR) => Ok(false),
            Err(error) => Err(AskError::Io(error.into())),
        }
    }

    /// Fills the buffer; false at the end of the input.
    fn fill(&mut self) -> Result<bool, AskError> {
        self.buffer.resize(4096, 0);
        self.at = 0;
        let count = loop {
            match read(self.fd, self.buffer.as_mut_slice()) {
                Ok(count) => break count,
                Err(Errno::INTR) => {}
                // EIO: the terminal is gone.
                Err(Errno::IO) => break 0,
                Err(error) => {
                    self.buffer.clear();
                    return Err(AskError::Io(error.into()));
                }
            }
        };
        self.buffer.truncate(count);
        Ok(count > 0)
    }
}

impl Drop for Tty {
    fn drop(&mut self) {
        // What was scanned too late must not reach the shell as a command.
        let _ = tcflush(self.fd, QueueSelector::IFlush);
        let _ = tcsetattr(self.fd, OptionalActions::Now, &self.modes.before);
        signals::end();
    }
}

impl Input for Tty {
    fn next(&mut self, wait: Option<Duration>) -> Result<Got, AskError> {
        let until = wait.map(|wait| Instant::now() + wait);
        loop {
            if signals::must_end() {
                return Err(AskError::Interrupted);
            }
            if signals::take_interrupt() {
                return Ok(Got::Interrupt);
            }
            if let Some(byte) = self.buffer.get(self.at) {
                self.at += 1;
                return Ok(Got::Byte(*byte));
            }
            let left = until.map(|until| until.saturating_duration_since(Instant::now()));
            let slice = left.map_or(LOOK_UP, |left| left.min(LOOK_UP));
            if self.readable_within(slice)? {
                if !self.fill()? {
                    return Ok(Got::End);
                }
            } else if until.is_some_and(|until| Instant::now() >= until) {
                return Ok(Got::Quiet);
            }
        }
    }

    fn drain(&mut self) -> Result<Vec<u8>, AskError> {
        let mut dropped = self.buffer.split_off(self.at.min(self.buffer.len()));
        self.buffer.clear();
        self.at = 0;
        // Read rather than only flushed, so that it can be said what did not count. A source that never falls quiet is
        // left after a while: what it sends then is read, and refused, as an entry.
        for _ in 0..DRAIN_ROUNDS {
            if ioctl_fionread(self.fd).map_err(io::Error::from)? == 0 {
                if dropped.is_empty() || !self.readable_within(DRAIN_QUIET)? {
                    break;
                }
            } else if !self.fill()? {
                break;
            }
            if dropped.len() < DRAIN_KEPT {
                dropped.append(&mut self.buffer);
            }
            self.buffer.clear();
        }
        tcflush(self.fd, QueueSelector::IFlush).map_err(io::Error::from)?;
        Ok(dropped)
    }

    fn is_terminal(&self) -> bool {
        true
    }
}
