//! How a new record gets its name: in one step, once its first line is on the disk, and never over another file.

use std::fs::{self, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

use rustix::fs::{CWD, RenameFlags, renameat_with};
use rustix::io::Errno;

/// A file that is to be called `path`, and is called `temporary` until then.
#[derive(Debug)]
pub(super) struct Unnamed {
    pub temporary: PathBuf,
    pub path: PathBuf,
}

impl Unnamed {
    /// The temporary name is hidden, is no record's, and is this process's own.
    pub fn of(path: &Path) -> Self {
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        Self { temporary: path.with_file_name(format!(".{name}.new-{}", std::process::id())), path: path.to_owned() }
    }

    /// Nobody was told of it, so nothing is lost.
    pub fn remove(&self) {
        let _ = fs::remove_file(&self.temporary);
    }
}

/// Renames in one step that fails where the name is taken. Not every file system can (NFS cannot, rename(2)): there a
/// second name is linked and the first removed; where there are no links either, the name is first taken by an empty file.
pub(super) fn name(unnamed: &Unnamed) -> io::Result<()> {
    let Unnamed { temporary, path } = unnamed;
    match renameat_with(CWD, temporary, CWD, path, RenameFlags::NOREPLACE) {
        Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => {}
        done => return Ok(done?),
    }
    match fs::hard_link(temporary, path) {
        Ok(()) => {
            unnamed.remove();
            Ok(())
        }
        Err(error) if cannot_link(&error) => {
            OpenOptions::new().write(true).create_new(true).open(path)?;
            fs::rename(temporary, path).inspect_err(|_| {
                let _ = fs::remove_file(path);
            })
        }
        Err(error) => Err(error),
    }
}

/// What link(2) says where the file system has no links.
fn cannot_link(error: &io::Error) -> bool {
    let code = error.raw_os_error().map(Errno::from_raw_os_error);
    matches!(code, Some(Errno::PERM | Errno::OPNOTSUPP | Errno::NOSYS))
}
