//! Why another plan stands behind the best.

use std::collections::BTreeMap;

use super::Told;
use super::alone::alone;
use crate::plan::search::{Criterion, Found, Problem};
use crate::source::counted;
use crate::stock::Money;
use crate::units::Size;

/// `8 of 32 GiB, 4 of 16 GiB`: the modules of a plan by size, largest first.
pub fn made_of(found: &Found) -> String {
    let mut by_size: BTreeMap<Size, usize> = BTreeMap::new();
    for seat in found.seats.iter().flatten() {
        *by_size.entry(seat.spec.gib).or_default() += 1;
    }
    by_size.iter().rev().map(|(size, n)| format!("{n} of {size}")).collect::<Vec<_>>().join(", ")
}

/// Why `other` stands behind `best`: the first criterion in which it is worse. `told` is what there is to say of `other`.
pub fn why_worse(problem: &Problem<'_>, best: &Found, other: &Found, told: &Told, currency: &str) -> String {
    use Criterion as C;
    let (a, b) = (&best.score, &other.score);
    let scale = told.bandwidth.best_mb_s;
    let percent = |mb_s: u64| mb_s.saturating_mul(100).checked_div(scale).unwrap_or(0);
    let percents = || match (percent(b.mb_s), percent(a.mb_s)) {
        (b, a) if a == b => "a little less bandwidth".to_owned(),
        (b, a) => format!("{b} % of the best bandwidth in place of {a} %"),
    };
    for criterion in problem.prefer.order() {
        let text = match criterion {
            C::Bandwidth if b.mb_s < a.mb_s => {
                let mut parts = Vec::new();
                if b.mts < a.mts {
                    parts.push(format!("runs at {} in place of {}", b.mts, a.mts));
                }
                let (uses, of) = (super::channels(problem, &other.seats), super::channels(problem, &best.seats));
                if uses.0 < of.0 {
                    parts.push(format!("fills {} of {} channels in place of {}", uses.0, uses.1, of.0));
                }
                if let Some(alone) = alone(problem.board, &other.seats, &told.bandwidth) {
                    parts.push(format!("leaves {alone}"));
                }
                let why = if parts.is_empty() { String::new() } else { format!("{}: ", super::listed(&parts)) };
                Some(format!("{why}{}", percents()))
            }
            C::Cost if b.cost > a.cost => {
                let more = format!("{} {}", Money(b.cost.0 - a.cost.0), crate::text::shown(currency));
                Some(format!("costs {} more", more.trim_end()))
            }
            C::Moves if b.moves > a.moves => {
                Some(format!("{} more", counted((b.moves - a.moves) as usize, "handling")))
            }
            C::Modules if b.modules > a.modules => {
                Some(format!("takes {} more", counted((b.modules - a.modules) as usize, "slot")))
            }
            C::MoreMemory if b.capacity < a.capacity => Some("less memory".to_owned()),
            C::LessMemory if b.capacity > a.capacity => Some("more memory".to_owned()),
            _ => None,
        };
        if let Some(text) = text {
            return text;
        }
    }
    "equal in all that was asked for; less even".to_owned()
}
