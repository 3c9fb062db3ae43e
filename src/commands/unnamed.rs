//! A file that has no name until it is whole: who is killed while it is written leaves nothing behind.

use std::fs::{self, File, Permissions};
use std::io::{self, Write};
use std::os::fd::AsRawFd as _;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use rustix::fs::{AtFlags, CWD, Mode, OFlags, RenameFlags, linkat, openat, renameat_with};
use rustix::io::Errno;
use tempfile::TempPath;

/// How the hidden names begin under which a file is written where the file system knows none without (NFS for one).
const HIDDEN: &str = ".slotwise-";

/// As any new file: what the umask leaves.
const MODE: u32 = 0o666;

/// A file being written, in the folder it will stand in.
#[derive(Debug)]
pub struct Unnamed {
    file: File,
    folder: PathBuf,
    /// Its hidden name, where it cannot be without; gone with this value.
    hidden: Option<TempPath>,
}

impl Unnamed {
    /// An empty file beside which `target` will stand.
    ///
    /// # Errors
    /// A folder that is not there or cannot be written to.
    pub fn beside(target: &Path) -> io::Result<Self> {
        let folder = match target.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        match nameless(folder) {
            Ok(Some(file)) => Ok(Self { file, folder: folder.to_owned(), hidden: None }),
            Ok(None) => Self::hidden(folder),
            Err(error) => Err(error.into()),
        }
    }

    /// As [`Unnamed::beside`], where the file system knows no file without a name.
    fn hidden(folder: &Path) -> io::Result<Self> {
        let (file, path) = tempfile::Builder::new()
            .prefix(HIDDEN)
            .permissions(Permissions::from_mode(MODE))
            .tempfile_in(folder)
            .map_err(|error| io::Error::from(error.kind()))?
            .into_parts();
        Ok(Self { file, folder: folder.to_owned(), hidden: Some(path) })
    }

    /// Syncs it and gives it its name in one step, never over a file that has it. The folder is still to be synced.
    ///
    /// # Errors
    /// [`io::ErrorKind::AlreadyExists`] when the name is taken; a disk that fails.
    pub fn name(self, target: &Path) -> io::Result<()> {
        self.file.sync_all()?;
        match self.hidden {
            None => Ok(linkat(CWD, here(&self.file), CWD, target, AtFlags::SYMLINK_FOLLOW)?),
            Some(hidden) => {
                match renameat_with(CWD, &*hidden, CWD, target, RenameFlags::NOREPLACE) {
                    // No such step: a second name, and the first is taken away.
                    Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => fs::hard_link(&hidden, target)?,
                    done => {
                        done?;
                        let _ = hidden.keep();
                    }
                }
                Ok(())
            }
        }
    }

    /// Syncs it and gives it its name in one step, in place of a file that has it. The folder is still to be synced.
    ///
    /// # Errors
    /// A disk that fails.
    pub fn replace(self, target: &Path) -> io::Result<()> {
        self.file.sync_all()?;
        let link = |path: &Path| linkat(CWD, here(&self.file), CWD, path, AtFlags::SYMLINK_FOLLOW);
        let hidden = match self.hidden {
            Some(hidden) => hidden,
            None => match link(target) {
                // No step does both, so it has a hidden name for as long as the next step takes.
                Err(Errno::EXIST) => tempfile::Builder::new()
                    .prefix(HIDDEN)
                    .make_in(&self.folder, |path| Ok(link(path)?))
                    .map_err(|error| io::Error::from(error.kind()))?
                    .into_temp_path(),
                done => return Ok(done?),
            },
        };
        hidden.persist(target).map_err(|error| error.error)
    }
}

impl Write for Unnamed {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// A file without a name, which can be given one; `None` where the file system or the machine knows none such
/// (open(2), `O_TMPFILE`: which errors say so; /proc gives it its name).
fn nameless(folder: &Path) -> Result<Option<File>, Errno> {
    let flags = OFlags::TMPFILE | OFlags::RDWR | OFlags::CLOEXEC;
    match openat(CWD, folder, flags, Mode::from_raw_mode(MODE)) {
        Ok(file) => {
            let file = File::from(file);
            Ok(here(&file).exists().then_some(file))
        }
        Err(Errno::OPNOTSUPP | Errno::ISDIR | Errno::INVAL) => Ok(None),
        Err(error) => Err(error),
    }
}

/// The name of an open file for as long as it is open.
fn here(file: &File) -> PathBuf {
    PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()))
}

/// Syncs the folder a file was named in, so that the name survives a power cut.
///
/// # Errors
/// A disk that fails.
pub fn sync_folder(of: &Path) -> io::Result<()> {
    let folder = of.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// With and without a hidden name on the way: whole under its name or not there at all, and never over another.
    #[test]
    fn a_file_is_named_when_it_is_whole_and_takes_no_other_files_name() {
        for hidden in [false, true] {
            let folder = tempfile::tempdir().unwrap();
            let target = folder.path().join("a.tar");
            let begin = || {
                let mut file = if hidden { Unnamed::hidden(folder.path()) } else { Unnamed::beside(&target) }.unwrap();
                file.write_all(b"whole").unwrap();
                file
            };
            let file = begin();
            assert_eq!(names(folder.path()).len(), usize::from(hidden), "{:?}", names(folder.path()));
            file.name(&target).unwrap();
            assert_eq!(
                (names(folder.path()), fs::read(&target).unwrap()),
                (vec!["a.tar".to_owned()], b"whole".to_vec())
            );
            assert_eq!(begin().name(&target).unwrap_err().kind(), io::ErrorKind::AlreadyExists);
            fs::write(&target, "old").unwrap();
            begin().replace(&target).unwrap();
            assert_eq!(
                (names(folder.path()), fs::read(&target).unwrap()),
                (vec!["a.tar".to_owned()], b"whole".to_vec())
            );
            drop(begin());
            assert_eq!(names(folder.path()), ["a.tar"]);
        }
    }

    #[test]
    fn what_cannot_be_written_says_why() {
        let folder = tempfile::tempdir().unwrap();
        let missing = Unnamed::beside(&folder.path().join("no/a.tar")).unwrap_err();
        assert_eq!(missing.kind(), io::ErrorKind::NotFound);
        fs::write(folder.path().join("file"), "").unwrap();
        let file = Unnamed::beside(&folder.path().join("file/a.tar")).unwrap_err();
        assert_eq!(file.kind(), io::ErrorKind::NotADirectory);
    }
}
