//! All families, one after the other.

use std::collections::{BTreeSet, HashMap};

use super::assemble::assemble;
use super::bags::{self, Bags};
use super::build::{Built, Family, Shared};
use super::family::{Best, Plan, Reach, Ready, glance, quick, ready, search as search_family};
use super::instance::INF;
use super::outer::{self, tighter};
use super::problem::{Criterion, Found, From, Outcome, Prefer, Problem, Score, SearchError};
use super::unlike::{as_if, unlike};
use super::work::Work;
use crate::plan::interleave::bandwidth;
use crate::plan::rules::check;
use crate::plan::speed::speed;
use crate::stock::Money;
use crate::units::Mts;

/// Families that are kept as they were made; of more, each is made anew when its turn comes.
const KEPT: usize = 32;

/// How a family is searched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum How {
    Quick,
    Bags,
    Whole,
}

/// Steps that proving the next best may cost.
const EVERY_STEPS: u64 = 100_000;

/// Plans that are put on the board to tell what they run at.
const JUDGED: u32 = 3_000;

/// Steps the next best may cost after the best is proven.
const NEXT_STEPS: u64 = 400_000;

/// Searches a problem. `stop` is asked now and then whether the caller's time is up.
///
/// # Errors
/// When the problem has nothing to search or its numbers are too large.
pub fn search(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<Outcome, SearchError> {
    let mut outcome = as_known(problem, stop)?;
    outcome.unlike = unlike(problem);
    if !outcome.unlike.is_empty() {
        // All of it was searched, but as if what is not known were known to differ.
        (outcome.exhausted, outcome.alternatives_exhausted, outcome.bound) = (false, false, None);
        for fitted in as_if(problem) {
            let known = Problem { fitted: &fitted, ..problem.clone() };
            let found = as_known(&known, stop)?;
            outcome.nodes += found.nodes;
            outcome.cut |= found.cut;
            outcome.plans.extend(found.plans.into_iter().filter_map(|plan| as_it_is(problem, plan)));
        }
        outcome.plans.sort_by_key(|plan| worth(problem.prefer, &plan.score));
        outcome.plans.dedup_by(|a, b| as_good(problem.prefer, &a.score, &b.score));
        outcome.plans.truncate(problem.alternatives + 1);
        if outcome.cut {
            // What is not known of modules changes nothing in it.
            outcome.bound = outer::bound(problem, &Shared::new(problem)?);
        }
    }
    Ok(outcome)
}

/// A plan made as if all were known, judged by what is; `None` where the rules do not let it pass.
fn as_it_is(problem: &Problem<'_>, mut plan: Found) -> Option<Found> {
    for (seat, from) in plan.seats.iter_mut().zip(&plan.from) {
        if let Some(From::Fitted(slot)) = from {
            *seat = problem.fitted.get(*slot)?.as_ref().map(|fitted| fitted.seat.clone());
        }
    }
    let (board, cpus) = (problem.board, problem.cpus);
    plan.score.mts = speed(board, cpus, &plan.seats).mts.unwrap_or(Mts(0));
    plan.score.mb_s = bandwidth(board, cpus, &plan.seats, plan.score.mts).effective_mb_s;
    check(board, cpus, &plan.seats).breaches.is_empty().then_some(plan)
}

/// The criteria of a score in their order, less is better.
fn worth(prefer: Prefer, score: &Score) -> [i128; 5] {
    prefer.order().map(|criterion| match criterion {
        Criterion::Bandwidth => -i128::from(score.mb_s),
        Criterion::Cost => i128::from(score.cost.0),
        Criterion::Moves => i128::from(score.moves),
        Criterion::Modules => i128::from(score.modules),
        Criterion::MoreMemory => -i128::from(score.capacity.mib()),
        Criterion::LessMemory => i128::from(score.capacity.mib()),
    })
}

/// Whether two plans are equal in all that was asked for; the last criterion only settles ties.
fn as_good(prefer: Prefer, a: &Score, b: &Score) -> bool {
    let asked = |score: &Score| -> [i128; 4] {
        let [first, second, third, fourth, _] = worth(prefer, score);
        [first, second, third, fourth]
    };
    asked(a) == asked(b)
}

/// Searches a problem in which what is not known of a module makes it another sort.
fn as_known(problem: &Problem<'_>, stop: &mut dyn FnMut() -> bool) -> Result<Outcome, SearchError> {
    if problem.prefer == Prefer::Cost
        && let Some((least, certain)) = least_cost(problem)?
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
            // Its cost is proven the least, unless sorts of modules were set aside; what is not proven is that no plan of
            // that cost is better otherwise.
            let loose = outer::bound(problem, &Shared::new(problem)?);
            outcome.bound = if certain { Some(i128::from(least)) } else { loose };
            if stop() {
                return Ok(outcome);
            }
            let whole = run(problem, None, stop)?;
            if whole.exhausted {
                return Ok(whole);
            }
            outcome.plans.extend(whole.plans);
            outcome.plans.sort_by_key(|plan| worth(problem.prefer, &plan.score));
            outcome.plans.dedup_by(|a, b| as_good(problem.prefer, &a.score, &b.score));
            outcome.plans.truncate(problem.alternatives + 1);
            outcome.nodes += whole.nodes;
            return Ok(outcome);
        }
    }
    run(problem, None, stop)
}

