//! What no plan of a family can beat.
//!
//! Lots are shared by all channels; that coupling is priced out (a price per class, any price gives a valid bound, good
//! prices a tight one). What is left falls apart into channels and is solved exactly by tables over capacity: per socket
//! and largest channel, then over the sockets. Prices are found by moving them against the excess demand.

mod ordered;

use super::instance::{Choice, Demand, INF, Instance};
use super::weights::NARROW;
pub use ordered::Ordered;

/// Prices and the tables that follow from them.
#[derive(Debug, Clone)]
pub struct Bound {
    /// Best price-adjusted worth per type and symbol.
    pub g: Vec<Vec<i128>>,
    /// The same for the empty channel, per type.
    pub empty: Vec<i128>,
    /// Per class: the least of weighed cost less price for at least n of them.
    pub rest: Vec<Vec<i128>>,
    /// Sum of `rest[c][0]`.
    pub base: i128,
    /// After socket i: least worth of sockets i.. with at least (or exactly) so many coarse granules.
    pub after: Vec<Vec<i128>>,
    /// Least of `after` from each place on, for looking up what is still needed.
    tails: Vec<Vec<i128>>,
    /// Least of each of them.
    floors: Vec<i128>,
    /// Least worth of one socket of each kind by its coarse granules.
    units: Vec<Vec<i128>>,
    /// The same for each capacity of its largest channel.
    by_largest: Vec<Vec<(u32, Vec<i128>)>>,
    /// The bound on the whole family.
    pub least: i128,
    /// Granules to a coarse granule.
    pub coarse: u32,
    /// Coarse granules needed, and granules.
    pub need: usize,
    granules: u32,
    /// Whether tables hold exact sums.
    exact: bool,
    with_bandwidth: bool,
}

/// Cells one table of a socket may have before granules are made coarser.
const CELLS: u32 = 600;
const ALL_CELLS: u32 = 4000;

fn coarse_for(instance: &Instance<'_>) -> u32 {
    let per_socket = instance.kinds.iter().map(|k| reach(instance, k)).max().unwrap_or(1);
    let mut coarse = 1;
    while per_socket / coarse > CELLS || instance.need / coarse > ALL_CELLS {
        coarse += 1;
    }
    coarse
}

fn reach(instance: &Instance<'_>, kind: &super::instance::SocketKind) -> u32 {
    let channels: u32 = kind.runs.iter().map(|r| r.1).sum();
    let largest = instance.symbols.first().map_or(0, |s| s.cap);
    channels.saturating_mul(largest).min(kind.most)
}

impl Bound {
    /// Tables at these prices. `with_bandwidth` false bounds the plain cost alone.
    pub fn new(instance: &Instance<'_>, prices: &[i128], with_bandwidth: bool) -> Self {
        let curve = |c: usize| -> Vec<i128> {
            let class = &instance.classes[c];
            if with_bandwidth { class.curve.clone() } else { class.cost.iter().map(|&x| i128::from(x)).collect() }
        };
        let worth = |f: &super::instance::Filling| {
            let priced: i128 = f.usage.iter().map(|&(c, n)| prices[c] * i128::from(n)).sum();
            priced + if with_bandwidth { f.worth } else { 0 }
        };
        let g = instance
            .types
            .iter()
            .map(|t| t.fillings.iter().map(|fs| fs.iter().map(&worth).min().unwrap_or(INF)).collect())
            .collect();
        let empty =
            instance.types.iter().map(|t| t.empty.map_or(INF, |w| if with_bandwidth { w } else { 0 })).collect();
        let rest: Vec<Vec<i128>> = (0..instance.classes.len())
            .map(|c| {
                let mut rest: Vec<i128> =
                    curve(c).iter().enumerate().map(|(n, cost)| cost - prices[c] * n as i128).collect();
                for n in (0..rest.len().saturating_sub(1)).rev() {
                    rest[n] = rest[n].min(rest[n + 1]);
                }
                rest
            })
            .collect();
        let base = rest.iter().map(|r| r.first().copied().unwrap_or(0)).sum();
        let coarse = coarse_for(instance);
        let mut bound = Self {
            g,
            empty,
            rest,
            base,
            after: Vec::new(),
            tails: Vec::new(),
            floors: Vec::new(),
            units: Vec::new(),
            by_largest: Vec::new(),
            least: INF,
            coarse,
            need: instance.need.div_ceil(coarse) as usize,
            granules: instance.need,
            exact: coarse == 1 && instance.most == instance.need,
            with_bandwidth,
        };
        bound.by_largest = instance.kinds.iter().map(|k| bound.socket(instance, k)).collect();
        let units: Vec<Vec<i128>> = bound.by_largest.iter().map(|tables| least(tables)).collect();
        bound.after = vec![vec![INF; bound.need + 1]; instance.sockets.len() + 1];
        bound.after[instance.sockets.len()][0] = 0;
        for i in (0..instance.sockets.len()).rev() {
            let joined = bound.join(&units[instance.sockets[i]], &bound.after[i + 1]);
            bound.after[i] = joined;
        }
        bound.tails = bound.after.iter().map(|table| bound.suffix(table)).collect();
        bound.floors = bound.tails.iter().map(|tail| tail.iter().copied().min().unwrap_or(INF)).collect();
        bound.units = units;
        bound.least = bound.after[0][bound.need].saturating_add(bound.base).min(INF);
        bound
    }

