//! What a record says of the search for one fault: what it began with, its trials, its verdict.

use std::collections::BTreeMap;

use super::Job;
use crate::board::{Board, SlotLabel};
use crate::isolate::{Done, Explanation, Finding, IsolateError, Seen, State, Step, Verdict};
use crate::module::Module;
use crate::record::IsolationOpened;
use crate::verify::{Finding as Difference, FindingKind};

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

/// What a search did to a slot that no longer holds the module it held before the first search.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Changed {
    /// Its module is out of the machine since this trial.
    TakenOut { trial: u64 },
    /// Its module is in another slot since this trial, and no other came into it.
    Moved { trial: u64, to: SlotLabel },
    /// It was left empty when the modules were put back.
    LeftOut,
    /// Another module is in it: since this trial, or since the modules were put back.
    Holds { module: String, trial: Option<u64> },
}

impl Changed {
    /// In words, as half a sentence about the slot's own module, or about the one that is in it.
    pub fn words(&self) -> String {
        match self {
            Self::TakenOut { trial } => format!("taken out for trial {trial}, by request"),
            Self::Moved { trial, to } => format!("moved to {to} for trial {trial}, by request"),
            Self::LeftOut => "left out after the verdict, by request".to_owned(),
            Self::Holds { module, trial: Some(trial) } => {
                format!("module {module} put in for trial {trial}, by request")
            }
            Self::Holds { module, trial: None } => format!("module {module} put in after the verdict, by request"),
        }
    }

    /// Whether the slot is empty.
    pub const fn is_empty(&self) -> bool {
        !matches!(self, Self::Holds { .. })
    }

    /// Whether a finding at the slot is what was done to it, and no fault of the machine.
    pub fn explains(&self, finding: &Difference) -> bool {
        match (finding.kind, self) {
            (FindingKind::Exchanged, _) => true,
            // The slot's own module is missing because the report shows the other one.
            (FindingKind::Missing, Self::Holds { module, .. }) => {
                finding.reported.as_deref().is_some_and(|reported| reported.contains(module))
            }
            (FindingKind::Missing, _) => true,
            (FindingKind::WrongModule | FindingKind::Unplanned, _) => !self.is_empty(),
            _ => false,
        }
    }
}

impl Job {
    /// The slots that the searches changed, by what was done before a line of the record.
    pub fn changed_before(&self, line: u64) -> BTreeMap<SlotLabel, Changed> {
        let mut changed = BTreeMap::new();
        for search in self.isolations().iter().filter(|search| search.line < line) {
            changed = self.changed_by(search, line, changed);
        }
        changed
    }

    /// The same after one search; `earlier` is what those before it changed.
    fn changed_by(
        &self,
        search: &Isolation,
        line: u64,
        earlier: BTreeMap<SlotLabel, Changed>,
    ) -> BTreeMap<SlotLabel, Changed> {
        let mut stands = search.arrangement(0);
        // The last trial that moved each module.
        let mut moved: Vec<Option<&TrialRun>> = vec![None; stands.len()];
        let mut were_put_back = false;
        for run in &search.trials {
            let Some(done) = run.done.as_ref().filter(|done| done.line < line) else { break };
            let before = stands.clone();
            carry_out(&mut stands, &done.done);
            were_put_back = run.puts_back;
            for n in (0..stands.len()).filter(|n| before[*n].slot != stands[*n].slot) {
                moved[n] = Some(run);
            }
        }
        let holds = |slot: &SlotLabel| stands.iter().any(|one| one.slot.as_ref() == Some(slot));
        // What went out in an earlier search is none of the modules of this one.
        let mut changed = earlier.clone();
        changed.retain(|slot, why| why.is_empty() && !holds(slot));
        for (one, run) in stands.iter().zip(moved) {
            let home = self.first_slot(search, one);
            if one.slot == home {
                continue;
            }
            let trial = run.map_or(0, |run| run.trial);
            if let Some(slot) = &one.slot {
                let why = Changed::Holds {
                    module: one.name.clone(),
                    trial: run.filter(|run| !run.puts_back).map(|run| run.trial),
                };
                let why = earlier.get(slot).filter(|_| run.is_none()).cloned().unwrap_or(why);
                changed.insert(slot.clone(), why);
            }
            if let Some(home) = home.filter(|home| !holds(home)) {
                let why = match &one.slot {
                    Some(to) => Changed::Moved { trial, to: to.clone() },
                    None if were_put_back => Changed::LeftOut,
                    None => Changed::TakenOut { trial },
                };
                let why = earlier.get(&home).filter(|_| run.is_none()).cloned().unwrap_or(why);
                changed.insert(home, why);
            }
        }
        changed
    }

    /// Where a module of a search was when the first search that knows it began; a spare was in no slot.
    pub fn first_slot(&self, search: &Isolation, one: &Stands) -> Option<SlotLabel> {
        let is = |module: &Module| match (&module.identity.serial, &one.module.identity.serial) {
            (Some(serial), Some(own)) => crate::verify::serials_equal(serial, own),
            _ => false,
        };
        for known in self.isolations().iter().filter(|known| known.line <= search.line) {
            if let Some(fitted) = known.opened.fitted.iter().find(|fitted| is(&fitted.module)) {
                return Some(fitted.slot.clone());
            }
            if known.opened.spares.iter().any(is) {
                return None;
            }
        }
        search.arrangement(0).into_iter().find(|was| was.name == one.name).and_then(|was| was.slot)
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
