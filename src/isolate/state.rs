//! One isolation as it goes: what was seen at first, each trial with what was asked, done and seen, and what follows.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::action::{Action, Arrangement, Change};
use super::belief::{Belief, Cause, Kind, Model};
use super::candidates::Means;
use super::choose::{Costs, InTheWay};
use super::evidence::{Evidence, Finding};
use super::fault::{Class, Fault, Mode, all_faults, unit_of};
use super::house::House;
use super::layout::{Layout, NOWHERE, Piece, Place};
use super::rates::{Figure, Rates, Shares};
use crate::board::{Board, Cover, SlotLabel};
use crate::module::Module;

/// What keeps an isolation from starting or going on.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum IsolateError {
    #[error("the board has no slot {slot}; its labels are in the board file")]
    NoSuchSlot { slot: SlotLabel },
    #[error("slot {slot} is listed with two modules")]
    SlotTwice { slot: SlotLabel },
    #[error("slot {slot} is empty, so its module cannot be {what}")]
    Empty { slot: SlotLabel, what: &'static str },
    #[error("slot {slot} holds a module; a move needs an empty slot, a swap exchanges two")]
    Occupied { slot: SlotLabel },
    #[error("no module with serial {serial} is known here; scan it as a spare first")]
    NoSuchModule { serial: crate::text::Shown },
    #[error("module {serial} is on the board already")]
    OnBoard { serial: crate::text::Shown },
    #[error("a channel of {slots} slots is deeper than can be isolated by channel (4)")]
    TooDeep { slots: usize },
}

/// One change as a technician is asked to make it, or says it was made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Step {
    Reseat(SlotLabel),
    Swap(SlotLabel, SlotLabel),
    Move(SlotLabel, SlotLabel),
    Remove(SlotLabel),
    /// The slot and the serial of the module that goes in; what is there comes out.
    Substitute(SlotLabel, String),
    ClearSettings(bool),
}

/// What a boot showed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Seen {
    /// The slots that are missing, shut off or count errors; none when all is well.
    Slots(Vec<SlotLabel>),
    /// The machine did not post.
    NoPost,
}

/// One trial as it went.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Done {
    /// What was asked for, where it differs from what was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asked: Option<Vec<Step>>,
    pub done: Vec<Step>,
    pub seen: Seen,
}

/// A module known to this isolation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    pub module: Module,
    /// On hand as known-good.
    pub spare: bool,
}

/// One isolation.
#[derive(Debug, Clone)]
pub struct State {
    pub(super) labels: Vec<SlotLabel>,
    pub(super) known: Vec<Known>,
    pub(super) model: Model,
    pub(super) shares: Shares,
    pub(super) second: f64,
    pub(super) bad_spare: f64,
    pub(super) stands: f64,
    pub(super) costs: Costs,
    pub(super) means: Means,
    pub(super) home: Arrangement,
    pub(super) first: Seen,
    pub(super) trials: Vec<Done>,
    /// Per trial, its changes on places.
    pub(super) actions: Vec<Action>,
    pub(super) belief: Belief,
    pub(super) insertions: Vec<u32>,
    /// By place, before this isolation.
    pub(super) earlier: Vec<u32>,
    /// What was found while the machine ran, with the number of trials before it.
    pub(super) findings: Vec<(usize, Finding)>,
    pub(super) evidence: Option<Evidence>,
    pub(super) notes: Vec<String>,
    pub(super) contradicted: bool,
    pub(super) broken_rules: Vec<String>,
    /// The reporting mode was stated, not inferred.
    stated: bool,
}

/// A verdict needs this posterior unless it is set otherwise.
pub const SURE: f64 = 0.99;

