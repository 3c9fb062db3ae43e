//! When nothing fits: what is in the way, and the nearest target that can be met.

mod most;
mod rules;

pub use most::bounded;
use most::out_of_reach;

use super::search::{Outcome, Prefer, Problem, SearchError, Target, search, unlike};
use crate::module::ModuleSpec;
use crate::stock::{Lot, Money};
use crate::text::shown;
use crate::units::Size;

/// Targets tried downwards for the nearest below an exact one, where it cannot be searched for at once.
const STEPS: u64 = 64;

/// What stands between a problem and a plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Shortage {
    /// A sentence for each thing that is in the way.
    pub reasons: Vec<String>,
    /// The most memory below the target, per unit.
    pub below: Option<Size>,
    /// The least memory above it.
    pub above: Option<Size>,
    /// Whether nothing can lie nearer; else it was not looked for to the end.
    pub certain: bool,
}

/// Looks for what is in the way of a problem that has no plan. `currency` is that of the stock list, or empty.
///
/// # Errors
/// Those of the search.
pub fn shortage(
    problem: &Problem<'_>,
    currency: &str,
    stop: &mut dyn FnMut() -> bool,
) -> Result<Shortage, SearchError> {
    let base = Problem { alternatives: 0, ..problem.clone() };
    let in_currency = |money: Money| format!("{money} {}", shown(currency)).trim_end().to_owned();
    let Nearest { below, above, certain } = nearest(&Problem { target: bounded(&base), ..base.clone() }, stop)?;
    // Where facts are missing, that may be all there is in the way.
    let mut out = Shortage { reasons: unlike(&base), below, above, certain };
    if let Some(budget) = problem.budget.filter(|_| !out_of_reach(&base)) {
        let free = Problem { budget: None, prefer: Prefer::Cost, ..base.clone() };
        let outcome = search(&free, stop)?;
        if let Some(plan) = outcome.plans.first() {
            let least = if outcome.exhausted { "the least" } else { "the least found" };
            let text = format!(
                "the budget of {} is in the way: {least} that meets the target costs {}",
                in_currency(budget),
                in_currency(plan.score.cost)
            );
            out.reasons.push(text);
            // With that money there is a plan: nothing else is to blame.
            return Ok(out);
        }
    }
    // Counts and rules are looked at without the budget.
    let free = Problem { budget: None, prefer: Prefer::Cost, ..base };
    out.reasons.extend(most::step(&free));
    // Neither more of a lot nor one rule less makes memory that there is no module for.
    let out_of_reach = out_of_reach(&free);
    if !out_of_reach {
        out.reasons.extend(short_of(&free, stop)?);
    }
    out.reasons.extend(most::of_the_stock(&free));
    out.reasons.extend(most::of_the_board(&free));
    out.reasons.extend(most::that_do_not_fit(&free));
    if !out_of_reach {
        let within = |cost: Money| match problem.budget {
            Some(budget) if cost > budget => {
                format!(", for {} and not within the budget of {}", in_currency(cost), in_currency(budget))
            }
            _ => String::new(),
        };
        out.reasons.extend(rules::in_the_way(&free, &within, stop)?);
    }
    if out.reasons.is_empty() {
        out.reasons.push(
            if free.lots.iter().all(|lot| lot.count == 0) && free.fitted.iter().all(Option::is_none) {
                "the stock list holds no module, and none is fitted"
            } else if stop() {
                "the time was up before it was found what is in the way; give it more with --seconds"
            } else {
                "no rule and no lot is in the way by itself: several of them are together"
            }
            .to_owned(),
        );
    }
    Ok(out)
}

fn first(outcome: &Outcome) -> Option<Size> {
    outcome.plans.first().map(|plan| plan.score.capacity)
}

/// Halvings of what lies between the most memory found and the target, where the search for the most was cut short.
const HALVINGS: usize = 16;

/// Exact targets that are tried at once when the time is up.
const AT_ONCE: u64 = 16;

/// The most memory a plan is found for at once between `found` and the target.
fn further(problem: &Problem<'_>, found: Option<Size>) -> Result<Option<Size>, SearchError> {
    let size = problem.target.size();
    let (mut low, mut high) = (found.map_or(0, Size::mib), size.mib());
    for _ in 0..HALVINGS {
        let target = Target::AtLeast(Size::from_mib(low.midpoint(high).max(1)));
        let tried = Problem { prefer: Prefer::Cost, target, ..problem.clone() };
        match first(&search(&tried, &mut || true)?).filter(|found| *found < size) {
            Some(found) => low = low.max(found.mib()),
            None => high = target.size().mib(),
        }
    }
    Ok(Some(Size::from_mib(low)).filter(|low| low.mib() > 0))
}

/// What lies next to a target: the most memory below it, the least above it, and whether nothing can lie between.
struct Nearest {
    below: Option<Size>,
    above: Option<Size>,
    certain: bool,
}

