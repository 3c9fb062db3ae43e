//! What the starts have shown of whole channels: which of them failed at once, and with what in them.

use super::action::Arrangement;
use super::belief::Kind;
use super::fault::{Class, Mode, unit_of};
use super::state::{Seen, State};

/// The channels of the processor's contacts that are named, where no start showed two of them failing at once.
pub(super) fn never_together(state: &State, kind: Kind) -> Option<&[u16]> {
    let layout = &state.model.layout;
    let mut shared = kind.classes().filter_map(|class| match class {
        Class::Group(group) => Some(layout.group(group)),
        Class::Socket(socket) => Some(layout.channels(socket)),
        _ => None,
    });
    shared.find(|channels| !together(state, channels))
}

/// Whether one start showed at least two of these channels failing; where the machine does not post, no start could.
fn together(state: &State, channels: &[u16]) -> bool {
    let layout = &state.model.layout;
    let failing = |seen: &Seen| {
        let units = state.units(seen);
        let fails = |channel: &u16| {
            layout.places(*channel).iter().any(|place| units.contains(&unit_of(layout, state.model.mode, *place)))
        };
        channels.iter().filter(|channel| fails(channel)).count()
    };
    let mut all = std::iter::once(&state.first).chain(state.trials.iter().map(|trial| &trial.seen));
    state.model.mode == Mode::Blind || all.any(|seen| failing(seen) >= 2)
}

/// Whether a start showed this channel failing with its first slot alone filled: no other slot of it can then be the cause.
pub(super) fn first_slot_alone(state: &State, channel: u16) -> bool {
    let layout = &state.model.layout;
    let mut board = state.home.clone();
    let alone = |board: &Arrangement, seen: &Seen| {
        let mut filled = layout.places(channel).iter().filter(|place| board.at(**place).is_some());
        let (one, other) = (filled.next(), filled.next());
        one.is_some_and(|place| layout.fills_first(*place)) && other.is_none() && state.units(seen).contains(&channel)
    };
    if alone(&board, &state.first) {
        return true;
    }
    state.trials.iter().zip(&state.actions).any(|(trial, action)| {
        action.iter().for_each(|change| board.apply(*change, &mut |_| {}));
        alone(&board, &trial.seen)
    })
}
