//! A bound that holds for every plan, whatever was set aside or not looked at: from counts, sizes, prices, rates and the widths
//! of the controller alone. Loose, but there is always one to give where a limit ends the search.

use super::build::Shared;
use super::problem::{Criterion, Prefer, Problem};
use crate::module::ModuleSpec;
use crate::plan::interleave::MB_S_PER_MTS;
use crate::units::Mts;

/// What no plan beats in the first criterion: MB/s, hundredths of currency, modules. `None` for a criterion that has none.
pub fn bound(problem: &Problem<'_>, shared: &Shared<'_>) -> Option<i128> {
    match problem.prefer.order()[0] {
        Criterion::Bandwidth => most_mb_s(problem, shared).map(i128::from),
        Criterion::Cost => Some(i128::try_from(least_cost(problem, shared)).unwrap_or(0)),
        Criterion::Modules => Some(i128::from(fewest_modules(problem, shared))),
        Criterion::Moves | Criterion::MoreMemory | Criterion::LessMemory => None,
    }
}

/// The tighter of two bounds on the first criterion.
pub fn tighter(prefer: Prefer, a: Option<i128>, b: Option<i128>) -> Option<i128> {
    match (a, b) {
        (Some(a), Some(b)) if prefer.order()[0] == Criterion::Bandwidth => Some(a.min(b)),
        (Some(a), Some(b)) => Some(a.max(b)),
        (one, other) => one.or(other),
    }
}

/// Every socket that may run at a rate as wide as its controller goes, at the best such rate. A plan's rate is one of those
/// listed, and it fills no socket whose processor is slower.
fn most_mb_s(problem: &Problem<'_>, shared: &Shared<'_>) -> Option<u64> {
    let widest = |socket: usize| {
        let channels = shared.slots[socket].len() as u64;
        let ways = problem.board.interleave.as_ref().map(|i| i.ways.iter().map(|&w| u64::from(w)));
        match ways {
            Some(ways) => ways.filter(|&w| w <= channels).max().unwrap_or(1).max(1),
            None => channels,
        }
    };
    let fits = |mts: Mts| {
        let any = |spec: &ModuleSpec, volts: Option<&str>, fitted: bool| {
            problem.board.limits.kinds.iter().any(|&kind| shared.fits(spec, volts, kind, mts, fitted))
        };
        problem.lots.iter().any(|lot| lot.count > 0 && any(&lot.spec, lot.volts.as_deref(), false))
            || problem.fitted.iter().flatten().any(|f| f.seat.spec.kind.is_none())
            || problem.fitted.iter().flatten().any(|f| any(&f.seat.spec, f.seat.volts.as_deref(), true))
    };
    let at = |&mts: &Mts| {
        let ways: u64 = shared.open(mts).into_iter().map(widest).sum();
        ways * u64::from(mts.0) * MB_S_PER_MTS
    };
    shared.rates().iter().filter(|&&mts| fits(mts)).map(at).max()
}

/// What a lot may bring to plans: MiB and price of a module, modules in whole packs.
fn usable<'s>(problem: &'s Problem<'_>, shared: &'s Shared<'_>) -> impl Iterator<Item = (u64, u64, u64)> + 's {
    let lots = problem.lots.iter().filter(move |lot| {
        let kinds = &problem.board.limits.kinds;
        lot.count > 0 && kinds.iter().any(|&k| shared.fits(&lot.spec, lot.volts.as_deref(), k, Mts(0), false))
    });
    lots.map(|lot| (lot.spec.gib.mib(), lot.price.0, u64::from(lot.count)))
}

/// MiB all units together need.
fn needed(problem: &Problem<'_>) -> u128 {
    u128::from(problem.target.size().mib()) * u128::from(problem.units)
}

/// The cheapest memory first, as if modules could be cut: no packs, no slots, no rules. What is fitted costs nothing.
fn least_cost(problem: &Problem<'_>, shared: &Shared<'_>) -> u128 {
    let fitted: u128 = problem.fitted.iter().flatten().map(|f| u128::from(f.seat.spec.gib.mib())).sum();
    let mut left = needed(problem).saturating_sub(fitted * u128::from(problem.units));
    let mut lots: Vec<(u64, u64, u64)> = usable(problem, shared).filter(|lot| lot.0 > 0).collect();
    // Price per MiB: a.1 / a.0 against b.1 / b.0.
    lots.sort_by(|a, b| (u128::from(a.1) * u128::from(b.0)).cmp(&(u128::from(b.1) * u128::from(a.0))));
    let mut cost = 0u128;
    for (mib, price, count) in lots {
        let here = u128::from(mib) * u128::from(count);
        if here >= left {
            return cost + (left * u128::from(price)).div_ceil(u128::from(mib));
        }
        cost += u128::from(price) * u128::from(count);
        left -= here;
    }
    cost
}

/// The largest modules first, all units' from one heap.
fn fewest_modules(problem: &Problem<'_>, shared: &Shared<'_>) -> u64 {
    let units = u64::from(problem.units);
    let fitted = problem.fitted.iter().flatten().map(|f| (f.seat.spec.gib.mib(), units));
    let mut all: Vec<(u64, u64)> =
        usable(problem, shared).map(|(mib, _, count)| (mib, count)).chain(fitted).filter(|one| one.0 > 0).collect();
    all.sort_unstable_by(|a, b| b.cmp(a));
    let (mut left, mut modules) = (needed(problem), 0u128);
    for (mib, count) in all {
        let taken = left.div_ceil(u128::from(mib)).min(u128::from(count));
        modules += taken;
        left = left.saturating_sub(taken * u128::from(mib));
    }
    u64::try_from(modules.div_ceil(u128::from(units.max(1)))).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::super::bags::bridge::Ours;
    use super::super::bags::plan_general::Model;
    use super::super::search;
    use super::*;

    #[test]
    fn no_plan_is_beyond_the_bound_that_always_holds() {
        let shapes = [(1, 2, 2), (2, 2, 2), (1, 4, 2), (2, 4, 1)];
        let (mut checked, mut near) = ([0; 3], [0; 3]);
        for seed in 0..120 {
            let mut rng = fastrand::Rng::with_seed(seed);
            let shape = shapes[rng.usize(0..shapes.len())];
            let lots = rng.usize(2..6);
            let ours = Ours::new(&Model::random(&mut rng, shape, lots, &[16, 32, 48, 64]));
            for (n, prefer) in [Prefer::Bandwidth, Prefer::Cost, Prefer::Room].into_iter().enumerate() {
                let problem = Problem { prefer, ..ours.problem() };
                let outcome = search(&problem, &mut || false).unwrap();
                let Some(best) = outcome.plans.first().filter(|_| outcome.exhausted) else { continue };
                let bound = bound(&problem, &Shared::new(&problem).unwrap()).unwrap();
                let (value, within) = match prefer {
                    Prefer::Bandwidth => (i128::from(best.score.mb_s), i128::from(best.score.mb_s) <= bound),
                    Prefer::Cost => (i128::from(best.score.cost.0), i128::from(best.score.cost.0) >= bound),
                    _ => (i128::from(best.score.modules), i128::from(best.score.modules) >= bound),
                };
                assert!(within, "seed {seed}, {prefer:?}: {value} beyond {bound}");
                checked[n] += 1;
                near[n] += u32::from((value - bound).abs() * 4 <= value);
            }
        }
        assert!(checked.iter().all(|n| *n > 60), "{checked:?}");
        assert!(near.iter().all(|n| *n > 30), "{near:?} of {checked:?}");
    }
}
