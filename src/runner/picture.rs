//! The slot map above a question: where the hands are, what is done, what is planned, where a finding stands.

use crate::board::SlotLabel;
use crate::checklist::{StepId, Steps};
use crate::draw::{Look, Mark, State, legend, orientation, slot_map};
use crate::plan::Action;
use crate::record::Job;

/// How pictures are drawn here.
#[derive(Debug, Clone, Copy)]
pub struct Pictures {
    /// Width and characters.
    pub look: Look,
    /// Whether colour repeats what the signs say.
    pub colour: bool,
}

impl Pictures {
    /// The map for the step at `at`, with the legend of the signs it uses. Empty for steps that are at no slot.
    pub fn of(&self, steps: &Steps, at: (usize, usize), job: &Job) -> Vec<String> {
        let Some(step) = steps.cards.get(at.0).and_then(|card| card.steps.get(at.1)) else { return Vec::new() };
        let Some(current) = &step.slot else { return Vec::new() };
        let states: Vec<State> =
            job.opened().board.slots().map(|slot| state(&slot.slot.label, current, steps, job)).collect();
        let mark =
            |slot: crate::board::SlotRef<'_>| Mark::from(states.get(slot.index).copied().unwrap_or(State::Empty));
        let mut drawing = slot_map(&job.opened().board, &mark, self.look);
        drawing.append(legend(states.iter().copied(), self.look));
        let mut lines = drawing.shown(self.colour);
        lines.push(orientation(&job.opened().board, self.look).to_owned());
        lines
    }
}

/// What is with one slot at this moment of the job.
fn state(label: &SlotLabel, current: &SlotLabel, steps: &Steps, job: &Job) -> State {
    if label == current {
        return State::Current;
    }
    let changed = job.changed_before(u64::MAX);
    let reported = job
        .comparison()
        .is_some_and(|comparison| comparison.findings.iter().any(|finding| finding.slot.as_ref() == Some(label)));
    if changed.get(label).is_some_and(crate::record::Changed::is_empty) {
        // Empty on purpose; the cards of the opening at hand say where its module goes.
        return State::Empty;
    }
    if reported {
        return State::Finding;
    }
    let plan = &job.opened().plan;
    let leaves = plan.remove.iter().any(|removal| removal.slot == *label)
        || plan.slot.iter().any(|planned| planned.from.as_ref() == Some(label));
    match plan.module_at(label.as_str()) {
        Some(planned) if planned.action == Action::Keep => State::Fitted,
        Some(_) if is_done(label, steps, |step| job.answer(step).is_some()) => State::Done,
        Some(_) => State::Planned,
        None if leaves && !is_done(label, steps, |step| job.answer(step).is_some()) => State::Leaves,
        None => State::Empty,
    }
}

/// Whether every step at a slot has its answer.
fn is_done(label: &SlotLabel, steps: &Steps, answered: impl Fn(&StepId) -> bool) -> bool {
    steps.iter().filter(|(_, _, step)| step.slot.as_ref() == Some(label)).all(|(_, _, step)| answered(&step.id))
}
