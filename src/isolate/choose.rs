//! Which trial is next: the one after which the expected minutes to a verdict are fewest.
//!
//! Gain is measured on verdict classes, not on single hypotheses: telling two faults apart that end in the same verdict is
//! worth nothing. The best few candidates by gain a minute are followed to every outcome, and from there on again.

use super::action::{Action, Change, handled, insertions};
use super::belief::{Belief, Model};
use super::candidates::{Means, candidates, simple_candidates};
use super::layout::{Piece, Place};
use super::outlook::Mask;

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
    /// Work for one choice: candidates weighed, times the hypotheses each is weighed under. Counted and not timed, so that a
    /// record played again comes to the same trials.
    pub work: f64,
}

/// Hypotheses lighter than this are left out of planning, never out of the verdict.
const IGNORED: f64 = 1e-4;

/// Outcomes less likely than this are not looked into.
const UNLIKELY: f64 = 1e-5;

/// What a minute of handling weighs in the plan beside a minute of booting.
const HANDLING: f64 = 0.35;

/// The same where the machine does not post, until every module was handled once on average: sets that tell the modules from
/// their places take many handlings and save boots. Besides, a seating that a handling spoils takes so many boots to find. At
/// most a handling weighs what it does elsewhere, and so much when every module was handled: wear counts from then on.
/// Both are assumed: of the weights tried these took the fewest boots, see `docs/isolate.md`.
const FIRST_HANDLING: f64 = 0.03;
const SPOILED: f64 = 4.0;

/// Outcomes less likely than this are taken as told apart when candidates are ranked.
const TOLD: f64 = 1e-5;

/// Gain in bits at or below which a boot teaches nothing worth its minutes.
const WORTH: f64 = 1e-4;

/// The same where a boot is expected to show more the next time.
const TELLS: f64 = 1e-9;

/// Candidates there are at least, for what weighing them is going to take; and where the machine does not post.
const AT_LEAST: usize = 20;
const SETS: usize = 40;

/// Sets that tell most are changed one by one while that tells more: so many of each ranking, so many times, at so much work.
const CLIMBS: usize = 2;
const ROUNDS: usize = 8;
const CLIMBING: f64 = 1_000_000.0;

/// How far is looked where the machine does not post, on a board of up to so many places; on larger ones, where every set
/// takes longer to put together, so much less.
const WHOLE: Depth = Depth { steps: 1, width: [3; 6], floor: 1.0 / 200.0, work: 3_000_000.0 };
const WHOLE_PLACES: f64 = 16.0;

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
    // Boots come first: a handling weighs a third of its minutes, which then still are fewer than those of other policies.
    let costs = Costs { insertion: costs.insertion * HANDLING, ..costs.clone() };
    let listed = |belief: &Belief, all: bool| {
        if all { candidates(model, belief, means) } else { simple_candidates(model, belief, means) }
    };
    let plan = Plan { model, costs: &costs, depth, listed: &listed, near: None, at_least: AT_LEAST, worth: TELLS };
    let (minutes, action) = plan.look(&belief, 0, Share { reach: 1.0, work: depth.work }, None);
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
    belief.coarse();
    let mut insertion = costs.insertion * HANDLING;
    if belief.insertions < home.len() {
        insertion = insertion.min(costs.insertion * FIRST_HANDLING + model.spoils * SPOILED * costs.boot);
    }
    let costs = Costs { insertion, ..costs.clone() };
    let listed = |belief: &Belief, _: bool| {
        let mut actions = super::whole::sets(&model.layout, belief, home, means);
        if means.may_clear(belief) {
            actions.push(vec![Change::ClearSettings]);
        }
        actions
    };
    let work = WHOLE.work * (WHOLE_PLACES / model.layout.len().max(1) as f64).min(1.0);
    let near = |belief: &Belief, action: &Action| super::whole::near(&model.layout, belief, home, means, action);
    let plan = Plan {
        model,
        costs: &costs,
        depth: Depth { work, ..WHOLE },
        listed: &listed,
        near: Some(&near),
        at_least: SETS,
        worth: WORTH,
    };
    let (minutes, action) = plan.look(&belief, 0, Share { reach: 1.0, work }, None);
    Choice { action, minutes }
}

