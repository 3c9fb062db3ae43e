//! A shop's own rates from what its records came to.

use rust_decimal::Decimal;

use super::rates::{Figure, Rates};

/// What one or more records came to alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// As a verdict's `what`: `seating`, `module`, …; two joined by ` and `.
    pub verdict: String,
    /// What it turned out to be afterwards, in the same words, where anybody found out: it counts in place of the verdict.
    pub cause: Option<String>,
    /// Insertions each of these records took in the slot that was named.
    pub insertions: u32,
    /// How many records came to this.
    pub records: u32,
}

/// How many verdicts the rates gone by so far count as: a shop's first few verdicts do not overturn them.
pub const PRIOR_VERDICTS: u32 = 20;

/// How many insertions the probability of clearing a bad seating gone by so far counts as.
pub const PRIOR_INSERTIONS: u32 = 50;

/// Rates with the shares and the probability of clearing a bad seating learnt from outcomes; the rest is as in `base`.
/// Each learnt number says what it is from. `none`, `rules` and no verdict are no fault and are not counted; of two causes
/// each counts half. Without outcomes numbers stay as they are.
///
/// Both are means of a Dirichlet (Beta) distribution whose mean before was `base`: (count + weight · before) / (all +
/// weight). A bad seating was cleared by one of its slot's insertions; those made after it held make the number too low,
/// never too high.
pub fn learnt(base: &Rates, name: &str, outcomes: &[Outcome]) -> Rates {
    let mut rates = Rates { name: name.to_owned(), ..base.clone() };
    // In halves, so that a verdict of two causes stays a whole number.
    let mut halves = [0u64; KINDS.len()];
    let (mut cleared, mut insertions) = (0u64, 0u64);
    for outcome in outcomes {
        let records = u64::from(outcome.records);
        let what = outcome.cause.as_ref().unwrap_or(&outcome.verdict);
        let named: Vec<usize> =
            what.split(super::JOINED).filter_map(|what| KINDS.iter().position(|kind| *kind == what)).collect();
        match named.as_slice() {
            [one] => halves[*one] += 2 * records,
            [one, other] => {
                halves[*one] += records;
                halves[*other] += records;
            }
            _ => {}
        }
        if what == "seating" && outcome.insertions > 0 {
            cleared += records;
            insertions += records * u64::from(outcome.insertions);
        }
    }
    let verdicts = halves.iter().sum::<u64>() / 2;
    if verdicts > 0 {
        let weight = Decimal::from(PRIOR_VERDICTS);
        let source = format!(
            "learnt from {verdicts} verdicts; before them {PRIOR_VERDICTS} verdicts' worth of \"{}\"",
            base.name
        );
        let all = Decimal::from(verdicts) + weight;
        let before: Vec<Decimal> = shares(&mut rates).iter().map(|figure| decimal(figure)).collect();
        let mut values: Vec<Decimal> = halves
            .iter()
            .zip(before)
            .map(|(halves, share)| ((Decimal::new(*halves as i64 * 5, 1) + weight * share) / all).round_dp(DIGITS))
            .collect();
        // What rounding left over goes to the largest, so that the shares add up to 1.
        let rest = Decimal::ONE - values.iter().sum::<Decimal>();
        if let Some(largest) = values.iter_mut().max() {
            *largest += rest;
        }
        for (figure, value) in shares(&mut rates).into_iter().zip(values) {
            *figure = Figure { value: value.normalize().to_string(), source: source.clone() };
        }
    }
    if insertions > 0 {
        let weight = Decimal::from(PRIOR_INSERTIONS);
        let clears =
            (Decimal::from(cleared) + weight * decimal(&rates.seating.clears)) / (Decimal::from(insertions) + weight);
        let source = format!(
            "learnt from {insertions} insertions; before them {PRIOR_INSERTIONS} insertions' worth of \"{}\"",
            base.name
        );
        rates.seating.clears = Figure { value: clears.round_dp(DIGITS).normalize().to_string(), source };
    }
    rates
}

const KINDS: [&str; 6] = ["seating", "module", "slot", "channel", "socket", "settings"];

/// Decimal places of a learnt number.
const DIGITS: u32 = 6;

fn shares(rates: &mut Rates) -> [&mut Figure; 6] {
    let share = &mut rates.share;
    [&mut share.seating, &mut share.module, &mut share.slot, &mut share.channel, &mut share.socket, &mut share.setting]
}

fn decimal(figure: &Figure) -> Decimal {
    figure.value.parse().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::rates::{Shares, shipped};
    use super::*;
    use crate::source::{Text, from_toml};

    fn outcome(verdict: &str, insertions: u32, records: u32) -> Outcome {
        Outcome { verdict: verdict.to_owned(), cause: None, insertions, records }
    }

    #[test]
    fn shares_are_counts_beside_the_rates_before() {
        let base = shipped("flat").unwrap().unwrap();
        let outcomes = [
            outcome("seating", 1, 50),
            outcome("seating", 2, 9),
            // The desk that got the module found nothing wrong with it: it was the seating.
            Outcome { cause: Some("seating".to_owned()), ..outcome("module", 2, 1) },
            outcome("module", 3, 19),
            outcome("module and slot", 3, 1),
            outcome("none", 0, 7),
            outcome("rules", 0, 2),
            outcome("undecided", 5, 3),
        ];
        let own = learnt(&base, "larkfield", &outcomes);
        let (before, after) = (Shares::of(&base), Shares::of(&own));
        // By hand: (60 + 20 · share) / (80 + 20), and the pair counts half for each.
        assert!((after.seating - (60.0 + 20.0 * before.seating) / 100.0).abs() < 1e-6);
        assert!((after.module - (19.5 + 20.0 * before.module) / 100.0).abs() < 1e-6);
        assert!((after.slot - (0.5 + 20.0 * before.slot) / 100.0).abs() < 1e-6);
        assert!((after.socket - 20.0 * before.socket / 100.0).abs() < 1e-6);
        // 60 seatings cleared by 50 + 9 · 2 + 2 = 70 insertions: (60 + 50 · 0.9) / (70 + 50).
        assert_eq!(own.seating.clears.value, "0.875");
        assert_eq!(own.seating.spoils, base.seating.spoils);
        assert!(own.share.seating.source.contains("learnt from 80 verdicts"), "{}", own.share.seating.source);
        // It is a valid rates file.
        let text = toml::to_string(&own).unwrap();
        assert_eq!(from_toml::<Rates>(&Text { file: "own.toml", bytes: text.as_bytes() }).unwrap(), own);
    }

    #[test]
    fn nothing_seen_changes_nothing_and_very_much_seen_is_what_counts() {
        let base = shipped("install").unwrap().unwrap();
        assert_eq!(learnt(&base, "install", &[]), base);
        assert_eq!(learnt(&base, "install", &[outcome("none", 0, 5)]), base);
        let own = Shares::of(&learnt(&base, "own", &[outcome("slot", 0, 100_000)]));
        assert!(own.slot > 0.9997, "{own:?}");
    }
}
