//! Which modules for which channels, once it is settled how much each channel holds: the cheapest, then the one with the
//! fewest handlings. Exact: every split of every demand over its fillings, cut by the bound and by states seen before.

use std::collections::HashMap;

use super::bound::Bound;
use super::instance::{Demand, Filling, INF, Instance};
use super::work::Work;

/// How many channels of each (type, symbol) get which filling.
pub type Split = Vec<((usize, usize), Vec<u32>)>;

/// One filling of one demand: the type and symbol, the filling, and whether it is the last of its group.
struct Step<'a> {
    group: usize,
    filling: usize,
    made: &'a Filling,
    last: bool,
}

struct Walk<'a> {
    instance: &'a Instance<'a>,
    bound: &'a Bound,
    steps: Vec<Step<'a>>,
    /// Channels of each group.
    demand: Vec<u32>,
    /// Least adjusted worth of all groups after a group.
    after: Vec<i128>,
    /// Least adjusted worth of one channel of a group.
    g: Vec<i128>,
    /// Adjusted worth of a step's filling.
    adjusted: Vec<i128>,
    /// Classes used by this step or later ones.
    open: Vec<Vec<usize>>,
    /// Classes no later step uses.
    closing: Vec<Vec<usize>>,
    seen: HashMap<(usize, u32, Vec<u32>), i128>,
    used: Vec<u32>,
    taken: Vec<u32>,
    best: i128,
    found: Option<Vec<u32>>,
    /// More channels are to come: modules count as the bound counts them, and the first way will do.
    partly: bool,
}

/// What is asked of the modules for a demand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ask {
    /// The least worth of all modules.
    Least,
    /// Whether a part of the channels leaves a bound below the limit for all of them.
    LeavesRoom,
}

/// The least worth of the modules for a demand, if it is below `limit`. `Err` when the work ran out.
///
/// # Errors
/// When the work ran out before it was settled.
pub fn realise(
    instance: &Instance<'_>,
    (bound, prices): (&Bound, &[i128]),
    demand: &Demand,
    limit: i128,
    ask: Ask,
    work: &mut Work<'_>,
) -> Result<Option<(i128, Split)>, ()> {
    let partly = ask == Ask::LeavesRoom;
    // Groups with fewest fillings first: they close classes early.
    let mut groups: Vec<((usize, usize), u32)> = demand.iter().map(|(&k, &d)| (k, d)).filter(|g| g.1 > 0).collect();
    groups.sort_by_key(|&((t, s), _)| (instance.types[t].fillings[s].len(), t, s));
    let adjust = |f: &Filling| f.worth + f.usage.iter().map(|&(c, n)| prices[c] * i128::from(n)).sum::<i128>();
    let mut steps = Vec::new();
    for (group, &((t, s), _)) in groups.iter().enumerate() {
        let fillings = &instance.types[t].fillings[s];
        let mut order: Vec<usize> = (0..fillings.len()).collect();
        order.sort_by_key(|&f| adjust(&fillings[f]));
        for (n, &filling) in order.iter().enumerate() {
            steps.push(Step { group, filling, made: &fillings[filling], last: n + 1 == order.len() });
        }
        if order.is_empty() {
            return Ok(None);
        }
    }
    let g: Vec<i128> = groups.iter().map(|&((t, s), _)| bound.g[t][s]).collect();
    let mut after = vec![0i128; groups.len() + 1];
    for i in (0..groups.len()).rev() {
        after[i] = after[i + 1] + g[i] * i128::from(groups[i].1);
    }
    let mut open: Vec<Vec<usize>> = vec![Vec::new(); steps.len() + 1];
    let mut closing: Vec<Vec<usize>> = vec![Vec::new(); steps.len()];
    for i in (0..steps.len()).rev() {
        let mut classes = open[i + 1].clone();
        for &(c, _) in &steps[i].made.usage {
            if !classes.contains(&c) {
                classes.push(c);
                closing[i].push(c);
            }
        }
        classes.sort_unstable();
        open[i] = classes;
    }
    let adjusted = steps.iter().map(|s| adjust(s.made)).collect();
    let mut walk = Walk {
        instance,
        bound,
        taken: vec![0; steps.len()],
        steps,
        demand: groups.iter().map(|g| g.1).collect(),
        after,
        g,
        adjusted,
        open,
        closing,
        seen: HashMap::new(),
        used: vec![0; instance.classes.len()],
        best: limit,
        found: None,
        partly,
    };
    let first = walk.demand.first().copied().unwrap_or(0);
    let base = bound.base;
    walk.step(0, first, base, 0, 0, work).ok_or(())?;
    let Some(taken) = walk.found else { return Ok(None) };
    let mut split: Split =
        groups.iter().map(|&((t, s), _)| ((t, s), vec![0; instance.types[t].fillings[s].len()])).collect();
    for (step, n) in walk.steps.iter().zip(&taken) {
        split[step.group].1[step.filling] += n;
    }
    Ok(Some((walk.best, split)))
}

