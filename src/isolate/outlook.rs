//! What the next boot may report.

use super::belief::{Belief, Hypothesis, Model, Shows};

/// A set of reported units as bits over a list of units.
pub type Mask = u64;

/// The most units the planner tells apart in one boot.
const WIDEST: usize = 64;

/// What may be reported after an action: `(mask, kind, probability)`, ordered by mask and kind.
#[derive(Debug, Clone, Default)]
pub struct Outlook {
    pub units: Vec<u16>,
    pub parts: Vec<(Mask, u16, f64)>,
}

/// Parts as they come up, equal ones taken together: most of what a plan does, so it goes without sorting all of them.
#[derive(Debug)]
struct Gathered {
    parts: Vec<(Mask, u16, f64)>,
    /// By hash of mask and kind, the index of the part + 1; 0 is free.
    at: Vec<u32>,
}

impl Gathered {
    fn new() -> Self {
        Self { parts: Vec::with_capacity(32), at: vec![0; 64] }
    }

    fn add(&mut self, mask: Mask, kind: u16, chance: f64) {
        if self.parts.len() * 2 >= self.at.len() {
            self.at = vec![0; self.at.len() * 4];
            for n in 0..self.parts.len() {
                let free = self.find(self.parts[n].0, self.parts[n].1);
                self.at[free] = n as u32 + 1;
            }
        }
        let found = self.find(mask, kind);
        match self.at[found] {
            0 => {
                self.parts.push((mask, kind, chance));
                self.at[found] = self.parts.len() as u32;
            }
            part => self.parts[part as usize - 1].2 += chance,
        }
    }

    /// Where this part is, or would be.
    fn find(&self, mask: Mask, kind: u16) -> usize {
        // Multiplied by the golden ratio's bits, the high bits depend on all.
        let hash = (mask ^ u64::from(kind).rotate_left(40)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let size = self.at.len();
        let mut at = (hash >> 40) as usize & (size - 1);
        loop {
            match self.at[at] {
                0 => return at,
                part => {
                    let part = &self.parts[part as usize - 1];
                    if (part.0, part.1) == (mask, kind) {
                        return at;
                    }
                }
            }
            at = (at + 1) & (size - 1);
        }
    }

    fn sorted(mut self) -> Vec<(Mask, u16, f64)> {
        self.parts.sort_unstable_by_key(|(mask, kind, _)| (*mask, *kind));
        self.parts
    }
}

impl Belief {
    /// What the next boot may report, each kind of cause apart. Branches less likely than `floor` are left out.
    pub fn outlook(&self, model: &Model, floor: f64) -> Outlook {
        if let Some(whole) = self.whole(model) {
            return self.outlook_whole(&whole, floor);
        }
        let mut units: Vec<u16> = Vec::new();
        let mut gathered = Gathered::new();
        let fitted = self.fitted(model);
        let (mut list, mut branches): (Vec<Shows>, Vec<(Mask, f64)>) = (Vec::new(), Vec::new());
        for n in 0..self.hypotheses.len() {
            self.shows(model, n, &fitted, &mut list);
            let Hypothesis { kind, weight, .. } = self.hypotheses[n];
            branches.clear();
            branches.push((0, weight));
            for s in &list {
                let bit = match units.iter().position(|u| *u == s.unit) {
                    Some(bit) => bit,
                    None if units.len() < WIDEST => {
                        units.push(s.unit);
                        units.len() - 1
                    }
                    None => continue,
                };
                let mut unlikely = false;
                for at in 0..branches.len() {
                    let (mask, chance) = branches[at];
                    let (shown, hidden) = (chance * s.chance, chance * (1.0 - s.chance));
                    if hidden <= floor {
                        branches[at] = (mask | 1 << bit, shown);
                        unlikely |= shown <= floor;
                    } else {
                        branches[at] = (mask, hidden);
                        if shown > floor {
                            branches.push((mask | 1 << bit, shown));
                        }
                    }
                }
                if unlikely {
                    branches.retain(|(_, chance)| *chance > floor);
                }
            }
            branches.iter().for_each(|(mask, chance)| gathered.add(*mask, kind, *chance));
        }
        Outlook { units, parts: gathered.sorted() }
    }

    /// The same where the machine does not post: it starts or it does not. `whole` is the probability of a failure under
    /// each hypothesis.
    pub(super) fn outlook_whole(&self, whole: &[(f64, bool)], floor: f64) -> Outlook {
        let mut sums = vec![(0.0, 0.0); self.kinds().len()];
        for (h, (fails, _)) in self.hypotheses.iter().zip(whole) {
            let (shown, hidden) = (h.weight * fails, h.weight * (1.0 - fails));
            let sum: &mut (f64, f64) = &mut sums[usize::from(h.kind)];
            sum.0 += if hidden > floor { hidden } else { 0.0 };
            sum.1 += if shown > floor { shown } else { 0.0 };
        }
        let of = |mask: Mask, sum: fn(&(f64, f64)) -> f64| {
            let kinds = sums.iter().enumerate().map(move |(kind, both)| (mask, kind as u16, sum(both)));
            kinds.filter(|(_, _, sum)| *sum > 0.0)
        };
        Outlook { units: vec![0], parts: of(0, |both| both.0).chain(of(1, |both| both.1)).collect() }
    }
}

impl Outlook {
    /// The outcomes: each mask with its parts.
    pub fn outcomes(&self) -> impl Iterator<Item = (Mask, &[(Mask, u16, f64)])> {
        self.parts.chunk_by(|a, b| a.0 == b.0).map(|chunk| (chunk[0].0, chunk))
    }

    /// The units of a mask.
    pub fn reported(&self, mask: Mask) -> Vec<u16> {
        self.units.iter().enumerate().filter(|(bit, _)| mask >> bit & 1 == 1).map(|(_, unit)| *unit).collect()
    }

    /// Expected entropy over kinds of cause after the boot, in bits.
    pub fn entropy_after(&self) -> f64 {
        let term = |p: f64| if p > 0.0 { p * p.log2() } else { 0.0 };
        self.outcomes()
            .map(|(_, parts)| {
                let total: f64 = parts.iter().map(|p| p.2).sum();
                term(total) - parts.iter().map(|p| term(p.2)).sum::<f64>()
            })
            .sum()
    }
}
