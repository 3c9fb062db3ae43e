//! What can be wrong with a list of modules.

use std::fmt;

use thiserror::Error;

use crate::module::LabelError;
use crate::text::shown;

/// Faults shown in full; a list in another format has thousands of one sort.
const SHOWN: usize = 30;

/// One thing wrong with a list.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum RowError {
    #[error("the file is empty; its first line names the columns, such as `label,count`")]
    Empty,
    #[error("the file is UTF-16; save the list as CSV in UTF-8")]
    Utf16,
    #[error("column `{}` is not known; nearest: `{nearest}`", shown(.column))]
    Column { column: String, nearest: &'static str },
    #[error("column `{column}` stands twice; keep one of them")]
    Twice { column: &'static str },
    #[error("the row cannot be read as CSV: {}", shown(.0))]
    Csv(String),
    #[error("{has}, and the header names {header}; {help}", has = crate::source::counted(*has, "value"))]
    Length { has: usize, header: usize, help: &'static str },
    #[error("{column} holds a line break; write it in one line, and close every quote")]
    LineBreak { column: &'static str },
    #[error("{column} `{}` is not UTF-8; save the list as CSV in UTF-8", shown(.value))]
    NotUtf8 { column: &'static str, value: String },
    #[error("{column} `{}` is not {expected}", shown(.value))]
    Value { column: &'static str, value: String, expected: &'static str },
    #[error("{column} `{}` is not a whole number from {least} to {most}", shown(.value))]
    Number { column: &'static str, value: String, least: u32, most: u32 },
    #[error("price `{}` may be thousands or hundredths; write 1200 or 1.20", shown(.0))]
    Comma(String),
    #[error("label: {0}")]
    Label(#[from] LabelError),
    #[error("label and column {column} disagree: `{}` and `{}`", shown(.label), shown(.value))]
    Disagree { column: &'static str, label: String, value: String },
    #[error("{column} is missing; give a whole label or the column")]
    Missing { column: &'static str },
    #[error("{column} is missing; every row has one")]
    Needed { column: &'static str },
    #[error("currency {} after {} in row {first}: one list, one currency", shown(.this), shown(.other))]
    Currency { this: String, other: String, first: u64 },
    #[error("a price without a currency; add the column `currency`, such as EUR")]
    NoCurrency,
    #[error("serial `{}` is in row {first} already: a serial names one module; correct one of the two", shown(.serial))]
    Serial { serial: String, first: u64 },
    #[error("{} for a count of {count}; name all of them or none", crate::source::counted(*serials, "serial"))]
    SerialCount { serials: usize, count: u32 },
    #[error("a pack of {pack} from a count of {count} never makes one pack; count is in modules")]
    Pack { pack: u32, count: u32 },
    #[error("{column} `{}` is named in row {first} already", shown(.name))]
    Named { column: &'static str, name: String, first: u64 },
}

/// Everything wrong with a list, in row order.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub struct StockError {
    pub file: String,
    /// Line (1 = header) and fault.
    pub faults: Vec<(u64, RowError)>,
}

impl fmt::Display for StockError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, (line, fault)) in self.faults.iter().take(SHOWN).enumerate() {
            if n > 0 {
                writeln!(f)?;
            }
            write!(f, "{}:{line}: {fault}", shown(&self.file))?;
        }
        match self.faults.len().saturating_sub(SHOWN) {
            0 => Ok(()),
            more => write!(f, "\n{}: and {more} more", shown(&self.file)),
        }
    }
}
