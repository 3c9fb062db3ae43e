//! Standard input, read past any buffer of others, with an eye on the signals.

use std::io;
use std::os::fd::BorrowedFd;
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::{Errno, read};

use super::ask::AskError;
use super::input::{Got, Input};
use super::signals;

/// How often a wait looks whether a signal came. The signal's own thread cannot wake a poll of this one.
pub(super) const LOOK_UP: Duration = Duration::from_millis(100);

/// The bytes of standard input.
pub(super) struct Stdin {
    pub fd: BorrowedFd<'static>,
    buffer: Vec<u8>,
    at: usize,
}

impl Stdin {
    pub(super) fn new() -> Self {
        Self { fd: rustix::stdio::stdin(), buffer: Vec::new(), at: 0 }
    }

    /// Whether something comes within this time, less than a second of it.
    pub(super) fn readable_within(&self, time: Duration) -> Result<bool, AskError> {
        let timeout = Timespec { tv_sec: 0, tv_nsec: i64::from(time.subsec_nanos()) };
        let mut fds = [PollFd::from_borrowed_fd(self.fd, PollFlags::IN)];
        match poll(&mut fds, Some(&timeout)) {
            Ok(ready) => Ok(ready > 0),
            Err(Errno::INTR) => Ok(false),
            Err(error) => Err(AskError::Io(error.into())),
        }
    }

    /// Fills the buffer; false at the end of the input.
    pub(super) fn fill(&mut self) -> Result<bool, AskError> {
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

    /// Takes out what was read and not handed on yet.
    pub(super) fn take(&mut self) -> Vec<u8> {
        let left = self.buffer.split_off(self.at.min(self.buffer.len()));
        self.buffer.clear();
        self.at = 0;
        left
    }

    /// The next byte, as [`Input::next`] has it; an order to pause or to end comes before what is read already.
    pub(super) fn next(&mut self, wait: Option<Duration>) -> Result<Got, AskError> {
        let until = wait.map(|wait| Instant::now() + wait);
        loop {
            if told()? == Got::Interrupt {
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
}

/// What a signal says: to pause, or by an error to end.
fn told() -> Result<Got, AskError> {
    if signals::must_end() {
        return Err(AskError::Interrupted);
    }
    Ok(if signals::take_interrupt() { Got::Interrupt } else { Got::Quiet })
}

/// Standard input that is no terminal: a pipe, a file. As [`Piped`](super::Piped), but an order to end ends in order here
/// too, also while nothing comes.
pub(super) struct Pipe(Stdin);

impl Pipe {
    /// Takes standard input over; signals are heeded until this is dropped.
    pub(super) fn open() -> io::Result<Self> {
        signals::begin(None)?;
        Ok(Self(Stdin::new()))
    }
}

impl Drop for Pipe {
    fn drop(&mut self) {
        signals::end();
    }
}

impl Input for Pipe {
    fn next(&mut self, _wait: Option<Duration>) -> Result<Got, AskError> {
        self.0.next(None)
    }

    fn drain(&mut self) -> Result<Vec<u8>, AskError> {
        Ok(Vec::new())
    }

    fn told(&mut self) -> Result<Got, AskError> {
        told()
    }

    fn is_terminal(&self) -> bool {
        false
    }
}
