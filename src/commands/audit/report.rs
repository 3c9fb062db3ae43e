//! What an audit found.

use std::path::PathBuf;

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use super::Recipe;
use crate::commands::Exit;
use crate::record::Role;
use crate::report::Amended;

/// What a record is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Whole, finished, and signed by someone who may.
    Proven,
    /// Nothing is wrong, and not everything is shown.
    NotProven,
    /// Something in it cannot be as it was written, or as it was signed.
    Wrong,
}

/// How much a trouble weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Grave {
    /// Worth knowing.
    Note,
    /// Something is not shown.
    NotProven,
    Wrong,
}

/// Something to be said about a record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trouble {
    pub grave: Grave,
    /// The line it is about.
    pub line: Option<u64>,
    pub what: String,
}

/// How a job stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Cannot be told: the record is damaged.
    Unknown,
    Open,
    Paused,
    /// The technician stated it with a typed name, or with a key whose signature is missing.
    Stated,
    /// Sealed by the technician's key.
    Signed,
    /// A supervisor looked it through and stated so; with a key when the technician's was one.
    Countersigned,
}

/// One sign-off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SignatureTold {
    pub declared: u64,
    /// The line with the signature; `None` for a typed name.
    pub signed: Option<u64>,
    pub name: String,
    pub role: Role,
    #[serde(serialize_with = "crate::record::time::serialize")]
    pub at: DateTime<FixedOffset>,
    pub statement: String,
    pub reason: Option<String>,
    pub key: Option<String>,
    /// Whether the signature fits the bytes and the key; `None` where there is none.
    pub fits: Option<bool>,
    /// The signers file's line that allows the key; `None` where none does, or no file was given.
    pub allowed_by: Option<usize>,
    /// Whether neither an amendment nor a later sign-off took its place.
    pub stands: bool,
    /// The lines with which anyone repeats the check.
    #[serde(serialize_with = "super::recipe::as_lines")]
    pub check: Option<Recipe>,
}

/// An item passed without its evidence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PassedTold {
    pub line: u64,
    pub step: String,
    pub name: String,
    pub why: String,
}

/// One record, audited.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Report {
    pub file: String,
    pub verdict: Verdict,
    pub state: State,
    pub job: Option<String>,
    pub technician: Option<String>,
    /// Whole lines that were read, and hold together.
    pub lines: u64,
    pub bytes: u64,
    /// SHA-256 of the last of them.
    pub head: String,
    /// Its first 80 bits.
    pub fingerprint: String,
    /// Items asked for, with an answer, and passed without evidence.
    pub items: usize,
    pub answered: usize,
    pub passed: Vec<PassedTold>,
    pub signatures: Vec<SignatureTold>,
    pub amendments: Vec<Amended>,
    /// What is wrong first, then what is not proven, then what is worth knowing.
    pub troubles: Vec<Trouble>,
    /// Where it is, as it was given.
    #[serde(skip)]
    pub path: PathBuf,
    #[serde(skip)]
    pub exit: Option<Exit>,
}

impl Report {
    /// A record of which nothing is known yet.
    pub fn new(file: String) -> Self {
        Self {
            file,
            verdict: Verdict::Proven,
            state: State::Unknown,
            job: None,
            technician: None,
            lines: 0,
            bytes: 0,
            head: String::new(),
            fingerprint: String::new(),
            items: 0,
            answered: 0,
            passed: Vec::new(),
            signatures: Vec::new(),
            amendments: Vec::new(),
            troubles: Vec::new(),
            path: PathBuf::new(),
            exit: None,
        }
    }

    /// A record that could not be read.
    pub fn unread(file: String, exit: Exit, what: String) -> Self {
        let mut report = Self::new(file);
        report.wrong(None, what);
        report.exit = Some(exit);
        report
    }

    /// Something is wrong.
    pub fn wrong(&mut self, line: Option<u64>, what: impl Into<String>) {
        self.verdict = Verdict::Wrong;
        self.troubles.push(Trouble { grave: Grave::Wrong, line, what: what.into() });
    }

    /// Something is not proven.
    pub fn not_proven(&mut self, line: Option<u64>, what: impl Into<String>) {
        self.verdict = self.verdict.max(Verdict::NotProven);
        self.troubles.push(Trouble { grave: Grave::NotProven, line, what: what.into() });
    }

    /// Something is worth knowing.
    pub fn note(&mut self, line: Option<u64>, what: impl Into<String>) {
        self.troubles.push(Trouble { grave: Grave::Note, line, what: what.into() });
    }
}
