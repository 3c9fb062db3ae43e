//! Which trial is next: the one after which the expected minutes to a verdict are fewest.
//!
//! Gain is measured on verdict classes, not on single hypotheses: telling two faults apart that end in the same verdict is
//! worth nothing. The best few candidates by gain a minute are followed to every outcome, and from there on again.

use super::action::{Action, insertions};
use super::belief::{Belief, Model};
use super::candidates::{Means, candidates};

/// What a trial costs, in minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// One power cycle until the machine reports.
    pub boot: f64,
    /// One insertion.
    pub insertion: f64,
    /// Opening and closing the machine, when anything in it is changed.
    pub opening: f64,
}

impl Costs {
    /// Minutes for an action and the boot after it.
    pub fn of(&self, action: &Action) -> f64 {
        let opening = if action.is_empty() { 0.0 } else { self.opening };
        self.boot + opening + self.insertion * insertions(action) as f64
    }
}

/// How far and how wide to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Trials looked ahead.
    pub steps: usize,
    /// Candidates followed at each step, the nearest step first.
    pub width: [usize; 6],
    pub floor: f64,
}

/// Hypotheses lighter than this are left out of planning, never out of the verdict.
const IGNORED: f64 = 1e-4;

/// Outcomes less likely than this are not looked into.
const UNLIKELY: f64 = 1e-5;

/// The next trial and its expected minutes to a verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    pub action: Action,
    /// Expected minutes to a verdict, this trial included.
    pub minutes: f64,
}

/// Chooses the next trial.
pub fn choose(model: &Model, belief: &Belief, means: &Means, costs: &Costs, depth: Depth) -> Choice {
    let mut belief = belief.clone();
    belief.drop_below(IGNORED);
    let (minutes, action) = look(model, &belief, means, costs, depth, 0);
    Choice { action, minutes }
}

struct Ranked {
    gain: f64,
    minutes: f64,
    action: Action,
    after: Belief,
}

fn ranked(model: &Model, belief: &Belief, means: &Means, costs: &Costs) -> Vec<Ranked> {
    let before = belief.entropy();
    let mut all: Vec<Ranked> = candidates(model, belief, means)
        .into_iter()
        .map(|action| {
            let mut after = belief.clone();
            after.act(model, &action);
            let gain = (before - after.outlook(model, 1e-6).entropy_after()).max(0.0);
            Ranked { gain, minutes: costs.of(&action), action, after }
        })
        .collect();
    all.sort_by(|a, b| (b.gain / b.minutes).total_cmp(&(a.gain / a.minutes)));
    all
}

fn look(model: &Model, belief: &Belief, means: &Means, costs: &Costs, depth: Depth, step: usize) -> (f64, Action) {
    if belief.decided(model) {
        return (0.0, Action::new());
    }
    let ranked = ranked(model, belief, means, costs);
    if step == depth.steps {
        return (follow(model, belief, means, costs, 1.0, depth.floor), Action::new());
    }
    if step > depth.steps {
        return match ranked.into_iter().next() {
            Some(best) if best.gain > 0.0 => {
                let trials = (belief.entropy() / best.gain).max(1.0);
                (trials * best.minutes, best.action)
            }
            _ => (40.0 * costs.boot, Action::new()),
        };
    }
    let mut chosen = (f64::INFINITY, Action::new());
    for candidate in ranked.into_iter().take(depth.width[step]) {
        let outlook = candidate.after.outlook(model, UNLIKELY);
        let mut minutes = candidate.minutes;
        for (mask, parts) in outlook.outcomes() {
            let chance: f64 = parts.iter().map(|p| p.2).sum();
            let heaviest = kinds_max(parts);
            if heaviest >= model.sure * chance {
                continue;
            }
            let mut then = candidate.after.clone();
            then.report(model, &outlook.reported(mask));
            then.drop_below(IGNORED);
            minutes += chance * look(model, &then, means, costs, depth, step + 1).0;
            if minutes >= chosen.0 {
                break;
            }
        }
        if minutes < chosen.0 {
            chosen = (minutes, candidate.action);
        }
    }
    chosen
}

/// Expected minutes to a verdict when from here on the best gain a minute is taken.
fn follow(model: &Model, belief: &Belief, means: &Means, costs: &Costs, reach: f64, floor: f64) -> f64 {
    let Some(best) = ranked(model, belief, means, costs).into_iter().next() else { return 40.0 * costs.boot };
    if best.gain <= 1e-9 {
        return 10.0 * costs.boot;
    }
    if reach < floor {
        return (belief.entropy() / best.gain).max(1.0) * best.minutes;
    }
    let outlook = best.after.outlook(model, UNLIKELY);
    let mut minutes = best.minutes;
    for (mask, parts) in outlook.outcomes() {
        let chance: f64 = parts.iter().map(|p| p.2).sum();
        if kinds_max(parts) >= model.sure * chance {
            continue;
        }
        let mut then = best.after.clone();
        then.report(model, &outlook.reported(mask));
        then.drop_below(IGNORED);
        minutes += chance * follow(model, &then, means, costs, reach * chance, floor);
    }
    minutes
}

fn kinds_max(parts: &[(u128, u16, f64)]) -> f64 {
    parts.iter().map(|p| p.2).fold(0.0, f64::max)
}
