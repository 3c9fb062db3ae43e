//! Which trial is next: the one after which the expected minutes to a verdict are fewest.
//!
//! Gain is measured on verdict classes, not on single hypotheses: telling two faults apart that end in the same verdict is
//! worth nothing. The best few candidates by gain a minute are followed to every outcome, and from there on again.

use super::action::{Action, Change, handled, insertions};
use super::belief::{Belief, Model};
use super::candidates::{Means, candidates};
use super::layout::{Piece, Place};

/// A cover in the way: it comes off and goes back once for all the slots below it.
#[derive(Debug, Clone, PartialEq)]
pub struct InTheWay {
    pub name: String,
    /// Off and back, in minutes.
    pub minutes: f64,
    /// By place: whether it is below this cover.
    pub over: Vec<bool>,
}

/// What a trial costs, in minutes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Costs {
    /// One power cycle until the machine reports.
    pub boot: f64,
    /// One insertion.
    pub insertion: f64,
    /// Opening and closing the machine, when anything in it is changed.
    pub opening: f64,
    /// Covers to be taken off for what is handled below them.
    pub covers: Vec<InTheWay>,
}

impl Costs {
    /// Minutes for an action and the boot after it.
    pub fn of(&self, action: &Action) -> f64 {
        let opening = if action.is_empty() { 0.0 } else { self.opening };
        let below = |c: &&InTheWay| handled(action).any(|p| c.over.get(usize::from(p)) == Some(&true));
        let covers: f64 = self.covers.iter().filter(below).map(|c| c.minutes).sum();
        self.boot + opening + covers + self.insertion * insertions(action) as f64
    }
}

/// How far and how wide to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Trials looked ahead.
    pub steps: usize,
    /// Candidates followed at each step, the nearest step first.
    pub width: [usize; 6],
    /// Share of the probability below which a branch is estimated, not followed.
    pub floor: f64,
}

/// Hypotheses lighter than this are left out of planning, never out of the verdict.
const IGNORED: f64 = 1e-4;

/// Outcomes less likely than this are not looked into.
const UNLIKELY: f64 = 1e-5;

/// What a minute of handling weighs in the plan beside a minute of booting.
const HANDLING: f64 = 0.5;

/// Outcomes less likely than this are taken as told apart when candidates are ranked.
const TOLD: f64 = 1e-5;

/// Gain in bits at or below which a boot teaches nothing worth its minutes.
const WORTH: f64 = 1e-4;

/// Slots from which on the plan looks less wide.
const LARGE: usize = 96;

/// Causes from which on one step is looked ahead where the machine does not post.
const MANY: usize = 250;

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
    belief.compact();
    // Boots come first: a handling weighs half its minutes, which then still are fewer than those of other policies.
    let costs = Costs { insertion: costs.insertion * HANDLING, ..costs.clone() };
    // On a large board every node costs more, and the answer must still come at once.
    let depth = if model.layout.len() > LARGE { Depth { width: [3; 6], floor: 1.0 / 15.0, ..depth } } else { depth };
    let (minutes, action) = look(model, &belief, means, &costs, depth, 0, 1.0);
    Choice { action, minutes }
}

/// The trial with the best gain a minute, without looking further: for beliefs with many causes.
pub fn choose_near(model: &Model, belief: &Belief, means: &Means, costs: &Costs) -> Choice {
    let mut belief = belief.clone();
    belief.drop_below(IGNORED);
    belief.compact();
    match ranked(model, &belief, means, costs).into_iter().next().filter(|best| best.gain > WORTH) {
        Some(best) => Choice { minutes: (belief.entropy() / best.gain).max(1.0) * best.minutes, action: best.action },
        None => Choice { action: Action::new(), minutes: f64::INFINITY },
    }
}

/// Chooses the next set to boot with where the machine does not post; `home` is where each module belongs.
pub fn choose_whole(model: &Model, belief: &Belief, home: &[(Place, Piece)], means: &Means, costs: &Costs) -> Choice {
    let mut belief = belief.clone();
    belief.drop_below(1e-6);
    belief.compact();
    let mut actions = super::whole::sets(&model.layout, &belief, home, means);
    if means.may_clear(&belief) {
        actions.push(vec![Change::ClearSettings]);
    }
    let ranked = rank(model, &belief, costs, actions);
    // Two steps on the boards of a bench; one where there are very many causes, and any half of them tells about as much.
    if belief.hypotheses.len() > MANY {
        let best = ranked.into_iter().next().filter(|best| best.gain > WORTH);
        return best.map_or(Choice { action: Action::new(), minutes: f64::INFINITY }, |best| Choice {
            minutes: (belief.entropy() / best.gain).max(1.0) * best.minutes,
            action: best.action,
        });
    }
    // What tells little beside the best is no first step: the estimate of the second would only put the work off.
    let most = ranked.iter().map(|r| r.gain).fold(0.0, f64::max);
    let mut best: Option<Choice> = None;
    for first in ranked.into_iter().filter(|r| r.gain >= most * 0.2).take(6).filter(|r| r.gain > WORTH) {
        let outlook = first.after.outlook(model, UNLIKELY);
        let mut minutes = first.minutes;
        for (mask, parts) in outlook.outcomes() {
            let chance: f64 = parts.iter().map(|p| p.2).sum();
            if kinds_max(parts) >= model.sure * chance {
                continue;
            }
            let mut then = first.after.clone();
            then.report(model, &outlook.reported(mask));
            let next = rank(model, &then, costs, super::whole::sets(&model.layout, &then, home, means));
            minutes += chance
                * next
                    .first()
                    .filter(|r| r.gain > WORTH)
                    .map_or(40.0 * costs.boot, |r| (then.entropy() / r.gain).max(1.0) * r.minutes);
        }
        if best.as_ref().is_none_or(|b| minutes < b.minutes) {
            best = Some(Choice { action: first.action, minutes });
        }
    }
    best.unwrap_or(Choice { action: Action::new(), minutes: f64::INFINITY })
}