impl State {
    /// Begins an isolation: the board, what is fitted where, what the first boot showed, and the rates to go by.
    ///
    /// # Errors
    /// Labels that are not on the board, and boards this cannot be done for.
    pub fn new(
        board: &Board,
        fitted: &[(SlotLabel, Module)],
        first: Seen,
        rates: &Rates,
    ) -> Result<Self, IsolateError> {
        let labels: Vec<SlotLabel> = board.slots().map(|s| s.slot.label.clone()).collect();
        let layout = Layout::of(board);
        let mut places = vec![NOWHERE; labels.len()];
        let mut known = Vec::new();
        for (label, module) in fitted {
            let place = position(&labels, label)?;
            if places[usize::from(place)] != NOWHERE {
                return Err(IsolateError::SlotTwice { slot: label.clone() });
            }
            places[usize::from(place)] = known.len() as Piece;
            known.push(Known { module: module.clone(), spare: false });
        }
        let home = Arrangement::new(places, known.len());
        let mode = mode_of(&layout, &labels, &home, &first)?;
        if mode == Mode::Channel && layout.deepest() > 4 {
            return Err(IsolateError::TooDeep { slots: layout.deepest() });
        }
        let model = Model {
            layout,
            mode,
            clears: rates.seating.clears.number(),
            spoils: rates.seating.spoils.number(),
            shows: rates.report.shows.number().min(1.0),
            sure: SURE,
        };
        let shares = Shares::of(rates);
        let costs = Costs {
            boot: rates.minutes.boot.number(),
            insertion: rates.minutes.insertion.number(),
            opening: rates.minutes.opening.number(),
            covers: covers(board, rates.minutes.cover.as_ref().map_or(0.0, Figure::number)),
        };
        let mut house = House::of(board);
        house.kinds(kinds(&known));
        let mut state = Self {
            belief: Belief::of(&model, home.clone(), Vec::new()),
            insertions: vec![0; labels.len()],
            earlier: vec![0; labels.len()],
            second: rates.second.fault.number(),
            bad_spare: rates.second.bad_spare.number(),
            stands: rates.connector.insertions.number(),
            means: Means { alike: alike(&known), clear_settings: shares.setting > 0.0, house, ..Means::default() },
            trials: Vec::new(),
            actions: Vec::new(),
            findings: Vec::new(),
            evidence: rates.evidence.as_ref().map(Evidence::of),
            notes: Vec::new(),
            contradicted: false,
            broken_rules: Vec::new(),
            stated: false,
            labels,
            known,
            model,
            shares,
            costs,
            home,
            first,
        };
        state.replay();
        Ok(state)
    }

    /// Uses the boot minutes measured in the record.
    pub fn measured_boot(&mut self, minutes: f64) {
        if minutes > 0.0 {
            self.costs.boot = minutes;
        }
    }

    /// Minutes to open and close the machine once.
    pub fn opening_minutes(&mut self, minutes: f64) {
        if minutes >= 0.0 {
            self.costs.opening = minutes;
        }
    }

    /// Minutes to take this cover off and put it back; a name that is not on the board changes nothing.
    pub fn cover_minutes(&mut self, name: &str, minutes: f64) {
        for cover in self.costs.covers.iter_mut().filter(|c| c.name == name && minutes >= 0.0) {
            cover.minutes = minutes;
        }
    }

    /// Insertions a slot has seen before this isolation, from earlier records.
    ///
    /// # Errors
    /// A label that is not on the board.
    pub fn inserted_before(&mut self, label: &SlotLabel, count: u32) -> Result<(), IsolateError> {
        let place = position(&self.labels, label)?;
        self.earlier[usize::from(place)] = count;
        self.replay();
        Ok(())
    }

    /// Insertions a slot has seen in all, those of earlier records included.
    pub fn insertions_of(&self, label: &SlotLabel) -> Option<u32> {
        position(&self.labels, label).ok().map(|p| self.insertions[usize::from(p)])
    }

    /// Sockets that hold no processor, by their order on the board: no trial puts a module there.
    pub fn without_processor(&mut self, sockets: &[usize]) {
        let bare = (0..self.model.layout.socket_count()).map(|s| sockets.contains(&s)).collect();
        self.means.house.bare(bare);
    }

    /// Sets the posterior a verdict needs.
    pub fn sure(&mut self, sure: f64) {
        self.model.sure = sure.clamp(0.5, 0.9999);
    }

    /// States the reporting mode where the owner of the machine knows it.
    pub fn reports(&mut self, mode: Mode) {
        self.model.mode = mode;
        self.stated = true;
        self.replay();
    }

    /// A module on hand that is taken for good; it may turn out bad.
    pub fn add_spare(&mut self, module: Module) {
        let piece = self.known.len() as Piece;
        self.known.push(Known { module, spare: true });
        self.means.spares.push(piece);
        self.means.alike = alike(&self.known);
        self.means.house.kinds(kinds(&self.known));
        self.home = Arrangement::new(self.home.fitted.clone(), self.known.len());
        self.replay();
    }

    /// A slot that must not be touched, such as one whose module has to stay.
    ///
    /// # Errors
    /// A label that is not on the board.
    pub fn leave_alone(&mut self, label: &SlotLabel) -> Result<(), IsolateError> {
        let place = position(&self.labels, label)?;
        self.means.untouchable.push(place);
        Ok(())
    }

    /// Population rules that the fitted modules break: they are the verdict, without any trial.
    pub fn rules_broken(&mut self, rules: Vec<String>) {
        self.broken_rules = rules;
    }

