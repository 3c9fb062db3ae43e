//! A lot: modules of one part with a count, a pack and a price.

use std::fmt;

use crate::module::ModuleSpec;

/// An amount in hundredths of the currency's unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Money(pub u64);

impl Money {
    /// Reads `120`, `120.5`, `120.50`. `None` for anything else, a sign included.
    pub fn parse(text: &str) -> Option<Self> {
        let (whole, part) = text.trim().split_once('.').unwrap_or((text.trim(), ""));
        if whole.is_empty() || whole.len() > 9 || part.len() > 2 {
            return None;
        }
        if !whole.bytes().chain(part.bytes()).all(|b| b.is_ascii_digit()) {
            return None;
        }
        let part: u64 = format!("{part:0<2}").parse().ok()?;
        Some(Self(whole.parse::<u64>().ok()? * 100 + part))
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{}.{:02}", self.0 / 100, self.0 % 100))
    }
}

/// One row of a stock list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lot {
    /// Its name; the row number when the list gives none.
    pub name: String,
    pub part: Option<String>,
    pub spec: ModuleSpec,
    /// Supply voltage in volts as the label class tells it.
    pub volts: Option<String>,
    /// Modules there are.
    pub count: u32,
    /// Sold in multiples of this many modules; 1 for singly.
    pub pack: u32,
    /// Price of one module; zero for what is on hand.
    pub price: Money,
    /// Serials, where the modules are known one by one.
    pub serials: Vec<String>,
}

/// All lots, in one currency.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Stock {
    pub lots: Vec<Lot>,
    /// Three letters, where any row has a price.
    pub currency: Option<String>,
    /// What is odd in the list and was taken all the same.
    pub notes: Vec<String>,
}
