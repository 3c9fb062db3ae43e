//! Arguments in, exit code out.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

use slotwise::env::{Env, SystemClock, Terminal};

fn main() -> ExitCode {
    let stdout = std::io::stdout();
    let stderr = std::io::stderr();
    let stdin = std::io::stdin();
    let size = rustix::termios::tcgetwinsize(&stderr)
        .or_else(|_| rustix::termios::tcgetwinsize(&stdout))
        .ok()
        .map(|size| (size.ws_col, size.ws_row))
        .filter(|(columns, rows)| *columns > 0 && *rows > 0);
    let mut env = Env {
        clock: std::rc::Rc::new(SystemClock::default()),
        program: std::env::args_os()
            .next()
            .map_or_else(|| "slotwise".to_owned(), |name| name.to_string_lossy().into_owned()),
        seed: fastrand::u64(..),
        root: PathBuf::from("/"),
        folder: std::env::current_dir().unwrap_or_else(|_| PathBuf::from(".")),
        variables: std::env::vars_os()
            .filter_map(|(name, value)| Some((name.into_string().ok()?, value.into_string().ok()?)))
            .collect(),
        terminal: Terminal {
            stdin_is_terminal: stdin.is_terminal(),
            stdout_is_terminal: stdout.is_terminal(),
            stderr_is_terminal: stderr.is_terminal(),
            size,
        },
        stdin: None,
        stdout: Box::new(stdout),
        stderr: Box::new(stderr),
    };
    ExitCode::from(slotwise::commands::run(std::env::args_os(), &mut env).code())
}