/// The least cost of modules that reach the target in any family, and whether it is that of all: not where families or
/// fillings were set aside.
fn least_cost(problem: &Problem<'_>) -> Result<Option<(u64, bool)>, SearchError> {
    let shared = Shared::new(problem)?;
    let families = shared.families();
    let least = families.iter().filter_map(|f| super::bag::least_cost(&shared.build(f)?.instance)).min();
    Ok(least.map(|least| (least, !shared.truncated.get())))
}

/// The search itself; `proven` is the best plan where it is known already.
fn run(problem: &Problem<'_>, proven: Option<Found>, stop: &mut dyn FnMut() -> bool) -> Result<Outcome, SearchError> {
    let shared = Shared::new(problem)?;
    let families = shared.families();
    let mut work = Work::new(stop);
    let mut best = Best::new(1, shared.weights);
    let cut = if proven.is_some() { None } else { pass(&shared, &families, &mut best, &mut work) };
    let mut plans: Vec<Found> = proven.into_iter().collect();
    let mut next_known = false;
    if problem.alternatives > 0 && cut.is_none() && !(plans.is_empty() && best.plans.is_empty()) {
        next_known = next_exactly(&shared, &families, &best, &mut plans, &mut work);
        if !next_known {
            // Twice as many: a plan of a slower family may turn out to be a faster one's.
            let mut wide = Best::new(1 + 2 * problem.alternatives, shared.weights);
            for (family, plan) in best.plans {
                wide.offer(family, plan);
            }
            work.within(NEXT_STEPS);
            pass(&shared, &families, &mut wide, &mut work);
            best = wide;
        }
    }
    put_together(&shared, &families, &best, &mut plans);
    let alternatives = plans.split_off(plans.len().min(1));
    plans.extend(sorted(problem.prefer, alternatives));
    plans.truncate(problem.alternatives + 1);
    let truncated = shared.truncated.get();
    // What was set aside is in no family: of it only the loose bound knows.
    let of_families = if truncated { None } else { cut.and_then(|worth| first_criterion(problem, &shared, worth)) };
    let ended = cut.is_some() || truncated;
    let bound = if ended { tighter(problem.prefer, of_families, outer::bound(problem, &shared)) } else { None };
    let mut notes: Vec<String> = shared.notes.borrow().iter().cloned().collect();
    if truncated {
        notes.push(
            "the stock has more sorts of modules than can be searched to the end: some were set aside, and the bound is that of \
             counts, sizes, prices and rates alone"
                .to_owned(),
        );
    }
    Ok(Outcome {
        plans,
        exhausted: cut.is_none() && !truncated,
        alternatives_exhausted: next_known && !truncated,
        bound,
        nodes: work.steps(),
        notes,
        cut: ended,
        unlike: Vec::new(),
    })
}

/// The next best, every one: the plans of all arrangements, until so many differ in what was asked for. Whether it came to an
/// end; what was found is in `plans` either way.
fn next_exactly(
    shared: &Shared<'_>,
    families: &[Family],
    first: &Best<'_>,
    plans: &mut Vec<Found>,
    work: &mut Work<'_>,
) -> bool {
    let (problem, before) = (shared.problem, plans.clone());
    // In a slow family sockets count as alike whatever their processors, and fitted modules whatever their rating: which of
    // them is filled, or kept, is not tried.
    let cpus: BTreeSet<Option<Mts>> = problem.cpus.iter().flatten().map(|cpu| cpu.mts).collect();
    let fitted: BTreeSet<Option<Mts>> = problem.fitted.iter().flatten().map(|fitted| fitted.seat.spec.mts).collect();
    if cpus.len() > 1 || fitted.len() > 1 {
        return false;
    }
    work.within(EVERY_STEPS);
    let judged = std::cell::Cell::new(0u32);
    let made: std::cell::RefCell<HashMap<usize, Option<Built<'_>>>> = std::cell::RefCell::default();
    let at_rate = |family: usize, plan: &Plan| {
        judged.set(judged.get().saturating_add(1));
        if judged.get() >= JUDGED {
            return true;
        }
        let mut made = made.borrow_mut();
        if made.len() > KEPT {
            made.clear();
        }
        let built = made.entry(family).or_insert_with(|| shared.build(&families[family])).as_ref();
        let found = built.and_then(|built| assemble(shared, built, plan));
        found.is_some_and(|found| found.score.mts == families[family].mts)
    };
    let mut room = 1 + problem.alternatives;
    loop {
        let mut wide = Best::new(room, shared.weights);
        wide.every = Some(&at_rate);
        for (family, plan) in &first.plans {
            wide.offer(*family, plan.clone());
        }
        let cut = pass(shared, families, &mut wide, work).is_some() || judged.get() >= JUDGED;
        plans.clone_from(&before);
        put_together(shared, families, &wide, plans);
        if cut {
            return false;
        }
        // Nothing that is better than the last of those kept was left out, and none is better on the board than it is here.
        if wide.limit() >= INF || plans.len() > problem.alternatives {
            return true;
        }
        room *= 2;
    }
}

