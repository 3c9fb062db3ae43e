//! Expected cycles without sampling: the tree of all reports that a policy can meet, each with its probability.

use slotwise::isolate::action::{Arrangement, insertions};
use slotwise::isolate::belief::{Belief, Model};
use slotwise::isolate::rates::Shares;

use super::policies::{Policy, Trail};

/// Means over all symptomatic starts.
#[derive(Debug, Clone, Copy, Default)]
pub struct Means {
    pub cycles: f64,
    pub insertions: f64,
    /// Probability that the verdict is right.
    pub right: f64,
    /// Probability of the branches cut.
    pub cut: f64,
}

/// The most cycles a policy gets.
pub const LAST_CYCLE: usize = 40;

/// A symptomatic start: its probability, what is reported, what is believed then.
pub type Start = (f64, Vec<u16>, Belief);

/// All starts; where `alike` are one, those of equal entropy with as much reported are the same, looked at from elsewhere.
pub fn starts(model: &Model, shares: &Shares, alike: bool) -> Vec<Start> {
    let before = Belief::before(model, Arrangement::full(model.layout.len()), shares);
    let outlook = before.outlook(model, 0.0);
    let shown: f64 = outlook.outcomes().filter(|(m, _)| *m != 0).flat_map(|(_, p)| p.iter().map(|p| p.2)).sum();
    let mut starts: Vec<Start> = Vec::new();
    for (mask, parts) in outlook.outcomes().filter(|(m, _)| *m != 0) {
        let chance = parts.iter().map(|p| p.2).sum::<f64>() / shown;
        let mut belief = before.clone();
        let reported = outlook.reported(mask);
        belief.report(model, &reported);
        let same =
            |s: &&mut Start| alike && s.1.len() == reported.len() && (s.2.entropy() - belief.entropy()).abs() < 1e-9;
        match starts.iter_mut().find(same) {
            Some(start) => start.0 += chance,
            None => starts.push((chance, reported, belief)),
        }
    }
    starts
}

/// Expected values of a policy; branches less likely than `floor` are cut.
pub fn exact(model: &Model, shares: &Shares, policy: Policy, floor: f64) -> Means {
    from_starts(model, policy, starts(model, shares, false), floor)
}

/// The same from starts given.
pub fn from_starts(model: &Model, policy: Policy, starts: Vec<Start>, floor: f64) -> Means {
    let mut means = Means::default();
    for (chance, start, belief) in starts {
        let trail = Trail { start: start.clone(), last: start, cycle: 1, used: Vec::new() };
        walk(model, policy, belief, trail, chance, floor, &mut means);
    }
    means
}

fn walk(model: &Model, policy: Policy, belief: Belief, mut trail: Trail, chance: f64, floor: f64, means: &mut Means) {
    if belief.decided(model) || trail.cycle > LAST_CYCLE || chance < floor {
        means.right += chance * belief.best().map_or(0.0, |b| b.1);
        means.cut += if belief.decided(model) { 0.0 } else { chance };
        return;
    }
    let action = policy(model, &belief, &mut trail);
    means.cycles += chance;
    means.insertions += chance * insertions(&action) as f64;
    let mut after = belief;
    after.act(model, &action);
    let outlook = after.outlook(model, floor / 100.0);
    for (mask, parts) in outlook.outcomes() {
        let reported = outlook.reported(mask);
        let mut then = after.clone();
        then.report(model, &reported);
        let next = Trail { last: reported, cycle: trail.cycle + 1, ..trail.clone() };
        walk(model, policy, then, next, chance * parts.iter().map(|p| p.2).sum::<f64>(), floor, means);
    }
}
