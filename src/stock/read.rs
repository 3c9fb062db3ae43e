//! A stock list (CSV) as lots: `part, label, kind, gib, ranks, width, mts, count, pack, price, currency, serials, lot`.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use thiserror::Error;

use super::{Lot, Money, Stock};
use crate::module::{Kind, Label, LabelError, ModuleSpec};
use crate::text::shown;
use crate::units::{Mts, Size};

/// The columns a stock list may have.
const COLUMNS: [&str; 14] = [
    "part", "label", "kind", "gib", "ranks", "width", "mts", "count", "pack", "price", "currency", "serials", "lot",
    "volts",
];

/// The most modules one row may claim.
const MOST: u32 = 1_000_000;

/// One thing wrong with a stock list.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum RowError {
    #[error("column `{}` is not known; nearest: `{nearest}`", shown(.column))]
    Column { column: String, nearest: &'static str },
    #[error("the row cannot be read as CSV: {0}")]
    Csv(String),
    #[error("{column} `{}` is not {expected}", shown(.value))]
    Value { column: &'static str, value: String, expected: &'static str },
    #[error(transparent)]
    Label(#[from] LabelError),
    #[error("label and column {column} disagree: `{}` and `{}`", shown(.label), shown(.value))]
    Disagree { column: &'static str, label: String, value: String },
    #[error("{column} is missing; give a whole label or the column")]
    Missing { column: &'static str },
    #[error("currency {} after {} in row {first}: one list, one currency", shown(.this), shown(.other))]
    Currency { this: String, other: String, first: u64 },
    #[error("a price without a currency")]
    NoCurrency,
    #[error("serial `{}` is in row {first} already", shown(.serial))]
    Serial { serial: String, first: u64 },
    #[error("{serials} serials for a count of {count}")]
    SerialCount { serials: usize, count: u32 },
    #[error("a pack of {pack} from a count of {count} never makes one pack")]
    Pack { pack: u32, count: u32 },
    #[error("lot `{}` is named in row {first} already", shown(.lot))]
    Lot { lot: String, first: u64 },
}

/// Everything wrong with a stock list, in row order.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub struct StockError {
    pub file: String,
    /// Line (1 = header) and fault.
    pub faults: Vec<(u64, RowError)>,
}

impl fmt::Display for StockError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, (line, fault)) in self.faults.iter().enumerate() {
            if n > 0 {
                writeln!(f)?;
            }
            write!(f, "{}:{line}: {fault}", shown(&self.file))?;
        }
        Ok(())
    }
}

#[derive(Default)]
struct Seen {
    currency: Option<(String, u64)>,
    serials: BTreeMap<String, u64>,
    lots: BTreeMap<String, u64>,
}

/// Reads a stock list.
///
/// # Errors
/// All faults of the list, in row order.
pub fn from_csv(file: &str, bytes: &[u8]) -> Result<Stock, StockError> {
    let mut faults = Vec::new();
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(false).from_reader(bytes);
    let mut columns = Vec::new();
    match reader.headers() {
        Err(error) => faults.push((1, RowError::Csv(error.to_string()))),
        Ok(headers) => {
            for header in headers {
                let name = header.trim_start_matches('\u{feff}').to_ascii_lowercase();
                match COLUMNS.iter().find(|&&c| c == name) {
                    Some(column) => columns.push(*column),
                    None => {
                        faults.push((1, RowError::Column { column: header.to_owned(), nearest: nearest(&name) }));
                        columns.push("");
                    }
                }
            }
        }
    }
    if faults.is_empty() && !columns.contains(&"count") {
        faults.push((1, RowError::Missing { column: "count" }));
    }
    let (mut stock, mut seen) = (Stock::default(), Seen::default());
    if faults.is_empty() {
        for (index, record) in reader.byte_records().enumerate() {
            let record = match record {
                Ok(record) => record,
                Err(error) => {
                    faults.push((index as u64 + 2, RowError::Csv(error.to_string())));
                    continue;
                }
            };
            let line = record.position().map_or(index as u64 + 2, csv::Position::line);
            let row: BTreeMap<&str, String> = columns
                .iter()
                .zip(record.iter())
                .map(|(column, value)| (*column, String::from_utf8_lossy(value).trim().to_owned()))
                .filter(|(_, value)| !value.is_empty())
                .collect();
            if row.is_empty() {
                continue;
            }
            match read_row(&row, line, &mut seen, &mut stock.notes) {
                Ok(lot) => stock.lots.push(lot),
                Err(found) => faults.extend(found.into_iter().map(|fault| (line, fault))),
            }
        }
    }
    stock.currency = seen.currency.map(|(currency, _)| currency);
    if faults.is_empty() { Ok(stock) } else { Err(StockError { file: file.to_owned(), faults }) }
}

