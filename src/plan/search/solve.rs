//! All families, one after the other.

use super::assemble::assemble;
use super::bags::{self, Bags};
use super::build::{Family, Shared};
use super::family::{Best, Reach, glance, quick, search as search_family};
use super::problem::{Criterion, Found, Outcome, Prefer, Problem, SearchError};
use super::work::Work;
use crate::stock::Money;

/// Steps spent on ties once the best is proven.
const TIE_STEPS: u64 = 10_000;

/// Steps the next best may cost after the best is proven.
const NEXT_STEPS: u64 = 400_000;

/// Searches a problem. `stop` is asked now and then whether the caller's time is up.
///
/// # Errors
/// When the problem has nothing to search or its numbers are too large.
pub fn search(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<Outcome, SearchError> {
    if problem.prefer == Prefer::Cost
        && let Some(least) = least_cost(problem)?
        && problem.budget.is_none_or(|b| least <= b.0)
    {
        // No plan is cheaper than the modules alone. If one costs just that, the best of those is the best of all: with
        // cost settled, the order that is left is that of bandwidth.
        let within =
            Problem { prefer: Prefer::Bandwidth, budget: Some(Money(least)), alternatives: 0, ..problem.clone() };
        let mut outcome = run(&within, None, stop)?;
        if outcome.exhausted && !outcome.plans.is_empty() {
            if problem.alternatives == 0 {
                return Ok(outcome);
            }
            return run(problem, outcome.plans.into_iter().next(), stop);
        }
        if !outcome.plans.is_empty() {
            // Its cost is proven the least; what is not proven is that no plan of that cost is better otherwise.
            outcome.bound = Some(i128::from(least));
            if stop() {
                return Ok(outcome);
            }
            let whole = run(problem, None, stop)?;
            return Ok(if whole.exhausted { whole } else { outcome });
        }
    }
    run(problem, None, stop)
}

/// The least cost of modules that reach the target in any family.
fn least_cost(problem: &Problem<'_>) -> Result<Option<u64>, SearchError> {
    let shared = Shared::new(problem)?;
    let families = shared.families();
    Ok(families.iter().filter_map(|f| super::bag::least_cost(&shared.build(f)?.instance)).min())
}

/// The search itself; `proven` is the best plan where it is known already.
fn run(problem: &Problem<'_>, proven: Option<Found>, stop: &mut dyn FnMut() -> bool) -> Result<Outcome, SearchError> {
    let shared = Shared::new(problem)?;
    let families = shared.families();
    let mut work = Work::new(stop);
    let mut best = Best::new(1, shared.weights, false);
    let cut = if proven.is_some() { None } else { pass(&shared, &families, &mut best, &mut work) };
    if proven.is_none() && cut.is_none() {
        // Among plans alike in all that was asked for, the wider and more even one: as far as a few steps go.
        let mut even = Best { ties: true, ..best.clone() };
        work.within(TIE_STEPS);
        pass(&shared, &families, &mut even, &mut work);
        best = even;
    }
    let first = best.clone();
    let mut next_cut = cut;
    if problem.alternatives > 0 && cut.is_none() && (proven.is_some() || !best.plans.is_empty()) {
        // Twice as many: a plan of a slower family may turn out to be a faster one's.
        let mut wide = Best::new(1 + 2 * problem.alternatives, shared.weights, true);
        for (family, plan) in first.plans {
            wide.offer(family, plan);
        }
        work.within(NEXT_STEPS);
        next_cut = pass(&shared, &families, &mut wide, &mut work);
        best = wide;
    }
    let mut plans: Vec<Found> = proven.into_iter().collect();
    for (family, plan) in &best.plans {
        let Some(built) = shared.build(&families[*family]) else { continue };
        let Some(found) = assemble(&shared, &built, plan) else { continue };
        if !plans.iter().any(|p| p.score == found.score) {
            plans.push(found);
        }
    }
    plans.truncate(problem.alternatives + 1);
    let truncated = shared.truncated.get();
    let mut notes: Vec<String> = shared.notes.borrow().iter().cloned().collect();
    if truncated {
        notes.push("the stock has more sorts of modules than can be searched to the end".to_owned());
    }
    Ok(Outcome {
        plans,
        exhausted: cut.is_none() && !truncated,
        alternatives_exhausted: next_cut.is_none() && !truncated,
        bound: cut.and_then(|worth| first_criterion(problem, &shared, worth)),
        nodes: work.steps(),
        notes,
    })
}

/// One pass over all families; the least worth that may be hidden in what was cut off.
fn pass(shared: &Shared<'_>, families: &[Family], best: &mut Best, work: &mut Work<'_>) -> Option<i128> {
    // A good plan early rules most families out.
    for (index, family) in families.iter().enumerate() {
        if shared.least(family) < best.limit()
            && let Some(built) = shared.build(family)
        {
            glance(&built.instance, index, best, work);
            if best.plans.is_empty() {
                offer_greedy(&built, index, best);
            }
        }
    }
    // Then what a few steps settle, so that the families that take more are searched below a good plan.
    let mut open: Vec<(usize, i128)> = Vec::new();
    for (index, family) in families.iter().enumerate() {
        if shared.least(family) >= best.limit() {
            continue;
        }
        let Some(built) = shared.build(family) else { continue };
        if let Reach::Cut(least) = quick(&built.instance, index, best, work) {
            open.push((index, least));
        }
        work.again();
        if work.left().is_none() {
            // What was not looked at may hide anything.
            open.extend((index + 1..families.len()).map(|later| (later, shared.least(&families[later]))));
            break;
        }
    }
    for by_bags in [true, false] {
        let mut still = Vec::new();
        for (index, least) in open {
            if least >= best.limit() {
                continue;
            }
            let Some(built) = shared.build(&families[index]) else { continue };
            let reach = match work.left() {
                None => Reach::Cut(least),
                Some(()) if by_bags => match bags::search(&built.instance, index, best, work) {
                    Bags::All => Reach::All,
                    Bags::Cut => Reach::Cut(least),
                },
                Some(()) => search_family(&built.instance, index, best, work),
            };
            work.again();
            if let Reach::Cut(found) = reach {
                offer_greedy(&built, index, best);
                still.push((index, found.max(least)));
            }
        }
        open = still;
    }
    let cut = open.into_iter().map(|(_, least)| least).min();
    // A better plan found later rules out what an earlier family left.
    cut.filter(|least| *least < best.limit())
}

/// A plan to begin with, and to show when a limit ends the search.
fn offer_greedy(built: &super::build::Built<'_>, index: usize, best: &mut Best) {
    if let Some(plan) = super::greedy::plan(&built.instance)
        && plan.worth < best.limit()
    {
        best.offer(index, plan);
    }
}

/// The first criterion's value that no plan of this worth or more beats.
fn first_criterion(problem: &Problem<'_>, shared: &Shared<'_>, worth: i128) -> Option<i128> {
    let w = shared.weights;
    match problem.prefer.order()[0] {
        Criterion::Bandwidth => Some((-worth).div_euclid(w.bandwidth) + 1),
        Criterion::Cost => Some(worth.div_euclid(w.cost).max(0)),
        Criterion::Modules => Some(worth.div_euclid(w.modules).max(0)),
        Criterion::Moves | Criterion::MoreMemory | Criterion::LessMemory => None,
    }
}
