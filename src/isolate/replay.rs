//! What is believed after all that was done and seen: worked out anew each time, mode and pairs of faults included.

use std::collections::BTreeMap;

use super::action::Arrangement;
use super::action::Change;
use super::belief::{Belief, Cause, Kind, Model};
use super::fault::{Class, Fault, Mode, all_faults, unit_of};
use super::layout::{Layout, NOWHERE, Piece, Place};
use super::state::{IsolateError, Seen, State, position};
use crate::board::SlotLabel;

/// A report less likely than this, by all that was believed before it, is taken as explained by nothing. Two faults on a large
/// board, shown at two of three starts, make reports of one in ten million; one in a thousand million is a report of another
/// machine, of another arrangement, or made up.
const HARDLY: f64 = 1e-9;

/// What was weighed already, so that nothing counts twice.
#[derive(Debug, Default)]
struct Counted {
    /// Place and module of a pattern test.
    signs: Vec<(Place, Piece)>,
    /// Places as they stood, with the insertions before.
    seatings: Vec<(Place, u32)>,
}

/// The most faults that are paired with one another where the machine does not post.
const PAIRED: usize = 200;

impl State {
    /// Weighs what was found after trial `n`. What a boot reported by itself is not counted twice, and the same sign of the
    /// same module in the same slot counts once: given the fault, a second one is no news.
    /// How a module stood is news once for each time it was put in, whatever the boot reported.
    fn weigh(&self, belief: &mut Belief, n: usize, counted: &mut Counted) {
        let Some(evidence) = &self.evidence else { return };
        let seen = if n == 0 { &self.first } else { &self.trials[n - 1].seen };
        let reported = self.units(seen);
        for (_, finding) in self.findings.iter().filter(|(at, _)| *at == n) {
            let Ok(place) = position(&self.labels, &finding.slot) else { continue };
            let Some(piece) = belief.board.at(place) else { continue };
            let seating = (place, self.insertions[usize::from(place)]);
            if let (Some(stood), Some(look)) = (finding.stood, evidence.stood)
                && !counted.seatings.contains(&seating)
            {
                counted.seatings.push(seating);
                belief.stood(&self.model, place, look.of(stood));
            }
            if reported.contains(&unit_of(&self.model.layout, self.model.mode, place)) {
                continue;
            }
            if let Some(sign) = evidence.sign(finding)
                && !counted.signs.contains(&(place, piece))
            {
                counted.signs.push((place, piece));
                belief.sign(&self.model, place, sign);
            }
        }
    }

    /// Works the belief out anew from all that was done and seen. Two faults at a time are considered where both could
    /// have had a part in what was seen.
    pub(super) fn replay(&mut self) {
        self.notes.clear();
        self.contradicted = false;
        self.settle_mode();
        self.insertions = self.earlier.clone();
        let mut belief = Belief::of(&self.model, self.home.clone(), self.causes());
        let mut explained = matches!(&self.first, Seen::Slots(labels) if labels.is_empty())
            || belief.report(&self.model, &self.units(&self.first)) > 0.0;
        let mut counted = Counted::default();
        self.weigh(&mut belief, 0, &mut counted);
        for (n, (trial, action)) in self.trials.iter().zip(&self.actions).enumerate() {
            belief.act(&self.model, action);
            let mut board = belief.board.clone();
            for change in action {
                // Counted from the changes alone, so a place is counted as often as it was handled.
                board.apply(*change, &mut |_| {});
                for place in inserted(*change) {
                    self.insertions[usize::from(place)] += 1;
                }
            }
            explained &= belief.report(&self.model, &self.units(&trial.seen)) > HARDLY;
            self.weigh(&mut belief, n + 1, &mut counted);
        }
        self.contradicted = !explained;
        self.belief = belief;
        self.note();
    }

    fn note(&mut self) {
        if self.contradicted {
            self.notes.push(
                "No single fault and no two faults explain all that was seen, or hardly; one of the reports, or what was done, is not as told."
                    .to_owned(),
            );
        }
        for (n, trial) in self.trials.iter().enumerate() {
            if trial.asked.is_some() {
                self.notes.push(format!("Trial {} was done otherwise than asked; what was done counts.", n + 1));
            }
        }
        for (label, count) in self.labels.iter().zip(&self.insertions) {
            if f64::from(*count) >= self.stands * 0.8 {
                self.notes
                    .push(format!("Slot {label} has seen {count} insertions of the {} it is made for.", self.stands));
            }
        }
    }

