//! The file a command writes: whole under its name or not there at all, and never written over what cannot be made again.

use std::fs::{self, File, Metadata, OpenOptions};
use std::io::{self, Read as _, Write};
use std::os::unix::fs::{FileTypeExt as _, MetadataExt as _};
use std::path::{Path, PathBuf};

use super::files::{located, named, open_plain};
use super::ours::{HEAD, kept};
use super::unnamed::{Unnamed, sync_folder};
use super::{CommandError, Exit};
use crate::env::Env;

/// Whether a file that is there already may be replaced.
#[derive(Debug, Clone, Copy, Default, clap::Args)]
pub struct Over {
    /// Replace the file if it exists
    ///
    /// A record, an archive, an input of this command, or a file that people write is never replaced.
    #[arg(long, requires = "output")]
    pub force: bool,
}

/// A file being written. Dropped before [`Output::finish`] it leaves nothing.
pub struct Output {
    given: PathBuf,
    to: To,
}

enum To {
    /// A file that gets its name when it is whole; `over` is the file it replaces.
    File { file: Unnamed, target: PathBuf, over: Option<Identity> },
    /// A pipe or device, written to as it is.
    Stream(File),
}

/// Device and inode: one file, whatever its names are.
type Identity = (u64, u64);

fn identity(found: &Metadata) -> Identity {
    (found.dev(), found.ino())
}

impl Output {
    /// Judges the name and begins the file. Before long work this shows that the result can be kept.
    ///
    /// # Errors
    /// A name through a link; a file that may not be replaced; a folder that cannot be written to. `inputs` are the files and
    /// folders that the command reads.
    pub fn begin(env: &Env, given: &Path, over: Over, inputs: &[&Path]) -> Result<Self, CommandError> {
        let writing = |error: io::Error| CommandError::writing(given, &error);
        let target = located(env, given);
        let given = given.to_owned();
        if let Some(stream) = stream(&target).map_err(writing)? {
            return Ok(Self { given, to: To::Stream(stream) });
        }
        not_through_a_link(&target, &given)?;
        let over = match target.symlink_metadata() {
            Err(error) if error.kind() == io::ErrorKind::NotFound => None,
            Err(error) => return Err(writing(error)),
            Ok(found) if found.is_dir() => return Err(writing(io::ErrorKind::IsADirectory.into())),
            Ok(found) if !found.is_file() => {
                return Err(refused(&given, "is neither a file, a pipe nor a terminal"));
            }
            Ok(found) => {
                let inputs: Vec<PathBuf> = inputs.iter().map(|input| located(env, input)).collect();
                may_replace(&target, &found, &given, &inputs)?;
                if !over.force {
                    return Err(exists(&given));
                }
                Some(identity(&found))
            }
        };
        let file = Unnamed::beside(&target).map_err(writing)?;
        Ok(Self { given, to: To::File { file, target, over } })
    }

    /// Writes `bytes` behind what was written so far.
    ///
    /// # Errors
    /// A disk that fails.
    pub fn put(&mut self, bytes: &[u8]) -> Result<(), CommandError> {
        self.write_all(bytes).map_err(|error| CommandError::writing(&self.given, &error))
    }

    /// Syncs the file, gives it its name, and syncs its folder: when this returns, it survives a power cut.
    ///
    /// # Errors
    /// A disk that fails; a file that has appeared under the name since.
    pub fn finish(self) -> Result<(), CommandError> {
        let Self { given, to } = self;
        let writing = |error: io::Error| match error.kind() {
            io::ErrorKind::AlreadyExists => exists(&given),
            _ => CommandError::writing(&given, &error),
        };
        match to {
            To::Stream(mut stream) => stream.flush().map_err(writing),
            To::File { file, target, over } => {
                let same = |found: Metadata| over == Some(identity(&found));
                if target.symlink_metadata().is_ok_and(same) { file.replace(&target) } else { file.name(&target) }
                    .and_then(|()| sync_folder(&target))
                    .map_err(writing)
            }
        }
    }
}

impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.to {
            To::File { file, .. } => file.write(bytes),
            To::Stream(stream) => stream.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.to {
            To::File { file, .. } => file.flush(),
            To::Stream(stream) => stream.flush(),
        }
    }
}

/// Writes a whole file.
///
/// # Errors
/// As [`Output::begin`] and [`Output::finish`].
pub fn write(env: &Env, given: &Path, over: Over, inputs: &[&Path], bytes: &[u8]) -> Result<(), CommandError> {
    let mut output = Output::begin(env, given, over, inputs)?;
    output.put(bytes)?;
    output.finish()
}

/// The pipe or device of this name, opened; `None` for everything else. The kernel's own names for them, such as
/// `/dev/stdout`, are links that nobody else can make.
fn stream(target: &Path) -> io::Result<Option<File>> {
    let is_stream = |found: &Metadata| found.file_type().is_fifo() || found.file_type().is_char_device();
    let Ok(mut found) = target.symlink_metadata() else { return Ok(None) };
    let folder = target.parent().and_then(|folder| folder.canonicalize().ok());
    if found.is_symlink() && folder.is_some_and(|at| at == Path::new("/dev") || at.starts_with("/proc")) {
        found = fs::metadata(target)?;
    }
    if !is_stream(&found) {
        return Ok(None);
    }
    let stream = OpenOptions::new().write(true).open(target)?;
    let opened = stream.metadata()?;
    if is_stream(&opened) { Ok(Some(stream)) } else { Err(io::ErrorKind::InvalidInput.into()) }
}

/// A link could have been laid by someone else: the name itself is no link for anybody, nor a folder on the way for root.
fn not_through_a_link(target: &Path, given: &Path) -> Result<(), CommandError> {
    let parts = if rustix::process::geteuid().is_root() { usize::MAX } else { 1 };
    let Some(link) = target.ancestors().take(parts).find(|path| path.is_symlink()) else { return Ok(()) };
    let to = fs::read_link(link).unwrap_or_default();
    let what = if link == target { "is a link".to_owned() } else { format!("leads through the link {}", named(link)) };
    let error = refused(given, &format!("{what} to {}, and nothing is written through a link", named(&to)));
    Err(error.way_out(match target.canonicalize() {
        Ok(real) => format!("give the name without links: {}", named(&real)),
        Err(_) => "give a name without links".to_owned(),
    }))
}

fn may_replace(target: &Path, found: &Metadata, given: &Path, inputs: &[PathBuf]) -> Result<(), CommandError> {
    let is_input = |input: &PathBuf| {
        let in_folder = || match (input.canonicalize(), target.canonicalize()) {
            (Ok(folder), Ok(target)) => folder.is_dir() && target.starts_with(folder),
            _ => false,
        };
        fs::metadata(input).is_ok_and(|input| identity(&input) == identity(found)) || in_folder()
    };
    let mut head = Vec::new();
    open_plain(target)
        .and_then(|file| file.take(HEAD).read_to_end(&mut head))
        .map_err(|error| refused(given, "exists and cannot be read, so what it is cannot be known").because(&error))?;
    let what = match kept(target, &head) {
        Some(what) => format!("is {what}; it is never replaced"),
        None if inputs.iter().any(is_input) => "is an input of this command; it is not replaced".to_owned(),
        None => return Ok(()),
    };
    Err(refused(given, &what).way_out("name another file"))
}

fn refused(given: &Path, why: &str) -> CommandError {
    CommandError::new(Exit::CannotCreate, format!("{} {why}; nothing was written", named(given)))
}

fn exists(given: &Path) -> CommandError {
    refused(given, "exists already").way_out("name another file, or add --force to replace this one")
}
