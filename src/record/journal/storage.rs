//! What a journal needs from a file, as a seam: the real file, or one that fails on purpose.

use std::fmt;
use std::fs::{File, OpenOptions};
use std::io::{self, BufReader, Read, Seek, SeekFrom, Write};
use std::os::unix::fs::{FileExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};

use super::naming::{self, Unnamed};
use super::whereabouts::{self, Whereabouts, same};

/// What a record's file looks like from outside right now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stand {
    /// Its length in bytes.
    pub length: u64,
    /// Whether its path still names it. A file that was moved or removed takes writes all the same.
    pub named: bool,
}

/// One record's file.
pub trait Storage: fmt::Debug {
    /// Length and whether it is still at its path.
    fn stand(&mut self) -> io::Result<Stand>;
    /// Where the record went when its path no longer names it. A record without any name is written to a new file.
    fn whereabouts(&mut self) -> Whereabouts;
    /// The bytes from the start.
    fn read(&mut self) -> io::Result<Box<dyn Read + '_>>;
    /// Hands the whole line to the system in one call; gives the number of bytes it took.
    fn append(&mut self, line: &[u8]) -> io::Result<usize>;
    /// Waits until what was written is on the disk.
    fn sync(&mut self) -> io::Result<()>;
    /// Writes bytes that stand there already over themselves, so that they are surely among what the next sync waits for.
    fn settle(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()>;
    /// Copies everything from `offset` on into a new file beside the record, on disk when it returns.
    fn keep_aside(&mut self, name: &str, offset: u64) -> io::Result<()>;
    /// The length of a file beside the record; `None` when there is none.
    fn aside(&mut self, name: &str) -> io::Result<Option<u64>>;
    /// Shortens the record to `length` bytes.
    fn cut(&mut self, length: u64) -> io::Result<()>;
    /// Gives a new record its name, if it has none yet, and makes the name in its folder durable: syncing a file does not
    /// (fsync(2)).
    fn sync_folder(&mut self) -> io::Result<()>;
}

/// A record on a file system.
#[derive(Debug)]
pub struct FileStorage {
    file: File,
    /// The name it has now.
    path: PathBuf,
    /// Set until a new record has its first line and its name.
    unnamed: Option<Unnamed>,
}

impl FileStorage {
    /// A new file that nobody else has; fails when the name is taken, be it by a link to nowhere. It gets the name at the
    /// first [`Storage::sync_folder`], so that no reader ever meets a record without its first line; until then it goes
    /// with this value.
    ///
    /// # Errors
    /// Those of open(2).
    pub fn create(path: &Path) -> io::Result<Self> {
        if path.symlink_metadata().is_ok() {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let unnamed = Unnamed::of(path);
        let mut this = Self::with(OpenOptions::new().create_new(true), &unnamed.temporary)?;
        this.unnamed = Some(unnamed);
        Ok(this)
    }

    /// The file at `path`, which must be an ordinary one and no link.
    ///
    /// # Errors
    /// Those of open(2).
    pub fn open(path: &Path) -> io::Result<Self> {
        Self::with(&mut OpenOptions::new(), path)
    }

    fn with(options: &mut OpenOptions, path: &Path) -> io::Result<Self> {
        // O_NONBLOCK: opening a pipe must not wait for its other end.
        let flags = (OFlags::NOFOLLOW | OFlags::NONBLOCK).bits() as i32;
        let file = options.read(true).append(true).custom_flags(flags).open(path)?;
        if !file.metadata()?.is_file() {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        Ok(Self { file, path: path.to_owned(), unnamed: None })
    }

    fn folder(&self) -> &Path {
        folder_of(&self.path)
    }

    /// The open file, for its lock.
    pub fn file(&self) -> &File {
        &self.file
    }
}

/// The folder a path is in.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

impl Storage for FileStorage {
    fn stand(&mut self) -> io::Result<Stand> {
        let open = self.file.metadata()?;
        let named = match self.path.symlink_metadata() {
            Ok(found) => same(&found, &open),
            Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => false,
            Err(error) => return Err(error),
        };
        Ok(Stand { length: open.len(), named })
    }

    fn whereabouts(&mut self) -> Whereabouts {
        whereabouts::of(&self.file, &self.path)
    }

    fn read(&mut self) -> io::Result<Box<dyn Read + '_>> {
        self.file.seek(SeekFrom::Start(0))?;
        Ok(Box::new(BufReader::new(&self.file)))
    }

    fn append(&mut self, line: &[u8]) -> io::Result<usize> {
        loop {
            match self.file.write(line) {
                // Interrupted before anything was taken (write(2)).
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                result => return result,
            }
        }
    }

    fn sync(&mut self) -> io::Result<()> {
        self.file.sync_data()
    }

    fn settle(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        // On Linux a positioned write to a file in append mode goes to its end all the same (pwrite(2), BUGS).
        let flags = fcntl_getfl(&self.file)?;
        fcntl_setfl(&self.file, flags - OFlags::APPEND)?;
        let written = self.file.write_all_at(bytes, offset);
        fcntl_setfl(&self.file, flags)?;
        written
    }

    fn keep_aside(&mut self, name: &str, offset: u64) -> io::Result<()> {
        let path = self.folder().join(name);
        let mut copy =
            OpenOptions::new().write(true).create_new(true).custom_flags(OFlags::NOFOLLOW.bits() as i32).open(&path)?;
        self.file.seek(SeekFrom::Start(offset))?;
        let kept = io::copy(&mut &self.file, &mut copy).and_then(|_| copy.sync_all());
        if kept.is_err() {
            // It is ours, nobody was told of it, and the record still holds all of it.
            let _ = std::fs::remove_file(&path);
        }
        kept?;
        self.sync_folder()
    }

    fn aside(&mut self, name: &str) -> io::Result<Option<u64>> {
        match self.folder().join(name).symlink_metadata() {
            Ok(metadata) => Ok(Some(metadata.len())),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.file.set_len(length)
    }

    fn sync_folder(&mut self) -> io::Result<()> {
        let folder = self.folder().to_owned();
        let sync = || File::open(&folder)?.sync_all();
        let Some(unnamed) = self.unnamed.take() else { return sync() };
        naming::name(&unnamed).inspect_err(|_| unnamed.remove())?;
        // Nobody was told of a record whose name may not last.
        sync().inspect_err(|_| {
            let _ = std::fs::remove_file(&unnamed.path);
        })?;
        self.path = unnamed.path;
        Ok(())
    }
}

impl Drop for FileStorage {
    fn drop(&mut self) {
        if let Some(unnamed) = &self.unnamed {
            unnamed.remove();
        }
    }
}
