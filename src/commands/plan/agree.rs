//! What is told of the fitted modules in more than one place, held against each other before anything is searched.

use super::super::{CommandError, Exit, files};
use super::PlanArgs;
use super::input::Fitted;
use crate::board::Board;
use crate::order::Order;
use crate::plan::Cpus;
use crate::plan::speed::speed;

/// Refuses what no plan could be true to.
///
/// # Errors
/// A list of fitted modules that the order contradicts, a module that must stay in a socket without a processor, a module of
/// which nothing says how fast it runs.
pub fn agree(args: &PlanArgs, board: &Board, cpus: &Cpus, order: &Order, fitted: &Fitted) -> Result<(), CommandError> {
    let bad = |what: String, help: &str| Err(CommandError::new(Exit::BadData, what).way_out(help));
    if let (Some(path), Some(named)) = (&args.fitted, &args.order)
        && !order.fitted.is_empty()
    {
        for at in board.slots() {
            let label = &at.slot.label;
            let listed = order.fitted.iter().find(|one| one.slot == *label).map(|one| one.module.spec.gib);
            let found = fitted.modules.get(at.index).and_then(Option::as_ref).map(|module| module.spec.gib);
            if listed != found {
                let said = |size: Option<crate::units::Size>| {
                    size.map_or_else(|| "no module".to_owned(), |size| format!("a module of {size}"))
                };
                let what = format!(
                    "{} lists {} in {label}, and {} {}",
                    files::named(path),
                    said(found),
                    files::named(named),
                    said(listed)
                );
                return bad(what, "tell what is fitted in one of them, or the same in both");
            }
        }
    }
    for at in board.slots() {
        let Some(seat) = fitted.seats.get(at.index).and_then(Option::as_ref) else { continue };
        let (label, socket) = (&at.slot.label, crate::text::shown(&at.socket.label));
        if seat.stays && cpus.get(at.socket_index).is_none_or(Option::is_none) {
            let what = format!(
                "the order says that the module in {label} stays, and socket {socket} holds no processor: its slots are dead"
            );
            return bad(what, "take `stays` out, or name the processor in `unit.processor`");
        }
        let alone: Vec<_> = (0..fitted.seats.len()).map(|n| (n == at.index).then(|| seat.seat.clone())).collect();
        if speed(board, cpus, &alone).mts.is_none() {
            let what = format!(
                "nothing says how fast the module in {label} runs: it has no rating, and neither the board's table nor a \
                 processor limits it"
            );
            return bad(what, "write its `mts`, as its label has it");
        }
    }
    Ok(())
}
