//! Every arrangement of one socket that a bound does not rule out.

use std::cell::OnceCell;

use super::bound::{Backward, Bound, Ordered};
use super::instance::{INF, Instance, SocketKind};
use super::weights::{NARROW, SOCKET_FILL};
use super::work::Work;
use crate::plan::interleave::{MB_S_PER_MTS, effective_mb_s, regions};
use crate::units::Mts;

/// One arrangement of one socket.
#[derive(Debug, Clone)]
pub struct Column {
    /// Symbol and one at each of the kind's places, 0 for empty: many arrangements are kept at once.
    filled: Box<[u32]>,
    /// Granules.
    pub cap: u32,
    /// What does not depend on which modules: bandwidth, settlements, empty channels.
    pub fixed: i128,
    /// `fixed` and the best price-adjusted worth of its channels.
    pub worth: i128,
    /// The same for plain cost alone.
    pub cost: i128,
}

impl Column {
    /// Channel type and symbol, `None` for empty, in the order of the kind's places.
    pub fn places<'k>(&'k self, kind: &'k SocketKind) -> impl Iterator<Item = (usize, Option<usize>)> + 'k {
        let types = kind.runs.iter().flat_map(|&(t, run)| std::iter::repeat_n(t, run as usize));
        types.zip(&self.filled).map(|(t, &filled)| (t, (filled as usize).checked_sub(1)))
    }
}

struct Walk<'a> {
    instance: &'a Instance<'a>,
    kind: &'a SocketKind,
    bound: &'a Bound,
    cost: Option<&'a Bound>,
    back: &'a Backward,
    ordered: Option<&'a Ordered>,
    cost_back: Option<&'a Backward>,
    largest: u32,
    limit: i128,
    others: &'a [i128],
    out: &'a mut Vec<Column>,
    choice: Vec<(usize, Option<usize>)>,
}

/// Tables for one kind of socket, ready for any limit.
#[derive(Debug)]
pub struct Prepared {
    kind: usize,
    others: Vec<i128>,
    by_largest: Vec<Largest>,
    cost: Option<Backward>,
}

/// Tables for one largest channel.
#[derive(Debug)]
struct Largest {
    cap: u32,
    back: Backward,
    /// Tighter ones, made when they are asked for.
    ordered: OnceCell<Option<Ordered>>,
}

/// Makes the tables of one kind of socket for limits of `limit` or less.
pub fn prepare(instance: &Instance<'_>, kind: usize, bound: &Bound, cost: Option<&Bound>, limit: i128) -> Prepared {
    let others = bound.others(instance, kind);
    let mut caps: Vec<u32> = instance.symbols.iter().map(|s| s.cap).collect();
    caps.dedup();
    let by_largest = caps
        .into_iter()
        .chain([0])
        .filter(|&largest| bound.least_with(kind, largest, &others) < limit)
        .map(|cap| {
            let back = bound.backward(instance, kind, cap, &others);
            Largest { cap, back, ordered: OnceCell::new() }
        })
        .collect();
    let largest = instance.symbols.first().map_or(0, |s| s.cap);
    let cost = cost.map(|c| c.backward(instance, kind, largest, &c.others(instance, kind)));
    Prepared { kind, others, by_largest, cost }
}

/// All arrangements of a socket that may be part of a plan worth less than `limit`, with `tight` by tables that take longer
/// to make. `None` when the work ran out.
#[allow(clippy::too_many_arguments)]
pub fn columns(
    instance: &Instance<'_>,
    prepared: &Prepared,
    bound: &Bound,
    cost: Option<&Bound>,
    limit: i128,
    tight: bool,
    work: &mut Work<'_>,
) -> Option<Vec<Column>> {
    let mut out = Vec::new();
    for largest in &prepared.by_largest {
        let make = || bound.ordered(instance, prepared.kind, largest.cap, &prepared.others);
        let ordered = if tight { largest.ordered.get_or_init(make).as_ref() } else { None };
        let mut walk = Walk {
            instance,
            kind: &instance.kinds[prepared.kind],
            bound,
            cost,
            back: &largest.back,
            ordered,
            cost_back: prepared.cost.as_ref(),
            largest: largest.cap,
            limit,
            others: &prepared.others,
            out: &mut out,
            choice: Vec::new(),
        };
        walk.run(0, 0, 0, Standing::default(), work)?;
    }
    out.sort_by_key(|c| (c.worth, std::cmp::Reverse(c.cap)));
    Some(out)
}