    /// Least worth of two parts together, by capacity; capacity beyond the need counts as the need.
    fn join(&self, unit: &[i128], rest: &[i128]) -> Vec<i128> {
        let mut out = vec![INF; self.need + 1];
        for (c, &a) in unit.iter().enumerate().filter(|(_, a)| **a < INF) {
            for (r, &b) in rest.iter().enumerate().filter(|(_, b)| **b < INF) {
                let sum = c + r;
                if self.exact && sum > self.need {
                    break;
                }
                let at = &mut out[sum.min(self.need)];
                *at = (*at).min(a + b);
            }
        }
        out
    }

    /// The part after socket `i` when `have` granules stand already, and sockets from `i` on give the rest.
    pub fn from(&self, i: usize, have: u32) -> i128 {
        self.look_up(&self.tails[i], have)
    }

    /// No part after socket `i` is worth less than this, whatever stands.
    pub fn floor(&self, i: usize) -> i128 {
        self.floors[i]
    }

    /// What is least of a table of suffix minima when `have` granules stand.
    fn look_up(&self, tail: &[i128], have: u32) -> i128 {
        if self.exact && have as usize > self.need {
            return INF;
        }
        // Taking what is still needed in whole coarse granules rounded down keeps the bound valid.
        tail[(self.granules.saturating_sub(have) / self.coarse) as usize]
    }

    /// The least of a table made by [`Bound::others`] when `have` granules stand.
    pub fn least_of(&self, others: &[i128], have: u32) -> i128 {
        self.look_up(others, have)
    }

    /// For each place the least from there on; exact tables as they are.
    fn suffix(&self, table: &[i128]) -> Vec<i128> {
        let mut least = table.to_vec();
        if !self.exact {
            for c in (0..least.len().saturating_sub(1)).rev() {
                least[c] = least[c].min(least[c + 1]);
            }
        }
        least
    }

    /// A table of suffix minima by coarse granules standing.
    fn tail(&self, least: &[i128], cells: usize) -> Vec<i128> {
        (0..=cells)
            .map(|have| if self.exact && have > self.need { INF } else { least[self.need.saturating_sub(have)] })
            .collect()
    }

    fn cap(&self, instance: &Instance<'_>, symbol: usize) -> usize {
        instance.symbols[symbol].cap.div_ceil(self.coarse) as usize
    }

    fn cells(&self, instance: &Instance<'_>, kind: &super::instance::SocketKind) -> usize {
        let channels: usize = kind.runs.iter().map(|r| r.1 as usize).sum();
        let largest = instance.symbols.iter().map(|s| s.cap.div_ceil(self.coarse)).max().unwrap_or(0);
        channels * largest as usize
    }

    /// The most that arrangement can be worth: bandwidth, less the least the two settlements can cost.
    fn gain(&self, instance: &Instance<'_>, filled: (u32, usize), largest: u32) -> i128 {
        self.gain_with(instance, filled, largest, None)
    }

    /// The same where it is known what the emptiest channel in use holds.
    fn gain_with(
        &self,
        instance: &Instance<'_>,
        (n, cells): (u32, usize),
        largest: u32,
        emptiest: Option<u32>,
    ) -> i128 {
        if !self.with_bandwidth {
            return 0;
        }
        let cap = cells as u64 * u64::from(self.coarse);
        // Coarse granules are rounded up: no count of what is left over the emptiest channel.
        let most = match emptiest {
            _ if self.coarse > 1 => instance.most_mb_s_with(n, cap, u64::from(largest), u64::MAX),
            None => instance.most_mb_s(n, cap, largest),
            Some(emptiest) => instance.most_mb_s_with(n, cap, u64::from(largest), u64::from(emptiest)),
        };
        let narrow = NARROW.saturating_sub(u64::from(n));
        let w = instance.weights;
        let settle = w.narrow * i128::from(narrow);
        (w.bandwidth * i128::from(most) - settle) * i128::from(instance.mult)
    }

