//! What can still be had beside a plan: modules of a sort that are left in the stock or taken out of the machine.

use crate::plan::search::{Found, From, Problem};
use crate::plan::seat::Seat;
use crate::stock::Money;

/// Modules of this sort left for all units together, and what `wanted` of them cost, as far as they go.
pub fn left(problem: &Problem<'_>, found: &Found, sort: &Seat, wanted: u32) -> (u32, Money) {
    let needed = |lot: usize| -> u32 {
        let of = |from: &Option<From>| match from {
            Some(From::Lots(lots)) if lots.len() == 1 && lots[0] == lot => problem.units,
            Some(From::Lots(lots)) => lots.iter().filter(|l| **l == lot).count() as u32,
            _ => 0,
        };
        found.from.iter().map(of).sum()
    };
    let taken_out = problem.fitted.iter().enumerate().filter(|(slot, fitted)| {
        fitted.as_ref().is_some_and(|f| f.seat == *sort) && !found.from.contains(&Some(From::Fitted(*slot)))
    });
    let mut free = problem.units.saturating_mul(taken_out.count() as u32);
    // Packs that can still be opened: price of one, size, modules in all of them.
    let mut packs: Vec<(Money, u32, u32)> = Vec::new();
    let lots = problem.lots.iter().enumerate();
    for (index, lot) in lots.filter(|(_, lot)| Seat::from_lot(lot, problem.board) == *sort) {
        let bought = found.bought.iter().find(|(l, _)| *l == index).map_or(0, |(_, n)| *n);
        free = free.saturating_add(bought.saturating_sub(needed(index)));
        let pack = lot.pack.max(1);
        packs.push((lot.price, pack, lot.count.saturating_sub(bought) / pack * pack));
    }
    packs.sort_unstable();
    let more: u32 = packs.iter().fold(0, |sum, (.., there)| sum.saturating_add(*there));
    let mut missing = wanted.saturating_sub(free);
    let mut cost = Money(0);
    for (price, pack, there) in packs {
        let taken = missing.div_ceil(pack).saturating_mul(pack).min(there);
        cost.0 = cost.0.saturating_add(price.0.saturating_mul(u64::from(taken)));
        missing = missing.saturating_sub(taken);
    }
    (free.saturating_add(more), cost)
}
