//! What a record says of the search for one fault: what it began with, its trials, its verdict.

use std::collections::BTreeMap;

use crate::board::{Board, SlotLabel};
use crate::isolate::{Done, Explanation, Finding, IsolateError, Seen, State, Step, Verdict};
use crate::module::Module;
use crate::record::IsolationOpened;

/// One search for a fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Isolation {
    pub line: u64,
    /// As it began, and with the spares that came later.
    pub opened: IsolationOpened,
    pub trials: Vec<TrialRun>,
    /// The verdict that stands: the last one.
    pub verdict: Option<Reached>,
}

/// One trial, asked for and perhaps done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrialRun {
    pub line: u64,
    /// 1, 2, 3 …
    pub trial: u64,
    pub changes: Vec<Step>,
    pub minutes: u32,
    pub why: String,
    /// Walked through card by card.
    pub guided: bool,
    /// Opened when the verdict stood: it brings the modules back and is no trial of anything.
    pub puts_back: bool,
    /// Boot id and system UUID of the last report before it: a later report must be of another boot.
    pub boot_id: Option<String>,
    pub uuid: Option<String>,
    pub done: Option<TrialDone>,
}

/// How a trial went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrialDone {
    pub line: u64,
    pub done: Vec<Step>,
    pub seen: Seen,
    /// How the modules stood before they were touched.
    pub found: Vec<Finding>,
    pub snapshot_line: Option<u64>,
}

/// A verdict with what else was thought of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reached {
    pub line: u64,
    pub verdict: Verdict,
    pub explanations: Vec<Explanation>,
}

impl Isolation {
    /// The belief after the trials done so far, worked out anew from the record alone.
    ///
    /// # Errors
    /// Slots or modules that the board or the search does not know.
    pub fn state(&self, board: &Board) -> Result<State, IsolateError> {
        let opened = &self.opened;
        let fitted: Vec<(SlotLabel, Module)> =
            opened.fitted.iter().map(|fitted| (fitted.slot.clone(), fitted.module.clone())).collect();
        let mut state = State::new(board, &fitted, opened.first.clone(), &opened.rates)?;
        state.sure(opened.sure.parse().unwrap_or(crate::isolate::state::SURE));
        for spare in &opened.spares {
            state.add_spare(spare.clone());
        }
        state.rules_broken(opened.broken_rules.clone());
        state.without_processor(&opened.without_processor);
        for Done { asked, done, seen, found } in &opened.before {
            state.observe_findings(found)?;
            state.observe(asked.as_ref().unwrap_or(done), done.clone(), seen.clone())?;
        }
        for trial in &self.trials {
            if let Some(done) = &trial.done {
                state.observe_findings(&done.found)?;
                state.observe(&trial.changes, done.done.clone(), done.seen.clone())?;
            }
        }
        Ok(state)
    }

    /// The trial that was asked for and is not done yet.
    pub fn open_trial(&self) -> Option<&TrialRun> {
        self.trials.last().filter(|trial| trial.done.is_none())
    }

    /// Whether a module is one of the search, fitted or spare, by its serial.
    pub fn knows(&self, module: &Module) -> bool {
        let fitted = self.opened.fitted.iter().map(|fitted| &fitted.module);
        let serial = module.identity.serial.as_deref();
        let is = |own: &str| serial.is_some_and(|serial| crate::verify::serials_equal(own, serial));
        fitted.chain(&self.opened.spares).filter_map(|known| known.identity.serial.as_deref()).any(is)
    }

    /// Whether a verdict is still to come.
    pub fn is_open(&self) -> bool {
        self.verdict.is_none()
    }

    /// Trials that are done.
    pub fn done(&self) -> usize {
        self.trials.iter().filter(|trial| trial.done.is_some()).count()
    }
}

/// A module this search knows, and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stands {
    pub module: Module,
    /// Its serial, or a number where it has none: the name trials call it by.
    pub name: String,
    /// `None`: outside the machine.
    pub slot: Option<SlotLabel>,
}