/// What stands so far.
#[derive(Debug, Clone, Copy, Default)]
struct Standing {
    /// Channels filled.
    filled: usize,
    modules: u32,
    cap: u32,
    /// Coarse granules, as the tables count them.
    cell: usize,
    worth: i128,
    cost: i128,
    max: u32,
}

impl Walk<'_> {
    /// Fills run `run` from its `k`th channel on with symbols not before `first`.
    fn run(&mut self, run: usize, k: usize, first: usize, at: Standing, work: &mut Work<'_>) -> Option<()> {
        if !work.step() {
            return None;
        }
        if run == self.kind.runs.len() {
            return self.leaf(at, work);
        }
        let (t, length) = self.kind.runs[run];
        let last = self.choice.last().and_then(|&(_, symbol)| symbol);
        let least = match (self.ordered, last) {
            (Some(ordered), Some(last)) => ordered.at(self.instance.symbols[last].cap, k, at.cell),
            _ => self.back.at(run, k, at.filled - k, at.cell),
        };
        if least >= INF || at.worth + least + self.bound.base >= self.limit {
            return Some(());
        }
        if let (Some(back), Some(cost), Some(budget)) = (self.cost_back, self.cost, self.instance.budget) {
            let least = back.at(run, k, at.filled - k, at.cell);
            if least >= INF || at.cost + least + cost.base > i128::from(budget) {
                return Some(());
            }
        }
        if k < length as usize {
            for symbol in first..self.instance.symbols.len() {
                let s = self.instance.symbols[symbol];
                let g = self.bound.g[t][symbol];
                // With one run the largest comes first.
                let first = self.kind.runs.len() == 1 && k == 0 && s.cap != self.largest;
                if s.cap > self.largest || first || g >= INF || at.cap + s.cap > self.kind.most {
                    continue;
                }
                self.choice.push((t, Some(symbol)));
                let next = Standing {
                    filled: at.filled + 1,
                    modules: at.modules + u32::from(s.depth),
                    cap: at.cap + s.cap,
                    cell: at.cell + s.cap.div_ceil(self.bound.coarse) as usize,
                    worth: at.worth + g,
                    cost: at.cost + self.cost.map_or(0, |c| c.g[t][symbol]),
                    max: at.max.max(s.cap),
                };
                self.run(run, k + 1, symbol, next, work)?;
                self.choice.pop();
            }
        }
        let idle = length as usize - k;
        let empty = if idle == 0 { 0 } else { self.bound.empty[t].saturating_mul(idle as i128) };
        if empty < INF {
            self.choice.extend((0..idle).map(|_| (t, None)));
            let next = Standing { worth: at.worth + empty, ..at };
            // The next run counts its own; what is filled before it is all that stands.
            self.run(run + 1, 0, 0, next, work)?;
            self.choice.truncate(self.choice.len() - idle);
        }
        Some(())
    }

    fn leaf(&mut self, at: Standing, work: &mut Work<'_>) -> Option<()> {
        let counts = &self.kind.counts;
        if at.max != self.largest || (!counts.is_empty() && !counts.contains(&at.modules)) {
            return Some(());
        }
        // Most are ruled out by their bandwidth alone, told in short.
        let caps = self.choice.iter().filter_map(|c| Some(self.instance.symbols[c.1?].cap));
        if self.instance.slices()
            && let Some(mb_s) = self.instance.sliced(caps)
        {
            let gain = self.instance.weights.bandwidth * i128::from(mb_s) * i128::from(self.instance.mult);
            if self.with_others(at.worth - gain, at.cap) >= self.limit {
                return Some(());
            }
        }
        let Some(one) = judge(self.instance, self.kind, &self.choice) else { return Some(()) };
        let filled = || self.choice.iter().filter_map(|&(t, symbol)| symbol.map(|s| (t, s)));
        let worth = one.fixed + filled().map(|(t, s)| self.bound.g[t][s]).sum::<i128>();
        let cost = self.cost.map_or(0, |c| filled().map(|(t, s)| c.g[t][s]).sum());
        if self.with_others(worth, at.cap) >= self.limit || !work.keep() {
            return work.left();
        }
        let filled = self.choice.iter().map(|c| c.1.map_or(0, |symbol| symbol as u32 + 1)).collect();
        self.out.push(Column { filled, cap: at.cap, fixed: one.fixed, worth, cost });
        Some(())
    }

    /// The bound of a whole plan with an arrangement of this worth and capacity in it.
    fn with_others(&self, worth: i128, have: u32) -> i128 {
        let least = self.bound.least_of(self.others, have);
        if least >= INF { INF } else { worth + least + self.bound.base }
    }
}