/// The most memory below the target and the least above it.
fn nearest(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<Nearest, SearchError> {
    let size = problem.target.size();
    let at = |prefer, target| Problem { prefer, target, ..problem.clone() };
    let found = search(&at(Prefer::MostMemory, Target::AtLeast(Size::from_mib(1))), stop)?;
    let mut certain = found.exhausted;
    let most = if certain { first(&found) } else { further(problem, first(&found))?.max(first(&found)) };
    let mut below = most.filter(|most| *most < size);
    let mut above = None;
    if let (Target::Exactly(_), Some(most)) = (problem.target, most)
        && most > size
    {
        let found = search(&at(Prefer::LeastMemory, Target::AtLeast(size)), stop)?;
        certain &= found.exhausted;
        above = first(&found);
        let (found, known) = below_exactly(problem, stop)?;
        below = found;
        certain &= known;
    }
    Ok(Nearest { below, above, certain })
}

/// The most memory below an exact target, and whether nothing can lie nearer.
///
/// Memory is what is to be kept below the target, so it is searched for as if it were money: a module costs its MiB, what
/// is fitted is stock, and the budget ends one MiB below the target. With a budget of money, or with modules that must stay,
/// targets are tried downwards instead, and no further than [`STEPS`] of them.
fn below_exactly(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<(Option<Size>, bool), SearchError> {
    let size = problem.target.size();
    let mut found = None;
    if problem.budget.is_none() && problem.fitted.iter().flatten().all(|fitted| !fitted.stays) {
        let price = |spec: &ModuleSpec| Money(spec.gib.mib());
        let stock = problem.lots.iter().map(|lot| {
            let whole = lot.count / lot.pack.max(1) * lot.pack.max(1);
            Lot { count: whole, pack: 1, price: price(&lot.spec), serials: Vec::new(), ..lot.clone() }
        });
        let fitted = problem.fitted.iter().flatten().map(|fitted| Lot {
            name: String::new(),
            part: None,
            spec: fitted.seat.spec.clone(),
            volts: fitted.seat.volts.clone(),
            count: problem.units,
            pack: 1,
            price: price(&fitted.seat.spec),
            serials: Vec::new(),
        });
        let lots: Vec<Lot> = stock.chain(fitted).collect();
        let none = vec![None; problem.fitted.len()];
        let below = Problem {
            lots: &lots,
            fitted: &none,
            target: Target::AtLeast(Size::from_mib(1)),
            budget: Some(Money((size.mib() - 1).saturating_mul(u64::from(problem.units)))),
            prefer: Prefer::MostMemory,
            alternatives: 0,
            ..problem.clone()
        };
        let outcome = search(&below, stop)?;
        found = first(&outcome);
        if outcome.exhausted {
            return Ok((found, true));
        }
    }
    let step = most::step_of(problem).max(1);
    let highest = (size.mib() - 1) / step * step;
    let steps = highest / step;
    let mut known = true;
    for n in 0..STEPS.min(steps) {
        // Nearest first: what is found at once is worth having when the time is up.
        let late = stop();
        if late && n >= AT_ONCE {
            return Ok((found, false));
        }
        let tried = Size::from_mib(highest - n * step);
        if found.is_some_and(|found| found >= tried) {
            return Ok((found, known));
        }
        let exactly = Problem { prefer: Prefer::Cost, target: Target::Exactly(tried), ..problem.clone() };
        let outcome = if late { search(&exactly, &mut || true)? } else { search(&exactly, stop)? };
        if !outcome.plans.is_empty() {
            return Ok((Some(tried), known));
        }
        known &= outcome.exhausted;
    }
    Ok((found, known && steps <= STEPS))
}

/// What one way to the target would need beyond the counts there are.
fn short_of(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<Option<String>, SearchError> {
    let slots = problem.board.slots().count() as u32;
    let plenty: Vec<Lot> = problem
        .lots
        .iter()
        .map(|lot| {
            let pack = lot.pack.max(1);
            Lot { count: slots.saturating_mul(problem.units).div_ceil(pack).saturating_mul(pack), ..lot.clone() }
        })
        .collect();
    let outcome = search(&Problem { lots: &plenty, ..problem.clone() }, stop)?;
    let Some(plan) = outcome.plans.first() else { return Ok(None) };
    let short: Vec<String> = plan
        .bought
        .iter()
        .filter(|(lot, n)| *n > problem.lots[*lot].count)
        .map(|(lot, n)| {
            let here = &problem.lots[*lot];
            format!("{n} of lot {} ({}), and there are {}", shown(&here.name), here.spec, here.count)
        })
        .collect();
    let units = match problem.units {
        1 => String::new(),
        n => format!(" for {n} units"),
    };
    let needs = format!("the stock is short{units}: one way would need {}", short.join("; "));
    Ok((!short.is_empty()).then_some(needs))
}
