//! Faults of a file and where they are.

use std::fmt;
use std::ops::Range;

use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};

/// One part of the way to a value.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum PathPart {
    Key(String),
    Index(usize),
}

/// The way to a value in a file: `socket[0].channel[2].slot[1].label`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Path(pub Vec<PathPart>);

impl Path {
    /// The path with one more key.
    #[must_use]
    pub fn key(&self, key: &str) -> Self {
        let mut parts = self.0.clone();
        parts.push(PathPart::Key(key.to_owned()));
        Self(parts)
    }

    /// The path with one more index.
    #[must_use]
    pub fn index(&self, index: usize) -> Self {
        let mut parts = self.0.clone();
        parts.push(PathPart::Index(index));
        Self(parts)
    }

    /// This path below another one.
    #[must_use]
    pub fn below(&self, above: &Self) -> Self {
        Self(above.0.iter().chain(&self.0).cloned().collect())
    }

    /// The last key in it, indices passed over.
    pub fn last_key(&self) -> Option<&str> {
        self.0.iter().rev().find_map(|part| match part {
            PathPart::Key(key) => Some(key.as_str()),
            PathPart::Index(_) => None,
        })
    }
}

impl fmt::Display for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, part) in self.0.iter().enumerate() {
            match part {
                PathPart::Key(key) => {
                    if n > 0 {
                        f.write_str(".")?;
                    }
                    crate::text::shown(key).fmt(f)?;
                }
                PathPart::Index(index) => write!(f, "[{index}]")?,
            }
        }
        Ok(())
    }
}

/// One fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    pub path: Path,
    /// Bytes of the source it is about, where known.
    pub span: Option<Range<usize>>,
    /// What is wrong, in one line.
    pub what: String,
    /// What was expected, or the way out.
    pub help: Option<String>,
}

/// The most faults of one file that are kept; one with more is another kind of file.
pub const MOST_FAULTS: usize = 1000;

/// All faults of one file, in line order. Displays as the list a person acts on, source lines drawn, no colour.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults {
    pub file: String,
    pub text: String,
    pub faults: Vec<Fault>,
}

impl Faults {
    /// The faults of `file` in line order, those without a place first.
    pub fn new(file: &str, text: &str, mut faults: Vec<Fault>) -> Self {
        faults.sort_by_key(|fault| fault.span.as_ref().map(|span| (span.start, span.end)));
        faults.dedup();
        faults.truncate(MOST_FAULTS);
        Self { file: file.to_owned(), text: text.to_owned(), faults }
    }

    /// Line and column of a fault, counted from 1, the column in characters; `None` when it is about the whole file.
    pub fn position(&self, fault: &Fault) -> Option<(usize, usize)> {
        let start = fault.span.as_ref()?.start.min(self.text.len());
        let before = self.text.get(..start)?;
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        Some((before.matches('\n').count() + 1, before.get(line_start..)?.chars().count() + 1))
    }

    /// The list a person acts on, with colour.
    pub fn coloured(&self) -> String {
        super::drawn::drawn(self, true)
    }
}

impl std::error::Error for Faults {}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&super::drawn::drawn(self, false))
    }
}

impl Serialize for Faults {
    /// `{"file", "faults": [{"line", "column", "key", "what", "help"}]}`.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct One<'a> {
            line: Option<usize>,
            column: Option<usize>,
            key: String,
            what: &'a str,
            help: Option<&'a str>,
        }
        let faults: Vec<One<'_>> = self
            .faults
            .iter()
            .map(|fault| {
                let (line, column) = self.position(fault).unzip();
                One { line, column, key: fault.path.to_string(), what: &fault.what, help: fault.help.as_deref() }
            })
            .collect();
        let mut map = serializer.serialize_struct("Faults", 2)?;
        map.serialize_field("file", &self.file)?;
        map.serialize_field("faults", &faults)?;
        map.end()
    }
}