struct Ranked {
    /// Hypotheses and outcomes weighed for it.
    work: usize,
    gain: f64,
    minutes: f64,
    action: Action,
}

impl Ranked {
    /// Whether another tells as much for as many minutes: mostly it differs in the partner alone.
    fn tells_like(&self, other: &Self) -> bool {
        (self.gain - other.gain).abs() < 1e-9 && (self.minutes - other.minutes).abs() < 1e-9
    }
}

fn ranked(model: &Model, belief: &Belief, means: &Means, costs: &Costs) -> Vec<Ranked> {
    rank(model, belief, costs, candidates(model, belief, means))
}

/// Actions with what they tell, best gain a minute first.
fn rank(model: &Model, belief: &Belief, costs: &Costs, actions: Vec<Action>) -> Vec<Ranked> {
    let before = belief.entropy();
    let mut after = belief.clone();
    let mut all: Vec<Ranked> = actions
        .into_iter()
        .map(|action| {
            let outlook = match belief.whole_after(model, &action) {
                Some(whole) => belief.outlook_whole(&whole, TOLD),
                None => {
                    after.become_like(belief);
                    after.act(model, &action);
                    after.outlook(model, TOLD)
                }
            };
            let work = belief.size() + outlook.parts.len();
            let gain = (before - outlook.entropy_after()).max(0.0);
            Ranked { work, gain, minutes: costs.of(&action), action }
        })
        .collect();
    all.sort_by(|a, b| (b.gain / b.minutes).total_cmp(&(a.gain / a.minutes)));
    all
}

type Near<'a> = dyn Fn(&Belief, &Action) -> Vec<Action> + 'a;

/// What does not change while one choice is looked for.
struct Plan<'a> {
    model: &'a Model,
    costs: &'a Costs,
    depth: Depth,
    /// The candidates, all or the simple ones.
    listed: &'a dyn Fn(&Belief, bool) -> Vec<Action>,
    /// What is one change away from a candidate, where that may be looked for.
    near: Option<&'a Near<'a>>,
    at_least: usize,
    /// Gain in bits at or below which a trial tells nothing.
    worth: f64,
}

/// A branch: how likely it is to be come to, and the work it may take.
#[derive(Debug, Clone, Copy)]
struct Share {
    reach: f64,
    work: f64,
}

impl Share {
    fn of(self, chance: f64) -> Self {
        Self { reach: self.reach * chance, work: self.work * chance }
    }

    fn less(self, spent: &[Ranked]) -> Self {
        Self { work: self.work - spent.iter().map(|r| r.work).sum::<usize>() as f64, ..self }
    }
}

