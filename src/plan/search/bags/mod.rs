//! Plans by what they are made of: every bag of modules that reaches the target, the best first, and for each bag the best
//! way to spread it over the sockets.
//!
//! Where no fitted module has a place of its own, what a plan costs, how many handlings it takes and how many slots it
//! leaves follow from the bag alone; only the bandwidth depends on where the modules go. So the bags are listed in the order
//! of the best they could be, each is arranged as well as it can be, and the first that no later one can beat ends it.

mod arrange;
mod ground;
mod most;
mod socket;

use super::family::Best;
use super::instance::{INF, Instance};
use super::work::Work;
use arrange::{settle, spread};
use ground::Ground;

/// Modules of each class in the searched sockets.
pub type Bag = Box<[u16]>;

/// Bags that may be listed at once, and steps of listing them.
const MANY: (usize, u64) = (20_000, 400_000);

/// Cells a table over capacity and classes may have.
const CELLS: usize = 400_000;

/// How far the bags were searched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bags {
    /// Nothing better is left.
    All,
    /// There were too many; what was found stands.
    Cut,
}

/// Steps spent on the question whether any bag can be spread as wide as can be.
const WIDEST: u64 = 400_000;

/// Searches a family bag by bag; what it finds goes into `best`.
pub fn search(instance: &Instance<'_>, family: usize, best: &mut Best<'_>, work: &mut Work<'_>) -> Bags {
    let Some(ground) = Ground::new(instance) else { return Bags::Cut };
    let Some(mut list) = List::new(&ground) else { return Bags::Cut };
    let Some(base) = list.least() else { return Bags::All };
    if list.few(best.limit()) {
        return prove(&ground, &mut list, (base, false), family, best, work);
    }
    // More bandwidth may be in any bag, but the first that is as wide as can be is the best of all.
    if ground.channels.len() <= 2 && ground.loose() {
        work.limit(WIDEST);
        if prove(&ground, &mut list, (base, true), family, best, work) == Bags::All {
            return Bags::All;
        }
        work.again();
    }
    Bags::Cut
}

/// Arranges every bag that can be better, the best first; with `widest` only as wide as can be.
fn prove(
    ground: &Ground<'_>,
    list: &mut List<'_, '_>,
    (base, widest): (i128, bool),
    family: usize,
    best: &mut Best<'_>,
    work: &mut Work<'_>,
) -> Bags {
    let (mut gap, mut from) = (ground.instance.weights.asked, -INF);
    let mut known = arrange::Known::default();
    let one_mb_s = ground.mb_s.max(1);
    loop {
        let limit = best.limit().min(base.saturating_add(gap));
        let Some(bags) = list.between(from, limit, work) else { return Bags::Cut };
        for (least, bag) in bags {
            if least >= best.limit() {
                break;
            }
            let own = ground.worth(&bag);
            let most = if widest { one_mb_s - ground.most_gain() } else { INF };
            let below = best.limit().saturating_sub(own).min(most);
            let Ok(found) = spread(ground, 0, &bag, below, None, &mut known, work) else { return Bags::Cut };
            if let Some(mut found) = found {
                settle(ground, &mut found);
                best.offer(family, ground.plan(own + found.worth, &found.sockets));
            }
        }
        if limit >= best.limit() || limit >= INF {
            // What is less wide than can be was not looked at, unless something as wide was found.
            return if !widest || list.few(best.limit()) { Bags::All } else { Bags::Cut };
        }
        from = limit;
        gap = gap.saturating_mul(8);
    }
}

/// The bags that reach the target, by the best they could be.
struct List<'g, 'i> {
    ground: &'g Ground<'i>,
    /// From class `c` on, the least worth that brings so many granules.
    rest: Vec<Vec<i128>>,
    /// The same for the plain cost; empty without a budget.
    paid: Vec<Vec<u64>>,
    steps: u64,
}

impl<'g, 'i> List<'g, 'i> {
    fn new(ground: &'g Ground<'i>) -> Option<Self> {
        let instance = ground.instance;
        let need = instance.need as usize;
        if (need + 1).saturating_mul(instance.classes.len() + 1) > CELLS {
            return None;
        }
        let rest = ground.suffixes(INF, |c, n| ground.own[c][n], i128::checked_add);
        let paid = if instance.budget.is_some() {
            let mult = instance.mult as usize;
            ground.suffixes(u64::MAX, |c, n| instance.classes[c].cost[n * mult], u64::checked_add)
        } else {
            Vec::new()
        };
        Some(Self { ground, rest, paid, steps: 0 })
    }

