//! From what is fitted to what is planned: the handlings in an order that never needs more than one place in the tray.
//!
//! What leaves goes first, then what moves, each into a slot that is empty by then; a ring of modules that wait for each
//! other is opened by parking one in the tray. New modules come last. A module that stays is never touched, so the number
//! of handlings (taken out plus seated) is the least there is for the planned places.

use super::search::{Found, From};

/// One thing the hands do. Slots are indices in board order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Handling {
    /// Take out for good.
    Remove { slot: usize },
    /// Take out and seat in an empty slot.
    Move { from: usize, to: usize },
    /// Take out into the tray.
    Park { slot: usize },
    /// Seat from the tray.
    Unpark { from: usize, to: usize },
    /// Seat a module from stock.
    Insert { slot: usize },
}

/// The handlings of a plan in order. `fitted` tells which slots hold a module before.
pub fn order(fitted: &[bool], found: &Found) -> Vec<Handling> {
    let mut goes: Vec<Option<usize>> = vec![None; fitted.len()];
    for (to, from) in found.from.iter().enumerate() {
        if let Some(From::Fitted(from)) = from
            && let Some(goes) = goes.get_mut(*from)
        {
            *goes = Some(to);
        }
    }
    let mut held = fitted.to_vec();
    let mut out = Vec::new();
    for slot in 0..held.len() {
        if held[slot] && goes[slot].is_none() {
            out.push(Handling::Remove { slot });
            held[slot] = false;
        }
    }
    let mut waiting: Vec<usize> = (0..held.len()).filter(|&s| held[s] && goes[s].is_some_and(|to| to != s)).collect();
    let mut parked: Option<(usize, usize)> = None;
    while !waiting.is_empty() || parked.is_some() {
        if let Some((from, to)) = parked
            && !held.get(to).copied().unwrap_or(false)
        {
            out.push(Handling::Unpark { from, to });
            held[to] = true;
            parked = None;
            continue;
        }
        let free = waiting.iter().position(|&s| goes[s].is_some_and(|to| !held[to]));
        if let Some(at) = free {
            let from = waiting.remove(at);
            if let Some(to) = goes[from] {
                out.push(Handling::Move { from, to });
                held[from] = false;
                held[to] = true;
            }
        } else if parked.is_none() && !waiting.is_empty() {
            let from = waiting.remove(0);
            held[from] = false;
            out.push(Handling::Park { slot: from });
            parked = goes[from].map(|to| (from, to));
        } else {
            // Two modules for one slot: no plan the search makes.
            break;
        }
    }
    for (slot, from) in found.from.iter().enumerate() {
        if matches!(from, Some(From::Lots(_))) {
            out.push(Handling::Insert { slot });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::search::Score;
    use crate::stock::Money;
    use crate::units::{Mts, Size};
    use proptest::prelude::*;

    fn found(from: Vec<Option<From>>) -> Found {
        let score = Score { mb_s: 0, cost: Money(0), moves: 0, modules: 0, capacity: Size::default(), mts: Mts(0) };
        Found { seats: vec![None; from.len()], from, score, bought: Vec::new() }
    }

    #[test]
    fn two_modules_that_change_places_need_the_tray_once() {
        let plan = found(vec![Some(From::Fitted(1)), Some(From::Fitted(0)), None]);
        assert_eq!(
            order(&[true, true, false], &plan),
            [Handling::Park { slot: 0 }, Handling::Move { from: 1, to: 0 }, Handling::Unpark { from: 0, to: 1 }]
        );
    }

    proptest! {
        #[test]
        fn every_order_ends_in_the_plan_with_one_in_the_tray_at_most(
            shuffled in Just((0..8usize).collect::<Vec<_>>()).prop_shuffle(),
            keep in prop::collection::vec(0u8..4, 8),
        ) {
            let fitted: Vec<bool> = keep.iter().map(|k| *k != 3).collect();
            let from: Vec<Option<From>> = (0..8).map(|to| match keep[to] {
                0 if fitted[shuffled[to]] => Some(From::Fitted(shuffled[to])),
                1 => Some(From::Lots(vec![0])),
                _ => None,
            }).collect();
            let plan = found(from.clone());
            let mut held: Vec<Option<From>> =
                (0..8).map(|s| fitted[s].then_some(From::Fitted(s))).collect();
            let mut tray: Vec<From> = Vec::new();
            for handling in order(&fitted, &plan) {
                match handling {
                    Handling::Remove { slot } => prop_assert!(held[slot].take().is_some()),
                    Handling::Move { from, to } => {
                        prop_assert!(held[to].is_none());
                        held[to] = held[from].take();
                    }
                    Handling::Park { slot } => tray.extend(held[slot].take()),
                    Handling::Unpark { to, .. } => {
                        prop_assert!(held[to].is_none());
                        held[to] = tray.pop();
                    }
                    Handling::Insert { slot } => {
                        prop_assert!(held[slot].is_none());
                        held[slot] = Some(From::Lots(vec![0]));
                    }
                }
                prop_assert!(tray.len() <= 1);
            }
            prop_assert_eq!(held, from);
        }
    }
}
