//! What the starts have shown of what failed at once: channels, and modules that firmware may have disabled together.

use super::action::Arrangement;
use super::belief::Kind;
use super::fault::{Class, Mode, unit_of};
use super::layout::{NOWHERE, Piece, Place};
use super::state::{Seen, State};

impl State {
    /// Every start: which module was where, and what it showed.
    pub(super) fn starts(&self) -> Vec<(Arrangement, &Seen)> {
        let mut board = self.home.clone();
        let mut starts = vec![(board.clone(), &self.first)];
        for (trial, action) in self.trials.iter().zip(&self.actions) {
            action.iter().for_each(|change| board.apply(*change, &mut |_| {}));
            starts.push((board.clone(), &trial.seen));
        }
        starts
    }

    /// The unit in which a start showed a module failing.
    fn failed_in(&self, board: &Arrangement, seen: &Seen, piece: Piece) -> Option<u16> {
        let place = board.spots.get(usize::from(piece)).copied().filter(|place| *place != NOWHERE)?;
        Some(unit_of(&self.model.layout, self.model.mode, place)).filter(|unit| self.units(seen).contains(unit))
    }

    /// Whether a unit held a module at a start and did not fail.
    pub(super) fn worked(&self, board: &Arrangement, seen: &Seen, unit: u16) -> bool {
        let filled = (0..self.labels.len() as Place).filter(|place| board.at(*place).is_some());
        let mut units = filled.map(|place| unit_of(&self.model.layout, self.model.mode, place));
        units.any(|filled| filled == unit) && !self.units(seen).contains(&unit)
    }

    /// Another module whose fault may be all that `piece` failed of: firmware that disables slots or channels together shows a
    /// good module failing wherever it shares with a bad one. A start at which both failed says nothing of `piece`, unless the
    /// other also failed where it was then while the unit of `piece` worked. Without those, `piece` has to have failed in two
    /// units, or in one if a known-good module works there. Where the machine does not post, no start names a module, and what
    /// shares a unit is weighed already.
    pub(super) fn disabled_with(&self, piece: Piece) -> Option<Piece> {
        if self.model.mode == Mode::Blind {
            return None;
        }
        let starts = self.starts();
        let failed = |piece| starts.iter().map(move |(board, seen)| self.failed_in(board, seen, piece));
        let own: Vec<Option<u16>> = failed(piece).collect();
        let needed = self.followed(piece).len().min(2);
        (0..self.known.len() as Piece).filter(|other| *other != piece).find(|other| {
            let theirs: Vec<Option<u16>> = failed(*other).collect();
            let shared = |own: u16, at: u16| {
                let mut there = starts.iter().zip(&theirs).filter(|(_, theirs)| **theirs == Some(at));
                !there.any(|((board, seen), _)| self.worked(board, seen, own))
            };
            let (mut may_be, mut alone) = (false, Vec::new());
            for (own, theirs) in own.iter().zip(&theirs).filter_map(|(own, theirs)| Some((*own.as_ref()?, *theirs))) {
                match theirs {
                    Some(at) if at == own => {}
                    Some(at) if shared(own, at) => may_be = true,
                    _ if alone.contains(&own) => {}
                    _ => alone.push(own),
                }
            }
            may_be && alone.len() < needed
        })
    }
}

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
    state.starts().iter().any(|(board, seen)| {
        let mut filled = layout.places(channel).iter().filter(|place| board.at(**place).is_some());
        let (one, other) = (filled.next(), filled.next());
        one.is_some_and(|place| layout.fills_first(*place)) && other.is_none() && state.units(seen).contains(&channel)
    })
}