impl Plan<'_> {
    fn ranked(&self, belief: &Belief, all: bool) -> Vec<Ranked> {
        rank(self.model, belief, self.costs, (self.listed)(belief, all))
    }

    /// What the best candidates, by gain a minute and by gain alone, become when they are changed one by one as long as that
    /// makes them better: no list holds every set that would part many causes in half.
    fn climbed(&self, belief: &Belief, list: &[Ranked]) -> Vec<Ranked> {
        let Some(near) = self.near else { return Vec::new() };
        let round = (belief.size() * super::whole::near_count(self.model.layout.len())) as f64;
        let mut rounds = (CLIMBING / round.max(1.0)) as usize;
        let mut found: Vec<Ranked> = Vec::new();
        let values: [fn(&Ranked) -> f64; 2] = [|r| r.gain / r.minutes, |r| r.gain - r.minutes * 1e-7];
        for value in values {
            let mut starts: Vec<&Ranked> = list.iter().collect();
            starts.sort_by(|a, b| value(b).total_cmp(&value(a)));
            for start in starts.into_iter().take(CLIMBS) {
                let mut best: Option<Ranked> = None;
                for _ in 0..ROUNDS.min(rounds) {
                    rounds -= 1;
                    let from = best.as_ref().unwrap_or(start);
                    let next = rank(self.model, belief, self.costs, near(belief, &from.action));
                    let next = next.into_iter().max_by(|a, b| value(a).total_cmp(&value(b)));
                    let Some(next) = next.filter(|next| value(next) > value(from) + 1e-9) else { break };
                    best = Some(next);
                }
                found.extend(best);
            }
        }
        found
    }

    /// The expected minutes from the outcomes of a trial on, by `then`.
    fn after(&self, belief: &Belief, trial: &Ranked, mut then: impl FnMut(&Belief, f64) -> f64, most: f64) -> f64 {
        let mut after = belief.clone();
        after.act(self.model, &trial.action);
        let outlook = after.outlook(self.model, UNLIKELY);
        let mut minutes = trial.minutes;
        let mut next = after.clone();
        for (mask, parts) in outlook.outcomes() {
            let chance: f64 = parts.iter().map(|p| p.2).sum();
            if kinds_max(parts) >= self.model.sure * chance {
                continue;
            }
            next.become_like(&after);
            next.report(self.model, &outlook.reported(mask));
            next.drop_below(IGNORED);
            minutes += chance * then(&next, chance);
            if minutes >= most {
                break;
            }
        }
        minutes
    }

    fn look(&self, belief: &Belief, step: usize, share: Share, before: Option<&Ranked>) -> (f64, Action) {
        if belief.decided(self.model) {
            return (0.0, Action::new());
        }
        if let Some(before) = before.filter(|_| step == self.depth.steps) {
            return (self.follow(belief, share, before), Action::new());
        }
        let ranked = self.ranked(belief, true);
        let share = share.less(&ranked);
        let found = self.climbed(belief, &ranked);
        let mut narrowed = narrowed(ranked, self.depth.width[step], self.worth);
        // Changed one by one, a set that tells nothing may have become a cheaper one that tells nothing.
        for candidate in found.into_iter().filter(|found| found.gain > self.worth) {
            if !narrowed.iter().any(|known| known.tells_like(&candidate)) {
                narrowed.push(candidate);
            }
        }
        let each = Share { work: share.work / narrowed.len().max(1) as f64, ..share };
        let mut chosen = (f64::INFINITY, Action::new());
        for candidate in narrowed {
            let then = |next: &Belief, chance: f64| self.look(next, step + 1, each.of(chance), Some(&candidate)).0;
            let minutes = self.after(belief, &candidate, then, chosen.0);
            if minutes < chosen.0 {
                chosen = (minutes, candidate.action);
            }
        }
        chosen
    }

    /// Expected minutes to a verdict when from here on the better of two simple choices is taken: what tells most, and what
    /// tells most a minute.
    fn follow(&self, belief: &Belief, share: Share, before: &Ranked) -> f64 {
        if share.work < (belief.size() * self.at_least) as f64 {
            return estimate(belief, before);
        }
        let ranked = self.ranked(belief, false);
        let share = share.less(&ranked);
        let Some(most) = most_gain(&ranked) else { return 40.0 * self.costs.boot };
        let (first, most) = (&ranked[0], &ranked[most]);
        if most.gain <= 1e-9 {
            return 10.0 * self.costs.boot;
        }
        if share.reach < self.depth.floor || share.work <= 0.0 {
            return estimate(belief, first).min(estimate(belief, most));
        }
        if first.action == most.action {
            return self.after(belief, first, |next, chance| self.follow(next, share.of(chance), first), f64::INFINITY);
        }
        let half = Share { work: share.work / 2.0, ..share };
        let least = self.after(belief, first, |next, chance| self.follow(next, half.of(chance), first), f64::INFINITY);
        least.min(self.after(belief, most, |next, chance| self.follow(next, half.of(chance), most), least))
    }
}