    /// The mode may turn out wrong: the report of a boot can contradict it.
    fn settle_mode(&mut self) {
        let (mut no_post, mut part, mut whole) = (false, false, false);
        for (board, seen) in self.starts() {
            match seen {
                Seen::NoPost => no_post = true,
                Seen::Slots(labels) => {
                    let parts = parts_of_channels(&self.model.layout, &self.labels, &board, labels);
                    part |= parts;
                    whole |= !parts && several_on_a_channel(&self.model.layout, &self.labels, &board, labels);
                }
            }
        }
        if no_post && self.model.mode != Mode::Blind {
            self.model.mode = Mode::Blind;
            self.notes
                .push("The machine does not post, so slots named earlier no longer say where the fault is.".to_owned());
        }
        if whole && !part && self.model.mode == Mode::Slot && !self.stated && self.model.layout.deepest() <= 4 {
            self.model.mode = Mode::Channel;
            self.notes.push(
                "A whole channel was reported at once: this firmware may drop a channel for one slot of it, so slot and \
                 channel are not told apart."
                    .to_owned(),
            );
        }
        if part && self.model.mode == Mode::Channel {
            self.model.mode = Mode::Slot;
            self.notes.push(
                "Part of a channel was reported: this firmware names slots and does not drop whole channels."
                    .to_owned(),
            );
        }
    }

    fn causes(&self) -> Vec<(Cause, f64)> {
        let single = all_faults(&self.model.layout, &self.home.fitted, &self.shares);
        let mut ever: Vec<u16> = self.units(&self.first);
        for trial in &self.trials {
            ever.extend(self.units(&trial.seen));
        }
        let starts = self.starts();
        let touches = |fault: Fault| self.could_show(fault, &starts, &ever);
        let mut causes: Vec<(Cause, f64)> = single.iter().map(|(f, w)| (Cause::one(*f), *w)).collect();
        if self.model.mode == Mode::Blind {
            // A spare that was tried may be bad too.
            for spare in self.means.spares.iter().filter(|spare| self.was_fitted(**spare)) {
                let bad = Some(Fault::Module(*spare));
                causes.extend(single.iter().map(|(f, w)| (Cause { first: *f, second: bad }, w * self.bad_spare)));
            }
        }
        let near: Vec<(Fault, f64)> = if self.second <= 0.0 {
            Vec::new()
        } else if self.model.mode == Mode::Blind {
            // No report says which faults are near, so all are; on a large board that is more than can be weighed in time.
            if single.len() <= PAIRED { single.clone() } else { Vec::new() }
        } else {
            let spares = self.means.spares.iter().map(|p| (Fault::Module(*p), self.bad_spare / self.second));
            single.iter().copied().chain(spares).filter(|(f, _)| touches(*f)).collect()
        };
        for (n, (a, wa)) in near.iter().enumerate() {
            for (b, wb) in &near[n + 1..] {
                let weight = 2.0 * self.second * wa * wb;
                causes.push((Cause { first: *a, second: Some(*b) }, weight));
            }
        }
        causes
    }

    /// Whether any start named some modules of a channel and not others, which a firmware that drops channels never does.
    pub(super) fn named_part_of_a_channel(&self) -> bool {
        let parts = |board, seen: &Seen| matches!(seen, Seen::Slots(labels) if parts_of_channels(&self.model.layout, &self.labels, board, labels));
        self.starts().iter().any(|(board, seen)| parts(board, seen))
    }

    /// Whether two faults at a time are weighed: on a large board that does not post there are too many of them.
    pub(super) fn weighs_two(&self) -> bool {
        self.model.mode != Mode::Blind
            || all_faults(&self.model.layout, &self.home.fitted, &self.shares).len() <= PAIRED
    }

    /// Whether a module from outside was put in by any trial.
    fn was_fitted(&self, piece: Piece) -> bool {
        self.actions.iter().flatten().any(|change| matches!(change, Change::Fit(_, fitted) if *fitted == piece))
    }

