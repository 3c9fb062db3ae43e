//! A passphrase: from a file, from the environment, or typed unseen.

use std::io::Write as _;
use std::path::Path;

use rustix::io::{Errno, read};
use rustix::termios::{LocalModes, OptionalActions, Termios, tcgetattr, tcsetattr};

use crate::commands::{CommandError, Exit, files};
use crate::env::Env;

/// The variable a script may give it in.
pub const VARIABLE: &str = "SLOTWISE_PASSPHRASE";

/// Gets the passphrase of a key file.
///
/// # Errors
/// When nobody can be asked, or the person gives up.
pub fn passphrase(env: &mut Env, file: Option<&Path>, key: &Path) -> Result<String, CommandError> {
    if let Some(file) = file {
        let bytes = files::bytes(&files::located(env, file)).map_err(|error| CommandError::reading(file, &error))?;
        let text = String::from_utf8(bytes)
            .map_err(|_| CommandError::new(Exit::BadData, format!("{} is not text", files::named(file))))?;
        return Ok(text.strip_suffix('\n').map_or(&*text, |text| text.strip_suffix('\r').unwrap_or(text)).to_owned());
    }
    if let Some(given) = env.variable(VARIABLE) {
        return Ok(given.to_owned());
    }
    if !env.terminal.stdin_is_terminal {
        return Err(CommandError::new(
            Exit::Usage,
            format!("{} is protected by a passphrase, and there is no terminal to ask for it", files::named(key)),
        )
        .way_out(format!(
            "--passphrase-file FILE, or the variable {VARIABLE}; or load the key into an agent: --agent"
        )));
    }
    write!(env.stderr, "Passphrase of {} (not shown): ", files::named(key))?;
    env.stderr.flush()?;
    let typed = Hidden::begin().and_then(|hidden| hidden.line());
    writeln!(env.stderr)?;
    match typed {
        Ok(Some(typed)) => Ok(typed),
        Ok(None) => Err(CommandError::new(Exit::Paused, "nothing was signed: the passphrase was not given")),
        Err(error) => Err(CommandError::new(Exit::Io, "the terminal cannot be used").because(&error)),
    }
}

/// A terminal that shows nothing of what is typed; as it was again when this is dropped.
struct Hidden {
    before: Termios,
}

impl Hidden {
    fn begin() -> std::io::Result<Self> {
        let fd = rustix::stdio::stdin();
        let before = tcgetattr(fd)?;
        let mut modes = before.clone();
        // Without signals too: Ctrl-C comes as a key, so that the terminal is never left silent.
        modes.local_modes -= LocalModes::ECHO | LocalModes::ECHONL | LocalModes::ICANON | LocalModes::ISIG;
        tcsetattr(fd, OptionalActions::Flush, &modes)?;
        Ok(Self { before })
    }

    /// One line; `None` at Ctrl-C or the end of the input.
    fn line(self) -> std::io::Result<Option<String>> {
        let mut typed = Vec::new();
        loop {
            let mut byte = [0];
            match read(rustix::stdio::stdin(), &mut byte) {
                Ok(0) => return Ok(None),
                Ok(_) => {}
                Err(Errno::INTR) => continue,
                Err(error) => return Err(error.into()),
            }
            match byte[0] {
                b'\r' | b'\n' => break,
                0x03 | 0x04 => return Ok(None),
                0x15 => typed.clear(),
                0x08 | 0x7f => {
                    // A character may be several bytes; the ones that go on begin with 10.
                    while typed.pop().is_some_and(|byte| byte & 0xc0 == 0x80) {}
                }
                byte => typed.push(byte),
            }
        }
        String::from_utf8(typed).map(Some).map_err(|_| std::io::ErrorKind::InvalidData.into())
    }
}

impl Drop for Hidden {
    fn drop(&mut self) {
        let _ = tcsetattr(rustix::stdio::stdin(), OptionalActions::Flush, &self.before);
    }
}