    /// Which slot holds which module now, by serial where it has one.
    pub fn fitted_now(&self) -> impl Iterator<Item = (&SlotLabel, &Module)> {
        self.labels
            .iter()
            .zip(&self.belief.board.fitted)
            .filter_map(|(label, piece)| self.known.get(usize::from(*piece)).map(|known| (label, &known.module)))
    }

    /// What to tell the technician besides the verdict: contradictions, worn slots, trials done otherwise than asked.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The reporting mode gone by.
    pub fn mode(&self) -> Mode {
        self.model.mode
    }

    /// The trials so far.
    pub fn trials(&self) -> &[Done] {
        &self.trials
    }

    /// The changes that lead from what is believed fitted to what scans found: modules swapped without saying so.
    ///
    /// # Errors
    /// Labels and serials that are not known.
    pub fn changes_from(&self, found: &[(SlotLabel, String)]) -> Result<Vec<Step>, IsolateError> {
        let mut wanted = vec![NOWHERE; self.labels.len()];
        for (label, serial) in found {
            wanted[usize::from(position(&self.labels, label)?)] = self.piece(serial)?;
        }
        let now = &self.belief.board.fitted;
        let differs = |p: &usize| now[*p] != wanted[*p];
        let mut steps: Vec<Step> = (0..now.len())
            .filter(|p| differs(p) && now[*p] != NOWHERE)
            .map(|p| Step::Remove(self.labels[p].clone()))
            .collect();
        for p in (0..now.len()).filter(|p| differs(p) && wanted[*p] != NOWHERE) {
            steps.push(Step::Substitute(self.labels[p].clone(), self.serial(wanted[p])));
        }
        Ok(steps)
    }

    /// Takes in one trial: what was asked, what was done (scans tell), what the boot showed.
    ///
    /// # Errors
    /// Changes that cannot have been made.
    pub fn observe(&mut self, asked: &[Step], done: Vec<Step>, seen: Seen) -> Result<(), IsolateError> {
        let action = self.action_of(&done)?;
        if let Seen::Slots(labels) = &seen {
            for label in labels {
                position(&self.labels, label)?;
            }
        }
        let differs = asked != done.as_slice();
        self.trials.push(Done { asked: differs.then(|| asked.to_vec()), done, seen });
        self.actions.push(action);
        self.replay();
        Ok(())
    }

    /// Takes in what was found while the machine ran after its last boot: errors corrected, pattern tests. Weak evidence:
    /// it moves the probabilities and convicts nobody.
    ///
    /// # Errors
    /// Labels that are not on the board; then none of the findings counts.
    pub fn observe_errors(&mut self, findings: &[Finding]) -> Result<(), IsolateError> {
        for finding in findings {
            position(&self.labels, &finding.slot)?;
        }
        self.findings.extend(findings.iter().map(|finding| (self.trials.len(), finding.clone())));
        self.replay();
        Ok(())
    }

    /// Weighs what was found after trial `n`. What a boot reported by itself is not counted twice, and the same sign of the
    /// same module in the same slot counts once: given the fault, a second one is no news.
    fn weigh(&self, belief: &mut Belief, n: usize, counted: &mut Vec<(Place, Piece, bool)>) {
        let Some(evidence) = &self.evidence else { return };
        let seen = if n == 0 { &self.first } else { &self.trials[n - 1].seen };
        let reported = self.units(seen);
        for (_, finding) in self.findings.iter().filter(|(at, _)| *at == n) {
            let Ok(place) = position(&self.labels, &finding.slot) else { continue };
            let Some(piece) = belief.board.at(place) else { continue };
            if reported.contains(&unit_of(&self.model.layout, self.model.mode, place)) {
                continue;
            }
            let parts = [
                (false, Finding { pattern_passed: None, ..finding.clone() }),
                (true, Finding { corrected: None, ..finding.clone() }),
            ];
            for (is_pattern, part) in parts {
                let signs = evidence.signs(&part);
                if !signs.is_empty() && !counted.contains(&(place, piece, is_pattern)) {
                    counted.push((place, piece, is_pattern));
                    signs.iter().for_each(|sign| {
                        belief.sign(&self.model, place, *sign);
                    });
                }
            }
        }
    }

