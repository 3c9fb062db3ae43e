//! Many records: found in folders, audited side by side.

use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::{Against, Report, audit_one_of_many, unread};
use crate::record::read::open_record;
use crate::record::sign::KnownKeys;
use crate::record::{LARGEST_FILE, RecordError};

/// A record's file, and how it is named to people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordFile {
    pub path: PathBuf,
    pub name: PathBuf,
    /// Not so for a link, a pipe or the like that a folder holds under a record's name: it is told, and not followed.
    pub ordinary: bool,
}

/// The records at a path: itself, or in a folder all `*.jsonl` below it, in order of their names. Folders whose names begin
/// with a dot are left out: what an unpacking that was cut short left behind is no record of the house.
///
/// # Errors
/// A path that is not there, a folder that cannot be read.
pub fn records_in(path: &Path, name: &Path) -> io::Result<Vec<RecordFile>> {
    if !fs::metadata(path)?.is_dir() {
        return Ok(vec![RecordFile { path: path.to_owned(), name: name.to_owned(), ordinary: true }]);
    }
    let mut found = Vec::new();
    let mut folders = vec![path.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder)? {
            let entry = entry?;
            let kind = entry.file_type()?;
            let path = entry.path();
            if kind.is_dir() {
                if !entry.file_name().as_encoded_bytes().starts_with(b".") {
                    folders.push(path);
                }
            } else if path.extension().is_some_and(|extension| extension == "jsonl") {
                found.push((path, kind.is_file()));
            }
        }
    }
    found.sort();
    let named = |(found, ordinary): (PathBuf, bool)| {
        let name = found.strip_prefix(path).map_or_else(|_| found.clone(), |inner| name.join(inner));
        RecordFile { path: found, name, ordinary }
    };
    Ok(found.into_iter().map(named).collect())
}

/// Audits all files, as many at once as there are processors; `progress` is told how many are done.
pub fn audit_files(files: &[RecordFile], against: &Against, progress: &(dyn Fn(usize) + Sync)) -> Vec<Report> {
    let next = AtomicUsize::new(0);
    let done = AtomicUsize::new(0);
    let reports: Mutex<Vec<Option<Report>>> = Mutex::new(files.iter().map(|_| None).collect());
    let workers = std::thread::available_parallelism().map_or(1, usize::from).min(files.len());
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                let mut bytes = Vec::new();
                let mut known = KnownKeys::default();
                while let Some((n, file)) = {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    files.get(n).map(|file| (n, file))
                } {
                    let report = one(file, against, &mut bytes, &mut known);
                    // Nothing panics while it is held.
                    reports.lock().unwrap_or_else(std::sync::PoisonError::into_inner)[n] = Some(report);
                    progress(done.fetch_add(1, Ordering::Relaxed) + 1);
                }
            });
        }
    });
    reports.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner).into_iter().flatten().collect()
}

fn one(file: &RecordFile, against: &Against, bytes: &mut Vec<u8>, known: &mut KnownKeys) -> Report {
    if !file.ordinary {
        return unread(&file.name, RecordError::NotAFile { file: file.name.clone() });
    }
    match read_record(&file.path, bytes) {
        Ok(_) => audit_one_of_many(&file.name, bytes, against, known),
        Err(error) => unread(&file.name, error),
    }
}

/// Reads a record once, into memory: what is checked is then what was read, whatever happens to the file meanwhile. Gives
/// when it was changed last, in seconds since 1970.
///
/// # Errors
/// A file that cannot be read, is no ordinary one, or is larger than any record.
pub fn read_record(file: &Path, bytes: &mut Vec<u8>) -> Result<u64, RecordError> {
    bytes.clear();
    let io = |source| RecordError::Io { file: file.to_owned(), doing: "reading", source };
    let (input, found) = open_record(file)?;
    bytes.reserve(usize::try_from(found.len().min(LARGEST_FILE)).unwrap_or(0) + 1);
    input.take(LARGEST_FILE + 1).read_to_end(bytes).map_err(io)?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(RecordError::TooLarge { file: file.to_owned() });
    }
    let changed = found.modified().ok().and_then(|at| at.duration_since(std::time::UNIX_EPOCH).ok());
    Ok(changed.map_or(0, |since| since.as_secs()))
}
