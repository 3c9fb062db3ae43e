//! One isolation as it goes: what was seen at first, each trial with what was asked, done and seen, and what follows.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::action::{Action, Arrangement, Change};
use super::belief::{Belief, Model};
use super::candidates::Means;
use super::choose::{Costs, InTheWay};
use super::evidence::{Evidence, Finding};
use super::fault::{Mode, unit_of};
use super::house::House;
use super::layout::{Layout, NOWHERE, Piece, Place};
use super::rates::{Figure, Rates, Shares};
use super::replay::mode_of;
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
    #[error("the module of {slot} cannot change places with itself; where it was seated anew, say reseat")]
    SwapAlone { slot: SlotLabel },
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
    /// The slots that are missing, disabled or have uncorrected errors; none when all is well.
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
    /// What was found after the boot before it and before its changes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub found: Vec<Finding>,
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
    /// What was found besides the reports, with the number of trials before it.
    pub(super) findings: Vec<(usize, Finding)>,
    pub(super) evidence: Option<Evidence>,
    pub(super) notes: Vec<String>,
    pub(super) contradicted: bool,
    pub(super) broken_rules: Vec<String>,
    /// The reporting mode was stated, not inferred.
    pub(super) stated: bool,
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
        let before = self.findings.iter().filter(|(at, _)| *at == self.trials.len());
        let found = before.map(|(_, finding)| finding.clone()).collect();
        self.trials.push(Done { asked: differs.then(|| asked.to_vec()), done, seen, found });
        self.actions.push(action);
        self.replay();
        Ok(())
    }

    /// Takes in what was found after the last boot and before the next changes: pattern tests, and how modules stood before they
    /// were touched. It moves the probabilities and convicts nobody. Corrected errors are kept and not weighed.
    ///
    /// # Errors
    /// Labels that are not on the board; then none of the findings counts.
    pub fn observe_findings(&mut self, findings: &[Finding]) -> Result<(), IsolateError> {
        for finding in findings {
            position(&self.labels, &finding.slot)?;
        }
        self.findings.extend(findings.iter().map(|finding| (self.trials.len(), finding.clone())));
        self.replay();
        Ok(())
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
                Step::Swap(a, b) if a == b => return Err(IsolateError::SwapAlone { slot: a.clone() }),
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