impl Isolation {
    /// Where each module stands after so many of the trials, by what was done.
    pub fn arrangement(&self, trials: usize) -> Vec<Stands> {
        let opened = &self.opened;
        let fitted = opened.fitted.iter().map(|fitted| (&fitted.module, Some(fitted.slot.clone())));
        let spares = opened.spares.iter().map(|spare| (spare, None));
        let mut stands: Vec<Stands> = fitted
            .chain(spares)
            .enumerate()
            .map(|(n, (module, slot))| {
                let name = module.identity.serial.clone().unwrap_or_else(|| format!("module {}", n + 1));
                Stands { module: module.clone(), name, slot }
            })
            .collect();
        for done in self.trials.iter().take(trials).filter_map(|trial| trial.done.as_ref()) {
            carry_out(&mut stands, &done.done);
        }
        stands
    }
}

/// Why a slot is empty that held a module when a search began.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Emptied {
    /// Its module is out of the machine for this trial.
    TakenOut { trial: u64 },
    /// Its module stands in another slot for this trial.
    Moved { trial: u64, to: SlotLabel },
    /// What the verdict names stayed out when the modules were put back.
    LeftOut,
}

impl Emptied {
    /// In words, as half a sentence about the module.
    pub fn words(&self) -> String {
        match self {
            Self::TakenOut { trial } => format!("taken out for trial {trial}, by request"),
            Self::Moved { trial, to } => format!("moved to {to} for trial {trial}, by request"),
            Self::LeftOut => "left out after the verdict, by request".to_owned(),
        }
    }
}

impl Isolation {
    /// The slots that this search emptied, by what was done before a line of the record: none of them is missing its module.
    pub fn emptied_before(&self, line: u64) -> BTreeMap<SlotLabel, Emptied> {
        let mut stands = self.arrangement(0);
        let mut emptied = BTreeMap::new();
        for run in &self.trials {
            let Some(done) = run.done.as_ref().filter(|done| done.line < line) else { break };
            let before = stands.clone();
            carry_out(&mut stands, &done.done);
            for (was, is) in before.iter().zip(&stands) {
                let Some(slot) = was.slot.as_ref().filter(|slot| is.slot.as_ref() != Some(*slot)) else { continue };
                let why = match &is.slot {
                    _ if run.puts_back => Emptied::LeftOut,
                    Some(to) => Emptied::Moved { trial: run.trial, to: to.clone() },
                    None => Emptied::TakenOut { trial: run.trial },
                };
                emptied.insert(slot.clone(), why);
            }
            if run.puts_back {
                // What is still out now stays out.
                emptied.values_mut().for_each(|why| *why = Emptied::LeftOut);
            }
            emptied.retain(|slot, _| stands.iter().all(|one| one.slot.as_ref() != Some(slot)));
        }
        emptied
    }
}

/// Carries out changes; what cannot be done (a search refuses it) is left out.
pub fn carry_out(stands: &mut [Stands], changes: &[Step]) {
    let at = |stands: &[Stands], slot: &SlotLabel| stands.iter().position(|one| one.slot.as_ref() == Some(slot));
    for change in changes {
        match change {
            Step::Reseat(_) | Step::ClearSettings(_) => {}
            Step::Swap(a, b) | Step::Move(a, b) => {
                let (one, other) = (at(stands, a), at(stands, b));
                if let Some(one) = one {
                    stands[one].slot = Some(b.clone());
                }
                if let Some(other) = other {
                    stands[other].slot = Some(a.clone());
                }
            }
            Step::Remove(slot) => {
                if let Some(one) = at(stands, slot) {
                    stands[one].slot = None;
                }
            }
            Step::Substitute(slot, name) => {
                if let Some(one) = at(stands, slot) {
                    stands[one].slot = None;
                }
                if let Some(one) = stands.iter_mut().find(|one| one.name == *name) {
                    one.slot = Some(slot.clone());
                }
            }
        }
    }
}