    /// Distinct capacities, the ones a largest channel may have.
    fn largest(&self, instance: &Instance<'_>) -> Vec<u32> {
        let mut caps: Vec<u32> = instance.symbols.iter().map(|s| s.cap).collect();
        caps.dedup();
        if !self.with_bandwidth {
            caps.truncate(1);
        }
        caps
    }

    /// Least worth of one socket of a kind by its capacity in coarse granules, for each largest channel; 0 is the empty
    /// socket.
    fn socket(&self, instance: &Instance<'_>, kind: &super::instance::SocketKind) -> Vec<(u32, Vec<i128>)> {
        let cells = self.cells(instance, kind);
        let mut empty = vec![INF; cells + 1];
        let nothing: i128 =
            kind.runs.iter().fold(0i128, |a, r| (a + self.empty[r.0].saturating_mul(i128::from(r.1))).min(INF));
        if nothing < INF {
            empty[0] = nothing - self.gain(instance, (0, 0), 0);
        }
        let filled = self.largest(instance).into_iter().map(|largest| {
            let mut out = vec![INF; cells + 1];
            for (n, row) in self.forward(instance, kind, largest, cells).iter().enumerate() {
                for (c, &worth) in row.iter().enumerate().filter(|(_, w)| **w < INF) {
                    out[c] = out[c].min(worth - self.gain(instance, (n as u32, c), largest));
                }
            }
            (largest, out)
        });
        filled.chain([(0, empty)]).collect()
    }

    /// What no plan with a socket of kind `kind` whose largest channel is `largest` can beat.
    pub fn least_with(&self, kind: usize, largest: u32, others: &[i128]) -> i128 {
        let Some((_, table)) = self.by_largest[kind].iter().find(|t| t.0 == largest) else { return -INF };
        let others = self.tail(others, table.len() - 1);
        let sums = table.iter().zip(&others).filter(|(a, b)| **a < INF && **b < INF).map(|(a, b)| a + b);
        sums.min().map_or(INF, |least| least + self.base)
    }

    /// By number of filled channels and capacity: least worth of a whole socket with no channel above `largest`.
    fn forward(
        &self,
        instance: &Instance<'_>,
        kind: &super::instance::SocketKind,
        largest: u32,
        cells: usize,
    ) -> Vec<Vec<i128>> {
        let mut start = vec![INF; cells + 1];
        start[0] = 0;
        let mut layers = vec![start];
        for &(t, run) in &kind.runs {
            layers = self.run(instance, t, run, largest, &layers).0;
        }
        layers
    }

    /// One run of alike channels put on top of `before`; also every layer on the way, for tracing.
    fn run(
        &self,
        instance: &Instance<'_>,
        t: usize,
        run: u32,
        largest: u32,
        before: &[Vec<i128>],
    ) -> (Vec<Vec<i128>>, Vec<Vec<Vec<i128>>>) {
        let cells = before.first().map_or(0, Vec::len);
        let usable: Vec<(usize, i128)> = (0..instance.symbols.len())
            .filter(|&s| instance.symbols[s].cap <= largest && self.g[t][s] < INF)
            .map(|s| (self.cap(instance, s), self.g[t][s]))
            .collect();
        // steps[k]: exactly k channels of the run filled; index n is filled before the run.
        let mut steps = vec![before.to_vec()];
        for _ in 0..run {
            let last = &steps[steps.len() - 1];
            let next: Vec<Vec<i128>> = last
                .iter()
                .map(|row| {
                    let mut out = vec![INF; cells];
                    for (c, &worth) in row.iter().enumerate().filter(|(_, w)| **w < INF) {
                        for &(cap, g) in &usable {
                            if let Some(at) = out.get_mut(c + cap) {
                                *at = (*at).min(worth + g);
                            }
                        }
                    }
                    out
                })
                .collect();
            steps.push(next);
        }
        let mut out = vec![vec![INF; cells]; before.len() + run as usize];
        for (k, step) in steps.iter().enumerate() {
            let left = i128::from(run) - k as i128;
            let idle = if left == 0 { 0 } else { self.empty[t].saturating_mul(left).min(INF) };
            if idle >= INF {
                continue;
            }
            for (n, row) in step.iter().enumerate() {
                for (c, &worth) in row.iter().enumerate().filter(|(_, w)| **w < INF) {
                    let at = &mut out[n + k][c];
                    *at = (*at).min(worth + idle);
                }
            }
        }
        (out, steps)
    }

