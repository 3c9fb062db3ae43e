//! Every error at the edge: what happened, what caused it, the way out, and the exit code. The mapping from the rooms'
//! own errors is here and nowhere else.

use std::error::Error;
use std::fmt;
use std::path::Path;

use super::exit::{Exit, for_reading, for_writing};
use super::job::quoted;
use crate::prompt::{AskError, ChooseError};
use crate::record::{Failure, JournalError, RecordError};
use crate::runner::RunError;
use crate::source::Faults;
use crate::text::{shown, shown_within};

/// What a command could not do.
#[derive(Debug)]
pub struct CommandError {
    /// The code the shell sees.
    pub exit: Exit,
    /// What happened, in one line or, for faults of a file, the drawn list.
    pub what: String,
    /// What caused it, outermost first.
    pub causes: Vec<String>,
    /// What to do now.
    pub way_out: Vec<String>,
}

impl CommandError {
    /// An error with its code and one line.
    pub fn new(exit: Exit, what: impl Into<String>) -> Self {
        Self { exit, what: what.into(), causes: Vec::new(), way_out: Vec::new() }
    }

    /// The same error with one more way out.
    #[must_use]
    pub fn way_out(mut self, hint: impl Into<String>) -> Self {
        self.way_out.push(hint.into());
        self
    }

    /// The same error with the chain of an underlying error.
    #[must_use]
    pub fn because(mut self, error: &dyn Error) -> Self {
        let mut next = Some(error);
        while let Some(error) = next {
            self.causes.push(shown_within(&error.to_string(), 400).to_string());
            next = error.source();
        }
        self
    }

    /// A file that could not be read.
    pub fn reading(path: &Path, error: &std::io::Error) -> Self {
        let this =
            Self::new(for_reading(error), format!("cannot read {}", shown(&path.to_string_lossy()))).because(error);
        match error.kind() {
            std::io::ErrorKind::NotFound => {
                this.way_out("check the path; relative paths start where the command was called")
            }
            std::io::ErrorKind::PermissionDenied => {
                this.way_out("ask for the right to read it, or run the command as someone who has it")
            }
            _ => this,
        }
    }

    /// A file that could not be written.
    pub fn writing(path: &Path, error: &std::io::Error) -> Self {
        let this =
            Self::new(for_writing(error), format!("cannot write {}", shown(&path.to_string_lossy()))).because(error);
        match error.kind() {
            std::io::ErrorKind::StorageFull => this.way_out("free some space on that disk and run the command again"),
            std::io::ErrorKind::PermissionDenied | std::io::ErrorKind::ReadOnlyFilesystem => {
                this.way_out("choose a folder that can be written")
            }
            std::io::ErrorKind::NotFound => this.way_out("its folder is not there: make it first, or name another"),
            std::io::ErrorKind::NotADirectory => {
                let a_file = |at: &&Path| std::fs::metadata(at).is_ok_and(|found| !found.is_dir());
                let named = |at: &Path| shown(&at.to_string_lossy()).to_string();
                let above = path.ancestors().skip(1);
                this.way_out(match (above.clone().find(a_file), above.clone().next()) {
                    (Some(file), _) => format!("{} is a file, not a folder: name a path in a folder", named(file)),
                    (None, Some(folder)) => {
                        format!("{}, or a part of it, is a file: name another folder", named(folder))
                    }
                    (None, None) => "name a path in a folder".to_owned(),
                })
            }
            std::io::ErrorKind::IsADirectory => this.way_out("it is a folder: name a file in it"),
            _ => this,
        }
    }
}

impl CommandError {
    /// With a file named as the person named it, where the error has it by its full path.
    #[must_use]
    pub fn as_given(mut self, located: &Path, given: &Path) -> Self {
        // A way out may begin with it, or with a folder it is in.
        let folders = located.ancestors().zip(given.ancestors()).filter(|(_, given)| !given.as_os_str().is_empty());
        let folders: Vec<[String; 2]> = folders
            .map(|(located, given)| [located, given].map(|path| shown(&path.to_string_lossy()).to_string()))
            .collect();
        for hint in &mut self.way_out {
            let named = folders.iter().find_map(|[located, given]| {
                let rest = hint.strip_prefix(located.as_str()).filter(|rest| rest.starts_with([' ', ',']))?;
                Some(format!("{given}{rest}"))
            });
            *hint = named.unwrap_or_else(|| std::mem::take(hint));
        }
        let (located, given) =
            (shown(&located.to_string_lossy()).to_string(), shown(&given.to_string_lossy()).to_string());
        if located != given {
            for text in std::iter::once(&mut self.what).chain(&mut self.causes) {
                if let Some(rest) = text.strip_prefix(&located) {
                    *text = format!("{given}{rest}");
                } else {
                    *text = text.replace(&format!(" {located}"), &format!(" {given}"));
                }
            }
        }
        self
    }

