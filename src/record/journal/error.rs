//! Why a journal does not go on, and what the person must know then.

use std::io;
use std::path::{Path, PathBuf};

use super::{Holder, Whereabouts};
use crate::record::{RecordError, RuleFault, Wrong};
use crate::text::shown;

/// Why a line did not get onto the disk.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    #[error("the disk is full; free some space")]
    Full,
    #[error("the disk quota of this user is used up; free some space")]
    Quota,
    #[error("only {written} of {due} bytes were taken, most likely because the disk is full; free some space")]
    Short { written: usize, due: usize },
    #[error("the file system is read-only now; have it looked at")]
    ReadOnly,
    #[error("writing failed: {0}")]
    Write(io::Error),
    #[error("the disk did not confirm the line: {0}; have the disk looked at")]
    Sync(io::Error),
    #[error("the file is {found} bytes long and should be {due}: something else wrote to it")]
    Changed { due: u64, found: u64 },
    #[error("the record is no longer at this path: {0}")]
    Gone(Whereabouts),
}

impl Failure {
    pub(super) fn write(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull => Self::Full,
            io::ErrorKind::QuotaExceeded => Self::Quota,
            io::ErrorKind::ReadOnlyFilesystem => Self::ReadOnly,
            _ => Self::Write(error),
        }
    }

    pub(super) fn sync(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull => Self::Full,
            io::ErrorKind::QuotaExceeded => Self::Quota,
            _ => Self::Sync(error),
        }
    }
}

/// Why a journal refuses.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    #[error("`{}` cannot name a job: only a-z, 0-9 and `-`, at most 80", shown(job))]
    BadName { job: String },
    #[error("{}: there is a record of this name already; it is left as it is", shown(&file.to_string_lossy()))]
    Exists { file: PathBuf },
    #[error("{}: {doing}: {source}", shown(&file.to_string_lossy()))]
    Io { file: PathBuf, doing: &'static str, source: io::Error },
    #[error(
        "{}: this job is open in another slotwise ({holder}); finish or pause it there first",
        shown(&file.to_string_lossy())
    )]
    InUse { file: PathBuf, holder: Holder },
    #[error(
        "{}: the folder takes no locks ({source}), so two people could write the same record; keep records in a folder \
         on this machine's own disk",
        shown(&file.to_string_lossy())
    )]
    NoLocks { file: PathBuf, source: io::Error },
    #[error(transparent)]
    Unreadable(#[from] RecordError),
    /// Nothing was written; the journal goes on.
    #[error("{}: not recorded, because it does not follow: {fault}", shown(&file.to_string_lossy()))]
    Rule { file: PathBuf, fault: RuleFault },
    /// Nothing was written; the journal goes on.
    #[error("{}: not recorded, because it could not be read back: {wrong}", shown(&file.to_string_lossy()))]
    Unwritable { file: PathBuf, wrong: Wrong },
    /// Nothing was written; the journal goes on.
    #[error("{}: not recorded: the record is full, no job makes one this large", shown(&file.to_string_lossy()))]
    TooLarge { file: PathBuf },
    /// The journal takes nothing more.
    #[error(
        "{}: this answer is NOT recorded (line {n}): {failure}. Stop here: leave the machine as it is, then resume the \
         job; it shows which step is the next to do",
        shown(&file.to_string_lossy())
    )]
    NotRecorded { file: PathBuf, n: u64, failure: Failure },
    /// The journal took nothing, because of a failure before.
    #[error(
        "{}: this is NOT recorded: the record stopped at line {n} after a failure; resume the job to go on",
        shown(&file.to_string_lossy())
    )]
    Stopped { file: PathBuf, n: u64 },
}

impl JournalError {
    /// Whether the journal takes no more events; the job must be opened again.
    pub fn is_final(&self) -> bool {
        !matches!(self, Self::Rule { .. } | Self::Unwritable { .. } | Self::TooLarge { .. })
    }

    /// Where all confirmed lines are, when the record is no longer at its path.
    pub fn moved_to(&self) -> Option<&Path> {
        match self {
            Self::NotRecorded { failure: Failure::Gone(record), .. } => record.path(),
            _ => None,
        }
    }
}