    /// The arrangement the bound stands on.
    pub fn relaxed(&self, instance: &Instance<'_>) -> Option<Vec<Choice>> {
        if self.least >= INF {
            return None;
        }
        let mut at = self.need;
        let mut out = Vec::new();
        for (i, &kind) in instance.sockets.iter().enumerate() {
            let (unit, rest) = (&self.units[kind], &self.after[i + 1]);
            let want = self.after[i][at];
            let mut found = None;
            for (c, &a) in unit.iter().enumerate().filter(|(_, a)| **a < INF) {
                for (r, &b) in rest.iter().enumerate().filter(|(_, b)| **b < INF) {
                    let sum = if self.exact { c + r } else { (c + r).min(self.need) };
                    if sum == at && a + b == want {
                        found = Some((c, r));
                        break;
                    }
                }
                if found.is_some() {
                    break;
                }
            }
            let (c, r) = found?;
            out.push(self.trace(instance, kind, c, unit[c])?);
            at = r;
        }
        Some(out)
    }

    fn trace(&self, instance: &Instance<'_>, at: usize, cell: usize, worth: i128) -> Option<Choice> {
        let kind = &instance.kinds[at];
        let cells = self.cells(instance, kind);
        for &(largest, ref table) in &self.by_largest[at] {
            // The tables of one largest channel tell whether it is with that one.
            if largest == 0 || table[cell] != worth {
                continue;
            }
            let mut start = vec![INF; cells + 1];
            start[0] = 0;
            let mut befores = vec![vec![start]];
            let mut all_steps = Vec::new();
            for &(t, run) in &kind.runs {
                let (next, steps) = self.run(instance, t, run, largest, &befores[befores.len() - 1]);
                befores.push(next);
                all_steps.push(steps);
            }
            let last = &befores[befores.len() - 1];
            let n = (0..last.len()).find(|&n| {
                last[n][cell] < INF && last[n][cell] - self.gain(instance, (n as u32, cell), largest) == worth
            });
            if let Some(n) = n {
                return self.walk_back(instance, kind, largest, &befores, &all_steps, n, cell);
            }
        }
        // Only the empty socket is left.
        (cell == 0).then(|| kind.runs.iter().flat_map(|&(t, run)| (0..run).map(move |_| (t, None))).collect())
    }

    #[allow(clippy::too_many_arguments)]
    fn walk_back(
        &self,
        instance: &Instance<'_>,
        kind: &super::instance::SocketKind,
        largest: u32,
        befores: &[Vec<Vec<i128>>],
        all_steps: &[Vec<Vec<Vec<i128>>>],
        mut n: usize,
        mut cell: usize,
    ) -> Option<Choice> {
        // Found from the last run to the first; places go the other way.
        let mut found: Vec<Choice> = Vec::new();
        for (at, &(t, run)) in kind.runs.iter().enumerate().rev() {
            let want = befores[at + 1][n][cell];
            let steps = &all_steps[at];
            let k = (0..=run as usize).find(|&k| {
                let left = run as i128 - k as i128;
                let idle = if left == 0 { 0 } else { self.empty[t].saturating_mul(left).min(INF) };
                k <= n
                    && n - k < steps[k].len()
                    && idle < INF
                    && steps[k][n - k][cell] < INF
                    && steps[k][n - k][cell] + idle == want
            })?;
            n -= k;
            let mut out = Choice::new();
            for step in (1..=k).rev() {
                let worth = steps[step][n][cell];
                let symbol = (0..instance.symbols.len()).find(|&s| {
                    let cap = self.cap(instance, s);
                    instance.symbols[s].cap <= largest
                        && self.g[t][s] < INF
                        && cap <= cell
                        && steps[step - 1][n][cell - cap] < INF
                        && steps[step - 1][n][cell - cap] + self.g[t][s] == worth
                })?;
                cell -= self.cap(instance, symbol);
                out.push((t, Some(symbol)));
            }
            out.extend((0..run as usize - k).map(|_| (t, None)));
            found.push(out);
        }
        Some(found.into_iter().rev().flatten().collect())
    }