fn read_row(
    row: &BTreeMap<&str, String>,
    line: u64,
    seen: &mut Seen,
    notes: &mut Vec<String>,
) -> Result<Lot, Vec<RowError>> {
    let mut faults = Vec::new();
    let label = row.get("label").and_then(|text| match Label::parse(text) {
        Ok(label) => {
            if let Some(doubt) = label.doubt() {
                notes.push(format!("row {line}: {doubt}"));
            }
            Some(label)
        }
        Err(error) => {
            faults.push(error.into());
            None
        }
    });
    let broken = !faults.is_empty();
    let printed = row.get("label").cloned().unwrap_or_default();
    let number = |column: &'static str, least: u32, most: u32, faults: &mut Vec<RowError>| -> Option<u32> {
        let text = row.get(column)?;
        let value = text.parse::<u32>().ok().filter(|v| (least..=most).contains(v));
        if value.is_none() {
            let expected =
                if column == "mts" { "a rate in MT/s (100 to 20000)" } else { "a whole number in its limits" };
            faults.push(RowError::Value { column, value: text.clone(), expected });
        }
        value
    };
    let kind = row.get("kind").and_then(|text| {
        let found = kind_named(text);
        if found.is_none() {
            let expected = "a kind: UDIMM, ECC-UDIMM, RDIMM, LRDIMM, 3DS-RDIMM, 3DS-LRDIMM, MRDIMM, SODIMM, ECC-SODIMM";
            faults.push(RowError::Value { column: "kind", value: text.clone(), expected });
        }
        found
    });
    let gib = row.get("gib").and_then(|text| {
        let size = Size::parse(text).filter(|s| s.mib() > 0 && *s <= Size::from_gib(4096));
        if size.is_none() {
            faults.push(RowError::Value { column: "gib", value: text.clone(), expected: "a module's size in GiB" });
        }
        size
    });
    let ranks = number("ranks", 1, 64, &mut faults);
    let width = number("width", 4, 32, &mut faults);
    let mts = number("mts", 100, 20_000, &mut faults);
    let mut spec =
        ModuleSpec { generation: None, kind: None, gib: Size::default(), ranks: None, width: None, mts: None };
    if let Some(label) = &label {
        spec.generation = Some(label.generation);
        spec.kind = label.kind;
        spec.gib = label.gib.unwrap_or_default();
        spec.ranks = label.ranks();
        spec.width = label.width;
        spec.mts = Some(label.mts);
    }
    let mut disagree = |column, differs: bool| {
        if differs {
            let value = row.get(column).cloned().unwrap_or_default();
            faults.push(RowError::Disagree { column, label: printed.clone(), value });
        }
    };
    disagree("kind", matches!((spec.kind, kind), (Some(a), Some(b)) if a != b && !stacked_spelling(a, b)));
    disagree("gib", matches!(gib, Some(g) if spec.gib.mib() > 0 && spec.gib != g));
    disagree("ranks", matches!((spec.ranks, ranks), (Some(a), Some(b)) if u32::from(a) != b));
    disagree("width", matches!((spec.width, width), (Some(a), Some(b)) if u32::from(a) != b));
    disagree("mts", matches!((spec.mts, mts), (Some(a), Some(b)) if a.0 != b));
    spec.kind = kind.or(spec.kind);
    spec.gib = gib.unwrap_or(spec.gib);
    spec.ranks = ranks.map(|r| r as u8).or(spec.ranks);
    spec.width = width.map(|w| w as u8).or(spec.width);
    spec.mts = mts.map(Mts).or(spec.mts);
    if !broken {
        for (column, missing) in
            [("kind", spec.kind.is_none()), ("gib", spec.gib.mib() == 0), ("mts", spec.mts.is_none())]
        {
            if missing && !row.contains_key(column) {
                faults.push(RowError::Missing { column });
            }
        }
    }
    let count = number("count", 0, MOST, &mut faults);
    if !row.contains_key("count") {
        faults.push(RowError::Missing { column: "count" });
    }
    let pack = number("pack", 1, MOST, &mut faults).unwrap_or(1);
    let price = row.get("price").map_or(Some(Money(0)), |text| {
        let price = Money::parse(text);
        if price.is_none() {
            let expected = "a price such as 120 or 120.50";
            faults.push(RowError::Value { column: "price", value: text.clone(), expected });
        }
        price
    });
    take_currency(row, price, line, seen, &mut faults);
    let serials: Vec<String> = row.get("serials").map_or_else(Vec::new, |text| {
        text.split([' ', ';', '|']).filter(|s| !s.is_empty()).map(str::to_owned).collect()
    });
    for serial in &serials {
        if let Some(first) = seen.serials.insert(serial.clone(), line) {
            faults.push(RowError::Serial { serial: serial.clone(), first });
        }
    }
    let count = count.unwrap_or(0);
    if !serials.is_empty() && serials.len() != count as usize {
        faults.push(RowError::SerialCount { serials: serials.len(), count });
    }
    if pack > 1 && count > 0 && pack > count {
        faults.push(RowError::Pack { pack, count });
    }
    let name = row.get("lot").cloned().unwrap_or_else(|| format!("row {line}"));
    if let Some(first) = seen.lots.insert(name.clone(), line) {
        faults.push(RowError::Lot { lot: name.clone(), first });
    }
    let volts = row.get("volts").cloned().or_else(|| label.as_ref().map(|l| l.volts.to_owned()));
    let part = row.get("part").cloned();
    if faults.is_empty() {
        Ok(Lot { name, part, spec, volts, count, pack, price: price.unwrap_or_default(), serials })
    } else {
        Err(faults)
    }
}

