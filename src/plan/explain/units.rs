//! What each unit runs at, where units draw on lots of unlike modules.

use std::collections::BTreeMap;

use crate::plan::search::{Found, From, Problem};
use crate::plan::seat::{Seat, Seats};
use crate::plan::speed::speed;
use crate::text::shown;
use crate::units::Mts;

/// Units named one by one.
const NAMED: usize = 6;

/// The rates of the units, fastest first, each with the numbers of the units that run at it; one entry where all run alike.
pub fn rates(problem: &Problem<'_>, found: &Found) -> Vec<(Mts, Vec<usize>)> {
    let mixed: Vec<(usize, &[usize])> = found
        .from
        .iter()
        .enumerate()
        .filter_map(|(slot, from)| match from {
            Some(From::Lots(lots)) if lots.len() > 1 => Some((slot, &lots[..])),
            _ => None,
        })
        .collect();
    // Units that take the same lots run alike; there may be thousands of units.
    let mut alike: BTreeMap<Vec<usize>, Vec<usize>> = BTreeMap::new();
    for unit in 0..problem.units as usize {
        let lots = mixed.iter().filter_map(|(_, lots)| lots.get(unit).copied()).collect();
        alike.entry(lots).or_default().push(unit);
    }
    let mut by_rate: BTreeMap<std::cmp::Reverse<Mts>, Vec<usize>> = BTreeMap::new();
    for (lots, units) in alike {
        let mut seats: Seats = found.seats.clone();
        for ((slot, _), lot) in mixed.iter().zip(lots) {
            seats[*slot] = problem.lots.get(lot).map(|lot| Seat::from_lot(lot, problem.board));
        }
        let mts = speed(problem.board, problem.cpus, &seats).mts.unwrap_or(found.score.mts);
        by_rate.entry(std::cmp::Reverse(mts)).or_default().extend(units);
    }
    by_rate
        .into_iter()
        .map(|(mts, mut units)| {
            units.sort_unstable();
            (mts.0, units)
        })
        .collect()
}

/// A sentence on units that do not all run alike, with their tags; `None` where they do.
pub fn unlike_rates(problem: &Problem<'_>, found: &Found, tags: &[String]) -> Option<String> {
    let rates = rates(problem, found);
    let ((slowest, _), false) = (rates.last()?, rates.len() < 2) else { return None };
    let tag = |unit: &usize| tags.get(*unit).map_or_else(|| format!("unit {}", unit + 1), |tag| shown(tag).to_string());
    let each: Vec<String> = rates
        .iter()
        .map(|(mts, units)| {
            let run = if units.len() == 1 { "runs" } else { "run" };
            let mut names: Vec<String> = units.iter().take(NAMED).map(tag).collect();
            if units.len() > NAMED {
                names.push(format!("{} more", units.len() - NAMED));
            }
            format!("{} {run} at {mts}", super::listed(&names))
        })
        .collect();
    let of = if *slowest == found.score.mts { "those of the slowest" } else { "what every unit reaches" };
    Some(format!(
        "units draw on lots of unlike modules: {}; the rate and the bandwidth told for the plan are {of}",
        each.join(", ")
    ))
}