    /// Whether a fault covered, or sat in, a unit that was ever reported, in any arrangement so far.
    fn could_show(&self, fault: Fault, starts: &[(Arrangement, &Seen)], ever: &[u16]) -> bool {
        let unit = |p: Place| unit_of(&self.model.layout, self.model.mode, p);
        let mut shows = false;
        for (board, _) in starts {
            if let Fault::Seat(place) = fault {
                shows |= ever.contains(&unit(place));
            }
            fault.covered(&self.model.layout, &board.fitted, &board.spots, false, &mut |p| {
                shows |= ever.contains(&unit(p))
            });
        }
        shows
    }

    /// Whether the module was reported in two different units.
    pub(super) fn followed(&self, piece: Piece) -> Vec<Place> {
        let mut places: Vec<Place> = Vec::new();
        for (board, seen) in self.starts() {
            let place = board.spots.get(usize::from(piece)).copied().filter(|p| *p != NOWHERE);
            if let Some(place) = place
                && self.units(seen).contains(&unit_of(&self.model.layout, self.model.mode, place))
                && !places.contains(&place)
            {
                places.push(place);
            }
        }
        places.dedup_by_key(|p| unit_key(&self.model, *p));
        places
    }

    /// What leads, with its probability: one kind of cause where that alone is sure, else the class likeliest to be among
    /// the causes. A second fault hidden behind the first does not make it less true that the first is there.
    pub(super) fn leading(&self) -> Option<(Kind, f64)> {
        let (kind, chance) = self.belief.best()?;
        if chance >= self.model.sure {
            return Some((kind, chance));
        }
        let mut sums: BTreeMap<Class, f64> = BTreeMap::new();
        for h in &self.belief.hypotheses {
            if let Some(kind) = self.belief.kinds().get(usize::from(h.kind)) {
                kind.classes().for_each(|class| *sums.entry(class).or_default() += h.weight);
            }
        }
        let best = sums.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        Some((Kind { first: best.0, second: None }, best.1))
    }

    /// Probability that this class is among the causes, alone or with another.
    pub(super) fn class_chance(&self, class: Class) -> f64 {
        let has = |kind: &Kind| kind.classes().any(|c| c == class);
        let kinds: Vec<bool> = self.belief.kinds().iter().map(has).collect();
        let with = self.belief.hypotheses.iter().filter(|h| kinds.get(usize::from(h.kind)) == Some(&true));
        with.map(|h| h.weight).sum()
    }
}

/// In blind mode two places are told apart although the report names none.
fn unit_key(model: &Model, place: Place) -> u16 {
    if model.mode == Mode::Blind { place } else { unit_of(&model.layout, model.mode, place) }
}

fn inserted(change: Change) -> impl Iterator<Item = Place> {
    let (a, b) = match change {
        Change::Reseat(p) | Change::Fit(p, _) | Change::Move(_, p) => (Some(p), None),
        Change::Swap(a, b) => (Some(a), Some(b)),
        Change::Remove(_) | Change::ClearSettings => (None, None),
    };
    a.into_iter().chain(b)
}

/// Whether a report names some fitted slots of a channel and not others.
fn parts_of_channels(layout: &Layout, labels: &[SlotLabel], board: &Arrangement, reported: &[SlotLabel]) -> bool {
    let places: Vec<Place> = reported.iter().filter_map(|l| position(labels, l).ok()).collect();
    places.iter().any(|p| {
        let channel = layout.places(layout.channel_of(*p)).iter();
        channel.filter(|o| board.at(**o).is_some()).any(|o| !places.contains(o))
    })
}

/// Whether any reported slot is on a channel that holds several modules.
fn several_on_a_channel(layout: &Layout, labels: &[SlotLabel], board: &Arrangement, reported: &[SlotLabel]) -> bool {
    reported
        .iter()
        .filter_map(|l| position(labels, l).ok())
        .any(|p| layout.places(layout.channel_of(p)).iter().filter(|o| board.at(**o).is_some()).count() > 1)
}

/// The mode the first boot speaks for: no post; whole channels of several modules; or slots.
pub(super) fn mode_of(
    layout: &Layout,
    labels: &[SlotLabel],
    board: &Arrangement,
    first: &Seen,
) -> Result<Mode, IsolateError> {
    let Seen::Slots(reported) = first else { return Ok(Mode::Blind) };
    for label in reported {
        position(labels, label)?;
    }
    let several = several_on_a_channel(layout, labels, board, reported);
    let whole = several && !parts_of_channels(layout, labels, board, reported);
    Ok(if whole { Mode::Channel } else { Mode::Slot })
}