struct Ranked {
    gain: f64,
    minutes: f64,
    action: Action,
    after: Belief,
}

fn ranked(model: &Model, belief: &Belief, means: &Means, costs: &Costs) -> Vec<Ranked> {
    rank(model, belief, costs, candidates(model, belief, means))
}

/// Actions with what they tell, best gain a minute first.
fn rank(model: &Model, belief: &Belief, costs: &Costs, actions: Vec<Action>) -> Vec<Ranked> {
    let before = belief.entropy();
    let mut all: Vec<Ranked> = actions
        .into_iter()
        .map(|action| {
            let mut after = belief.clone();
            after.act(model, &action);
            let gain = (before - after.outlook(model, TOLD).entropy_after()).max(0.0);
            Ranked { gain, minutes: costs.of(&action), action, after }
        })
        .collect();
    all.sort_by(|a, b| (b.gain / b.minutes).total_cmp(&(a.gain / a.minutes)));
    all
}

fn look(
    model: &Model,
    belief: &Belief,
    means: &Means,
    costs: &Costs,
    depth: Depth,
    step: usize,
    reach: f64,
) -> (f64, Action) {
    if belief.decided(model) {
        return (0.0, Action::new());
    }
    if step == depth.steps {
        let mut least = f64::INFINITY;
        for by in [By::GainPerMinute, By::Gain] {
            least = least.min(follow(model, belief, means, costs, by, reach, depth.floor));
        }
        return (least, Action::new());
    }
    let ranked = ranked(model, belief, means, costs);
    let mut chosen = (f64::INFINITY, Action::new());
    for candidate in narrowed(ranked, depth.width[step]) {
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
            minutes += chance * look(model, &then, means, costs, depth, step + 1, reach * chance).0;
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

/// The best by gain a minute and the best by gain alone; what tells little beside them is not followed.
fn narrowed(mut ranked: Vec<Ranked>, width: usize) -> Vec<Ranked> {
    // Whatever tells nothing now tells nothing the next time.
    ranked.retain(|r| r.gain > 1e-9);
    let most = ranked.iter().map(|r| r.gain).fold(0.0, f64::max);
    // What tells as much for as many minutes mostly differs in the partner alone: one of them is followed.
    let mut kept: Vec<(f64, f64)> = Vec::new();
    ranked.retain(|r| {
        let seen = kept.iter().any(|k| (k.0 - r.gain).abs() < 1e-9 && (k.1 - r.minutes).abs() < 1e-9);
        if !seen {
            kept.push((r.gain, r.minutes));
        }
        !seen
    });
    let mut order: Vec<usize> = (0..ranked.len()).collect();
    order.sort_by(|a, b| {
        let (a, b) = (&ranked[*a], &ranked[*b]);
        b.gain.total_cmp(&a.gain).then(a.minutes.total_cmp(&b.minutes))
    });
    order.truncate(width);
    let mut place = 0;
    ranked.retain(|r| {
        let keep = place < width || order.contains(&place);
        place += 1;
        keep && r.gain >= most * 0.2
    });
    ranked
}

/// The two simple choices a trial is followed with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum By {
    GainPerMinute,
    Gain,
}

fn best_by(mut ranked: Vec<Ranked>, by: By) -> Option<Ranked> {
    if by == By::Gain {
        let most = ranked.iter().map(|r| r.gain).fold(0.0, f64::max);
        // Equal gain: the one that costs less.
        ranked.retain(|r| r.gain >= most - 1e-9);
        ranked.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
    }
    ranked.into_iter().next()
}

/// Expected minutes to a verdict when from here on the best gain a minute is taken.
fn follow(model: &Model, belief: &Belief, means: &Means, costs: &Costs, by: By, reach: f64, floor: f64) -> f64 {
    let Some(best) = best_by(ranked(model, belief, means, costs), by) else { return 40.0 * costs.boot };
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
        minutes += chance * follow(model, &then, means, costs, by, reach * chance, floor);
    }
    minutes
}

fn kinds_max(parts: &[(u128, u16, f64)]) -> f64 {
    parts.iter().map(|p| p.2).fold(0.0, f64::max)
}
