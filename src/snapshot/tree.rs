//! Reading files of one machine below one folder: `/` for the machine itself, or a copy of its `/proc` and `/sys`.

use std::fmt;
use std::fs::{File, OpenOptions};
use std::io::{self, Read as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

/// The most bytes taken from one file.
const LARGEST: u64 = 16 << 20;
/// The most names taken from one folder.
const MOST_NAMES: usize = 100_000;

/// Why a file was not read.
#[derive(Debug)]
pub(super) enum Unread {
    Missing,
    Refused,
    TooLarge,
    NoPlainFile,
    /// A link leads out of the root, where the files of another machine lie: the one that reads.
    Outside,
    Failed(io::Error),
}

impl fmt::Display for Unread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing => f.write_str("it is not there"),
            Self::Refused => f.write_str("permission denied"),
            Self::TooLarge => write!(f, "it is larger than {} MiB", LARGEST >> 20),
            Self::NoPlainFile => f.write_str("it is not a plain file"),
            Self::Outside => f.write_str("it is a link out of the folder that was given as the machine"),
            Self::Failed(error) => error.fmt(f),
        }
    }
}

impl From<io::Error> for Unread {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => Self::Missing,
            io::ErrorKind::PermissionDenied => Self::Refused,
            _ => Self::Failed(error),
        }
    }
}

/// One machine's files.
pub(super) struct Tree {
    root: PathBuf,
}

impl Tree {
    pub fn at(root: &Path) -> Result<Self, Unread> {
        let root = root.canonicalize()?;
        if root.is_dir() { Ok(Self { root }) } else { Err(Unread::NoPlainFile) }
    }

    /// Whether the folder is the running machine itself.
    pub fn is_machine(&self) -> bool {
        self.root == Path::new("/")
    }

    /// The path below the root with links followed, if it stays below the root.
    fn find(&self, path: &str) -> Result<PathBuf, Unread> {
        let found = self.root.join(path.trim_start_matches('/')).canonicalize()?;
        if found.starts_with(&self.root) { Ok(found) } else { Err(Unread::Outside) }
    }

    /// The bytes of a plain file. Devices, pipes and sockets are not opened: opening one can already do something.
    pub fn read(&self, path: &str) -> Result<Vec<u8>, Unread> {
        let found = self.find(path)?;
        if !found.metadata()?.is_file() {
            return Err(Unread::NoPlainFile);
        }
        // Should it have been exchanged for a pipe in between, opening must not wait for a writer.
        let flags = rustix::fs::OFlags::NONBLOCK | rustix::fs::OFlags::NOCTTY;
        let file: File = OpenOptions::new().read(true).custom_flags(flags.bits() as i32).open(&found)?;
        if !file.metadata()?.is_file() {
            return Err(Unread::NoPlainFile);
        }
        let mut bytes = Vec::new();
        // Files of /proc and /sys do not know their size, so it is the reading that is limited.
        file.take(LARGEST + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > LARGEST { Err(Unread::TooLarge) } else { Ok(bytes) }
    }

    /// Names in a folder that are `prefix` and a number, in the order of the numbers.
    pub fn numbered(&self, path: &str, prefix: &str) -> Vec<String> {
        let Ok(entries) = self.find(path).and_then(|found| Ok(found.read_dir()?)) else { return Vec::new() };
        let mut numbers: Vec<(u32, String)> = entries
            .take(MOST_NAMES)
            .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
            .filter_map(|name| {
                let number = name.strip_prefix(prefix)?;
                let digits = number.bytes().all(|byte| byte.is_ascii_digit());
                digits.then(|| number.parse().ok()).flatten().map(|number| (number, name.clone()))
            })
            .collect();
        numbers.sort();
        numbers.into_iter().map(|(_, name)| name).collect()
    }
}
