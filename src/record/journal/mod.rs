//! The one writer of a record.
//!
//! What it promises: when [`Journal::append`] returns, the line survives a power cut; after any crash the record opens by
//! itself, and at most the one line that was not confirmed is missing; nothing confirmed is ever changed. So a line is one
//! write and one sync, and after any failure of either the journal takes nothing more: a kernel may report a failed sync
//! once and then call the lost pages clean (Linux, Documentation/filesystems/vfs.rst, "Handling errors during writeback"),
//! so trying again on the same open file proves nothing.

mod error;
mod lock;
mod naming;
mod repair;
mod storage;
mod whereabouts;

use std::io;
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};

pub use error::{Failure, JournalError};
pub use lock::Holder;
pub use storage::{FileStorage, Stand, Storage};
pub use whereabouts::Whereabouts;

use repair::Pending;

use super::chain::{self, Head};
use super::scan::LARGEST_FILE;
use super::{Event, Job, Line, Opened, RuleFault, SetAside, Torn, file_name, is_job_id, time};

/// Who writes what nobody said: a tail set aside.
pub const PROGRAM: &str = "slotwise";

/// An open record and the state of its job.
#[derive(Debug)]
pub struct Journal {
    file: PathBuf,
    storage: Box<dyn Storage>,
    head: Head,
    length: u64,
    job: Job,
    /// The line at which a write or sync failed.
    failed: Option<u64>,
    repaired: Vec<SetAside>,
    /// Set until the record as found is fit to be written to.
    pending: Option<Pending>,
}

impl Journal {
    /// Opens a new job: writes the first line into a new file in `folder`, which must exist, and calls it `<job>.jsonl`.
    ///
    /// # Errors
    /// When the name is taken or no job id, or the line cannot be made durable; no file is left then.
    pub fn create(folder: &Path, by: &str, at: DateTime<FixedOffset>, opened: Opened) -> Result<Self, JournalError> {
        if !is_job_id(&opened.job) {
            return Err(JournalError::BadName { job: opened.job });
        }
        let file = folder.join(file_name(&opened.job));
        let storage = FileStorage::create(&file).map_err(|source| match source.kind() {
            io::ErrorKind::AlreadyExists => JournalError::Exists { file: file.clone() },
            _ => JournalError::Io { file: file.clone(), doing: "making the record", source },
        })?;
        // Whatever fails from here on takes the file with it: it has no name yet, and nothing in it was confirmed.
        lock::take(storage.file(), &file)?;
        Self::create_on(Box::new(storage), file, by, at, opened)
    }

    /// As [`Journal::create`], on a storage that is empty.
    ///
    /// # Errors
    /// When the first line cannot be made durable.
    pub fn create_on(
        storage: Box<dyn Storage>,
        file: PathBuf,
        by: &str,
        at: DateTime<FixedOffset>,
        opened: Opened,
    ) -> Result<Self, JournalError> {
        let head = Head::default();
        let event = Event::Opened(Box::new(opened));
        let first = Line { n: 1, at: time::whole_millis(at), by: by.to_owned(), event, prev: head.hash };
        let bytes = bytes_of(&first, &head, &file)?;
        let job = Job::open(first).map_err(|fault| JournalError::Rule { file: file.clone(), fault })?;
        let mut journal =
            Self { file, storage, head, length: 0, job, failed: None, repaired: Vec::new(), pending: None };
        journal.put(bytes)?;
        match journal.storage.sync_folder() {
            Ok(()) => Ok(journal),
            Err(source) if source.kind() == io::ErrorKind::AlreadyExists => {
                Err(JournalError::Exists { file: journal.file })
            }
            Err(source) => Err(JournalError::Io { file: journal.file, doing: "giving the record its name", source }),
        }
    }

    /// Opens the record of a job to go on with it. A tail torn by a crash is set aside first, with a line at `at` that says
    /// so; see [`Journal::repaired`].
    ///
    /// # Errors
    /// When it is no sound record, when someone else has it open, or when the tail cannot be set aside.
    pub fn open(path: &Path, at: DateTime<FixedOffset>) -> Result<Self, JournalError> {
        let mut journal = Self::look(path)?;
        journal.mend(at)?;
        Ok(journal)
    }

