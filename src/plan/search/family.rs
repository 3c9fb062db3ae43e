//! Searches one family to the end.

use std::collections::HashMap;

use super::bound::Bound;
use super::columns::{Column, Prepared, columns, prepare};
use super::instance::{Choice, Demand, DemandKey, INF, Instance, key};
use super::realise::{Ask, Split, realise};
use super::weights::Weights;
use super::work::Work;

/// A plan of a family: arrangement of each searched socket and the modules for it.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The number that is made smallest.
    pub worth: i128,
    /// Per searched socket: type and symbol of each place.
    pub sockets: Vec<Choice>,
    pub split: Split,
}

/// Says of a plan of a family whether it runs at the family's rate and no faster.
pub type AtRate<'f> = dyn Fn(usize, &Plan) -> bool + 'f;

/// The best plans so far, each of another worth, best first.
#[derive(Clone)]
pub struct Best<'f> {
    pub plans: Vec<(usize, Plan)>,
    most: usize,
    weights: Weights,
    /// Whether what only settles ties is searched as well.
    pub ties: bool,
    /// Where every arrangement counts, also one that another with the same channels is better than: what turns away plans of
    /// a faster family, which would stand for those of this one.
    pub every: Option<&'f AtRate<'f>>,
}

impl std::fmt::Debug for Best<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Best").field("plans", &self.plans).field("most", &self.most).finish_non_exhaustive()
    }
}

impl<'f> Best<'f> {
    /// Keeps the best `most` plans.
    pub fn new(most: usize, weights: Weights) -> Self {
        Self { plans: Vec::new(), most, weights, ties: false, every: None }
    }

    /// Only what is worth less than this can still come in.
    pub fn limit(&self) -> i128 {
        let last = if self.plans.len() < self.most { None } else { self.plans.last() };
        match last {
            None => INF,
            Some((_, plan)) if self.ties => plan.worth,
            Some((_, plan)) => self.weights.as_good(plan.worth),
        }
    }

    /// Takes a plan of family `family` in, if it is new and good enough. Of plans that are as good in all that was asked for
    /// one is kept, the best: others of its sort would take the places of the next best.
    pub fn offer(&mut self, family: usize, plan: Plan) {
        let class = self.weights.as_good(plan.worth);
        let as_good = |kept: &(usize, Plan)| self.weights.as_good(kept.1.worth) == class;
        let kept = self.plans.iter().position(as_good);
        if kept.is_some_and(|kept| self.plans[kept].1.worth <= plan.worth)
            || self.every.is_some_and(|at_rate| !at_rate(family, &plan))
        {
            return;
        }
        if let Some(kept) = kept {
            self.plans[kept] = (family, plan);
            return;
        }
        let at = self.plans.partition_point(|p| p.1.worth < plan.worth);
        self.plans.insert(at, (family, plan));
        self.plans.truncate(self.most);
    }
}

/// How far a family was searched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// To the end.
    All,
    /// Nothing below this can be in what was left out.
    Cut(i128),
}

/// Steps a family may take with its first prices.
const FIRST_STEPS: u64 = 10_000;

/// Steps of a first try without a growing limit.
const DIRECT_STEPS: u64 = 4_000;

/// Rounds of price moves for the plain cost.
const COST_ROUNDS: usize = 25;

/// The same where only a few steps are taken.
const FIRST_ROUNDS: usize = 0;

/// Steps of listing arrangements of sockets from which on tighter tables are made for the next time.
const TIGHT: u64 = 1_500;

/// Steps from which on a limit whose search took more than four times as many as the one before grows slowly.
const STEEP: u64 = 20_000;

/// Demands whose modules are remembered.
const KNOWN: usize = 100_000;

/// Cells of table work to spend on prices.
const PRICE_WORK: u64 = 12_000_000;

/// One family with its first prices and what they prove.
#[derive(Debug)]
pub struct Ready {
    prices: Vec<i128>,
    bound: Bound,
}

/// `None` when nothing in the family can be better than what `best` holds.
pub fn ready(instance: &Instance<'_>, best: &Best<'_>) -> Option<Ready> {
    super::bag::least_cost(instance).filter(|least| instance.budget.is_none_or(|budget| *least <= budget))?;
    let prices: Vec<i128> = instance.classes.iter().map(|c| slope(&c.curve)).collect();
    let bound = Bound::new(instance, &prices, true);
    (bound.least < best.limit() && bound.least < INF).then_some(Ready { prices, bound })
}

