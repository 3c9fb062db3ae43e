//! What can be wrong with a record, and the way out.

use std::io;
use std::path::{Path, PathBuf};

use super::RuleFault;
use super::chain::LONGEST_LINE;
use super::scan::LARGEST_FILE;
use crate::text::{shown, shown_within};

/// What is wrong with one line.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Wrong {
    #[error("the line is empty")]
    EmptyLine,
    #[error("the line is longer than {LONGEST_LINE} bytes")]
    TooLong,
    #[error("the line ends in CR LF: this is a copy that some program converted")]
    Crlf,
    #[error("the file begins with a byte order mark: this is a copy that some program converted")]
    ByteOrderMark,
    #[error("byte {byte:#04x} at column {column}: a record holds only printable ASCII and line feeds")]
    RawByte { column: usize, byte: u8 },
    #[error("not JSON at column {column}: {}", shown_within(why, 160))]
    NotJson { column: usize, why: String },
    #[error("the key `{}` stands twice", shown(key))]
    DuplicateKey { key: String },
    #[error("a number with a fraction or an exponent: a record holds only whole numbers")]
    Fraction,
    #[error("a number beyond 2^53 - 1: other programs would round it")]
    BigNumber,
    #[error("the record is of format `{}`, this program reads `{}`", shown(found), super::RECORD_FORMAT)]
    Format { found: String },
    #[error("not a record: its first line opens no job")]
    NotARecord,
    #[error("the event `{}` is not one this program knows", shown(event))]
    UnknownEvent { event: String },
    #[error("not a line of a record: {}", shown_within(why, 160))]
    NotALine { why: String },
    #[error(
        "the line holds the right values but not in the form they are written in: it was written by another program"
    )]
    OtherForm,
    #[error("the line says it is number {found}, and number {expected} is due: lines are missing, doubled or swapped")]
    WrongNumber { expected: u64, found: u64 },
    #[error(
        "the chain breaks here: `prev` is {}, and the line before hashes to {expected}: one of the two was changed",
        shown(found)
    )]
    ChainBreak { expected: String, found: String },
    #[error("{0}")]
    Rule(#[from] RuleFault),
}

impl Wrong {
    /// What the person can do about it.
    pub fn way_out(&self) -> &'static str {
        match self {
            Self::Crlf | Self::ByteOrderMark | Self::OtherForm => {
                "use the original file; copy records only as they are, byte for byte"
            }
            Self::Format { .. } | Self::UnknownEvent { .. } => "read it with the version of slotwise that wrote it",
            Self::NotARecord => "name the record of a job, a `.jsonl` file made by `slotwise install`",
            _ => {
                "keep this file as it is, take the last good copy of it, and tell the supervisor; \
                 to go on working, start a new job"
            }
        }
    }
}

/// Why a record cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    #[error("{}: {doing}: {source}", shown(&file.to_string_lossy()))]
    Io { file: PathBuf, doing: &'static str, source: io::Error },
    #[error("{}: not an ordinary file; name the record itself, not a link or a folder", shown(&file.to_string_lossy()))]
    NotAFile { file: PathBuf },
    #[error("{}: the file is empty: the job was never opened; start it again with `slotwise install`", shown(&file.to_string_lossy()))]
    Empty { file: PathBuf },
    /// The very first line was cut while it was written, so nothing was ever confirmed to anyone.
    #[error(
        "{}: the first line is not whole ({why}): the job was never opened; move the file away and start the job again \
         with `slotwise install`",
        shown(&file.to_string_lossy())
    )]
    NeverOpened { file: PathBuf, why: &'static str },
    #[error("{}: larger than {LARGEST_FILE} bytes, which no job makes", shown(&file.to_string_lossy()))]
    TooLarge { file: PathBuf },
    #[error("{}: line {line}: {wrong}; {}", shown(&file.to_string_lossy()), wrong.way_out())]
    Damaged { file: PathBuf, line: u64, wrong: Wrong },
}

impl RecordError {
    /// The file it is about, as it was opened.
    pub fn file(&self) -> &Path {
        match self {
            Self::Io { file, .. }
            | Self::NotAFile { file }
            | Self::Empty { file }
            | Self::NeverOpened { file, .. }
            | Self::TooLarge { file }
            | Self::Damaged { file, .. } => file,
        }
    }

    /// What is wrong with a line, where it is a line.
    pub fn wrong(&self) -> Option<(u64, &Wrong)> {
        match self {
            Self::Damaged { line, wrong, .. } => Some((*line, wrong)),
            _ => None,
        }
    }
}
