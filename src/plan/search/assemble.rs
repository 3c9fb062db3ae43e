//! From a plan of a family to slots and lots.

use std::collections::BTreeMap;

use super::build::{Built, Shared};
use super::curve::{Seller, purchase};
use super::family::Plan;
use super::instance::Choice;
use super::problem::{Found, From, Score};
use crate::module::ModuleSpec;
use crate::plan::interleave::bandwidth;
use crate::plan::seat::{Seat, Seats};
use crate::plan::speed::speed;
use crate::stock::Money;
use crate::units::Mts;

/// Puts a plan on the board. `None` only if the plan is not one of this family.
pub fn assemble(shared: &Shared<'_>, built: &Built<'_>, plan: &Plan) -> Option<Found> {
    let class = classes(shared, built, plan)?;
    let problem = shared.problem;
    let total = class.len();
    let mut from: Vec<Option<From>> = vec![None; total];
    let mut spare: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for slot in 0..total {
        let Some(fitted) = built.fitted.get(slot).copied().flatten() else { continue };
        if class[slot] == Some(fitted) {
            from[slot] = Some(From::Fitted(slot));
        } else {
            spare.entry(fitted).or_default().push(slot);
        }
    }
    let mut wanted: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for slot in 0..total {
        let Some(c) = class[slot] else { continue };
        if from[slot].is_none() {
            match spare.get_mut(&c).filter(|s| !s.is_empty()) {
                Some(spare) => from[slot] = Some(From::Fitted(spare.remove(0))),
                None => wanted.entry(c).or_default().push(slot),
            }
        }
    }
    let mut bought = BTreeMap::new();
    for (c, slots) in &wanted {
        let lots = &built.lots[*c];
        let sellers: Vec<Seller> = lots.iter().map(|&l| shared.seller(l)).collect();
        let amounts = purchase(&sellers, slots.len() * problem.units as usize)?;
        let mut left: Vec<(usize, u32)> = lots.iter().copied().zip(amounts).filter(|(_, amount)| *amount > 0).collect();
        bought.extend(left.iter().copied());
        for (slot, source) in hand_out(shared, slots, &mut left)? {
            from[slot] = Some(source);
        }
    }
    let seats: Seats = from.iter().map(|f| f.as_ref().map(|f| seat(shared, f))).collect();
    let cost = bought.iter().map(|(&lot, &n)| problem.lots[lot].price.0.saturating_mul(u64::from(n))).sum();
    let mts = speed(problem.board, problem.cpus, &seats).mts.unwrap_or(Mts(0));
    let kept = from.iter().enumerate().filter(|(slot, f)| **f == Some(From::Fitted(*slot))).count() as u32;
    let fitted = problem.fitted.iter().flatten().count() as u32;
    let modules = seats.iter().flatten().count() as u32;
    let score = Score {
        mb_s: bandwidth(problem.board, problem.cpus, &seats, mts).effective_mb_s,
        cost: Money(cost),
        moves: fitted + modules - 2 * kept,
        modules,
        capacity: seats.iter().flatten().map(|s| s.spec.gib).sum(),
        mts,
    };
    Some(Found { seats, from, score, bought: bought.into_iter().collect() })
}

/// The class of each slot.
fn classes(shared: &Shared<'_>, built: &Built<'_>, plan: &Plan) -> Option<Vec<Option<usize>>> {
    let instance = &built.instance;
    let mut class = vec![None; shared.problem.board.slots().count()];
    let mut pools: BTreeMap<(usize, usize), Vec<u32>> = plan.split.iter().cloned().collect();
    // Searched sockets were sorted by kind; sockets of one kind are taken in board order.
    let mut boards: Vec<(usize, usize)> = Vec::new();
    let searched = if shared.matched { &built.sockets[..1] } else { &built.sockets[..] };
    for &socket in searched {
        boards.push((shared.kind_of(built, socket)?, socket));
    }
    boards.sort_unstable();
    let mut plans: Vec<(usize, &Choice)> = instance.sockets.iter().copied().zip(&plan.sockets).collect();
    // Fuller sockets first, as far as they are of one kind.
    let cap = |choice: &Choice| choice.iter().filter_map(|c| c.1).map(|s| instance.symbols[s].cap).sum::<u32>();
    plans.sort_by_key(|(kind, choice)| (*kind, std::cmp::Reverse(cap(choice))));
    for ((kind, choice), (_, socket)) in plans.into_iter().zip(boards) {
        let mut sorted = choice.clone();
        sorted.sort_by_key(|&(t, symbol)| (t, symbol.unwrap_or(usize::MAX)));
        for (&channel, &(t, symbol)) in instance.kinds[kind].places.iter().zip(&sorted) {
            let Some(symbol) = symbol else { continue };
            let pool = pools.get_mut(&(t, symbol))?;
            let filling = pool.iter().position(|&n| n > 0)?;
            pool[filling] -= 1;
            let alike: &[usize] = if shared.matched { &built.sockets } else { std::slice::from_ref(&socket) };
            for &s in alike {
                for (&slot, &c) in
                    shared.slots[s][channel].iter().zip(&instance.types[t].fillings[symbol][filling].order)
                {
                    class[slot] = Some(c);
                }
            }
        }
    }
    Some(class)
}

/// Gives each slot a lot for every unit, one lot for all of them where it reaches.
fn hand_out(shared: &Shared<'_>, slots: &[usize], left: &mut [(usize, u32)]) -> Option<Vec<(usize, From)>> {
    let units = shared.problem.units;
    // The fastest modules first: what is bought too many stays in the box.
    left.sort_by_key(|&(lot, _)| std::cmp::Reverse(shared.problem.lots[lot].spec.mts));
    let mut out = Vec::new();
    let mut mixed = Vec::new();
    for &slot in slots {
        match left.iter_mut().find(|l| l.1 >= units) {
            Some(lot) => {
                lot.1 -= units;
                out.push((slot, From::Lots(vec![lot.0])));
            }
            None => mixed.push(slot),
        }
    }
    for slot in mixed {
        let mut lots = Vec::new();
        for _ in 0..units {
            let lot = left.iter_mut().find(|l| l.1 > 0)?;
            lot.1 -= 1;
            lots.push(lot.0);
        }
        out.push((slot, From::Lots(lots)));
    }
    Some(out)
}

/// What sits in a slot; where units draw on different lots, only what these have in common.
fn seat(shared: &Shared<'_>, from: &From) -> Seat {
    let problem = shared.problem;
    match from {
        From::Fitted(slot) => match problem.fitted.get(*slot).and_then(Option::as_ref) {
            Some(fitted) => fitted.seat.clone(),
            None => Seat { spec: blank(), volts: None },
        },
        From::Lots(lots) => {
            let mut seats = lots.iter().map(|&lot| Seat::from_lot(&problem.lots[lot], problem.board));
            let Some(mut seat) = seats.next() else { return Seat { spec: blank(), volts: None } };
            for other in seats {
                let same = |a: Option<u8>, b: Option<u8>| if a == b { a } else { None };
                seat.spec.ranks = same(seat.spec.ranks, other.spec.ranks);
                seat.spec.width = same(seat.spec.width, other.spec.width);
                seat.spec.mts = seat.spec.mts.min(other.spec.mts);
                if seat.volts != other.volts {
                    seat.volts = None;
                }
            }
            seat
        }
    }
}

fn blank() -> ModuleSpec {
    ModuleSpec { generation: None, kind: None, gib: crate::units::Size::default(), ranks: None, width: None, mts: None }
}
