//! One writer at a time. The lock is on the record itself, so it leaves no file behind and goes with the process.

use std::fmt;
use std::fs::{self, File, TryLockError};
use std::io::{BufReader, Seek, SeekFrom};
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use super::JournalError;
use crate::record::{Scan, time};
use crate::text::shown;

/// Who seems to hold a record.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Holder {
    /// The process, when it runs on this machine.
    pub process: Option<u32>,
    /// Who wrote the last line, and when.
    pub last: Option<(String, String)>,
}

impl fmt::Display for Holder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.process {
            Some(process) => write!(f, "process {process} on this machine")?,
            None => f.write_str("perhaps on another machine")?,
        }
        match &self.last {
            Some((by, at)) => write!(f, ", last line by {} at {}", shown(by), shown(at)),
            None => Ok(()),
        }
    }
}

/// Takes the lock on a record or says who has it.
pub(super) fn take(file: &File, path: &Path) -> Result<(), JournalError> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(JournalError::InUse {
            file: path.to_owned(),
            holder: Holder { process: process(file), last: last(file) },
        }),
        Err(TryLockError::Error(source)) => Err(JournalError::NoLocks { file: path.to_owned(), source }),
    }
}

/// The process the kernel lists with a lock on this file (proc(5), `/proc/locks`).
fn process(file: &File) -> Option<u32> {
    let metadata = file.metadata().ok()?;
    let (major, minor) = (rustix::fs::major(metadata.dev()), rustix::fs::minor(metadata.dev()));
    let wanted = format!("{major:02x}:{minor:02x}:{}", metadata.ino());
    listed(&fs::read_to_string("/proc/locks").ok()?, &wanted)
}

fn listed(locks: &str, wanted: &str) -> Option<u32> {
    locks.lines().find_map(|line| {
        let fields: Vec<_> = line.split_whitespace().collect();
        match fields.as_slice() {
            [_, "FLOCK", _, "WRITE", process, file, ..] if *file == wanted => process.parse().ok(),
            _ => None,
        }
    })
}

fn last(mut file: &File) -> Option<(String, String)> {
    file.seek(SeekFrom::Start(0)).ok()?;
    let scanned = Scan::new(BufReader::new(file)).map_while(Result::ok).last()?;
    Some((scanned.line.by, time::text(&scanned.line.at)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_process_is_found_by_device_and_inode() {
        let locks = "1: POSIX  ADVISORY  WRITE 11 00:1d:7 0 EOF\n\
                     2: FLOCK  ADVISORY  WRITE 4242 08:02:131090 0 EOF\n\
                     2: -> FLOCK  ADVISORY  WRITE 4343 08:02:131090 0 EOF\n";
        assert_eq!(listed(locks, "08:02:131090"), Some(4242));
        assert_eq!(listed(locks, "08:02:131091"), None);
        assert_eq!(listed("3: FLOCK ADVISORY WRITE -1 08:02:1 0 EOF", "08:02:1"), None);
    }
}
