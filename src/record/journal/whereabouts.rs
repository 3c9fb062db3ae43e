//! Where a record went that is no longer at its path: moved, replaced or removed while a job runs.
//!
//! What was confirmed is not lost with a name. A removed file is there for as long as it is open, so it is written to a new
//! file before the program ends.

use std::fmt;
use std::fs::{self, File, Metadata};
use std::io::{self, Seek, SeekFrom};
use std::os::fd::AsRawFd;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use super::Storage as _;
use super::storage::{FileStorage, folder_of};
use crate::text::shown;

/// More copies than this beside one record are no accident.
const MOST_COPIES: u32 = 1000;

/// Names that a file system gives a removed file while it is open; they go when it is closed (Linux, fs/nfs/unlink.c;
/// libfuse, lib/fuse.c).
const UNTIL_CLOSED: [&str; 2] = [".nfs", ".fuse_hidden"];

/// Where a record is whose path names something else, or nothing.
#[derive(Debug)]
pub enum Whereabouts {
    /// It was moved and has this name now.
    Moved(PathBuf),
    /// It was moved; only its inode number is known.
    Unknown { inode: u64 },
    /// It was removed; all of it was written to this new file.
    Kept(PathBuf),
    /// It was removed, and writing it to this new file failed.
    Lost { copy: PathBuf, source: io::Error },
    /// It was removed before anything was in it.
    Empty,
}

impl Whereabouts {
    /// The file in which all confirmed lines are.
    pub fn path(&self) -> Option<&Path> {
        match self {
            Self::Moved(path) | Self::Kept(path) => Some(path),
            Self::Unknown { .. } | Self::Lost { .. } | Self::Empty => None,
        }
    }
}

impl fmt::Display for Whereabouts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let named = |path: &Path| shown(&path.to_string_lossy()).to_string();
        match self {
            Self::Moved(path) => write!(f, "it was moved to {}, with all lines before this one", named(path)),
            Self::Unknown { inode } => {
                write!(f, "it was moved, with all lines before this one; find it with: find / -inum {inode}")
            }
            Self::Kept(path) => {
                write!(f, "it was removed or replaced; all lines before this one are in the new copy {}", named(path))
            }
            Self::Lost { copy, source } => {
                write!(f, "it was removed or replaced, and a copy could not be written to {}: {source}", named(copy))
            }
            Self::Empty => f.write_str("it was removed before its first line was written"),
        }
    }
}

/// Whether both describe the same file.
pub(super) fn same(a: &Metadata, b: &Metadata) -> bool {
    (a.dev(), a.ino()) == (b.dev(), b.ino())
}

/// Where the open file is; it is not at `path`.
pub(super) fn of(file: &File, path: &Path) -> Whereabouts {
    let open = match file.metadata() {
        Ok(open) => open,
        Err(source) => return Whereabouts::Lost { copy: path.to_owned(), source },
    };
    let names = names(file, &open, path);
    let passing = |name: &PathBuf| {
        let name = name.file_name().unwrap_or_default().to_string_lossy();
        UNTIL_CLOSED.iter().any(|start| name.starts_with(start))
    };
    if let Some(name) = names.iter().find(|name| !passing(name)) {
        return Whereabouts::Moved(name.clone());
    }
    match (names.is_empty() && open.nlink() > 0, open.len()) {
        (true, _) => Whereabouts::Unknown { inode: open.ino() },
        (false, 0) => Whereabouts::Empty,
        (false, length) => keep(file, length, path),
    }
}

/// The names of an open file that can be found: the one it was opened under or moved to (proc(5), `/proc/pid/fd`), and
/// those in its folder.
fn names(file: &File, open: &Metadata, path: &Path) -> Vec<PathBuf> {
    let moved = fs::read_link(format!("/proc/self/fd/{}", file.as_raw_fd())).ok();
    let beside = fs::read_dir(folder_of(path)).into_iter().flatten().flatten().map(|entry| entry.path());
    let is_it = |name: &PathBuf| name.symlink_metadata().is_ok_and(|found| same(&found, open));
    moved.into_iter().chain(beside).filter(is_it).collect()
}

/// Writes the file to a new one: at its own path when that is free, else beside it.
fn keep(file: &File, length: u64, path: &Path) -> Whereabouts {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let beside = (1..=MOST_COPIES).map(|k| path.with_file_name(format!("{stem}.rescued-{k}.jsonl")));
    // The folder may be gone with the record; whether it could be made shows at the copy.
    let _ = fs::create_dir_all(folder_of(path));
    for copy in std::iter::once(path.to_owned()).chain(beside) {
        match written(file, length, &copy) {
            Ok(()) => return Whereabouts::Kept(copy),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(source) => return Whereabouts::Lost { copy, source },
        }
    }
    Whereabouts::Lost { copy: path.to_owned(), source: io::ErrorKind::AlreadyExists.into() }
}

/// On the disk, under its name, when it returns.
fn written(mut file: &File, length: u64, copy: &Path) -> io::Result<()> {
    let mut storage = FileStorage::create(copy)?;
    file.seek(SeekFrom::Start(0))?;
    if io::copy(&mut file, &mut storage.file())? != length {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    storage.sync()?;
    storage.sync_folder()
}