/// A bound on the plain cost where there is a budget; `Err` when the budget does not reach.
fn within_budget(instance: &Instance<'_>, rounds: usize) -> Result<Option<Bound>, ()> {
    let Some(budget) = instance.budget.map(i128::from) else { return Ok(None) };
    let cost = cheapest(instance, budget, rounds);
    if cost.least > budget { Err(()) } else { Ok(Some(cost)) }
}

/// Searches one family with its first prices, as far as a few steps go: most families are small.
pub fn quick(instance: &Instance<'_>, ready: &Ready, family: usize, best: &mut Best<'_>, work: &mut Work<'_>) -> Reach {
    let Ready { prices, bound } = ready;
    if bound.least >= best.limit() {
        return Reach::All;
    }
    let Ok(cost) = within_budget(instance, FIRST_ROUNDS) else { return Reach::All };
    widen(instance, family, bound, cost.as_ref(), prices, best, Some(FIRST_STEPS), work)
}

/// Searches one family to the end with the tightest bound that is found; what it finds goes into `best`.
pub fn search(
    instance: &Instance<'_>,
    ready: &Ready,
    family: usize,
    best: &mut Best<'_>,
    work: &mut Work<'_>,
) -> Reach {
    let (mut prices, mut bound) = (ready.prices.clone(), ready.bound.clone());
    if bound.least >= best.limit() {
        return Reach::All;
    }
    let Ok(cost) = within_budget(instance, COST_ROUNDS) else { return Reach::All };
    let mut kept = prices.clone();
    // Move the prices against the excess demand; keep the tightest bound.
    let rounds = (PRICE_WORK / table_work(instance, bound.coarse).max(1)).clamp(2, 40);
    let (mut step_share, mut stale) = (1.0f64, 0);
    let mut current = bound.clone();
    for _ in 0..rounds {
        let Some(choice) = current.relaxed(instance) else { break };
        let (demand, usage) = current.demand(instance, &choice, &prices);
        if let Some(plan) = finish(instance, &current, &prices, choice, &demand, best.limit(), work) {
            best.offer(family, plan);
        }
        if bound.least >= best.limit() {
            return Reach::All;
        }
        let curves: Vec<Vec<i128>> = instance.classes.iter().map(|c| c.curve.clone()).collect();
        let excess = excess(&curves, &usage, &prices);
        let norm: f64 = excess.iter().map(|&e| (e * e) as f64).sum();
        if norm == 0.0 {
            break;
        }
        // Floats only choose where to look; every bound is computed in whole numbers from the prices chosen.
        let goal = match best.limit() {
            limit if limit < INF => limit,
            _ => bound.least + instance.weights.bandwidth.abs() * 1000,
        };
        let step = step_share * ((goal - current.least).max(1) as f64) / norm;
        for (price, excess) in prices.iter_mut().zip(&excess) {
            *price = (*price + (step * *excess as f64) as i128).clamp(0, INF / 4096);
        }
        current = Bound::new(instance, &prices, true);
        if current.least > bound.least {
            bound = current.clone();
            kept = prices.clone();
            stale = 0;
        } else {
            stale += 1;
            if stale >= 2 {
                step_share /= 2.0;
                stale = 0;
            }
        }
        if bound.least >= best.limit() {
            return Reach::All;
        }
        if work.left().is_none() {
            return Reach::Cut(bound.least);
        }
    }
    widen(instance, family, &bound, cost.as_ref(), &kept, best, None, work)
}