/// The best by gain a minute and the best by gain alone; what tells little beside them is not followed.
fn narrowed(mut ranked: Vec<Ranked>, width: usize, worth: f64) -> Vec<Ranked> {
    // Whatever tells nothing now tells nothing the next time.
    ranked.retain(|r| r.gain > worth);
    let most = ranked.iter().map(|r| r.gain).fold(0.0, f64::max);
    // Of those that tell alike one is followed.
    let mut kept: Vec<Ranked> = Vec::with_capacity(ranked.len());
    for one in ranked {
        if !kept.iter().any(|known| known.tells_like(&one)) {
            kept.push(one);
        }
    }
    let mut ranked = kept;
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

/// Minutes to a verdict if every trial from here on told as much as this one.
fn estimate(belief: &Belief, trial: &Ranked) -> f64 {
    if trial.gain > 1e-9 { (belief.entropy() / trial.gain).max(1.0) * trial.minutes } else { f64::INFINITY }
}

/// The trial that tells most; of equal ones the one that costs least.
fn most_gain(ranked: &[Ranked]) -> Option<usize> {
    let most = ranked.iter().map(|r| r.gain).fold(0.0, f64::max);
    let best = (0..ranked.len()).filter(|n| ranked[*n].gain >= most - 1e-9);
    best.min_by(|a, b| ranked[*a].minutes.total_cmp(&ranked[*b].minutes))
}

fn kinds_max(parts: &[(Mask, u16, f64)]) -> f64 {
    parts.iter().map(|p| p.2).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::isolate::action::Arrangement;
    use crate::isolate::fault::Mode;
    use crate::isolate::layout::Layout;
    use crate::isolate::rates::Shares;

    fn dead(spoils: f64) -> (Model, Belief, Vec<(Place, Piece)>) {
        let layout = Layout::grid(2, 4, 2);
        let model = Model { layout, mode: Mode::Blind, clears: 0.9, spoils, shows: 1.0, sure: 0.99 };
        let mut belief = Belief::before(&model, Arrangement::full(16), &Shares::service());
        belief.report(&model, &[0]);
        (model, belief, (0..16).map(|n| (n, n)).collect())
    }

    #[test]
    fn a_set_changed_one_by_one_tells_more_than_the_one_it_began_with() {
        let (model, belief, home) = dead(0.0);
        let means = Means::default();
        let costs = Costs { boot: 12.0, insertion: 0.05, ..Costs::default() };
        let near =
            |belief: &Belief, action: &Action| super::super::whole::near(&model.layout, belief, &home, &means, action);
        let listed = |_: &Belief, _: bool| vec![vec![Change::Remove(0)]];
        let plan = Plan {
            model: &model,
            costs: &costs,
            depth: WHOLE,
            listed: &listed,
            near: Some(&near),
            at_least: SETS,
            worth: WORTH,
        };
        let ranked = plan.ranked(&belief, true);
        let found = plan.climbed(&belief, &ranked);
        assert!(!found.is_empty() && found.iter().all(|f| f.gain > 2.0 * ranked[0].gain), "{}", ranked[0].gain);
        assert!(Plan { near: None, ..plan }.climbed(&belief, &ranked).is_empty());
    }

    #[test]
    fn handlings_weigh_more_once_every_module_was_handled() {
        let (model, mut belief, home) = dead(0.0);
        let costs = Costs { boot: 12.0, insertion: 30.0, ..Costs::default() };
        let spent = |belief: &Belief| choose_whole(&model, belief, &home, &Means::default(), &costs).minutes;
        let first = spent(&belief);
        belief.insertions = 16;
        assert!(spent(&belief) > first * 1.05, "{first}");
    }
}
