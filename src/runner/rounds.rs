//! All steps of a job: those of its checklist, and after findings the cards for opening the machine again.

use super::trial;
use crate::checklist::{Again, Card, Checklist, Evidence, ExpandError, StepId, Steps, expand, expand_again};
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
    let mut openings: Vec<(u64, Vec<Card>)> = Vec::new();
    for round in job.rounds() {
        openings.push((round.line, round_cards(&opened.checklist, &opened.plan, &opened.unit, round)?));
    }
    for search in job.isolations() {
        for (n, run) in search.trials.iter().enumerate().filter(|(_, run)| run.guided) {
            let (plan, again) = trial::as_plan(&opened.plan, search, n);
            let cards = expand_again(&opened.checklist, &plan, &opened.unit, &again)?.cards;
            let id = trial::id(job, search, run);
            let name = if run.puts_back { "Putting back".to_owned() } else { format!("Trial {}", run.trial) };
            openings.push((run.line, renamed(cards, &id, &name)));
        }
    }
    openings.sort_by_key(|(line, _)| *line);
    for (_, cards) in openings {
        let place = steps.cards.iter().position(reports).unwrap_or(steps.cards.len());
        steps.cards.splice(place..place, cards);
    }
    Ok(steps)
}

/// The checklist's `again` cards over the slots of one round: with a module planned it is seated anew, else taken out.
fn round_cards(checklist: &Checklist, plan: &Plan, unit: &str, round: &Round) -> Result<Vec<Card>, ExpandError> {
    let mut plan = Plan { remove: Vec::new(), ..plan.clone() };
    plan.order.fitted = Vec::new();
    for planned in &mut plan.slot {
        planned.action = Action::Keep;
        planned.from = None;
    }
    let (reseat, out): (Vec<_>, Vec<_>) =
        round.slots.iter().cloned().partition(|slot| plan.module_at(slot.as_str()).is_some());
    plan.remove =
        out.into_iter().map(|slot| Removal { slot, module: unknown_module(), volts: None, to: None }).collect();
    let cards = expand_again(checklist, &plan, unit, &Again { reseat, clear_settings: false })?.cards;
    Ok(renamed(cards, &format!("again-{}", round.round), &format!("Again {}", round.round)))
}

/// The cards with ids and names that tell one opening of the machine from another.
fn renamed(mut cards: Vec<Card>, id: &str, name: &str) -> Vec<Card> {
    for card in &mut cards {
        card.name = format!("{name}: {}", card.name);
        for step in &mut card.steps {
            step.id = StepId(format!("{id}/{}", step.id.0));
            if let Evidence::TallyBack { first } = &mut step.evidence {
                *first = StepId(format!("{id}/{}", first.0));
            }
        }
    }
    cards
}

/// A module nobody planned: what it is, its label will tell.
fn unknown_module() -> Module {
    let spec = ModuleSpec { generation: None, kind: None, gib: Size::default(), ranks: None, width: None, mts: None };
    Module { spec, identity: Identity::default() }
}
