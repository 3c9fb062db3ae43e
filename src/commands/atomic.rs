//! Writing a file so that a reader, or a power cut, meets the old file or the new one and nothing in between.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::unnamed::{Unnamed, sync_folder};

/// Writes `bytes` to `path`: a new file in the same folder, synced, put in place of the old one, and the folder synced.
/// When this returns, the new file survives a power cut.
///
/// A pipe or device is written to as it is; nothing is ever put in its place.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let Some(target) = target(path)? else { return fs::write(path, bytes) };
    let mut file = Unnamed::beside(&target)?;
    file.write_all(bytes)?;
    file.replace(&target)?;
    sync_folder(&target)
}

/// Whether a file can be written to `path`, asked before long work; nothing is left behind. Of a pipe or device it is only
/// known when it is written to.
pub fn writable(path: &Path) -> io::Result<()> {
    target(path)?.map_or(Ok(()), |target| Unnamed::beside(&target).map(drop))
}

/// The file that is put in place of an old one; `None` for a pipe or device.
fn target(path: &Path) -> io::Result<Option<PathBuf>> {
    match fs::metadata(path) {
        Ok(found) if found.is_dir() => Err(io::ErrorKind::IsADirectory.into()),
        Ok(found) if !found.is_file() => Ok(None),
        // A link stays a link: its target is what is written anew.
        Ok(_) => path.canonicalize().map(Some),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Some(path.to_owned())),
        Err(error) => Err(error),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_made_replaced_and_leaves_nothing_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.json");
        write(&path, b"one").unwrap();
        write(&path, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_link_stays_a_link_and_a_device_a_device() {
        let folder = tempfile::tempdir().unwrap();
        let (path, link) = (folder.path().join("a.json"), folder.path().join("b.json"));
        write(&path, b"one").unwrap();
        std::os::unix::fs::symlink("a.json", &link).unwrap();
        write(&link, b"two").unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(&path).unwrap(), b"two");
        write(Path::new("/dev/null"), b"gone").unwrap();
        assert!(!fs::metadata("/dev/null").unwrap().is_file());
    }

    #[test]
    fn what_cannot_be_written_says_so_and_leaves_the_folder_alone() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(write(folder.path(), b"x").unwrap_err().kind(), io::ErrorKind::IsADirectory);
        let missing = folder.path().join("no/such/a.json");
        assert_eq!(write(&missing, b"x").unwrap_err().kind(), io::ErrorKind::NotFound);
        assert_eq!(writable(folder.path()).unwrap_err().kind(), io::ErrorKind::IsADirectory);
        assert_eq!(writable(&missing).unwrap_err().kind(), io::ErrorKind::NotFound);
        writable(&folder.path().join("a.json")).unwrap();
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
