//! What is fitted, as a list (CSV): the columns of a stock list with `slot` in place of `lot` and `count`.

use std::collections::BTreeMap;

use super::read::{StockError, from_csv};
use super::{Lot, Stock};

/// Reads a list of fitted modules: slot label and module.
///
/// # Errors
/// All faults of the list, in row order.
pub fn fitted_from_csv(file: &str, bytes: &[u8]) -> Result<BTreeMap<String, Lot>, StockError> {
    // The same reader serves: a slot is a lot of one module.
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(bytes);
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    let mut row = csv::ByteRecord::new();
    let headers: Vec<String> = reader.headers().map(|h| h.iter().map(str::to_owned).collect()).unwrap_or_default();
    let renamed = headers.iter().map(|h| match h.as_str() {
        "slot" => "lot",
        "serial" => "serials",
        other => other,
    });
    let mut good = writer.write_record(renamed.chain(["count"])).is_ok();
    while let Ok(true) = reader.read_byte_record(&mut row) {
        good &= writer.write_record(row.iter().chain([&b"1"[..]])).is_ok();
    }
    let text = writer.into_inner().ok().filter(|_| good).unwrap_or_default();
    let Stock { lots, .. } = from_csv(file, &text)?;
    Ok(lots.into_iter().map(|lot| (lot.name.clone(), lot)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slot_is_a_lot_of_one() {
        let read = fitted_from_csv("f.csv", b"slot,label,serial\nF1-1,32GB 2Rx4 PC4-2666V-RB2-12,S1\n").unwrap();
        assert_eq!((read["F1-1"].count, read["F1-1"].serials.len()), (1, 1));
        assert!(fitted_from_csv("f.csv", b"slot,label\nF1-1,nonsense\n").is_err());
    }
}