    /// A line that a command of one line could not get onto the disk: `what` names it, such as `the amendment`.
    pub fn not_recorded(record: &Path, what: &str, error: JournalError) -> Self {
        let JournalError::NotRecorded { n, failure, .. } = &error else { return error.into() };
        let this = Self::new(
            Exit::Io,
            format!("{}: {what} is NOT recorded (line {n}): {failure}", shown(&record.to_string_lossy())),
        );
        if let Some(now) = error.moved_to() {
            return this.way_out(format!("give the same command again, with {}", quoted(now)));
        }
        match failure {
            Failure::Sync(_) => this.way_out(format!(
                "what stood there before stands; once the disk is well, see whether line {n} is there before you give the \
                 command again: slotwise audit {}",
                quoted(record)
            )),
            _ => this.way_out(format!(
                "what stood there before stands as it was, and {what} is not in it; once that is mended, give the same \
                 command again"
            )),
        }
    }

    /// As it is shown on a terminal of so many columns. The drawn list of a file's faults stays as it is drawn.
    pub fn within(&self, columns: Option<usize>) -> String {
        let drawn = self.what.contains('\n');
        super::wrap::wrapped(&self.to_string(), columns.filter(|_| !drawn), 4)
    }
}

impl From<Faults> for CommandError {
    fn from(faults: Faults) -> Self {
        Self::new(Exit::BadData, faults.to_string().trim_end())
    }
}

impl From<JournalError> for CommandError {
    fn from(error: JournalError) -> Self {
        let exit = match &error {
            JournalError::BadName { .. } | JournalError::Exists { .. } => Exit::CannotCreate,
            // A record that is made does not have to be there; one that is opened does.
            JournalError::Io { source, .. } if source.kind() == std::io::ErrorKind::NotFound => Exit::NoInput,
            JournalError::Io { source, .. } => for_writing(source),
            JournalError::Unreadable(RecordError::Io { source, .. }) => for_reading(source),
            JournalError::Unreadable(_) | JournalError::Rule { .. } | JournalError::Unwritable { .. } => Exit::BadData,
            JournalError::InUse { .. }
            | JournalError::NoLocks { .. }
            | JournalError::TooLarge { .. }
            | JournalError::NotRecorded { .. }
            | JournalError::Stopped { .. } => Exit::Io,
        };
        let this = Self::new(exit, error.to_string());
        if let Some(now) = error.moved_to() {
            return this.way_out(format!("slotwise resume {}", quoted(now)));
        }
        match exit {
            Exit::NoInput => this.way_out("check the path; relative paths start where the command was called"),
            _ => this,
        }
    }
}

impl From<RecordError> for CommandError {
    fn from(error: RecordError) -> Self {
        JournalError::from(error).into()
    }
}

impl From<AskError> for CommandError {
    fn from(error: AskError) -> Self {
        if let AskError::Io(io) = &error
            && io.kind() == std::io::ErrorKind::BrokenPipe
        {
            // Nobody reads any more; the job is paused and its record says so.
            return Self::new(Exit::Paused, "");
        }
        let exit = match &error {
            AskError::NoAnswer { .. } | AskError::Repeated { .. } => Exit::BadData,
            AskError::End | AskError::Interrupted => Exit::Paused,
            AskError::Io(_) => Exit::Io,
        };
        Self::new(exit, error.to_string())
    }
}

impl From<ChooseError> for CommandError {
    fn from(error: ChooseError) -> Self {
        match error {
            ChooseError::Answers(faults) => faults.into(),
            ChooseError::Terminal(error) => Self::new(Exit::Io, "the terminal cannot be used")
                .because(&error)
                .way_out("--plain reads lines from a pipe"),
        }
    }
}

impl From<RunError> for CommandError {
    fn from(error: RunError) -> Self {
        match error {
            RunError::Journal(error) => error.into(),
            RunError::Ask(error) => {
                let error = Self::from(error);
                if error.what.is_empty() {
                    return error;
                }
                error.way_out("every answer given so far is on disk: `slotwise resume` goes on from there")
            }
            RunError::Expand(_) | RunError::NoUnit | RunError::NoRates => Self::new(Exit::BadData, error.to_string()),
        }
    }
}

impl From<std::io::Error> for CommandError {
    /// For the program's own output streams only; files go through `reading` and `writing`, which name them.
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            // Whoever read the output has seen enough: nothing to say, nothing went wrong.
            return Self::new(Exit::Done, "");
        }
        Self::new(Exit::Io, "cannot write to the terminal or pipe").because(&error)
    }
}

impl fmt::Display for CommandError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.what.is_empty() {
            return Ok(());
        }
        writeln!(f, "slotwise: {}", self.what)?;
        for cause in &self.causes {
            writeln!(f, "  because: {cause}")?;
        }
        for hint in &self.way_out {
            writeln!(f, "  way out: {hint}")?;
        }
        Ok(())
    }
}

impl Error for CommandError {}
