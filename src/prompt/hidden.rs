//! A line that is typed unseen: a passphrase.

use super::ask::AskError;
use super::input::{Got, Input as _};
use super::tty::Tty;

/// Reads one line from the terminal at standard input, showing nothing of it; `None` at Ctrl-C, Ctrl-D or the end of the input.
/// The terminal is as it was when this returns, after an order to end too.
///
/// # Errors
/// A terminal that fails, an order to end, or what is not text.
pub fn hidden_line() -> Result<Option<String>, AskError> {
    let mut tty = Tty::open()?;
    let mut typed = Vec::new();
    loop {
        match tty.next(None)? {
            Got::Byte(b'\r' | b'\n') => break,
            Got::Byte(0x04) | Got::Interrupt | Got::End => return Ok(None),
            Got::Byte(0x15) => typed.clear(),
            Got::Byte(0x08 | 0x7f) => {
                // A character may be several bytes; the ones that go on begin with 10.
                while typed.pop().is_some_and(|byte: u8| byte & 0xc0 == 0x80) {}
            }
            Got::Byte(byte) => typed.push(byte),
            Got::Quiet => {}
        }
    }
    String::from_utf8(typed).map(Some).map_err(|_| AskError::Io(std::io::ErrorKind::InvalidData.into()))
}
