//! The same question put to a general solver: a mixed-integer model written here, sharing nothing with the search. It has
//! its own regions, its own fillings, its own costs. Boards of one kind, mixing free, one slicing controller per socket.

use good_lp::{Expression, ProblemVariables, Solution, SolverModel, Variable, constraint, microlp, variable};
use std::collections::BTreeMap;

/// A lot in the model's own words.
#[derive(Debug, Clone, Copy)]
pub struct ModelLot {
    pub gib: u32,
    pub mts: u32,
    pub count: u32,
    pub pack: u32,
    pub price: u32,
}

/// An instance in the model's own words.
#[derive(Debug, Clone)]
pub struct Model {
    pub sockets: usize,
    pub channels: usize,
    pub slots: usize,
    /// Rate with 1, 2, … modules on a channel.
    pub rates: Vec<u32>,
    pub ways: Vec<u32>,
    pub lots: Vec<ModelLot>,
    pub units: u32,
    pub gib: u32,
    pub budget: Option<u32>,
    /// Bandwidth first, else cost first.
    pub bandwidth_first: bool,
}

impl Model {
    /// A random instance; `lots` sorts of modules over `sizes`.
    pub fn random(rng: &mut fastrand::Rng, shape: (usize, usize, usize), lots: usize, sizes: &[u32]) -> Self {
        let (sockets, channels, slots) = shape;
        let rates = [vec![3200, 2933, 2666], vec![3200, 3200, 2933], vec![2666, 2666, 2666]];
        let rates = rates[rng.usize(0..3)][..slots].to_vec();
        let ways = [vec![8, 4, 2, 1], vec![12, 8, 6, 4, 3, 2, 1], vec![4, 2, 1]];
        let ways = ways[rng.usize(0..3)].clone();
        let places = (sockets * channels * slots) as u32;
        let units = if rng.u32(0..4) == 0 { 2 } else { 1 };
        let made = (0..lots)
            .map(|_| {
                let gib = sizes[rng.usize(0..sizes.len())];
                let pack = [1, 1, 1, 2, 4][rng.usize(0..5)];
                let price = gib * rng.u32(200..400) / 100 + rng.u32(0..20);
                let most = (2 * places * units / lots as u32).max(4);
                ModelLot { gib, mts: [2666, 2933, 3200][rng.usize(0..3)], count: rng.u32(1..=most), pack, price }
            })
            .collect();
        let share = rng.u32(20..75);
        let gib = places * sizes[sizes.len() / 2] * share / 100;
        let budget = (rng.u32(0..3) == 0).then(|| gib * units * rng.u32(25..50) / 10);
        Self { sockets, channels, slots, rates, ways, lots: made, units, gib, budget, bandwidth_first: rng.bool() }
    }

    /// The optimal (MB/s, cost), or `None` when nothing fits.
    pub fn solve(&self) -> Option<(u64, u64)> {
        let mut rates: Vec<u32> = self.lots.iter().map(|l| l.mts).chain(self.rates.iter().copied()).collect();
        rates.sort_unstable();
        rates.dedup();
        let mut best: Option<(u64, u64)> = None;
        for rate in rates {
            let found = self.solve_at(rate);
            if let Some((mb_s, cost)) = found {
                let better =
                    best.is_none_or(
                        |(b, c)| {
                            if self.bandwidth_first { (b, cost) < (mb_s, c) } else { (cost, b) < (c, mb_s) }
                        },
                    );
                if better {
                    best = Some((mb_s, cost));
                }
            }
        }
        best
    }

    fn solve_at(&self, rate: u32) -> Option<(u64, u64)> {
        let build = Build::new(self, rate)?;
        if self.bandwidth_first {
            let mb_s = build.run(self, true, None, None)?.0;
            Some((mb_s, build.run(self, false, Some(mb_s), None)?.1))
        } else {
            let cost = build.run(self, false, None, None)?.1;
            Some((build.run(self, true, None, Some(cost))?.0, cost))
        }
    }
}

/// Fillings of a channel by size, and shapes of a socket by channel capacity.
struct Build {
    sizes: Vec<u32>,
    /// How many of each size.
    fillings: Vec<Vec<u32>>,
    shapes: Vec<(Vec<u32>, u64)>,
    lots: Vec<ModelLot>,
}

impl Build {
    fn new(model: &Model, rate: u32) -> Option<Self> {
        let lots: Vec<ModelLot> = model.lots.iter().copied().filter(|l| l.mts >= rate).collect();
        let mut sizes: Vec<u32> = lots.iter().map(|l| l.gib).collect();
        sizes.sort_unstable();
        sizes.dedup();
        let deep = model.rates.iter().take_while(|r| **r >= rate).count();
        if sizes.is_empty() || deep == 0 {
            return None;
        }
        let mut fillings = vec![vec![0; sizes.len()]];
        let mut at = 0;
        while at < fillings.len() {
            let row = fillings[at].clone();
            let last = row.iter().rposition(|n| *n > 0).unwrap_or(0);
            if row.iter().sum::<u32>() < deep as u32 {
                for size in last..sizes.len() {
                    let mut next = row.clone();
                    next[size] += 1;
                    fillings.push(next);
                }
            }
            at += 1;
        }
        let cap = |f: &Vec<u32>| f.iter().zip(&sizes).map(|(n, s)| n * s).sum::<u32>();
        let mut caps: Vec<u32> = fillings.iter().map(cap).collect();
        caps.sort_unstable();
        caps.dedup();
        let mut shapes = Vec::new();
        shape(&caps, model.channels, &mut Vec::new(), &mut |row| {
            shapes.push((row.to_vec(), u64::from(rate) * 8));
        });
        for (row, mb_s) in &mut shapes {
            *mb_s = stream(row, &model.ways, *mb_s);
        }
        Some(Self { sizes, fillings, shapes, lots })
    }

