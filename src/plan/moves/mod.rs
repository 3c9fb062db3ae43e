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

    /// Plays the handlings with hands that refuse what hands cannot do; what is held at the end and how many modules
    /// were taken out or seated.
    fn played(fitted: &[bool], handlings: &[Handling]) -> Result<(Vec<Option<From>>, usize), String> {
        let mut held: Vec<Option<From>> =
            fitted.iter().enumerate().map(|(slot, fitted)| fitted.then_some(From::Fitted(slot))).collect();
        let (mut tray, mut hands) = (None, 0);
        for handling in handlings {
            let out = |held: &mut Vec<Option<From>>, slot: usize| held[slot].take().ok_or(format!("{slot} is empty"));
            let seat = |held: &mut Vec<Option<From>>, slot: usize, module: From| match held[slot].replace(module) {
                Some(was) => Err(format!("{slot} holds {was:?}")),
                None => Ok(()),
            };
            hands += 1;
            match *handling {
                Handling::Remove { slot } => drop(out(&mut held, slot)?),
                Handling::Move { from, to } => {
                    hands += 1;
                    let module = out(&mut held, from)?;
                    seat(&mut held, to, module)?;
                }
                Handling::Park { slot } => {
                    if tray.replace(out(&mut held, slot)?).is_some() {
                        return Err("the tray has one place".to_owned());
                    }
                }
                Handling::Unpark { from, to } => {
                    let module = tray.take().ok_or("nothing in the tray")?;
                    if module != From::Fitted(from) {
                        return Err(format!("the tray holds {module:?}, not that of {from}"));
                    }
                    seat(&mut held, to, module)?;
                }
                Handling::Insert { slot } => seat(&mut held, slot, From::Lots(vec![0]))?,
            }
        }
        if tray.is_some() { Err("left in the tray".to_owned()) } else { Ok((held, hands)) }
    }

    #[test]
    fn hands_that_are_asked_for_the_impossible_say_so() {
        for wrong in [
            vec![Handling::Remove { slot: 1 }],
            vec![Handling::Insert { slot: 0 }],
            vec![Handling::Move { from: 0, to: 0 }, Handling::Move { from: 1, to: 0 }],
            vec![Handling::Park { slot: 0 }],
            vec![Handling::Unpark { from: 0, to: 1 }],
        ] {
            assert!(played(&[true, false], &wrong).is_err(), "{wrong:?}");
        }
    }

    proptest! {
        #[test]
        fn every_order_is_playable_ends_in_the_plan_and_takes_the_fewest_handlings(
            shuffled in Just((0..10usize).collect::<Vec<_>>()).prop_shuffle(),
            keep in prop::collection::vec(0u8..5, 10),
            had in prop::collection::vec(0u8..4, 10),
        ) {
            let fitted: Vec<bool> = had.iter().map(|had| *had != 0).collect();
            // Many moves, so that rings of every length come up.
            let from: Vec<Option<From>> = (0..10).map(|to| match keep[to] {
                0..=2 if fitted[shuffled[to]] => Some(From::Fitted(shuffled[to])),
                3 => Some(From::Lots(vec![0])),
                _ => None,
            }).collect();
            let (held, hands) = played(&fitted, &order(&fitted, &found(from.clone()))).map_err(TestCaseError::fail)?;
            prop_assert_eq!(&held, &from);
            // A module that goes elsewhere is taken out and seated, one that leaves is taken out, a new one is seated.
            let stays = |slot: usize| from[slot] == Some(From::Fitted(slot));
            let out = (0..10).filter(|&slot| fitted[slot] && !stays(slot)).count();
            let seated = (0..10).filter(|&slot| from[slot].is_some() && !stays(slot)).count();
            prop_assert_eq!(hands, out + seated);
        }
    }
}
