//! A snapshot as a file.

use serde::Deserialize;
use thiserror::Error;

use super::{SNAPSHOT_FORMAT, Snapshot};

/// The most bytes a snapshot file may have.
pub const LARGEST: usize = 16 << 20;

/// Why bytes are no snapshot.
#[derive(Debug, Error)]
pub enum SnapshotFault {
    #[error("a snapshot is at most {} MiB large, this has {length} bytes", LARGEST >> 20)]
    TooLarge { length: usize },
    #[error("line {line}, column {column}: {what}")]
    NotJson { line: usize, column: usize, what: String },
    #[error("the first key `format` is missing; a snapshot has \"{SNAPSHOT_FORMAT}\" there")]
    NoFormat,
    #[error("the format is \"{found}\" and this program reads \"{SNAPSHOT_FORMAT}\"")]
    OtherFormat { found: String },
}

impl From<serde_json::Error> for SnapshotFault {
    fn from(error: serde_json::Error) -> Self {
        // The reader quotes what it met, which may be anything.
        let what = crate::text::shown_within(&error.to_string(), 200).to_string();
        // It also says where, which is said here in front.
        let what = what.rsplit_once(" at line ").map_or(what.as_str(), |(what, _)| what);
        let what = match error.classify() {
            serde_json::error::Category::Eof => "the file is empty or cut off here".to_owned(),
            serde_json::error::Category::Syntax => format!("not JSON ({what})"),
            _ => what.to_owned(),
        };
        Self::NotJson { line: error.line(), column: error.column(), what }
    }
}

/// Reads a snapshot file.
pub fn read_json(bytes: &[u8]) -> Result<Snapshot, SnapshotFault> {
    #[derive(Deserialize)]
    struct Head {
        format: Option<String>,
    }
    if bytes.len() > LARGEST {
        return Err(SnapshotFault::TooLarge { length: bytes.len() });
    }
    let head: Head = serde_json::from_slice(bytes)?;
    match head.format.as_deref() {
        Some(SNAPSHOT_FORMAT) => Ok(serde_json::from_slice(bytes)?),
        Some(other) => Err(SnapshotFault::OtherFormat { found: crate::text::shown(other).to_string() }),
        None => Err(SnapshotFault::NoFormat),
    }
}

/// Writes a snapshot file: indented, with a newline at the end, in ASCII, so that it is safe to print as it is.
pub fn write_json(snapshot: &Snapshot) -> Result<Vec<u8>, serde_json::Error> {
    let mut text = ascii_json(&serde_json::to_string_pretty(snapshot)?);
    text.push('\n');
    Ok(text.into_bytes())
}

/// JSON text with everything outside printable ASCII written as `\uXXXX`. Such characters occur inside strings only, where
/// the escape means the same; without it U+009B or U+202E would reach a terminal.
pub fn ascii_json(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        if matches!(c, ' '..='~' | '\n') {
            out.push(c);
        } else {
            for unit in c.encode_utf16(&mut [0; 2]) {
                out.push_str(&format!("\\u{unit:04x}"));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::{Gap, merge};

    fn sample() -> Snapshot {
        let taken = chrono::DateTime::parse_from_rfc3339("2026-11-25T10:00:00+01:00").unwrap();
        let gap =
            Gap { what: "\u{9b}2J\u{202e}\u{1f600}\u{7f}\u{1b}".into(), costs: String::new(), remedy: String::new() };
        merge(&[]).into_snapshot(taken, vec![gap])
    }

    #[test]
    fn a_snapshot_survives_its_file_and_the_file_is_safe_to_print() {
        let bytes = write_json(&sample()).unwrap();
        assert!(bytes.iter().all(|byte| matches!(byte, b' '..=b'~' | b'\n')));
        assert_eq!(read_json(&bytes).unwrap(), sample());
    }

    #[test]
    fn what_is_no_snapshot_is_refused_with_its_reason() {
        let fault = |bytes: &[u8]| read_json(bytes).unwrap_err().to_string();
        assert!(fault(b"{").starts_with("line 1, column 1: "));
        assert!(fault(b"{}").contains("`format` is missing"));
        assert!(fault(br#"{"format":"slotwise-snapshot/2"}"#).contains("reads \"slotwise-snapshot/1\""));
        assert!(fault(br#"{"format":"\u001b[2J"}"#).contains("\\x1B[2J"));
        assert!(fault(br#"{"format":"slotwise-snapshot/1","extra":1}"#).contains("unknown field `extra`"));
        assert!(fault(&vec![b' '; LARGEST + 1]).contains("at most 16 MiB"));
        let twice = String::from_utf8(write_json(&sample()).unwrap()).unwrap().replacen('{', "{\"gaps\":[],", 1);
        assert!(fault(twice.as_bytes()).contains("duplicate field"));
    }
}
