//! Where bytes from a person come from.

use std::io::Read;
use std::time::Duration;

use super::ask::AskError;

/// What came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Got {
    Byte(u8),
    /// Nothing within the time given.
    Quiet,
    /// Nothing will come any more.
    End,
    /// Ctrl-C: the person wants to leave, in order.
    Interrupt,
}

/// A source of bytes.
pub trait Input {
    /// The next byte, waiting at most `wait`; without one, as long as it takes.
    ///
    /// # Errors
    /// When the source fails, or [`AskError::Interrupted`] when the program is told to end.
    fn next(&mut self, wait: Option<Duration>) -> Result<Got, AskError>;

    /// Takes out what has come and was not read yet, and what keeps coming without a break: half a scan left behind
    /// would look like a whole one.
    ///
    /// # Errors
    /// When the source fails.
    fn drain(&mut self) -> Result<Vec<u8>, AskError>;

    /// What a signal says while nothing is read: [`Got::Interrupt`] or [`Got::Quiet`].
    ///
    /// # Errors
    /// [`AskError::Interrupted`] when the program is told to end.
    fn told(&mut self) -> Result<Got, AskError> {
        Ok(Got::Quiet)
    }

    /// Whether keys come here as they are pressed: then timing means something and we echo.
    fn is_terminal(&self) -> bool;
}

/// Any reader: a pipe, a file, a test's bytes. Time means nothing here, so nothing is ever quiet and nothing is drained:
/// a line belongs to the question that is reached when its turn comes.
#[derive(Debug)]
pub struct Piped<R> {
    reader: R,
    buffer: Vec<u8>,
    at: usize,
}

impl<R: Read> Piped<R> {
    /// Reads from `reader` as bytes are needed.
    pub fn new(reader: R) -> Self {
        Self { reader, buffer: Vec::new(), at: 0 }
    }
}

impl<R: Read> Input for Piped<R> {
    fn next(&mut self, _wait: Option<Duration>) -> Result<Got, AskError> {
        loop {
            if let Some(byte) = self.buffer.get(self.at) {
                self.at += 1;
                return Ok(Got::Byte(*byte));
            }
            self.buffer.resize(4096, 0);
            self.at = 0;
            match self.reader.read(&mut self.buffer) {
                Ok(0) => {
                    self.buffer.clear();
                    return Ok(Got::End);
                }
                Ok(n) => self.buffer.truncate(n),
                Err(error) => {
                    self.buffer.clear();
                    if error.kind() != std::io::ErrorKind::Interrupted {
                        return Err(error.into());
                    }
                }
            }
        }
    }

    fn drain(&mut self) -> Result<Vec<u8>, AskError> {
        Ok(Vec::new())
    }

    fn is_terminal(&self) -> bool {
        false
    }
}
