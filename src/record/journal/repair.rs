//! Opening a record that a crash may have left with a torn tail.

use std::io::{self, BufReader};
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};

use super::{Journal, JournalError, PROGRAM, Storage};
use crate::record::chain::Head;
use crate::record::read::{damaged, stopped};
use crate::record::{Event, Job, RecordError, Scan, Scanned, SetAside, Torn};

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
    pub fn open_on(
        mut storage: Box<dyn Storage>,
        file: PathBuf,
        at: DateTime<FixedOffset>,
    ) -> Result<Self, JournalError> {
        let found = walk(&mut *storage, &file)?;
        let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let io = |doing| {
            let file = file.clone();
            move |source| JournalError::Io { file, doing, source }
        };
        let mut untold = untold(&mut *storage, &name, &found.job).map_err(io("looking for tails set aside before"))?;
        if let Some(torn) = found.torn {
            let aside = keep(&mut *storage, &name, torn).map_err(io("setting the torn tail aside"))?;
            storage.cut(torn.offset).map_err(io("cutting the torn tail off"))?;
            untold.push((aside, torn.bytes, torn.kind.words().to_owned()));
        }
        // After a failed sync the kernel may hold the last line as clean though it never reached the disk. It is about to
        // count as recorded, so it is written once more, byte for byte over itself, and synced.
        let (offset, last) = &found.last;
        storage.settle(*offset, last).map_err(io("confirming the last line"))?;
        storage.sync().map_err(io("confirming the last line"))?;
        let mut journal = Self {
            file,
            storage,
            head: found.head,
            length: found.length,
            job: found.job,
            failed: None,
            repaired: Vec::new(),
        };
        for (file, bytes, why) in untold {
            let event = Event::TailSetAside { file: file.clone(), bytes, why: why.clone() };
            let line = journal.append(PROGRAM, at, event)?;
            journal.repaired.push(SetAside { line, file, bytes, why });
        }
        Ok(journal)
    }
}

fn walk(storage: &mut dyn Storage, file: &Path) -> Result<Found, JournalError> {
    let input =
        storage.read().map_err(|source| JournalError::Io { file: file.to_owned(), doing: "reading", source })?;
    let mut scan = Scan::new(BufReader::new(input));
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