    /// For one socket kind and largest channel: least worth still to come, by run, filled within the run, filled in all
    /// and capacity standing, when the other sockets follow `others`.
    pub fn backward(&self, instance: &Instance<'_>, kind: usize, largest: u32, others: &[i128]) -> Backward {
        let kind = &instance.kinds[kind];
        let cells = self.cells(instance, kind);
        let channels: usize = kind.runs.iter().map(|r| r.1 as usize).sum();
        let others = self.tail(others, cells);
        let mut next: Vec<Vec<i128>> = (0..=channels)
            .map(|n| {
                (0..=cells)
                    .map(|c| {
                        let gain = self.gain(instance, (n as u32, c), largest);
                        if others[c] < INF { others[c] - gain } else { INF }
                    })
                    .collect()
            })
            .collect();
        let mut runs = Vec::new();
        let mut before = channels;
        for &(t, run) in kind.runs.iter().rev() {
            before -= run as usize;
            let usable: Vec<(usize, i128)> = (0..instance.symbols.len())
                .filter(|&s| instance.symbols[s].cap <= largest && self.g[t][s] < INF)
                .map(|s| (self.cap(instance, s), self.g[t][s]))
                .collect();
            let mut steps: Vec<Vec<Vec<i128>>> = Vec::new();
            for k in (0..=run as usize).rev() {
                let left = (run as usize - k) as i128;
                let idle = if left == 0 { 0 } else { self.empty[t].saturating_mul(left).min(INF) };
                let later = steps.last();
                // Index n - k: filled before this run.
                let table: Vec<Vec<i128>> = (0..=before)
                    .map(|earlier| {
                        let n = earlier + k;
                        (0..=cells)
                            .map(|c| {
                                let mut best = if idle < INF { (next[n][c] + idle).min(INF) } else { INF };
                                if let Some(later) = later {
                                    for &(cap, g) in &usable {
                                        if let Some(&to) = later[earlier].get(c + cap)
                                            && to < INF
                                        {
                                            best = best.min(g + to);
                                        }
                                    }
                                }
                                best
                            })
                            .collect()
                    })
                    .collect();
                steps.push(table);
            }
            steps.reverse();
            next = steps[0].clone();
            runs.push(steps);
        }
        runs.reverse();
        Backward { runs }
    }

    /// Least worth of all sockets but one of kind `kind`, with at least (or exactly) so many coarse granules.
    pub fn others(&self, instance: &Instance<'_>, kind: usize) -> Vec<i128> {
        let mut left: Vec<usize> = instance.sockets.clone();
        if let Some(at) = left.iter().position(|&k| k == kind) {
            left.remove(at);
        }
        let mut table = vec![INF; self.need + 1];
        table[0] = 0;
        for k in left {
            table = self.join(&self.units[k], &table);
        }
        self.suffix(&table)
    }

    /// Demand of a relaxed arrangement, and how many of each class its best fillings use.
    pub fn demand(&self, instance: &Instance<'_>, choice: &[Choice], prices: &[i128]) -> (Demand, Vec<u32>) {
        let mut demand = Demand::new();
        let mut usage = vec![0u32; instance.classes.len()];
        for &(t, symbol) in choice.iter().flatten() {
            let Some(symbol) = symbol else { continue };
            *demand.entry((t, symbol)).or_default() += 1;
            let best = instance.types[t].fillings[symbol]
                .iter()
                .min_by_key(|f| f.worth + f.usage.iter().map(|&(c, n)| prices[c] * i128::from(n)).sum::<i128>());
            for &(c, n) in best.map_or(&[][..], |f| &f.usage[..]) {
                usage[c] += n;
            }
        }
        (demand, usage)
    }
}

/// Tables of [`Bound::backward`].
#[derive(Debug)]
pub struct Backward {
    runs: Vec<Vec<Vec<Vec<i128>>>>,
}

impl Backward {
    /// Least worth to come: in run `run`, `k` of it filled, `earlier` filled before it, `cell` coarse granules standing.
    pub fn at(&self, run: usize, k: usize, earlier: usize, cell: usize) -> i128 {
        self.runs[run][k][earlier].get(cell).copied().unwrap_or(INF)
    }
}

/// Least of all tables at each place.
fn least(tables: &[(u32, Vec<i128>)]) -> Vec<i128> {
    let cells = tables.first().map_or(0, |t| t.1.len());
    (0..cells).map(|c| tables.iter().map(|t| t.1[c]).min().unwrap_or(INF)).collect()
}
