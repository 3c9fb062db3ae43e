//! What the next boot may report.

use super::belief::{Belief, Hypothesis, Model, Shows};

/// A set of reported units as bits over a list of units.
pub type Mask = u128;

/// The most units the planner tells apart in one boot.
const WIDEST: usize = 128;

/// What may be reported after an action: `(mask, kind, probability)`, ordered by mask and kind.
#[derive(Debug, Clone, Default)]
pub struct Outlook {
    pub units: Vec<u16>,
    pub parts: Vec<(Mask, u16, f64)>,
}

impl Belief {
    /// What the next boot may report, each kind of cause apart. Branches less likely than `floor` are left out.
    pub fn outlook(&self, model: &Model, floor: f64) -> Outlook {
        let mut outlook = Outlook::default();
        let mut list = Vec::new();
        let whole = self.whole(model);
        for n in 0..self.hypotheses.len() {
            match &whole {
                Some(whole) => {
                    list.clear();
                    let (chance, covered) = whole[n];
                    if chance > 0.0 {
                        list.push(Shows { unit: 0, chance, covered });
                    }
                }
                None => self.shows(model, n, &mut list),
            }
            let Hypothesis { kind, weight, .. } = self.hypotheses[n];
            let mut branches: Vec<(Mask, f64)> = vec![(0, weight)];
            for s in &list {
                let bit = match outlook.units.iter().position(|u| *u == s.unit) {
                    Some(bit) => bit,
                    None if outlook.units.len() < WIDEST => {
                        outlook.units.push(s.unit);
                        outlook.units.len() - 1
                    }
                    None => continue,
                };
                for at in 0..branches.len() {
                    let (mask, chance) = branches[at];
                    let (shown, hidden) = (chance * s.chance, chance * (1.0 - s.chance));
                    if hidden <= floor {
                        branches[at] = (mask | 1 << bit, shown);
                    } else {
                        branches[at] = (mask, hidden);
                        if shown > floor {
                            branches.push((mask | 1 << bit, shown));
                        }
                    }
                }
                branches.retain(|(_, chance)| *chance > floor);
            }
            outlook.parts.extend(branches.into_iter().map(|(mask, chance)| (mask, kind, chance)));
        }
        outlook.parts.sort_unstable_by_key(|(mask, kind, _)| (*mask, *kind));
        outlook.parts.dedup_by(|a, b| {
            let same = (a.0, a.1) == (b.0, b.1);
            if same {
                b.2 += a.2;
            }
            same
        });
        outlook
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