impl Walk<'_> {
    /// `relaxed`: prices' part plus the assigned channels' adjusted worth; `plain`: true worth of assigned channels and of
    /// closed classes; `cost`: the plain cost of the closed classes.
    fn step(&mut self, i: usize, left: u32, relaxed: i128, plain: i128, cost: u64, work: &mut Work<'_>) -> Option<()> {
        if !work.step() {
            return None;
        }
        if self.partly && self.found.is_some() {
            return Some(());
        }
        if i == self.steps.len() {
            let plain = if self.partly { relaxed } else { plain };
            if plain < self.best {
                self.best = plain;
                self.found = Some(self.taken.clone());
            }
            return Some(());
        }
        let group = self.steps[i].group;
        let to_come = self.g[group].saturating_mul(i128::from(left)) + self.after[group + 1];
        if relaxed + to_come >= self.best {
            return Some(());
        }
        let key = (i, left, self.open[i].iter().map(|&c| self.used[c]).collect::<Vec<u32>>());
        // What stands so far: the same classes open, so the same to come.
        let worth = if self.partly { relaxed } else { plain };
        match self.seen.get_mut(&key) {
            Some(before) if *before <= worth => return Some(()),
            Some(before) => *before = worth,
            None => {
                if self.seen.len() < 300_000 {
                    self.seen.insert(key, worth);
                }
            }
        }
        let last = self.steps[i].last;
        let least = if last { left } else { 0 };
        let usage = self.steps[i].made.usage.clone();
        let room = usage
            .iter()
            .map(|&(c, n)| (self.instance.classes[c].curve.len() as u32 - 1).saturating_sub(self.used[c]) / n.max(1))
            .min()
            .unwrap_or(left);
        for take in (least..=left.min(room)).rev() {
            let mut relaxed = relaxed + self.adjusted[i] * i128::from(take);
            let mut plain = plain + self.steps[i].made.worth * i128::from(take);
            let mut cost = cost;
            for &(c, n) in &usage {
                let (before, now) = (self.used[c] as usize, (self.used[c] + n * take) as usize);
                relaxed += self.bound.rest[c][now] - self.bound.rest[c][before];
                self.used[c] = now as u32;
            }
            for &c in &self.closing[i] {
                let class = &self.instance.classes[c];
                plain += class.curve[self.used[c] as usize];
                cost += class.cost[self.used[c] as usize];
            }
            self.taken[i] = take;
            // What is less by the bound may cost more: a budget would spoil what is remembered.
            let within = self.partly || self.instance.budget.is_none_or(|budget| cost <= budget);
            if within && relaxed < INF {
                let (next, next_left) =
                    if last { (i + 1, self.demand.get(group + 1).copied().unwrap_or(0)) } else { (i + 1, left - take) };
                self.step(next, next_left, relaxed, plain, cost, work)?;
            }
            for &(c, n) in &usage {
                self.used[c] -= n * take;
            }
        }
        self.taken[i] = 0;
        Some(())
    }
}
