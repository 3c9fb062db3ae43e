//! A machine's files under a root folder, in memory.

use std::path::{Path, PathBuf};

/// A file or folder could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write {}: {source}", path.display())]
pub struct TreeError {
    pub path: PathBuf,
    pub source: std::io::Error,
}

/// Files by their absolute path on the machine.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tree {
    files: Vec<(String, Vec<u8>)>,
}

impl Tree {
    /// Adds a file; `path` starts with `/`.
    pub(super) fn add(&mut self, path: impl Into<String>, bytes: impl Into<Vec<u8>>) {
        self.files.push((path.into(), bytes.into()));
    }

    /// The files: absolute path and bytes.
    pub fn files(&self) -> &[(String, Vec<u8>)] {
        &self.files
    }

    /// The bytes of one file.
    pub fn file(&self, path: &str) -> Option<&[u8]> {
        self.files.iter().find(|(at, _)| at == path).map(|(_, bytes)| bytes.as_slice())
    }

    /// Writes all files below `root`, in place of what is there.
    ///
    /// # Errors
    /// The first folder or file that cannot be written.
    pub fn write_to(&self, root: &Path) -> Result<(), TreeError> {
        // Folders of an earlier boot would otherwise live on: a memory block that is gone would still count.
        for folder in ["sys/devices/system/memory", "sys/devices/system/node"] {
            let path = root.join(folder);
            match std::fs::remove_dir_all(&path) {
                Err(source) if source.kind() != std::io::ErrorKind::NotFound => return Err(TreeError { path, source }),
                _ => {}
            }
        }
        for (at, bytes) in &self.files {
            let path = root.join(at.trim_start_matches('/'));
            if let Some(folder) = path.parent() {
                std::fs::create_dir_all(folder).map_err(|source| TreeError { path: folder.to_owned(), source })?;
            }
            std::fs::write(&path, bytes).map_err(|source| TreeError { path, source })?;
        }
        Ok(())
    }
}