    /// As [`Journal::open`], without a change to the record: what a crash left is mended by [`Journal::mend`], or by the first
    /// line that may follow. So a command that ends by refusing leaves the record as it found it.
    ///
    /// # Errors
    /// When it is no sound record, or when someone else has it open.
    pub fn look(path: &Path) -> Result<Self, JournalError> {
        let storage = FileStorage::open(path).map_err(|error| repair::cannot_open(path, error))?;
        lock::take(storage.file(), path)?;
        Self::look_on(Box::new(storage), path.to_owned())
    }

    /// Records one event: one write, one sync. Gives the number of its line, which is then on the disk.
    ///
    /// # Errors
    /// When the event may not follow or cannot be written down, nothing was written and the journal goes on. After a
    /// failed write or sync the journal takes nothing more ([`JournalError::is_final`]).
    pub fn append(&mut self, by: &str, at: DateTime<FixedOffset>, event: Event) -> Result<u64, JournalError> {
        if let Some(n) = self.failed {
            return Err(JournalError::Stopped { file: self.file.clone(), n });
        }
        let mut line = self.due(by, at, event);
        self.job.check(&line).map_err(|fault| self.refuse(fault))?;
        if self.pending.is_some() {
            self.mend(at)?;
            line = self.due(by, at, line.event);
            self.job.check(&line).map_err(|fault| self.refuse(fault))?;
        }
        let n = line.n;
        let bytes = bytes_of(&line, &self.head, &self.file)?;
        if self.length + bytes.len() as u64 + 1 > LARGEST_FILE {
            return Err(JournalError::TooLarge { file: self.file.clone() });
        }
        self.put(bytes)?;
        self.job.apply(line).map_err(|fault| self.refuse(fault))?;
        Ok(n)
    }

    fn due(&self, by: &str, at: DateTime<FixedOffset>, event: Event) -> Line {
        let (n, prev) = (self.head.lines + 1, self.head.hash);
        Line { n, at: time::whole_millis(at), by: by.to_owned(), event, prev }
    }

    fn refuse(&self, fault: RuleFault) -> JournalError {
        JournalError::Rule { file: self.file.clone(), fault }
    }

    /// Writes and syncs one line; any failure ends this journal.
    fn put(&mut self, mut bytes: Vec<u8>) -> Result<(), JournalError> {
        bytes.push(b'\n');
        self.write_and_sync(&bytes).map_err(|failure| self.ends(failure))?;
        self.length += bytes.len() as u64;
        bytes.pop();
        self.head.advance(&bytes);
        Ok(())
    }

    /// Takes nothing more from now on.
    fn ends(&mut self, failure: Failure) -> JournalError {
        let n = self.head.lines + 1;
        self.failed = Some(n);
        JournalError::NotRecorded { file: self.file.clone(), n, failure }
    }

    fn write_and_sync(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        self.in_place(self.length)?;
        match self.storage.append(bytes) {
            Ok(written) if written == bytes.len() => {}
            Ok(written) => return Err(Failure::Short { written, due: bytes.len() }),
            Err(error) => return Err(Failure::write(error)),
        }
        self.storage.sync().map_err(Failure::sync)
    }

    /// Whether the record is at its path and `due` bytes long: what is written to any other file would not be found there.
    fn in_place(&mut self, due: u64) -> Result<(), Failure> {
        let stand = self.storage.stand().map_err(Failure::Write)?;
        if !stand.named {
            return Err(Failure::Gone(self.storage.whereabouts()));
        }
        if stand.length != due {
            return Err(Failure::Changed { due, found: stand.length });
        }
        Ok(())
    }

    /// The state of the job behind the last line on disk.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// Where the record is.
    pub fn path(&self) -> &Path {
        &self.file
    }

    /// Where the chain stands.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// What stands behind the last whole line, while it stands there.
    pub fn torn(&self) -> Option<Torn> {
        self.pending.as_ref()?.torn
    }

    /// The tails set aside by this opening, to be told to the person.
    pub fn repaired(&self) -> &[SetAside] {
        &self.repaired
    }
}

/// The bytes of a line, proven to read back as the same line: nothing is written that no reader would take.
fn bytes_of(line: &Line, head: &Head, file: &Path) -> Result<Vec<u8>, JournalError> {
    let unwritable = |wrong| JournalError::Unwritable { file: file.to_owned(), wrong };
    let bytes = chain::encode(line).map_err(unwritable)?;
    if chain::decode(&bytes, head).map_err(unwritable)? != *line {
        return Err(unwritable(super::Wrong::OtherForm));
    }
    Ok(bytes)
}