/// Adds the plans of families, put on the board, as far as they differ in what was asked for.
fn put_together(shared: &Shared<'_>, families: &[Family], best: &Best<'_>, plans: &mut Vec<Found>) {
    let problem = shared.problem;
    for (family, plan) in &best.plans {
        let Some(built) = shared.build(&families[*family]) else { continue };
        let Some(found) = assemble(shared, &built, plan) else { continue };
        if !plans.iter().any(|p| as_good(problem.prefer, &p.score, &found.score)) {
            plans.push(found);
        }
    }
}

fn sorted(prefer: Prefer, mut plans: Vec<Found>) -> Vec<Found> {
    plans.sort_by_key(|plan| worth(prefer, &plan.score));
    plans
}

/// A family that is not searched to its end yet: its number, what is not below, and what was made of it.
struct Open<'a> {
    index: usize,
    least: i128,
    made: Option<(Built<'a>, Ready)>,
}

impl<'a> Open<'a> {
    /// What was made before, or made anew; `None` when the family has nothing better.
    fn make(&mut self, shared: &Shared<'a>, families: &[Family], best: &Best<'_>) -> Option<(Built<'a>, Ready)> {
        self.made.take().or_else(|| {
            let built = shared.build(&families[self.index])?;
            let ready = ready(&built.instance, best)?;
            Some((built, ready))
        })
    }
}

/// One pass over all families; the least worth that may be hidden in what was cut off.
fn pass(shared: &Shared<'_>, families: &[Family], best: &mut Best<'_>, work: &mut Work<'_>) -> Option<i128> {
    // A good plan early rules most families out.
    let mut open: Vec<Open<'_>> = Vec::new();
    for (index, family) in families.iter().enumerate() {
        let mut one = Open { index, least: shared.least(family), made: None };
        if one.least >= best.limit() {
            continue;
        }
        if let Some((built, ready)) = one.make(shared, families, best) {
            glance(&built.instance, &ready, index, best, work);
            if best.plans.is_empty() {
                offer_greedy(&built, index, best);
            }
            one.made = (families.len() <= KEPT).then_some((built, ready));
            open.push(one);
        }
    }
    // Then what a few steps settle, ties and all; then, where nothing is fitted, bag by bag; then what is left.
    for how in [How::Quick, How::Bags, How::Whole] {
        if how == How::Bags && best.every.is_some() {
            // Of each bag only the best arrangement is looked for.
            continue;
        }
        let mut still = Vec::new();
        best.ties = how == How::Quick;
        for mut one in open {
            if one.least >= best.limit() {
                continue;
            }
            if work.left().is_none() {
                still.push(one);
                continue;
            }
            let Some((built, ready)) = one.make(shared, families, best) else { continue };
            let (instance, index) = (&built.instance, one.index);
            let reach = match how {
                How::Quick => quick(instance, &ready, index, best, work),
                How::Bags => match bags::search(instance, index, best, work) {
                    Bags::All => Reach::All,
                    Bags::Cut => Reach::Cut(one.least),
                },
                How::Whole => search_family(instance, &ready, index, best, work),
            };
            work.again();
            if let Reach::Cut(least) = reach {
                if how != How::Quick {
                    offer_greedy(&built, index, best);
                }
                one.least = one.least.max(least);
                one.made = (families.len() <= KEPT).then_some((built, ready));
                still.push(one);
            }
        }
        open = still;
    }
    let cut = open.into_iter().map(|one| one.least).min();
    // A better plan found later rules out what an earlier family left.
    cut.filter(|least| *least < best.limit())
}

/// A plan to begin with, and to show when a limit ends the search.
fn offer_greedy(built: &Built<'_>, index: usize, best: &mut Best<'_>) {
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
