//! A passphrase: from a file, from the environment, or typed unseen.

use std::io::Write as _;
use std::path::Path;

use crate::commands::{CommandError, Exit, files};
use crate::env::Env;
use crate::prompt::{AskError, hidden_line};

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
    let typed = hidden_line();
    writeln!(env.stderr)?;
    match typed {
        Ok(Some(typed)) => Ok(typed),
        Ok(None) | Err(AskError::Interrupted) => {
            Err(CommandError::new(Exit::Paused, "nothing was signed: the passphrase was not given"))
        }
        Err(error) => Err(CommandError::new(Exit::Io, "the terminal cannot be used").because(&error)),
    }
}
