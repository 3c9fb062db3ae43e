//! From a plan found to a plan file.

use super::explain::Told;
use super::search::{Found, From, Problem};
use super::{Action, PLAN_FORMAT, Plan, PlanSlot, Removal, Seat, same_volts};
use crate::module::{Identity, Module};
use crate::order::Order;
use crate::stock::Lot;

/// The plan file of a plan found. `fitted` holds the modules there are, by slot in board order.
pub fn draft(
    name: &str,
    problem: &Problem<'_>,
    found: &Found,
    fitted: &[Option<Module>],
    order: &Order,
    told: &Told,
) -> Plan {
    let board = problem.board;
    let mut serials: Vec<Vec<String>> =
        problem.lots.iter().map(|lot| lot.serials.iter().rev().cloned().collect()).collect();
    let label = |index: usize| board.slots().nth(index).map(|at| at.slot.label.clone());
    let mut slot = Vec::new();
    for at in board.slots() {
        let Some(from) = &found.from[at.index] else { continue };
        let (action, source, module, lot) = match from {
            From::Fitted(was) => {
                let Some(module) = fitted.get(*was).cloned().flatten() else { continue };
                let stays = *was == at.index;
                let action = if stays { Action::Keep } else { Action::Move };
                (action, if stays { None } else { label(*was) }, module, None)
            }
            From::Lots(lots) => {
                let Some(seat) = &found.seats[at.index] else { continue };
                // What differs from unit to unit stays open: the pick list tells it.
                let one = if let [only] = lots[..] { Some(only) } else { None };
                let serial = if problem.units == 1 { one.and_then(|lot| serials[lot].pop()) } else { None };
                let part = one.and_then(|lot| problem.lots[lot].part.clone());
                let identity = Identity { part, serial, ..Identity::default() };
                let lot = one.map(|lot| problem.lots[lot].name.clone());
                (Action::Insert, None, Module { spec: seat.spec.clone(), identity }, lot)
            }
        };
        let volts = found.seats[at.index].as_ref().and_then(Seat::volts_beyond_generation);
        slot.push(PlanSlot { slot: at.slot.label.clone(), action, from: source, module, volts, lot });
    }
    let used = |index: usize| found.from.contains(&Some(From::Fitted(index)));
    let remove = board
        .slots()
        .filter(|at| !used(at.index))
        .filter_map(|at| {
            let module = fitted.get(at.index).cloned().flatten()?;
            let to = Some(back_to(problem, at.index, &module).unwrap_or_else(|| "tray".to_owned()));
            let volts = seat_before(problem, at.index).and_then(Seat::volts_beyond_generation);
            Some(Removal { slot: at.slot.label.clone(), module, volts, to })
        })
        .collect();
    Plan {
        format: PLAN_FORMAT.to_owned(),
        name: name.to_owned(),
        board_sha256: Some(board.sha256()),
        mts: (found.score.mts.0 > 0).then_some(found.score.mts),
        reasons: told.reasons.clone(),
        considered: None,
        slot,
        remove,
        order: order.clone(),
        board: board.clone(),
    }
}

/// The lot a module that leaves belongs to: the same part, else the same kind of module; `None` where no lot does.
/// `slot` is where it is fitted, in board order.
pub fn back_to(problem: &Problem<'_>, slot: usize, module: &Module) -> Option<String> {
    let part = module.identity.part.as_ref();
    let by_part = problem.lots.iter().find(|lot| part.is_some() && lot.part.as_ref() == part);
    let volts = seat_before(problem, slot).and_then(|seat| seat.volts.clone());
    let was = Seat { spec: module.spec.clone(), volts }.on(problem.board);
    let one = |lot: &&Lot| {
        let seat = Seat::from_lot(lot, problem.board);
        let volts = match (&was.volts, &seat.volts) {
            (Some(a), Some(b)) => same_volts(a, b),
            _ => true,
        };
        seat.spec == was.spec && volts
    };
    by_part.or_else(|| problem.lots.iter().find(one)).map(|lot| lot.name.clone())
}

/// What sits in a slot before.
fn seat_before<'p>(problem: &'p Problem<'_>, slot: usize) -> Option<&'p Seat> {
    problem.fitted.get(slot)?.as_ref().map(|fitted| &fitted.seat)
}
