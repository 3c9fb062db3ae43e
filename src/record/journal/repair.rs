//! Opening a record that a crash may have left with a torn tail.

use std::io::{self, BufReader};
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};

use super::{Journal, JournalError, PROGRAM, Storage};
use crate::record::chain::Head;
use crate::record::read::{damaged, stopped};
use crate::record::{Event, Job, RecordError, Scan, Scanned, SetAside, Torn};

/// What is to be done before anything is written.
#[derive(Debug)]
pub(super) struct Pending {
    pub(super) torn: Option<Torn>,
    /// Where the last line begins, and its bytes with the newline.
    last: (u64, Vec<u8>),
}

/// More torn tails than this beside one record are no accident.
const MOST_TAILS: u32 = 1000;

/// A record as found: every whole line folded.
struct Found {
    job: Job,
    head: Head,
    length: u64,
    torn: Option<Torn>,
    /// Where the last line begins, and its bytes with the newline.
    last: (u64, Vec<u8>),
}

impl Journal {
    /// As [`Journal::open`], on a storage that holds a record and is locked.
    ///
    /// # Errors
    /// As [`Journal::open`].
    pub fn open_on(storage: Box<dyn Storage>, file: PathBuf, at: DateTime<FixedOffset>) -> Result<Self, JournalError> {
        let mut journal = Self::look_on(storage, file)?;
        journal.mend(at)?;
        Ok(journal)
    }

    /// As [`Journal::look`], on a storage that holds a record and is locked.
    ///
    /// # Errors
    /// As [`Journal::look`].
    pub fn look_on(mut storage: Box<dyn Storage>, file: PathBuf) -> Result<Self, JournalError> {
        let found = walk(&mut *storage, &file)?;
        Ok(Self {
            file,
            storage,
            head: found.head,
            length: found.length,
            job: found.job,
            failed: None,
            repaired: Vec::new(),
            pending: Some(Pending { torn: found.torn, last: found.last }),
        })
    }

    /// Makes the record fit to be written to: sets aside what a crash left behind the last whole line, with a line at `at`
    /// that says so, and makes sure of the last line. Once is enough.
    ///
    /// # Errors
    /// When the tail cannot be set aside, or the last line not be made durable.
    pub fn mend(&mut self, at: DateTime<FixedOffset>) -> Result<(), JournalError> {
        let Some(pending) = &self.pending else { return Ok(()) };
        let due = self.length + pending.torn.map_or(0, |torn| torn.bytes);
        self.in_place(due).map_err(|failure| self.ends(failure))?;
        let Some(pending) = &mut self.pending else { return Ok(()) };
        let name = self.file.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let io = |doing| {
            let file = self.file.clone();
            move |source| JournalError::Io { file, doing, source }
        };
        let storage = &mut *self.storage;
        let mut untold = untold(storage, &name, &self.job).map_err(io("looking for tails set aside before"))?;
        if let Some(torn) = pending.torn {
            let aside = keep(storage, &name, torn).map_err(io("setting the torn tail aside"))?;
            storage.cut(torn.offset).map_err(io("cutting the torn tail off"))?;
            pending.torn = None;
            untold.push((aside, torn.bytes, torn.kind.words().to_owned()));
        }
        // After a failed sync the kernel may hold the last line as clean though it never reached the disk. It is about to
        // count as recorded, so it is written once more, byte for byte over itself, and synced.
        let (offset, last) = &pending.last;
        storage.settle(*offset, last).map_err(io("confirming the last line"))?;
        storage.sync().map_err(io("confirming the last line"))?;
        self.pending = None;
        for (file, bytes, why) in untold {
            let event = Event::TailSetAside { file: file.clone(), bytes, why: why.clone() };
            let line = self.append(PROGRAM, at, event)?;
            self.repaired.push(SetAside { line, file, bytes, why });
        }
        Ok(())
    }
}

fn walk(storage: &mut dyn Storage, file: &Path) -> Result<Found, JournalError> {
    let input =
        storage.read().map_err(|source| JournalError::Io { file: file.to_owned(), doing: "reading", source })?;
    let mut scan = Scan::keeping_last(BufReader::new(input));
    let mut job: Option<Job> = None;
    let mut begins = 0;
    for step in scan.by_ref() {
        let Scanned { line, offset } = step.map_err(|stop| stopped(file, stop))?;
        let n = line.n;
        let folded = match &mut job {
            Some(job) => job.apply(line),
            None => Job::open(line).map(|opened| job = Some(opened)),
        };
        folded.map_err(|fault| damaged(file, n, fault.into()))?;
        begins = offset;
    }
    let job = job.ok_or_else(|| RecordError::Empty { file: file.to_owned() })?;
    let last = (begins, [scan.last_line(), b"\n"].concat());
    Ok(Found { job, head: scan.head().clone(), length: scan.good_length(), torn: scan.torn(), last })
}

/// Tails beside the record that no line tells of: an opening before this one was itself cut short.
fn untold(storage: &mut dyn Storage, name: &str, job: &Job) -> io::Result<Vec<(String, u64, String)>> {
    let mut untold = Vec::new();
    for k in 1..=MOST_TAILS {
        let aside = aside_name(name, k);
        let Some(bytes) = storage.aside(&aside)? else { break };
        if !job.tails().iter().any(|told| told.file == aside) {
            untold.push((aside, bytes, "an earlier opening set it aside and ended before it could say so".to_owned()));
        }
    }
    Ok(untold)
}

fn keep(storage: &mut dyn Storage, name: &str, torn: Torn) -> io::Result<String> {
    for k in 1..=MOST_TAILS {
        let aside = aside_name(name, k);
        match storage.keep_aside(&aside, torn.offset) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            result => return result.map(|()| aside),
        }
    }
    Err(io::ErrorKind::AlreadyExists.into())
}

fn aside_name(name: &str, k: u32) -> String {
    format!("{name}.torn-{k}")
}

/// Why a record does not open for writing.
pub(super) fn cannot_open(path: &Path, source: io::Error) -> JournalError {
    let file = path.to_owned();
    let is_link = source.raw_os_error() == Some(rustix::io::Errno::LOOP.raw_os_error());
    match source.kind() {
        _ if is_link => RecordError::NotAFile { file }.into(),
        io::ErrorKind::InvalidInput | io::ErrorKind::IsADirectory => RecordError::NotAFile { file }.into(),
        _ => JournalError::Io { file, doing: "opening the record", source },
    }
}