/// Searches below a limit that grows until nothing is left above it; at most so many steps.
#[allow(clippy::too_many_arguments)]
fn widen(
    instance: &Instance<'_>,
    family: usize,
    bound: &Bound,
    cost: Option<&Bound>,
    prices: &[i128],
    best: &mut Best<'_>,
    steps: Option<u64>,
    work: &mut Work<'_>,
) -> Reach {
    let (mut gap, mut before): (i128, usize) = (0, 0);
    work.limit(DIRECT_STEPS);
    let mut done = bound.least;
    let prepared: Vec<Prepared> =
        (0..instance.kinds.len()).map(|kind| prepare(instance, kind, bound, cost, best.limit())).collect();
    let (mut listed, mut spent_before) = (0, 0);
    loop {
        // Straight to the end first, as far as a few steps go; most small families are done with it.
        let direct = gap == 0;
        let limit = if direct { best.limit() } else { best.limit().min(bound.least.saturating_add(gap)) };
        let mut walk = Sockets {
            instance,
            family,
            bound,
            cost,
            prices,
            columns: Vec::new(),
            realised: HashMap::new(),
            seen: HashMap::new(),
            chosen: Vec::new(),
            filled: vec![0; instance.types.len() * instance.symbols.len()],
        };
        work.fresh();
        let mut cut = false;
        let tight = listed > TIGHT;
        let before_listing = work.steps();
        for kind in &prepared {
            match columns(instance, kind, bound, cost, limit, tight, work) {
                Some(found) => walk.columns.push(found),
                None => {
                    cut = true;
                    break;
                }
            }
        }
        listed = work.steps() - before_listing;
        cut = cut || walk.socket(0, 0, 0, 0, 0, limit, best, work).is_none();
        if direct && cut {
            work.again();
            work.limit(steps.unwrap_or(u64::MAX));
            gap = instance.weights.asked.saturating_mul(64);
            continue;
        }
        if cut {
            return Reach::Cut(done);
        }
        if direct {
            return Reach::All;
        }
        done = limit;
        if limit >= best.limit() || limit >= INF {
            return Reach::All;
        }
        // Wide steps where nothing new comes in, narrow ones where much does.
        let columns = walk.columns.iter().map(Vec::len).sum::<usize>();
        let little = bound.least.abs() / 64;
        let spent = work.steps() - before_listing;
        let steep = spent > STEEP && spent / 4 > spent_before;
        spent_before = spent;
        gap = match gap {
            _ if gap >= little && steep => gap.saturating_mul(5) / 4,
            _ if gap >= little => gap.saturating_mul(2),
            _ if columns == before => gap.saturating_mul(64).min(little.max(1)),
            _ => gap.saturating_mul(8).min(little.max(1)),
        };
        before = columns;
    }
}

/// A bound on the plain cost, its prices moved against the excess demand.
fn cheapest(instance: &Instance<'_>, budget: i128, rounds: usize) -> Bound {
    let curves: Vec<Vec<i128>> =
        instance.classes.iter().map(|c| c.cost.iter().map(|&x| i128::from(x)).collect()).collect();
    let mut prices: Vec<i128> = curves.iter().map(|c| slope(c)).collect();
    let mut best = Bound::new(instance, &prices, false);
    let mut current = best.clone();
    let mut share = 1.0f64;
    for _ in 0..rounds {
        if best.least > budget {
            break;
        }
        let Some(choice) = current.relaxed(instance) else { break };
        let (_, usage) = current.demand(instance, &choice, &prices);
        let excess = excess(&curves, &usage, &prices);
        let norm: f64 = excess.iter().map(|&e| (e * e) as f64).sum();
        if norm == 0.0 {
            break;
        }
        let step = share * ((budget - current.least).max(1) as f64) / norm;
        for (price, excess) in prices.iter_mut().zip(&excess) {
            *price = (*price + (step * *excess as f64) as i128).clamp(0, INF / 4096);
        }
        current = Bound::new(instance, &prices, false);
        if current.least > best.least {
            best = current.clone();
        } else {
            share *= 0.8;
        }
    }
    best
}

/// How many more of each class the channels want than are worth buying at these prices.
fn excess(curves: &[Vec<i128>], usage: &[u32], prices: &[i128]) -> Vec<i128> {
    curves
        .iter()
        .enumerate()
        .map(|(c, curve)| {
            let take = (0..curve.len()).min_by_key(|&n| curve[n] - prices[c] * n as i128).unwrap_or(0);
            i128::from(usage[c]) - take as i128
        })
        .collect()
}