    /// Nothing is worth less than this; `None` when nothing reaches the target.
    fn least(&self) -> Option<i128> {
        let instance = self.ground.instance;
        let modules = self.rest[0][instance.need as usize];
        let paid = self.paid.first().map_or(0, |p| p[instance.need as usize]);
        let within = instance.budget.is_none_or(|budget| paid <= budget);
        (modules < INF && within).then(|| modules - self.ground.most_gain())
    }

    /// Whether only few bags can be better than what is worth `limit`, or it is only the bag they can be better in.
    fn few(&self, limit: i128) -> bool {
        let instance = self.ground.instance;
        let (w, mult) = (instance.weights, i128::from(instance.mult));
        let tight = self.paid.first().is_some_and(|paid| Some(paid[instance.need as usize]) == instance.budget);
        // One more MB/s would be worth more than all that is left.
        tight || w.cost > w.bandwidth || limit.saturating_add(self.ground.most_gain()) < w.bandwidth * mult
    }

    /// Every bag whose best is worth at least `from` and less than `limit`, best first; `None` when there are too many.
    fn between(&mut self, from: i128, limit: i128, work: &mut Work<'_>) -> Option<Vec<(i128, Bag)>> {
        let mut out = Vec::new();
        let mut bag = vec![0u16; self.ground.instance.classes.len()];
        self.grow(0, &mut bag, Part::default(), (from, limit), &mut out, work)?;
        out.sort();
        Some(out)
    }

    fn grow(
        &mut self,
        class: usize,
        bag: &mut Vec<u16>,
        part: Part,
        (from, limit): (i128, i128),
        out: &mut Vec<(i128, Bag)>,
        work: &mut Work<'_>,
    ) -> Option<()> {
        self.steps += 1;
        if self.steps > MANY.1 || !work.step() {
            return None;
        }
        let ground = self.ground;
        let instance = ground.instance;
        let left = (instance.need as usize).saturating_sub(part.cap);
        let rest = self.rest[class][left];
        if rest >= INF || part.own + rest - ground.most_gain() >= limit {
            return Some(());
        }
        if let (Some(paid), Some(budget)) = (self.paid.get(class), instance.budget)
            && part.paid.saturating_add(paid[left]) > budget
        {
            return Some(());
        }
        if class == bag.len() {
            let least = part.own - ground.gain(part.modules);
            if least >= from && least < limit {
                if out.len() >= MANY.0 {
                    return None;
                }
                out.push((least, bag.clone().into_boxed_slice()));
            }
            return Some(());
        }
        let size = instance.classes[class].size as usize;
        for n in 0..ground.own[class].len() {
            let next = Part {
                cap: part.cap + n * size,
                modules: part.modules + n,
                own: part.own + ground.own[class][n],
                paid: part.paid + instance.classes[class].cost[n * instance.mult as usize],
            };
            if next.modules > ground.slots || next.cap > instance.most as usize {
                break;
            }
            bag[class] = n as u16;
            self.grow(class + 1, bag, next, (from, limit), out, work)?;
        }
        bag[class] = 0;
        Some(())
    }
}

/// What a bag holds so far.
#[derive(Debug, Clone, Copy, Default)]
struct Part {
    cap: usize,
    modules: usize,
    own: i128,
    paid: u64,
}

#[cfg(test)]
#[allow(dead_code)]
#[path = "../../../../tests/plan_general/mod.rs"]
pub(super) mod plan_general;

#[cfg(test)]
#[path = "../../../../tests/plan_general/bridge.rs"]
pub(super) mod bridge;

#[cfg(test)]
mod tests {
    use super::super::assemble::assemble;
    use super::super::build::Shared;
    use super::bridge::Ours;
    use super::plan_general::Model;
    use super::*;
    use crate::plan::search::{Prefer, search as whole};

    /// What the bags alone find of a problem: the first two criteria, and whether it was proven.
    fn by_bags(ours: &Ours) -> Option<(Option<(u64, u64)>, bool)> {
        let problem = ours.problem();
        let shared = Shared::new(&problem).unwrap();
        let families = shared.families();
        let mut best = Best::new(1, shared.weights);
        let never = &mut || false;
        let mut work = Work::new(never);
        let mut all = true;
        for (index, family) in families.iter().enumerate() {
            let Some(built) = shared.build(family) else { continue };
            all &= search(&built.instance, index, &mut best, &mut work) == Bags::All;
            work.again();
        }
        let score = match best.plans.first() {
            None => None,
            Some((family, plan)) => {
                let built = shared.build(&families[*family])?;
                Some(assemble(&shared, &built, plan)?.score)
            }
        };
        Some((score.map(|s| (s.mb_s, s.cost.0)), all))
    }