    /// Whether the technician's changes are possible, as changes of places.
    fn action_of(&self, steps: &[Step]) -> Result<Action, IsolateError> {
        let mut board = self.belief.board.clone();
        let mut action = Action::new();
        for step in steps {
            let held = |label: &SlotLabel, what| {
                let place = position(&self.labels, label)?;
                board.at(place).map(|_| place).ok_or(IsolateError::Empty { slot: label.clone(), what })
            };
            let change = match step {
                Step::Reseat(label) => Change::Reseat(held(label, "reseated")?),
                Step::Swap(a, b) => Change::Swap(held(a, "swapped")?, held(b, "swapped")?),
                Step::Move(a, b) => {
                    let (from, to) = (held(a, "moved")?, position(&self.labels, b)?);
                    if board.at(to).is_some() {
                        return Err(IsolateError::Occupied { slot: b.clone() });
                    }
                    Change::Move(from, to)
                }
                Step::Remove(label) => Change::Remove(held(label, "removed")?),
                Step::Substitute(label, serial) => {
                    let piece = self.piece(serial)?;
                    if board.spots.get(usize::from(piece)) != Some(&NOWHERE) {
                        return Err(IsolateError::OnBoard { serial: crate::text::shown(serial) });
                    }
                    Change::Fit(position(&self.labels, label)?, piece)
                }
                Step::ClearSettings(false) => continue,
                Step::ClearSettings(true) => Change::ClearSettings,
            };
            board.apply(change, &mut |_| {});
            action.push(change);
        }
        Ok(action)
    }

    /// The changes as a technician reads them.
    pub(super) fn steps_of(&self, action: &Action) -> Vec<Step> {
        let label = |p: Place| self.labels[usize::from(p)].clone();
        action
            .iter()
            .map(|change| match *change {
                Change::Reseat(p) => Step::Reseat(label(p)),
                Change::Swap(a, b) => Step::Swap(label(a), label(b)),
                Change::Move(a, b) => Step::Move(label(a), label(b)),
                Change::Remove(p) => Step::Remove(label(p)),
                Change::Fit(p, piece) => Step::Substitute(label(p), self.serial(piece)),
                Change::ClearSettings => Step::ClearSettings(true),
            })
            .collect()
    }

    /// The serial of a module; modules without one are numbered.
    pub(super) fn serial(&self, piece: Piece) -> String {
        let known = self.known.get(usize::from(piece));
        let serial = known.and_then(|k| k.module.identity.serial.clone());
        serial.unwrap_or_else(|| format!("module {}", piece + 1))
    }

    fn piece(&self, serial: &str) -> Result<Piece, IsolateError> {
        let found = (0..self.known.len() as Piece).find(|piece| self.serial(*piece) == serial);
        found.ok_or_else(|| IsolateError::NoSuchModule { serial: crate::text::shown(serial) })
    }

    /// The units a boot showed as failing.
    pub(super) fn units(&self, seen: &Seen) -> Vec<u16> {
        let mut units: Vec<u16> = match seen {
            Seen::NoPost => vec![0],
            Seen::Slots(labels) => labels
                .iter()
                .filter_map(|label| position(&self.labels, label).ok())
                .map(|place| unit_of(&self.model.layout, self.model.mode, place))
                .collect(),
        };
        units.sort_unstable();
        units.dedup();
        units
    }

