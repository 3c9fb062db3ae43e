//! What is asked for on the command line, as a person writes it: a size, an amount.

use crate::stock::Money;
use crate::text::{shown, shown_within};
use crate::units::Size;

/// The size of `--capacity`.
///
/// # Errors
/// Why it is none, and how it is written.
pub fn capacity(text: &str) -> Result<Size, String> {
    if let Some(size) = Size::parse(text).filter(|size| size.mib() > 0) {
        return Ok(size);
    }
    let plain = text.trim();
    let split = plain.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(plain.len());
    let (number, unit) = (&plain[..split], plain[split..].trim());
    let known = ["", "m", "mib", "mb", "g", "gib", "gb", "t", "tib", "tb", "p", "pib", "pb"];
    let why = if plain.starts_with('-') {
        "it is below nothing".to_owned()
    } else if number.is_empty() || number.matches('.').count() > 1 {
        "it has no number before its unit".to_owned()
    } else if unit.starts_with(',') {
        "a fraction is written with a point".to_owned()
    } else if !known.contains(&unit.to_ascii_lowercase().as_str()) {
        format!("the unit `{}` is not known; known are MiB, GiB, TiB and PiB", shown_within(unit, 20))
    } else if number.bytes().all(|b| b == b'0' || b == b'.') {
        "nothing needs no plan".to_owned()
    } else if number.contains('.') {
        "it is no whole number of MiB".to_owned()
    } else {
        "it is more than any memory".to_owned()
    };
    Err(format!("--capacity {} is no size: {why}; write 512GiB or 1.5TiB", shown_within(plain, 60)))
}

/// The amount of `--budget`, with or without the currency of the stock list: `2080`, `2080.50 EUR`, `EUR 2080,50`.
///
/// # Errors
/// Why it is none, and how it is written.
pub fn budget(text: &str, currency: Option<&str>) -> Result<Money, String> {
    let refused = |why: &str| {
        let example =
            currency.map_or_else(|| "1200 or 1200.50".to_owned(), |c| format!("1200 or 1200.50 {}", shown(c)));
        Err(format!("--budget {} is no amount: {why}; write {example}", shown_within(text, 60)))
    };
    let plain = text.trim();
    let words: Vec<&str> = plain.split_whitespace().collect();
    let letters = |word: &&str| word.len() == 3 && word.bytes().all(|b| b.is_ascii_alphabetic());
    let (amount, named) = match words[..] {
        [amount] => match amount.len().checked_sub(3).and_then(|at| amount.split_at_checked(at)) {
            // Written together: `2080EUR`.
            Some((amount, word)) if letters(&word) && !amount.is_empty() => (amount, Some(word)),
            _ => (amount, None),
        },
        [amount, word] if letters(&word) => (amount, Some(word)),
        [word, amount] if letters(&word) => (amount, Some(word)),
        [] => return refused("it is empty"),
        _ => return refused("it is more than one number and a currency of three letters"),
    };
    if let Some(named) = named.filter(|named| currency.is_none_or(|currency| !currency.eq_ignore_ascii_case(named))) {
        let named = named.to_ascii_uppercase();
        let list = currency.map_or_else(
            || format!("names no currency, {} neither", shown(&named)),
            |currency| format!("is in {}, not in {}", shown(currency), shown(&named)),
        );
        return refused(&format!("the stock list {list}"));
    }
    let comma = amount.split_once(',').filter(|_| !amount.contains('.'));
    let plain = match comma {
        Some((_, part)) if part.len() == 3 && part.bytes().all(|b| b.is_ascii_digit()) => {
            return refused("its comma may mean thousands or hundredths");
        }
        Some((whole, part)) => format!("{whole}.{part}"),
        None => amount.to_owned(),
    };
    match Money::parse(&plain) {
        Some(money) => Ok(money),
        None if plain.starts_with('-') => refused("it is below nothing"),
        None if plain.len() > 9 && plain.bytes().all(|b| b.is_ascii_digit()) => refused("it has more than nine digits"),
        None => refused("it is not digits with at most two behind a point"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_as_people_write_them_and_what_is_none_says_why() {
        for (text, gib) in [("512", 512), ("512GiB", 512), ("1.5 TiB", 1536), ("1PiB", 1024 * 1024), ("2048MiB", 2)] {
            assert_eq!(capacity(text), Ok(Size::from_gib(gib)), "{text}");
        }
        for (text, why) in [
            ("-5GiB", "below nothing"),
            ("0GiB", "nothing needs no plan"),
            ("much", "no number before its unit"),
            ("5XB", "the unit `XB` is not known"),
            ("1,5TiB", "a fraction is written with a point"),
            ("1.3MiB", "no whole number of MiB"),
            ("99999999999999TiB", "more than any memory"),
            ("", "no number"),
        ] {
            let error = capacity(text).unwrap_err();
            assert!(error.contains(why) && error.contains("write 512GiB"), "{error}");
        }
    }

    #[test]
    fn a_budget_may_name_the_currency_of_the_list_and_no_other() {
        for text in ["2080", "2080.00", "2080 EUR", "EUR 2080", "2080EUR", "2080,0", " 2080 eur "] {
            assert_eq!(budget(text, Some("EUR")), Ok(Money(208_000)), "{text}");
        }
        for (text, why) in [
            ("2080 USD", "the stock list is in EUR, not in USD"),
            ("-5", "below nothing"),
            ("1,200", "thousands or hundredths"),
            ("12345678901", "more than nine digits"),
            ("1.2.3", "at most two behind a point"),
            ("ten EUR", "at most two behind a point"),
            ("2080 EUR now", "more than one number"),
            ("", "it is empty"),
            ("\u{20ac}2080", "at most two behind a point"),
        ] {
            let error = budget(text, Some("EUR")).unwrap_err();
            assert!(error.contains(why) && error.contains("write 1200 or 1200.50 EUR"), "{error}");
        }
        assert!(budget("2080 EUR", None).unwrap_err().contains("the stock list names no currency, EUR neither"));
    }
}