    /// Best bandwidth or least cost under the limits given.
    fn run(&self, model: &Model, bandwidth: bool, least: Option<u64>, most: Option<u64>) -> Option<(u64, u64)> {
        let mut vars = ProblemVariables::new();
        let places = model.channels as f64;
        let x: Vec<Vec<Variable>> = (0..model.sockets)
            .map(|_| self.fillings.iter().map(|_| vars.add(variable().integer().min(0).max(places))).collect())
            .collect();
        let y: Vec<Vec<Variable>> =
            (0..model.sockets).map(|_| self.shapes.iter().map(|_| vars.add(variable().binary())).collect()).collect();
        let packs: Vec<Variable> =
            self.lots.iter().map(|l| vars.add(variable().integer().min(0).max(f64::from(l.count / l.pack)))).collect();
        let mb_s: Expression =
            y.iter().flat_map(|row| row.iter().zip(&self.shapes).map(|(y, s)| *y * s.1 as f64)).sum();
        let cost: Expression = packs.iter().zip(&self.lots).map(|(k, l)| *k * f64::from(l.pack * l.price)).sum();
        let objective = if bandwidth { -mb_s.clone() } else { cost.clone() };
        let mut solver = vars.minimise(objective).using(microlp);
        let cap = |f: &Vec<u32>| f.iter().zip(&self.sizes).map(|(n, s)| n * s).sum::<u32>();
        for (x, y) in x.iter().zip(&y) {
            solver = solver.with(constraint!(y.iter().copied().sum::<Expression>() == 1));
            let mut by_cap: BTreeMap<u32, Expression> = BTreeMap::new();
            for (f, x) in self.fillings.iter().zip(x) {
                *by_cap.entry(cap(f)).or_default() += *x;
            }
            for (value, sum) in by_cap {
                let asked: Expression = y
                    .iter()
                    .zip(&self.shapes)
                    .map(|(y, s)| *y * s.0.iter().filter(|c| **c == value).count() as f64)
                    .sum();
                solver = solver.with(constraint!(sum == asked));
            }
        }
        for (n, size) in self.sizes.iter().enumerate() {
            let used: Expression = x
                .iter()
                .flat_map(|row| row.iter().zip(&self.fillings).map(move |(x, f)| *x * f64::from(f[n] * model.units)))
                .sum();
            let had: Expression =
                packs.iter().zip(&self.lots).filter(|(_, l)| l.gib == *size).map(|(k, l)| *k * f64::from(l.pack)).sum();
            solver = solver.with(constraint!(used <= had));
        }
        let memory: Expression =
            x.iter().flat_map(|row| row.iter().zip(&self.fillings).map(|(x, f)| *x * f64::from(cap(f)))).sum();
        solver = solver.with(constraint!(memory >= f64::from(model.gib)));
        if let Some(budget) = model.budget {
            solver = solver.with(constraint!(cost.clone() <= f64::from(budget) + 0.1));
        }
        if let Some(least) = least {
            solver = solver.with(constraint!(mb_s.clone() >= least as f64 - 0.5));
        }
        if let Some(most) = most {
            solver = solver.with(constraint!(cost.clone() <= most as f64 + 0.1));
        }
        let solved = solver.solve().ok()?;
        Some((solved.eval(mb_s).round() as u64, solved.eval(cost).round() as u64))
    }
}

fn shape(caps: &[u32], left: usize, row: &mut Vec<u32>, each: &mut dyn FnMut(&[u32])) {
    if left == 0 {
        return each(row);
    }
    for &cap in caps.iter().filter(|c| row.last().is_none_or(|l| *c <= l)).collect::<Vec<_>>() {
        row.push(cap);
        shape(caps, left - 1, row, each);
        row.pop();
    }
}

/// MB/s of a stream over all of a socket: slices as wide as the ways allow, the fullest channels first.
pub fn stream(row: &[u32], ways: &[u32], channel: u64) -> u64 {
    let mut left: Vec<u64> = row.iter().map(|c| u64::from(*c)).collect();
    let all: u64 = left.iter().sum();
    // Time in units of 1/5040 channel: 5040 is a multiple of every way here.
    let mut time = 0;
    loop {
        left.sort_unstable_by(|a, b| b.cmp(a));
        let filled = left.iter().filter(|c| **c > 0).count();
        let Some(&wide) = ways.iter().find(|w| **w as usize <= filled) else { break };
        let high = left[wide as usize - 1];
        for channel in &mut left[..wide as usize] {
            *channel -= high;
        }
        time += high * u64::from(wide) * 5040 / u64::from(wide);
    }
    (channel * all * 5040).checked_div(time).unwrap_or(0)
}