    /// Works the belief out anew from all that was done and seen. Two faults at a time are considered where both could
    /// have had a part in what was seen.
    fn replay(&mut self) {
        self.notes.clear();
        self.contradicted = false;
        self.settle_mode();
        self.insertions = self.earlier.clone();
        let mut belief = Belief::of(&self.model, self.home.clone(), self.causes());
        let mut explained = matches!(&self.first, Seen::Slots(labels) if labels.is_empty())
            || belief.report(&self.model, &self.units(&self.first)) > 0.0;
        let mut counted = Vec::new();
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
            explained &= belief.report(&self.model, &self.units(&trial.seen)) > 0.0;
            self.weigh(&mut belief, n + 1, &mut counted);
        }
        self.contradicted = !explained;
        self.belief = belief;
        self.note();
    }

    fn note(&mut self) {
        if self.contradicted {
            self.notes.push(
                "No single fault and no two faults explain all that was seen; one of the reports, or what was done, is not as told."
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
        let all = std::iter::once(&self.first).chain(self.trials.iter().map(|t| &t.seen));
        let (mut no_post, mut part, mut whole) = (false, false, false);
        let mut board = self.home.clone();
        for (n, seen) in all.enumerate() {
            if n > 0 {
                self.actions[n - 1].iter().for_each(|change| board.apply(*change, &mut |_| {}));
            }
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
        let touches = |fault: Fault| self.could_show(fault, &ever);
        let mut causes: Vec<(Cause, f64)> = single.iter().map(|(f, w)| (Cause::one(*f), *w)).collect();
        if self.model.mode == Mode::Blind {
            // A spare that was tried may be bad too.
            for spare in self.means.spares.iter().filter(|spare| self.was_fitted(**spare)) {
                let bad = Some(Fault::Module(*spare));
                causes.extend(single.iter().map(|(f, w)| (Cause { first: *f, second: bad }, w * self.bad_spare)));
            }
        }
        let near: Vec<(Fault, f64)> = if self.second > 0.0 && self.model.mode != Mode::Blind {
            let spares = self.means.spares.iter().map(|p| (Fault::Module(*p), self.bad_spare / self.second));
            single.iter().copied().chain(spares).filter(|(f, _)| touches(*f)).collect()
        } else {
            Vec::new()
        };
        for (n, (a, wa)) in near.iter().enumerate() {
            for (b, wb) in &near[n + 1..] {
                let weight = 2.0 * self.second * wa * wb;
                causes.push((Cause { first: *a, second: Some(*b) }, weight));
            }
        }
        causes
    }

    /// Whether a module from outside was put in by any trial.
    fn was_fitted(&self, piece: Piece) -> bool {
        self.actions.iter().flatten().any(|change| matches!(change, Change::Fit(_, fitted) if *fitted == piece))
    }

    /// Whether a fault covered, or sat in, a unit that was ever reported, in any arrangement so far.
    fn could_show(&self, fault: Fault, ever: &[u16]) -> bool {
        let mut board = self.home.clone();
        let unit = |p: Place| unit_of(&self.model.layout, self.model.mode, p);
        let mut shows = false;
        for n in 0..=self.actions.len() {
            if let Fault::Seat(place) = fault {
                shows |= ever.contains(&unit(place));
            }
            fault.covered(&self.model.layout, &board.fitted, &board.spots, false, &mut |p| {
                shows |= ever.contains(&unit(p))
            });
            if let Some(action) = self.actions.get(n) {
                action.iter().for_each(|change| board.apply(*change, &mut |_| {}));
            }
        }
        shows
    }

    /// Whether the module was reported in two different units.
    pub(super) fn followed(&self, piece: Piece) -> Vec<Place> {
        let mut board = self.home.clone();
        let mut places: Vec<Place> = Vec::new();
        for n in 0..=self.actions.len() {
            let seen = if n == 0 { &self.first } else { &self.trials[n - 1].seen };
            if n > 0 {
                self.actions[n - 1].iter().for_each(|change| board.apply(*change, &mut |_| {}));
            }
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
        let classes: Vec<Class> = self.belief.by_kind().iter().flat_map(|(kind, _)| kind.classes()).collect();
        let best = classes.into_iter().map(|c| (c, self.class_chance(c))).max_by(|a, b| a.1.total_cmp(&b.1))?;
        Some((Kind { first: best.0, second: None }, best.1))
    }

    /// Probability that this class is among the causes, alone or with another.
    pub(super) fn class_chance(&self, class: Class) -> f64 {
        let has = |kind: &Kind| kind.classes().any(|c| c == class);
        self.belief.by_kind().iter().filter(|(kind, _)| has(kind)).map(|(_, p)| p).sum()
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

pub(super) fn position(labels: &[SlotLabel], label: &SlotLabel) -> Result<Place, IsolateError> {
    let found = labels.iter().position(|l| l == label);
    found.map(|p| p as Place).ok_or_else(|| IsolateError::NoSuchSlot { slot: label.clone() })
}

/// Modules of equal size, ranks, kind and rate stand in for one another.
fn alike(known: &[Known]) -> Vec<u16> {
    let first = |k: &Known| known.iter().position(|o| o.module.spec == k.module.spec).unwrap_or(0) as u16;
    known.iter().map(first).collect()
}

/// By module, a number for its kind; modules of unknown kind are one kind of their own.
fn kinds(known: &[Known]) -> Vec<u16> {
    let first = |k: &Known| known.iter().position(|o| o.module.spec.kind == k.module.spec.kind).unwrap_or(0) as u16;
    known.iter().map(first).collect()
}

/// The covers of a board, each with what it is in the way of.
fn covers(board: &Board, minutes: f64) -> Vec<InTheWay> {
    let over = |cover: &Cover| board.slots().map(|s| cover.blocks(s)).collect();
    board.cover.iter().map(|c| InTheWay { name: c.name.clone(), minutes, over: over(c) }).collect()
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
fn mode_of(layout: &Layout, labels: &[SlotLabel], board: &Arrangement, first: &Seen) -> Result<Mode, IsolateError> {
    let Seen::Slots(reported) = first else { return Ok(Mode::Blind) };
    for label in reported {
        position(labels, label)?;
    }
    let several = several_on_a_channel(layout, labels, board, reported);
    let whole = several && !parts_of_channels(layout, labels, board, reported);
    Ok(if whole { Mode::Channel } else { Mode::Slot })
}
