//! Reading a record without writing to it: for verification, audit and review. Takes no lock, and a record that is being
//! written to at this moment reads up to its last whole line.

use std::fs::{File, Metadata, OpenOptions};
use std::io::BufReader;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use super::scan::{Scan, Scanned, Stop, Torn};
use super::{Job, RecordError, Wrong};
use crate::record::chain::Head;

/// Opens a record for reading. What is no file is not waited for.
///
/// # Errors
/// When there is no such file, or it is a folder, a pipe or a device.
pub fn open_record(path: &Path) -> Result<(File, Metadata), RecordError> {
    let io = |source| RecordError::Io { file: path.to_owned(), doing: "opening the record", source };
    let file = OpenOptions::new()
        .read(true)
        .custom_flags(rustix::fs::OFlags::NONBLOCK.bits() as i32)
        .open(path)
        .map_err(io)?;
    let found = file.metadata().map_err(io)?;
    if !found.is_file() {
        return Err(RecordError::NotAFile { file: path.to_owned() });
    }
    Ok((file, found))
}

/// Whether a file that begins like this is a record, however damaged: a line's number comes first, or the zero bytes of what
/// never reached the disk.
pub fn begins_like_a_record(bytes: &[u8]) -> bool {
    const BEGINNING: &[u8] = b"{\"n\":";
    bytes.len() >= BEGINNING.len() && bytes.iter().zip(BEGINNING).all(|(found, due)| found == due || *found == 0)
}

/// The lines of a record, one by one, each checked against the chain.
#[derive(Debug)]
pub struct Lines {
    file: PathBuf,
    scan: Scan<BufReader<File>>,
}

impl Lines {
    /// Opens a record for reading.
    ///
    /// # Errors
    /// When there is no such file, or it is a folder, a pipe or a device.
    pub fn open(path: &Path) -> Result<Self, RecordError> {
        let (file, _) = open_record(path)?;
        Ok(Self { file: path.to_owned(), scan: Scan::new(BufReader::new(file)) })
    }

    /// Where the chain stands behind the lines read so far.
    pub fn head(&self) -> &Head {
        self.scan.head()
    }

    /// What stands behind the last whole line, once all lines are read: a crash, or a line being written at this moment.
    pub fn torn(&self) -> Option<Torn> {
        self.scan.torn()
    }
}

impl Iterator for Lines {
    type Item = Result<Scanned, RecordError>;

    fn next(&mut self) -> Option<Self::Item> {
        let step = self.scan.next()?;
        Some(step.map_err(|stop| stopped(&self.file, stop)))
    }
}

/// A job as its record tells it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    pub job: Job,
    pub head: Head,
    /// See [`Lines::torn`].
    pub torn: Option<Torn>,
}

/// Reads a whole record and folds it.
///
/// # Errors
/// The first thing that is wrong with it.
pub fn job(path: &Path) -> Result<Told, RecordError> {
    let mut lines = Lines::open(path)?;
    let mut job: Option<Job> = None;
    for scanned in &mut lines {
        let line = scanned?.line;
        let n = line.n;
        let folded = match &mut job {
            Some(job) => job.apply(line),
            None => Job::open(line).map(|opened| job = Some(opened)),
        };
        folded.map_err(|fault| damaged(path, n, fault.into()))?;
    }
    let job = job.ok_or_else(|| RecordError::Empty { file: path.to_owned() })?;
    Ok(Told { job, head: lines.head().clone(), torn: lines.torn() })
}

pub(super) fn damaged(file: &Path, line: u64, wrong: Wrong) -> RecordError {
    RecordError::Damaged { file: file.to_owned(), line, wrong }
}

pub(super) fn stopped(file: &Path, stop: Stop) -> RecordError {
    let file = file.to_owned();
    match stop {
        Stop::Io(source) => RecordError::Io { file, doing: "reading", source },
        Stop::TooLarge => RecordError::TooLarge { file },
        Stop::Empty => RecordError::Empty { file },
        Stop::NeverOpened(kind) => RecordError::NeverOpened { file, why: kind.words() },
        // A first line that is no JSON from its first character on was never written by a job.
        Stop::Damaged { line: 1, wrong: Wrong::NotJson { column: 0 | 1, .. } } => damaged(&file, 1, Wrong::NotARecord),
        Stop::Damaged { line, wrong } => RecordError::Damaged { file, line, wrong },
    }
}
