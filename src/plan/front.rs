//! The trade-off: plans none of which is beaten by another in cost, memory and bandwidth at once.

use super::search::{Found, Prefer, Problem, SearchError, Target, search};
use crate::stock::Money;
use crate::units::Size;

/// The trade-off front.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Front {
    /// By capacity, then by cost.
    pub plans: Vec<Found>,
    /// Whether every step of cost was taken at every capacity met; else the front has more points.
    pub complete: bool,
}

/// Walks the front from the target upwards: at each capacity the best bandwidth for ever smaller budgets, then the next
/// capacity. At most `most` searches.
///
/// # Errors
/// Those of the search.
pub fn front(problem: &Problem<'_>, most: usize, stop: &mut dyn FnMut() -> bool) -> Result<Front, SearchError> {
    let mut out = Front { plans: Vec::new(), complete: true };
    let mut target = problem.target;
    let mut left = most;
    loop {
        let mut budget = problem.budget;
        let mut lowest: Option<Size> = None;
        // Each capacity gets its share of the searches, so that the front shows more than one.
        let mut here = (most / 3).max(2);
        loop {
            if left == 0 || here == 0 || stop() {
                out.complete = false;
                break;
            }
            (left, here) = (left - 1, here - 1);
            let step = Problem { prefer: Prefer::Bandwidth, target, budget, alternatives: 0, ..problem.clone() };
            let outcome = search(&step, stop)?;
            out.complete &= outcome.exhausted;
            let Some(found) = outcome.plans.into_iter().next() else { break };
            lowest = Some(lowest.map_or(found.score.capacity, |l| l.min(found.score.capacity)));
            let cost = found.score.cost.0;
            out.plans.push(found);
            if cost == 0 {
                break;
            }
            budget = Some(Money(cost - 1));
        }
        let (Some(lowest), Target::AtLeast(_)) = (lowest, problem.target) else { break };
        if left == 0 || stop() {
            out.complete = false;
            break;
        }
        target = Target::AtLeast(Size::from_mib(lowest.mib() + 1));
    }
    let all = std::mem::take(&mut out.plans);
    for (n, plan) in all.iter().enumerate() {
        let beaten = all.iter().enumerate().any(|(m, other)| {
            let (a, b) = (&plan.score, &other.score);
            let no_worse = b.cost <= a.cost && b.capacity >= a.capacity && b.mb_s >= a.mb_s;
            let same = b.cost == a.cost && b.capacity == a.capacity && b.mb_s == a.mb_s;
            no_worse && (!same || m < n)
        });
        if !beaten {
            out.plans.push(plan.clone());
        }
    }
    out.plans.sort_by_key(|p| (p.score.capacity, p.score.cost));
    Ok(out)
}