    #[test]
    fn bag_by_bag_is_the_same_as_the_whole_search() {
        let shapes = [(2, 4, 2), (1, 6, 2), (3, 3, 2), (2, 6, 1), (3, 4, 1)];
        let (mut proven, mut checked) = (0, 0);
        for seed in 0..150 {
            let mut rng = fastrand::Rng::with_seed(seed);
            let shape = shapes[rng.usize(0..shapes.len())];
            let lots = rng.usize(3..9);
            let ours = Ours::new(&Model::random(&mut rng, shape, lots, &[16, 32, 48, 64]));
            let outcome = whole(&ours.problem(), &mut || false).unwrap();
            assert!(outcome.exhausted, "seed {seed}");
            let optimum = outcome.plans.first().map(|p| (p.score.mb_s, p.score.cost.0));
            let (found, all) = by_bags(&ours).unwrap();
            checked += 1;
            if all {
                proven += 1;
                assert_eq!(found, optimum, "seed {seed}");
            } else if let (Some((mb_s, cost)), Some((best, least))) = (found, optimum) {
                let better = match ours.problem().prefer {
                    Prefer::Cost => (cost, best) < (least, mb_s),
                    _ => (best, cost) < (mb_s, least),
                };
                assert!(!better, "seed {seed}: {mb_s} MB/s for {cost} is better than the best");
            }
        }
        assert!(proven * 3 > checked, "only {proven} of {checked} were proven by their bags");
    }

    #[test]
    fn eight_modules_alike_are_shared_by_two_sockets() {
        let mut rng = fastrand::Rng::with_seed(1);
        let mut model = Model::random(&mut rng, (2, 8, 2), 1, &[32]);
        model.lots.iter_mut().for_each(|lot| (lot.count, lot.pack) = (40, 1));
        (model.gib, model.units, model.budget) = (256, 1, None);
        for ways in [vec![8, 4, 2, 1], vec![4, 2, 1]] {
            for first in [true, false] {
                (model.ways, model.bandwidth_first) = (ways.clone(), first);
                let ours = Ours::new(&model);
                let plan = whole(&ours.problem(), &mut || false).unwrap().plans.remove(0);
                let here = |socket: usize| plan.seats[socket * 16..][..16].iter().flatten().count();
                assert_eq!(here(0), here(1), "ways {ways:?}, bandwidth first {first}: {} modules", plan.score.modules);
            }
        }
    }

    #[test]
    fn nothing_is_above_what_a_socket_is_said_to_give_at_most() {
        let mut tight = 0;
        for seed in 0..300 {
            let mut rng = fastrand::Rng::with_seed(seed);
            let ours = Ours::new(&Model::random(&mut rng, (1, 8, 2), 8, &[16, 32, 48, 64, 96, 128]));
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let families = shared.families();
            let Some(built) = families.last().and_then(|f| shared.build(f)) else { continue };
            let ground = Ground::new(&built.instance).unwrap();
            let bag: Vec<u16> = ground.own.iter().map(|own| rng.u16(0..own.len().min(3) as u16)).collect();
            let never = &mut || false;
            let mut work = Work::new(never);
            let mut sockets = socket::Sockets::default();
            let Some(least) = sockets.least(&ground, 0, &bag) else { continue };
            let Ok(Some((best, rows))) = sockets.best(&ground, 0, &bag, INF, &mut work) else { continue };
            assert!(least <= best, "seed {seed}: {bag:?}");
            tight += u32::from(shared.weights.as_good(best) <= least);
            // The same, asked for just what is better than something a little worse.
            let mut anew = socket::Sockets::default();
            let again = anew.best(&ground, 0, &bag, best + 1, &mut work).unwrap();
            let good = |worth| shared.weights.as_good(worth);
            assert_eq!(again.map(|a| good(a.0)), Some(good(best)), "seed {seed}: {rows:?}");
            assert_eq!(anew.best(&ground, 0, &bag, good(best), &mut work), Ok(None), "seed {seed}");
        }
        assert!(tight > 50, "the bound was reached {tight} times");
    }
}
