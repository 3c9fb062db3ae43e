//! When nothing fits: what is in the way, and the nearest target that can be met.

use super::search::{Outcome, Prefer, Problem, SearchError, Target, search};
use crate::board::Mixing;
use crate::stock::{Lot, Money};
use crate::units::Size;

/// What stands between a problem and a plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Shortage {
    /// One sentence for each thing that alone would make a plan possible if it were otherwise; or the best guess.
    pub reasons: Vec<String>,
    /// The most memory below the target, per unit.
    pub below: Option<Size>,
    /// The least memory above it.
    pub above: Option<Size>,
}

/// Looks for what is in the way of a problem that has no plan.
///
/// # Errors
/// Those of the search.
pub fn shortage(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<Shortage, SearchError> {
    let mut out = Shortage::default();
    let size = problem.target.size();
    let base = Problem { alternatives: 0, ..problem.clone() };
    let most = Problem { prefer: Prefer::MostMemory, target: Target::AtLeast(Size::from_mib(1)), ..base.clone() };
    let reachable = first(&search(&most, stop)?);
    out.below = reachable.filter(|found| *found < size);
    let least = Problem { prefer: Prefer::LeastMemory, target: Target::AtLeast(size), ..base.clone() };
    out.above = first(&search(&least, stop)?);
    if let Some(budget) = problem.budget {
        let free = Problem { budget: None, prefer: Prefer::Cost, ..base.clone() };
        if let Some(plan) = search(&free, stop)?.plans.first() {
            out.reasons.push(format!(
                "the budget of {budget} is in the way: the least that meets the target costs {}",
                plan.score.cost
            ));
        }
    }
    // Counts and rules are looked at without the budget.
    let free = Problem { budget: None, prefer: Prefer::Cost, ..base.clone() };
    if out.reasons.is_empty() {
        let slots = problem.board.slots().count() as u32;
        let plenty: Vec<Lot> = problem
            .lots
            .iter()
            .map(|lot| {
                let count =
                    slots.saturating_mul(problem.units).div_ceil(lot.pack.max(1)).saturating_mul(lot.pack.max(1));
                Lot { count, price: Money(lot.price.0), ..lot.clone() }
            })
            .collect();
        let with = Problem { lots: &plenty, ..free.clone() };
        if let Some(plan) = search(&with, stop)?.plans.first() {
            let short: Vec<String> = plan
                .bought
                .iter()
                .filter(|(lot, n)| *n > problem.lots[*lot].count)
                .map(|(lot, n)| {
                    let here = &problem.lots[*lot];
                    format!("{} of lot {} ({}), there are {}", n, crate::text::shown(&here.name), here.spec, here.count)
                })
                .collect();
            out.reasons.push(format!("the stock is short: one way would need {}", short.join("; ")));
        }
    }
    out.reasons.extend(rules_in_the_way(&free, stop)?);
    let whole: u64 = problem.board.slots().count() as u64;
    let mut beyond = |largest: Option<u64>, whose: &str| {
        if let Some(largest) = largest
            && whole * largest < size.mib()
        {
            let (one, most) = (Size::from_mib(largest), Size::from_mib(whole * largest));
            out.reasons.push(format!("the target is beyond {whose} ({one}): all {whole} slots together hold {most}"));
        }
    };
    beyond(problem.board.limits.largest.iter().map(|l| l.gib.mib()).max(), "the largest module this board takes");
    beyond(problem.lots.iter().map(|l| l.spec.gib.mib()).max(), "the largest module in the stock");
    Ok(out)
}

fn first(outcome: &Outcome) -> Option<Size> {
    outcome.plans.first().map(|plan| plan.score.capacity)
}

/// Each limit of the board lifted by itself.
fn rules_in_the_way(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<Vec<String>, SearchError> {
    let limits = &problem.board.limits;
    let mut boards = Vec::new();
    let mut lift = |on: bool, key: &'static str, change: &dyn Fn(&mut crate::board::Board)| {
        if on {
            let mut board = problem.board.clone();
            change(&mut board);
            boards.push((key, board));
        }
    };
    lift(limits.mixing.is_some_and(|m| m != Mixing::Free), "limits.mixing", &|b| b.limits.mixing = Some(Mixing::Free));
    lift(limits.sockets_match == Some(true), "limits.sockets_match", &|b| b.limits.sockets_match = None);
    lift(limits.ranks_per_channel.is_some(), "limits.ranks_per_channel", &|b| b.limits.ranks_per_channel = None);
    lift(limits.more_ranks_first == Some(true), "limits.more_ranks_first", &|b| b.limits.more_ranks_first = None);
    lift(limits.same_ranks == Some(true), "limits.same_ranks", &|b| b.limits.same_ranks = None);
    lift(limits.same_depth == Some(true), "limits.same_depth", &|b| b.limits.same_depth = None);
    lift(limits.same_width == Some(true), "limits.same_width", &|b| b.limits.same_width = None);
    lift(!limits.largest.is_empty(), "limits.largest", &|b| b.limits.largest.clear());
    lift(!limits.counts_per_socket.is_empty(), "limits.counts_per_socket", &|b| b.limits.counts_per_socket.clear());
    lift(limits.volts.is_some(), "limits.volts", &|b| b.limits.volts = None);
    let all = vec![
        crate::module::Kind::UDIMM,
        crate::module::Kind::EccUdimm,
        crate::module::Kind::RDIMM,
        crate::module::Kind::LRDIMM,
        crate::module::Kind::Rdimm3ds,
        crate::module::Kind::Lrdimm3ds,
    ];
    lift(true, "limits.kinds", &|b| b.limits.kinds.clone_from(&all));
    let mut out = Vec::new();
    // With all the money there would be a plan: then money is short, and no rule is to blame.
    if problem.budget.is_some() && !search(&Problem { budget: None, ..problem.clone() }, stop)?.plans.is_empty() {
        return Ok(out);
    }
    for (key, board) in boards {
        if stop() {
            break;
        }
        if !search(&Problem { board: &board, ..problem.clone() }, stop)?.plans.is_empty() {
            out.push(format!("the rule {key} is in the way: without it there would be a plan"));
        }
    }
    let any: Vec<_> = problem.cpus.iter().map(|_| Some(super::CpuLimit::default())).collect();
    if any != *problem.cpus && !search(&Problem { cpus: &any, ..problem.clone() }, stop)?.plans.is_empty() {
        out.push("the processors are in the way: a socket without one, or the memory one addresses".to_owned());
    }
    Ok(out)
}
