//! A stock list (CSV) as lots, and a list of what is fitted.

use std::collections::BTreeMap;

use super::table::{self, Row, rows};
use super::{Lot, Money, RowError, Stock, StockError};
use crate::module::{Generation, Kind, Label, ModuleSpec, is_volts};
use crate::text::shown;
use crate::units::{Mts, Size};

/// The columns a stock list may have.
const COLUMNS: [&str; 15] = [
    "part",
    "label",
    "generation",
    "kind",
    "gib",
    "ranks",
    "width",
    "mts",
    "count",
    "pack",
    "price",
    "currency",
    "serials",
    "lot",
    "volts",
];

/// The columns a list of fitted modules may have.
const FITTED_COLUMNS: [&str; 11] =
    ["slot", "part", "label", "generation", "kind", "gib", "ranks", "width", "mts", "serial", "volts"];

/// The most modules one row may claim.
const MOST: u32 = 1_000_000;

/// Whether a file looks like a stock list or a list of fitted modules, faults or not.
pub fn is_list(bytes: &[u8]) -> bool {
    table::is_list(bytes, &COLUMNS) || table::is_list(bytes, &FITTED_COLUMNS)
}

#[derive(Default)]
struct Seen {
    currency: Option<(String, u64)>,
    serials: BTreeMap<String, u64>,
    names: BTreeMap<String, u64>,
    /// Names of lots whose voltage follows from their generation alone.
    volts_assumed: Vec<String>,
}

impl Seen {
    /// What was taken for granted, in a sentence.
    fn assumed(&self, what: &str) -> Option<String> {
        let names = &self.volts_assumed;
        let first: Vec<String> = names.iter().take(4).map(|name| shown(name).to_string()).collect();
        let more = if names.len() > 4 { format!(" and {} more", names.len() - 4) } else { String::new() };
        let (first, word) = (first.join(", "), if names.len() == 1 { what.to_owned() } else { format!("{what}s") });
        (!names.is_empty()).then(|| {
            format!("no voltage is given for {word} {first}{more}: taken from the generation (DDR4 1.2 V, DDR5 1.1 V)")
        })
    }
}

/// Reads a stock list.
///
/// # Errors
/// All faults of the list, in row order.
pub fn from_csv(file: &str, bytes: &[u8]) -> Result<Stock, StockError> {
    let (rows, mut faults) = rows(bytes, &COLUMNS);
    let (mut stock, mut seen) = (Stock::default(), Seen::default());
    if rows.is_empty() && faults.is_empty() {
        stock.notes.push("the stock list has a header and no rows: only what is fitted can be used".to_owned());
    }
    for row in &rows {
        match read_row(row, "lot", &mut seen, &mut stock.notes) {
            Ok(lot) => stock.lots.push(lot),
            Err(found) => faults.extend(found.into_iter().map(|fault| (row.line, fault))),
        }
    }
    stock.notes.extend(seen.assumed("lot"));
    stock.currency = seen.currency.map(|(currency, _)| currency);
    finish(file, faults, stock)
}

/// Reads a list of fitted modules: a slot a row, the module as in a stock list. Lots carry the slot's label as their
/// name; with each comes its line.
///
/// # Errors
/// All faults of the list, in row order.
pub fn fitted_from_csv(file: &str, bytes: &[u8]) -> Result<Vec<(u64, Lot)>, StockError> {
    let (rows, mut faults) = rows(bytes, &FITTED_COLUMNS);
    let (mut lots, mut seen) = (Vec::new(), Seen::default());
    for row in rows {
        // A slot is a lot of one module.
        let line = row.line;
        let mut row = row;
        if !row.cells.contains_key("slot") {
            faults.push((line, RowError::Needed { column: "slot" }));
            continue;
        }
        row.cells.insert("count", "1".to_owned());
        if let Some(serial) = row.cells.remove("serial") {
            row.cells.insert("serials", serial);
        }
        match read_row(&row, "slot", &mut seen, &mut Vec::new()) {
            Ok(lot) => lots.push((line, lot)),
            Err(found) => faults.extend(found.into_iter().map(|fault| (line, fault))),
        }
    }
    finish(file, faults, lots)
}

fn finish<T>(file: &str, mut faults: Vec<(u64, RowError)>, value: T) -> Result<T, StockError> {
    faults.sort_by_key(|fault| fault.0);
    if faults.is_empty() { Ok(value) } else { Err(StockError { file: file.to_owned(), faults }) }
}

