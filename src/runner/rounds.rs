//! All steps of a job: those of its checklist, and after findings the cards for opening the machine again.

use crate::checklist::{Card, Checklist, Evidence, ExpandError, StepId, Steps, expand};
use crate::module::{Identity, Module, ModuleSpec};
use crate::plan::{Action, Plan, Removal};
use crate::record::{Job, Round};
use crate::units::Size;

/// The steps of the job as its record stands: a pure function of the record, so that a replay finds the same step.
///
/// The cards of a round stand right before the card that waits for the machine's report, which is still open then.
///
/// # Errors
/// When the checklist does not fit the plan.
pub fn all_steps(job: &Job) -> Result<Steps, ExpandError> {
    let opened = job.opened();
    let mut steps = expand(&opened.checklist, &opened.plan, &opened.unit, None)?;
    let reports = |card: &Card| card.steps.iter().any(|step| step.evidence == Evidence::Snapshot);
    for round in job.rounds() {
        let place = steps.cards.iter().position(reports).unwrap_or(steps.cards.len());
        let cards = round_cards(&opened.checklist, &opened.plan, &opened.unit, round)?;
        steps.cards.splice(place..place, cards);
    }
    Ok(steps)
}

/// The checklist's `again` cards over the slots of one round.
fn round_cards(checklist: &Checklist, plan: &Plan, unit: &str, round: &Round) -> Result<Vec<Card>, ExpandError> {
    let checklist = Checklist { card: checklist.again.clone(), again: Vec::new(), ..checklist.clone() };
    let mut plan = Plan { remove: Vec::new(), ..plan.clone() };
    plan.slot.retain(|planned| round.slots.contains(&planned.slot));
    for planned in &mut plan.slot {
        planned.action = Action::Insert;
        planned.from = None;
    }
    plan.remove = round
        .slots
        .iter()
        .filter(|slot| plan.module_at(slot.as_str()).is_none())
        .map(|slot| Removal { slot: slot.clone(), module: unknown_module(), to: None })
        .collect();
    let steps = expand(&checklist, &plan, unit, None)?;
    Ok(steps
        .cards
        .into_iter()
        .map(|mut card| {
            card.name = format!("Again {}: {}", round.round, card.name);
            for step in &mut card.steps {
                step.id = StepId(format!("again-{}/{}", round.round, step.id.0));
                if let Evidence::TallyBack { first } = &mut step.evidence {
                    *first = StepId(format!("again-{}/{}", round.round, first.0));
                }
            }
            card
        })
        .collect())
}

/// A module nobody planned: what it is, its label will tell.
fn unknown_module() -> Module {
    let spec = ModuleSpec { generation: None, kind: None, gib: Size::default(), ranks: None, width: None, mts: None };
    Module { spec, identity: Identity::default() }
}
