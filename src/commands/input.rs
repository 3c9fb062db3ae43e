//! Files that are named on the command line.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::CommandError;
use crate::env::Env;
use crate::source::Caps;

/// The bytes of a file, read no further than one byte beyond what any reader takes, so that the reader refuses it.
///
/// # Errors
/// When it cannot be read.
pub fn read(env: &Env, path: &Path) -> Result<Vec<u8>, CommandError> {
    let path = env.folder.join(path);
    let most = Caps::WRITTEN.file as u64 + 1;
    let mut bytes = Vec::new();
    File::open(&path)
        .and_then(|file| file.take(most).read_to_end(&mut bytes))
        .map_err(|error| CommandError::reading(&path, &error))?;
    Ok(bytes)
}