/// One row as a lot; `named` is the column that names it.
fn read_row(row: &Row, named: &'static str, seen: &mut Seen, notes: &mut Vec<String>) -> Result<Lot, Vec<RowError>> {
    let Row { line, cells: row } = row;
    let line = *line;
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
            faults.push(RowError::Number { column, value: text.clone(), least, most });
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
    let generation = row.get("generation").and_then(|text| {
        let found = GENERATIONS.into_iter().find(|g| g.to_string().eq_ignore_ascii_case(text));
        if found.is_none() {
            let expected = "a generation: DDR3, DDR4, DDR5";
            faults.push(RowError::Value { column: "generation", value: text.clone(), expected });
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
    disagree("generation", matches!((spec.generation, generation), (Some(a), Some(b)) if a != b));
    disagree("kind", matches!((spec.kind, kind), (Some(a), Some(b)) if a != b && !stacked_spelling(a, b)));
    disagree("gib", matches!(gib, Some(g) if spec.gib.mib() > 0 && spec.gib != g));
    disagree("ranks", matches!((spec.ranks, ranks), (Some(a), Some(b)) if u32::from(a) != b));
    disagree("width", matches!((spec.width, width), (Some(a), Some(b)) if u32::from(a) != b));
    disagree("mts", matches!((spec.mts, mts), (Some(a), Some(b)) if a.0 != b));
    spec.generation = generation.or(spec.generation);
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
        faults.push(RowError::Needed { column: "count" });
    }
    let pack = number("pack", 1, MOST, &mut faults).unwrap_or(1);
    let price = row.get("price").map_or(Some(Money(0)), |text| match price(text) {
        Ok(price) => Some(price),
        Err(fault) => {
            faults.push(fault);
            None
        }
    });
    take_currency(row, price, line, seen, &mut faults);
    let serials: Vec<String> = row.get("serials").map_or_else(Vec::new, |text| {
        text.split([' ', ';', '|', ',', '\n', '\r', '\t']).filter(|s| !s.is_empty()).map(str::to_owned).collect()
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
    let name = row.get(named).cloned().unwrap_or_else(|| format!("row {line}"));
    if let Some(first) = seen.names.insert(name.clone(), line) {
        faults.push(RowError::Named { column: named, name: name.clone(), first });
    }
    let volts = row.get("volts").and_then(|text| {
        let found = volts(text);
        if found.is_none() {
            let expected = "a supply voltage in volts such as 1.2 or 1.35";
            faults.push(RowError::Value { column: "volts", value: text.clone(), expected });
        }
        found
    });
    let mut volts = volts.or_else(|| label.as_ref().map(|l| l.volts.to_owned()));
    if volts.is_none() {
        volts = spec.generation.and_then(Generation::volts).map(str::to_owned);
        seen.volts_assumed.extend(volts.is_some().then(|| name.clone()));
    }
    let part = row.get("part").cloned();
    if faults.is_empty() {
        Ok(Lot { name, part, spec, volts, count, pack, price: price.unwrap_or_default(), serials })
    } else {
        Err(faults)
    }
}

/// Generations a list may name.
const GENERATIONS: [Generation; 5] =
    [Generation::DDR, Generation::DDR2, Generation::DDR3, Generation::DDR4, Generation::DDR5];

/// A price with a point, or with a comma before one or two digits, where no thousands can be meant.
fn price(text: &str) -> Result<Money, RowError> {
    let comma = text.split_once(',').filter(|_| !text.contains('.'));
    match comma {
        Some((_, part)) if part.len() == 3 && part.bytes().all(|b| b.is_ascii_digit()) => {
            Err(RowError::Comma(text.to_owned()))
        }
        _ => {
            let plain = if comma.is_some() { text.replacen(',', ".", 1) } else { text.to_owned() };
            let expected = "a price such as 120 or 120.50";
            Money::parse(&plain).ok_or_else(|| RowError::Value { column: "price", value: text.to_owned(), expected })
        }
    }
}

/// `1.35`, `1,35` or `1.35 V` as `1.35`, between half a volt and five.
fn volts(text: &str) -> Option<String> {
    let plain = text.trim_end_matches(['V', 'v']).trim().replacen(',', ".", 1);
    is_volts(&plain).then_some(plain)
}

fn take_currency(
    row: &BTreeMap<&'static str, String>,
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
            "1 serial for a count of 2; name all of them or none",
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

    #[test]
    fn decimal_commas_are_read_where_no_thousands_can_be_meant() {
        let list = |price: &str| {
            from_csv(
                "s.csv",
                format!("label;count;price;currency\n32GB 2Rx4 PC4-2666V-RB2-12;4;{price};EUR\n").as_bytes(),
            )
        };
        for (text, hundredths) in [("61,50", 6150), ("61,5", 6150), ("61.50", 6150), ("61", 6100)] {
            assert_eq!(list(text).unwrap().lots[0].price, Money(hundredths), "{text}");
        }
        let error = list("1,200").unwrap_err().to_string();
        assert_eq!(error, "s.csv:2: price `1,200` may be thousands or hundredths; write 1200 or 1.20");
        for text in ["1.200,50", "1,2,3", "-5", "1e3", "1,200.50", "\u{20ac} 5"] {
            assert!(list(text).unwrap_err().to_string().contains("is not a price such as 120 or 120.50"), "{text}");
        }
        // A comma that parts values and one that parts a price cannot be told apart; a quoted one can.
        let error = from_csv("s.csv", b"kind,gib,mts,count,price\nRDIMM,32,2666,4,61,50\n").unwrap_err().to_string();
        assert!(error.contains("s.csv:2: 6 values, and the header names 5; put a value that holds a comma in quotes"));
        let quoted = from_csv("s.csv", b"kind,gib,mts,count,price,currency\nRDIMM,32,2666,4,\"61,50\",EUR\n").unwrap();
        assert_eq!(quoted.lots[0].price, Money(6150));
    }

    #[test]
    fn generation_and_voltage_can_be_given_and_are_judged() {
        let lots =
            from_csv("s.csv", b"generation,kind,gib,mts,count,volts\nddr3,RDIMM,16,1333,4,\"1,35 V\"\n").unwrap().lots;
        assert_eq!((lots[0].spec.generation, lots[0].volts.as_deref()), (Some(Generation::DDR3), Some("1.35")));
        // Where nothing says it, the generation does where it has one alone, and that is noted.
        let text =
            b"generation,kind,gib,mts,count,lot\nDDR4,RDIMM,16,2666,4,a\nDDR3,RDIMM,16,1333,4,b\n,RDIMM,16,2666,4,c\n";
        let stock = from_csv("s.csv", text).unwrap();
        let volts: Vec<Option<&str>> = stock.lots.iter().map(|lot| lot.volts.as_deref()).collect();
        assert_eq!(volts, [Some("1.2"), None, None]);
        assert_eq!(stock.notes, ["no voltage is given for lot a: taken from the generation (DDR4 1.2 V, DDR5 1.1 V)"]);
        let text = b"generation,label,count,volts\nDDR9,16GB 2Rx4 PC4-2666V-R,1,12\nDDR5,16GB 2Rx4 PC4-2666V-R,1,\n";
        let error = from_csv("s.csv", text).unwrap_err().to_string();
        for part in [
            "s.csv:2: generation `DDR9` is not a generation",
            "s.csv:2: volts `12` is not a supply voltage",
            "s.csv:3: label and column generation disagree",
        ] {
            assert!(error.contains(part), "{part} in\n{error}");
        }
    }

    #[test]
    fn a_slot_is_a_lot_of_one() {
        let read = fitted_from_csv("f.csv", b"slot,label,serial\nF1-1,32GB 2Rx4 PC4-2666V-RB2-12,S1\n").unwrap();
        let (line, lot) = &read[0];
        assert_eq!((*line, lot.name.as_str(), lot.count, lot.serials.len()), (2, "F1-1", 1, 1));
        let error = |text: &[u8]| fitted_from_csv("f.csv", text).unwrap_err().to_string();
        assert!(error(b"slot,label\nF1-1,nonsense\n").starts_with("f.csv:2: label: `nonsense` has no"));
        assert!(error(b"slot,label,count\n").contains("column `count` is not known"));
        assert!(error(b"slot,label\n,32GB 2Rx4 PC4-2666V-R\n").contains("f.csv:2: slot is missing"));
        assert_eq!(fitted_from_csv("f.csv", b"slot;label\n").unwrap(), []);
    }

    #[test]
    fn a_list_of_another_sort_is_not_answered_with_thousands_of_lines() {
        let text = format!("label,count\n{}", "nonsense,-1\n".repeat(5000));
        let error = from_csv("s.csv", text.as_bytes()).unwrap_err().to_string();
        assert_eq!(error.lines().count(), 31);
        assert!(error.ends_with("s.csv: and 9970 more"), "{error}");
    }
}