/// Takes one look at a family: the arrangement its bound stands on, if modules can be found for it.
pub fn glance(instance: &Instance<'_>, ready: &Ready, family: usize, best: &mut Best<'_>, work: &mut Work<'_>) {
    let Ready { prices, bound } = ready;
    if let Some(choice) = bound.relaxed(instance) {
        let (demand, _) = bound.demand(instance, &choice, prices);
        if let Some(plan) = finish(instance, bound, prices, choice, &demand, best.limit(), work) {
            best.offer(family, plan);
        }
    }
}

/// The steepest price that never overstates a curve: the least average.
fn slope(curve: &[i128]) -> i128 {
    curve.iter().enumerate().skip(1).map(|(n, cost)| cost / n as i128).min().unwrap_or(0)
}

fn table_work(instance: &Instance<'_>, coarse: u32) -> u64 {
    let symbols = instance.symbols.len() as u64;
    let largest = instance.symbols.first().map_or(1, |s| u64::from(s.cap / coarse) + 1);
    let mut caps: Vec<u32> = instance.symbols.iter().map(|s| s.cap).collect();
    caps.dedup();
    instance
        .kinds
        .iter()
        .map(|k| {
            let channels: u64 = k.runs.iter().map(|r| u64::from(r.1)).sum();
            let runs = k.runs.len() as u64;
            let layers = if runs == 1 { channels } else { channels * channels / 2 };
            caps.len() as u64 * layers * channels * largest * symbols / 2
        })
        .sum::<u64>()
        + (instance.sockets.len() as u64).saturating_sub(1) * u64::from(instance.need / coarse + 1) * largest * 8
}

/// The plan that follows a given arrangement, if it is worth less than `limit`.
fn finish(
    instance: &Instance<'_>,
    bound: &Bound,
    prices: &[i128],
    choice: Vec<Choice>,
    demand: &Demand,
    limit: i128,
    work: &mut Work<'_>,
) -> Option<Plan> {
    let mut fixed = 0i128;
    let mut cap = 0u32;
    for (socket, &kind) in choice.iter().zip(&instance.sockets) {
        let one = super::columns::judge(instance, &instance.kinds[kind], socket)?;
        fixed += one.fixed;
        cap = cap.saturating_add(one.cap);
    }
    if cap < instance.need || cap > instance.most {
        return None;
    }
    let (worth, split) =
        realise(instance, (bound, prices), demand, limit.saturating_sub(fixed).min(INF), Ask::Least, work).ok()??;
    Some(Plan { worth: worth + fixed, sockets: choice, split })
}

/// The least worth of a demand and how, or the limit it is known not to be below.
type Known = Result<(i128, Split), i128>;

struct Sockets<'a> {
    instance: &'a Instance<'a>,
    family: usize,
    bound: &'a Bound,
    cost: Option<&'a Bound>,
    prices: &'a [i128],
    columns: Vec<Vec<Column>>,
    /// Demand to the least worth, or to the limit it is known not to be below.
    realised: HashMap<DemandKey, Known>,
    seen: HashMap<(usize, DemandKey), i128>,
    chosen: Vec<(usize, usize)>,
    /// Channels of what is chosen, by type and symbol.
    filled: Vec<u32>,
}

