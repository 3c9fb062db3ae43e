//! What every command that walks a job has in common.

use std::os::unix::ffi::OsStrExt as _;
use std::path::{Path, PathBuf};

use super::files::named;
use super::practice::PracticeMachine;
use super::report_file::FileReport;
use super::{CommandError, Exit};
use crate::draw::Look;
use crate::env::Env;
use crate::prompt::{Ask, Message, Status};
use crate::record::{Journal, Practice};
use crate::runner::{Ended, MachineReport, Pictures, Runner, Search};

/// Where the reports of a job's machine come from: the practice machine for a practice job, else what is named.
pub fn machine(env: &Env, practice: Option<&Practice>) -> Result<Box<dyn MachineReport>, CommandError> {
    Ok(match practice {
        Some(practice) => Box::new(PracticeMachine::of(practice, env)?),
        None => Box::new(FileReport::new(env)),
    })
}

/// How a walk begins.
pub enum Begin {
    /// With the first step.
    New,
    /// Where it stopped.
    Resumed,
    /// With the search for a fault; `report` is what the technician would give at the report.
    Search { search: Box<Search>, report: Option<String> },
}

/// Walks an open record to its end or its next pause, and says on stdout where it is and what comes next.
pub fn walk(
    env: &mut Env,
    ask: &mut dyn Ask,
    journal: Journal,
    machine: &mut dyn MachineReport,
    technician: &str,
    resumed: bool,
) -> Result<Exit, CommandError> {
    walk_from(env, ask, journal, machine, technician, if resumed { Begin::Resumed } else { Begin::New })
}

/// [`walk`], begun in one of several ways.
pub fn walk_from(
    env: &mut Env,
    ask: &mut dyn Ask,
    mut journal: Journal,
    machine: &mut dyn MachineReport,
    technician: &str,
    begin: Begin,
) -> Result<Exit, CommandError> {
    let path = journal.path().to_owned();
    journal.mend(env.clock.now())?;
    for tail in journal.repaired() {
        let text = format!("{} ({} bytes put aside as {})", tail.why, tail.bytes, tail.file);
        ask.say(&Message { status: Status::Attention, text }).map_err(CommandError::from)?;
    }
    let clock = std::rc::Rc::clone(&env.clock);
    let mut runner = Runner::new(journal, ask, clock.as_ref(), machine, pictures(env), technician)?;
    match begin {
        Begin::New => {}
        Begin::Resumed => {
            runner.resume()?;
            runner.offer_again()?;
        }
        Begin::Search { search, report } => {
            runner = runner.with_search(*search);
            runner.resume()?;
            runner.search_on(report.as_deref())?;
        }
    }
    let ended = runner.walk();
    for unused in ask.unused() {
        ask.say(&Message { status: Status::Attention, text: unused }).map_err(CommandError::from)?;
    }
    match ended? {
        Ended::Paused => {
            let path = near(env, &path);
            writeln!(env.stdout, "PAUSED {}", named(&path))?;
            writeln!(env.stdout, "A module still in your hand goes back into its bag. Go on with:")?;
            writeln!(env.stdout, "  {} resume {}", quoted(Path::new(&env.program)), quoted(&path))?;
            Ok(Exit::Paused)
        }
        Ended::Declared { findings: 0 } => {
            writeln!(env.stdout, "DONE {}", named(&near(env, &path)))?;
            Ok(Exit::Done)
        }
        Ended::Declared { findings } => {
            let findings = crate::source::counted(findings, "FINDING").to_uppercase();
            writeln!(env.stdout, "DONE WITH {findings} {}", named(&near(env, &path)))?;
            Ok(Exit::Findings)
        }
    }
}

/// How pictures are drawn on the stream that questions go to.
fn pictures(env: &Env) -> Pictures {
    // A page leaves the last column free.
    let width = env.terminal.size.map_or(80, |(columns, _)| usize::from(columns)).saturating_sub(1);
    Pictures {
        look: Look { width: width.min(100), unicode: env.unicode() },
        colour: env.colour(env.terminal.stderr_is_terminal),
    }
}

/// A path from the folder the command was called in, where it lies below it.
fn near(env: &Env, path: &Path) -> PathBuf {
    path.strip_prefix(&env.folder).unwrap_or(path).to_owned()
}

/// A path as a POSIX shell takes it; one that begins like an option is named from its folder.
pub(super) fn quoted(path: &Path) -> String {
    let bytes = path.as_os_str().as_bytes();
    if bytes.starts_with(b"-") { quoted_text(&[b"./", bytes].concat()) } else { quoted_text(bytes) }
}

/// A text as a POSIX shell takes it, in printable ASCII whatever is in it: what is not is written by its bytes.
pub(super) fn quoted_text(bytes: &[u8]) -> String {
    if !bytes.is_empty() && bytes.iter().all(|b| b.is_ascii_alphanumeric() || b"/._-".contains(b)) {
        return bytes.iter().map(|b| char::from(*b)).collect();
    }
    if bytes.iter().all(|b| matches!(b, b' '..=b'~')) {
        let text: String = bytes.iter().map(|b| char::from(*b)).collect();
        return format!("'{}'", text.replace('\'', "'\\''"));
    }
    let mut text = String::from("\"$(printf '");
    for byte in bytes {
        match byte {
            b'%' => text.push_str("%%"),
            b' '..=b'~' if !b"'\\".contains(byte) => text.push(char::from(*byte)),
            _ => text.push_str(&format!("\\{byte:03o}")),
        }
    }
    text + "')\""
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a shell makes of it is what it stands for.
    #[test]
    fn a_shell_reads_what_was_quoted() {
        let texts: [&[u8]; 8] = [
            b"plain/a.jsonl",
            b"two words",
            b"it's $HOME `x` \\ \"q\"",
            "Zo\u{eb}".as_bytes(),
            "j\u{f6}rg/it's 100 % \\n".as_bytes(),
            b"\xff\x1b[31m\tx",
            b"",
            b"*?[a]~!",
        ];
        for text in texts {
            let quoted = quoted_text(text);
            assert!(quoted.bytes().all(|b| matches!(b, b' '..=b'~')), "{quoted}");
            let ran = std::process::Command::new("sh").arg("-c").arg(format!("printf %s {quoted}")).output().unwrap();
            assert_eq!(ran.stdout, text, "{quoted}");
        }
        assert_eq!(quoted(Path::new("-x.jsonl")), "./-x.jsonl");
    }
}
