//! Faults of a file and where they are.

use std::fmt;
use std::ops::Range;

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

/// All faults of one file, in line order. Displays as the list a person acts on, source lines drawn, no colour.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults {
    pub file: String,
    pub text: String,
    pub faults: Vec<Fault>,
}

impl std::error::Error for Faults {}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for fault in &self.faults {
            writeln!(f, "{}: {}: {}", self.file, fault.path, fault.what)?;
        }
        Ok(())
    }
}