impl Sockets<'_> {
    #[allow(clippy::too_many_arguments)]
    fn socket(
        &mut self,
        i: usize,
        first: usize,
        cap: u32,
        worth: i128,
        cost: i128,
        limit: i128,
        best: &mut Best<'_>,
        work: &mut Work<'_>,
    ) -> Option<()> {
        if !work.step() {
            return None;
        }
        if i == self.instance.sockets.len() {
            return self.leaf(cap, limit, best, work);
        }
        let kind = self.instance.sockets[i];
        if self.instance.sockets.len() > 2 && i > 0 && best.every.is_none() {
            // The same demand reached before, no worse: what follows was searched.
            let key = (i * 1_000_000 + first, self.key());
            let fixed: i128 = self.chosen.iter().map(|&(k, c)| self.columns[k][c].fixed).sum();
            match self.seen.get_mut(&key) {
                Some(before) if *before <= fixed => return Some(()),
                Some(before) => *before = fixed,
                None => {
                    if self.seen.len() < 100_000 {
                        self.seen.insert(key, fixed);
                    }
                }
            }
        }
        if i > 0 && i < self.instance.sockets.len() {
            // The modules there are may not even do for the sockets filled so far.
            let fixed: i128 = self.chosen.iter().map(|&(k, c)| self.columns[k][c].fixed).sum();
            let room = limit.min(best.limit()).saturating_sub(fixed + self.bound.from(i, cap));
            let by = (self.bound, self.prices);
            if realise(self.instance, by, &self.demand(), room, Ask::LeavesRoom, work).ok()?.is_none() {
                return Some(());
            }
        }
        let floor = self.bound.floor(i + 1).saturating_add(self.bound.base);
        let same_next = self.instance.sockets.get(i + 1) == Some(&kind);
        for at in first..self.columns[kind].len() {
            let column = &self.columns[kind][at];
            let (sum, paid) = (worth + column.worth, cost + column.cost);
            // Those after it are worth no less.
            if sum.saturating_add(floor) >= limit.min(best.limit()) {
                break;
            }
            let have = cap.saturating_add(column.cap);
            if have > self.instance.most {
                continue;
            }
            let rest = self.bound.from(i + 1, have);
            if rest >= INF || sum + rest + self.bound.base >= limit.min(best.limit()) {
                continue;
            }
            if let (Some(bound), Some(budget)) = (self.cost, self.instance.budget) {
                let rest = bound.from(i + 1, have);
                if rest >= INF || paid + rest + bound.base > i128::from(budget) {
                    continue;
                }
            }
            self.choose(kind, at);
            self.socket(i + 1, if same_next { at } else { 0 }, have, sum, paid, limit, best, work)?;
            self.leave();
        }
        Some(())
    }

    fn choose(&mut self, kind: usize, at: usize) {
        self.chosen.push((kind, at));
        self.count(kind, at, |n| *n += 1);
    }

    fn leave(&mut self) {
        if let Some((kind, at)) = self.chosen.pop() {
            self.count(kind, at, |n| *n -= 1);
        }
    }

    fn count(&mut self, kind: usize, at: usize, change: impl Fn(&mut u32)) {
        let symbols = self.instance.symbols.len();
        for (t, symbol) in self.columns[kind][at].places(&self.instance.kinds[kind]) {
            if let Some(symbol) = symbol {
                change(&mut self.filled[t * symbols + symbol]);
            }
        }
    }

    /// Type, symbol and channels of what is chosen.
    fn filled(&self) -> impl Iterator<Item = ((usize, usize), u32)> {
        let symbols = self.instance.symbols.len();
        let filled = self.filled.iter().enumerate().filter(|(_, n)| **n > 0);
        filled.map(move |(at, &n)| ((at / symbols, at % symbols), n))
    }

    fn demand(&self) -> Demand {
        self.filled().collect()
    }

    fn key(&self) -> DemandKey {
        key(self.filled())
    }

    fn leaf(&mut self, cap: u32, limit: i128, best: &mut Best<'_>, work: &mut Work<'_>) -> Option<()> {
        if cap < self.instance.need {
            return Some(());
        }
        let limit = limit.min(best.limit());
        let fixed: i128 = self.chosen.iter().map(|&(k, c)| self.columns[k][c].fixed).sum();
        let key = self.key();
        let wanted = limit.saturating_sub(fixed).min(INF);
        let known = match self.realised.get(&key) {
            Some(Ok(known)) => Some(known.clone()),
            Some(Err(not_below)) if *not_below >= wanted => return Some(()),
            _ => None,
        };
        let (worth, split) = match known {
            Some(known) => known,
            None => match realise(self.instance, (self.bound, self.prices), &self.demand(), wanted, Ask::Least, work)
                .ok()?
            {
                Some(found) => {
                    if self.realised.len() < KNOWN {
                        self.realised.insert(key, Ok(found.clone()));
                    }
                    found
                }
                None => {
                    if self.realised.len() < KNOWN {
                        self.realised.insert(key, Err(wanted));
                    }
                    return Some(());
                }
            },
        };
        if worth + fixed < limit {
            let kinds = &self.instance.kinds;
            let sockets = self.chosen.iter().map(|&(k, c)| self.columns[k][c].places(&kinds[k]).collect()).collect();
            best.offer(self.family, Plan { worth: worth + fixed, sockets, split });
        }
        Some(())
    }
}
