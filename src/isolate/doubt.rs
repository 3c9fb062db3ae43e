//! What a verdict has to stand besides its probability: that two faults, were they more frequent than the rates say, would
//! not overturn it; and what is left when nothing fails any more and only causes that need no part remain.

use super::action::{Action, Change};
use super::belief::{Belief, Kind, Model};
use super::fault::{Class, Mode};
use super::layout::{NOWHERE, Piece, Place};
use super::state::{Seen, State};
use super::whole::towards;

/// How often second faults are taken to be there when a verdict is tried: in every second machine. Two faults side by side
/// look like one wide fault (two channels like the processor's contacts), and their rate is assumed.
const OFTEN: f64 = 0.5;

/// The same where a machine does not post and contacts of a processor lead: in nearly every machine. No start shows which
/// channels fail, so two faults imitate these best, a module or a channel beside contacts of half a processor above all.
const OFTEN_WIDE: f64 = 1000.0;

/// A plan for the trial that a verdict lacks has to come so much nearer to certainty at least.
const NEARER: f64 = 0.25;

/// The model to plan under for what a verdict lacks; `belief` is all the plan weighs. What was left out of that must not make
/// it take the verdict for settled, or the trial would be to start again untouched, for ever.
pub(super) fn doubting(model: &Model, belief: &Belief) -> Model {
    let stands = belief.best().map_or(0.0, |(_, chance)| chance);
    Model { sure: model.sure.max(stands + (1.0 - stands) * NEARER), ..model.clone() }
}

impl State {
    /// The belief if second faults were more frequent.
    pub(super) fn wary(&self) -> Belief {
        let mut belief = self.belief.clone();
        let contacts = |class| matches!(class, Class::Group(_) | Class::Socket(_));
        let wide =
            self.model.mode == Mode::Blind && self.leading().is_some_and(|(kind, _)| kind.classes().any(contacts));
        let often = if wide { OFTEN_WIDE } else { OFTEN };
        let times = (often / self.second.max(1e-6)).max(1.0);
        for h in belief.hypotheses.iter_mut().filter(|h| h.cause.second.is_some()) {
            h.weight *= times;
        }
        belief.drop_below(0.0);
        belief
    }

    /// Whether all that is named stands when second faults are more frequent than the rates say.
    pub(super) fn firm(&self, kind: Kind) -> bool {
        if self.belief.hypotheses.iter().all(|h| h.cause.second.is_none()) {
            return true;
        }
        let wary = self.wary().by_kind();
        wary.iter().filter(|(k, _)| k.names_all_of(kind)).map(|(_, p)| p).sum::<f64>() >= self.model.sure
    }

    /// The belief to plan the trial by that a verdict on `kind` still lacks: only whether what leads stands is asked, so a
    /// second fault beside it is not worth telling from none.
    pub(super) fn doubts(&self, kind: Kind) -> Belief {
        let mut belief = self.wary();
        belief.take_as(kind);
        belief
    }

    /// Where the settings were cleared and a seating or a setting is all that is left to explain what was seen: the
    /// probability of the two together. Neither can be shown any more, and neither needs a part.
    pub(super) fn seating_or_setting(&self) -> Option<f64> {
        self.needs_no_part().filter(|_| self.quiet() >= 1)
    }

    /// The same whatever the last boot showed.
    pub(super) fn needs_no_part(&self) -> Option<f64> {
        let needs_no_part = |kind: &Kind| kind.classes().all(|c| matches!(c, Class::Seat(_) | Class::Setting(_)));
        let all = self.belief.by_kind();
        let sum: f64 = all.iter().filter(|(kind, _)| needs_no_part(kind)).map(|(_, p)| p).sum();
        (self.belief.settings_cleared && sum >= self.model.sure).then_some(sum)
    }

    /// Boots at the end of the isolation that showed nothing.
    fn quiet(&self) -> usize {
        let quiet = |seen: &Seen| matches!(seen, Seen::Slots(labels) if labels.is_empty());
        self.trials.iter().rev().take_while(|trial| quiet(&trial.seen)).count()
    }

    /// Whether the last two boots showed nothing and had all modules in.
    pub(super) fn well(&self) -> bool {
        let untouched = self.actions.last().is_some_and(Vec::is_empty);
        self.put_back().is_empty() && self.quiet() >= 2 && (untouched || self.model.mode != Mode::Blind)
    }

    /// Where each module of the machine belongs.
    pub(super) fn belongs(&self) -> Vec<(Place, Piece)> {
        let home = self.home.fitted.iter().enumerate().filter(|(_, piece)| **piece != NOWHERE);
        home.map(|(place, piece)| (place as Place, *piece)).collect()
    }

    /// The changes that put every module of the machine back where it belongs, where any is out; one that stands elsewhere
    /// goes home too, or its channel might be left with a gap and another's place stay taken.
    pub(super) fn put_back(&self) -> Action {
        let out = |piece: Piece| self.belief.board.spots.get(usize::from(piece)) == Some(&NOWHERE);
        let home = self.belongs();
        if home.iter().any(|(_, piece)| out(*piece)) { towards(&self.belief, &home) } else { Action::new() }
    }

    /// All that is fitted seated anew, as far as it may be touched.
    pub(super) fn all_anew(&self) -> Action {
        let fitted = (0..self.labels.len() as Place).filter(|place| self.belief.board.at(*place).is_some());
        fitted.map(Change::Reseat).filter(|change| self.means.may(*change)).collect()
    }
}