/// What an arrangement of one socket is worth apart from its modules.
#[derive(Debug, Clone, Copy)]
pub struct Judged {
    pub cap: u32,
    pub fixed: i128,
}

/// Judges an arrangement of one socket; `None` when a rule about sockets forbids it.
pub fn judge(instance: &Instance<'_>, kind: &SocketKind, choice: &[(usize, Option<usize>)]) -> Option<Judged> {
    let mut caps = vec![0u64; kind.controllers.len()];
    let (mut cap, mut modules, mut fixed) = (0u32, 0u32, 0i128);
    for (place, &(t, symbol)) in kind.places.iter().zip(choice) {
        match symbol {
            Some(symbol) => {
                let symbol = instance.symbols[symbol];
                caps[*place] = u64::from(symbol.cap);
                cap += symbol.cap;
                modules += u32::from(symbol.depth);
            }
            None => fixed += instance.types[t].empty?,
        }
    }
    let mut depths = choice.iter().filter_map(|&(_, symbol)| symbol.map(|s| instance.symbols[s].depth));
    let first = depths.next();
    let filled = choice.iter().filter(|c| c.1.is_some()).count() as u64;
    if kind.same_depth && depths.any(|d| Some(d) != first) {
        return None;
    }
    if cap > kind.most || (!kind.counts.is_empty() && !kind.counts.contains(&modules)) {
        return None;
    }
    let found = regions(&caps, &kind.controllers, instance.interleave);
    let rate = Mts((instance.channel_mb_s / MB_S_PER_MTS) as u32);
    let mb_s = effective_mb_s(&found, rate) * u64::from(instance.mult);
    let settle = instance.weights.narrow * i128::from(NARROW.saturating_sub(filled));
    let full = u64::from(instance.symbols.first().map_or(1, |s| s.cap)) * kind.controllers.len().max(1) as u64;
    let fill = u64::from(cap) * SOCKET_FILL / full.max(1);
    let settle = settle + instance.weights.lopsided * i128::from(fill * fill);
    fixed += settle * i128::from(instance.mult) - instance.weights.bandwidth * i128::from(mb_s);
    Some(Judged { cap, fixed })
}

#[cfg(test)]
mod tests {
    use super::super::bags::bridge::Ours;
    use super::super::bags::plan_general::Model;
    use super::super::build::Shared;
    use super::*;

    #[test]
    fn tighter_tables_leave_out_no_arrangement_that_may_be_better_and_take_fewer_steps() {
        let (mut compared, mut steps) = (0, [0, 0]);
        for seed in 0..120 {
            let mut rng = fastrand::Rng::with_seed(seed);
            let shape = [(2, 6, 2), (2, 8, 1), (3, 5, 2), (1, 8, 2)][rng.usize(0..4)];
            let mut model = Model::random(&mut rng, shape, 8, &[16, 32, 48, 64]);
            if rng.bool() {
                model.ways = vec![4, 2, 1];
            }
            let ours = Ours::new(&model);
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let Some(built) = shared.families().last().and_then(|f| shared.build(f)) else { continue };
            let instance = &built.instance;
            let average = |curve: &[i128]| curve.iter().enumerate().skip(1).map(|(n, c)| c / n as i128).min();
            let prices: Vec<i128> = instance.classes.iter().map(|c| average(&c.curve).unwrap_or(0)).collect();
            let bound = Bound::new(instance, &prices, true);
            if bound.least >= INF {
                continue;
            }
            let mut gap = instance.weights.asked * 64;
            for _ in 0..14 {
                let limit = bound.least + gap;
                gap *= 8;
                let prepared = prepare(instance, 0, &bound, None, limit);
                let never = &mut || false;
                let mut work = Work::new(never);
                work.limit(100_000);
                let mut list = |tight| {
                    let before = work.steps();
                    let found = columns(instance, &prepared, &bound, None, limit, tight, &mut work)?;
                    let mut found: Vec<_> = found.into_iter().map(|c| (c.worth, c.filled)).collect();
                    found.sort();
                    Some((found, work.steps() - before))
                };
                let (Some((all, plain)), Some((found, tight))) = (list(false), list(true)) else { break };
                assert_eq!(all, found, "seed {seed}");
                steps = [steps[0] + plain, steps[1] + tight];
                compared += usize::from(all.len() > 20);
            }
        }
        assert!(compared > 200, "only {compared} were compared");
        assert!(steps[1] * 10 < steps[0] * 9, "{steps:?}");
    }
}