fn take_currency(
    row: &BTreeMap<&str, String>,
    price: Option<Money>,
    line: u64,
    seen: &mut Seen,
    faults: &mut Vec<RowError>,
) {
    match (row.get("currency"), &seen.currency) {
        (Some(this), _) if this.len() != 3 || !this.bytes().all(|b| b.is_ascii_alphabetic()) => {
            let expected = "three letters such as EUR";
            faults.push(RowError::Value { column: "currency", value: this.clone(), expected });
        }
        (Some(this), Some((other, first))) if !this.eq_ignore_ascii_case(other) => {
            faults.push(RowError::Currency { this: this.clone(), other: other.clone(), first: *first });
        }
        (Some(this), None) => seen.currency = Some((this.to_ascii_uppercase(), line)),
        (None, _) if price.is_some_and(|p| p.0 > 0) => faults.push(RowError::NoCurrency),
        _ => {}
    }
}

/// A kind by its JEDEC name, hyphens and case set aside.
fn kind_named(text: &str) -> Option<Kind> {
    use Kind::{EccSodimm, EccUdimm, FbDimm, LRDIMM, Lrdimm3ds, MRDIMM, NVDIMM, RDIMM, Rdimm3ds, SODIMM, UDIMM};
    let plain = |s: &str| s.to_ascii_uppercase().replace(['-', ' ', '_'], "");
    [UDIMM, EccUdimm, RDIMM, LRDIMM, Rdimm3ds, Lrdimm3ds, MRDIMM, SODIMM, EccSodimm, FbDimm, NVDIMM]
        .into_iter()
        .find(|kind| plain(kind.name()) == plain(text))
}

/// A label in logical ranks (`8Rx4`) does not show its stack, so a plain kind agrees with the stacked one.
fn stacked_spelling(label: Kind, column: Kind) -> bool {
    matches!((label, column), (Kind::RDIMM, Kind::Rdimm3ds) | (Kind::LRDIMM, Kind::Lrdimm3ds))
}

/// The known column nearest to `name`, by single-letter edits.
fn nearest(name: &str) -> &'static str {
    let letters: BTreeSet<char> = name.chars().collect();
    COLUMNS
        .iter()
        .copied()
        .min_by_key(|column| {
            let other: BTreeSet<char> = column.chars().collect();
            (letters.symmetric_difference(&other).count(), column.len().abs_diff(name.len()))
        })
        .unwrap_or("part")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_alone_is_enough() {
        let stock = from_csv("s.csv", b"label,count\n32GB 2Rx4 PC4-2666V-RB2-12,16\n").unwrap();
        assert_eq!(stock.lots[0].spec.to_string(), "32 GiB DDR4 RDIMM 2Rx4 2666 MT/s");
        assert_eq!((stock.lots[0].count, stock.lots[0].pack, stock.lots[0].name.as_str()), (16, 1, "row 2"));
    }

    #[test]
    fn every_fault_is_told_with_its_row() {
        let text = "kind,gib,mts,count,pack,price,currency,serials,lot\n\
            RDIMM,32,2666,-4,1,10,EUR,,a\n\
            XDIMM,32,2666,4,1,10,USD,,b\n\
            RDIMM,0,2666,2,1,1e3,EUR,S1 S1,a\n\
            RDIMM,16,2666,2,4,10,,S9,c\n";
        let error = from_csv("s.csv", text.as_bytes()).unwrap_err().to_string();
        for part in [
            "s.csv:2: count `-4`",
            "s.csv:3: kind `XDIMM`",
            "currency USD after EUR",
            "gib `0`",
            "price `1e3`",
            "serial `S1`",
            "lot `a`",
            "s.csv:5: a price without",
            "1 serials for a count of 2",
            "pack of 4",
        ] {
            assert!(error.contains(part), "{part} in\n{error}");
        }
    }

    #[test]
    fn an_unknown_column_names_the_nearest() {
        let error = from_csv("s.csv", b"parts,count\nx,1\n").unwrap_err().to_string();
        assert!(error.contains("`parts` is not known; nearest: `part`"), "{error}");
    }
}
