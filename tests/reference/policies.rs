//! The policies the yardstick compares with, written from its definitions: common practice, swapping first, the greedy
//! choice by information gain, and the two-step look ahead. They share the belief and the stop rule with the program; only
//! the choice differs.

use slotwise::isolate::action::{Action, Change, insertions};
use slotwise::isolate::belief::{Belief, Model};
use slotwise::isolate::fault::{Fault, Mode, unit_of};

/// What a policy may remember of the trials so far.
#[derive(Debug, Clone, Default)]
pub struct Trail {
    /// Units reported at the symptomatic boot.
    pub start: Vec<u16>,
    /// Units reported at the last boot.
    pub last: Vec<u16>,
    /// The cycle to be planned, from 1.
    pub cycle: usize,
    /// Partner places used before.
    pub used: Vec<u16>,
}

pub type Policy = fn(&Model, &Belief, &mut Trail) -> Action;

fn reported_places(model: &Model, belief: &Belief, units: &[u16]) -> Vec<u16> {
    (0..model.layout.len() as u16)
        .filter(|p| belief.board.at(*p).is_some() && units.contains(&unit_of(&model.layout, model.mode, *p)))
        .collect()
}

/// Reseats what is reported, then swaps.
pub fn practice(model: &Model, belief: &Belief, trail: &mut Trail) -> Action {
    if trail.cycle == 1 {
        return reported_places(model, belief, &trail.start).into_iter().map(Change::Reseat).collect();
    }
    swap_one(model, belief, trail, trail.cycle - 2)
}

/// Swaps at once.
pub fn swap_first(model: &Model, belief: &Belief, trail: &mut Trail) -> Action {
    swap_one(model, belief, trail, trail.cycle.saturating_sub(2))
}

fn swap_one(model: &Model, belief: &Belief, trail: &mut Trail, turn: usize) -> Action {
    let reported = reported_places(model, belief, &trail.last);
    if reported.is_empty() {
        return Vec::new();
    }
    let place = reported[turn % reported.len()];
    let layout = &model.layout;
    let channel = layout.channel_of(place);
    let depth = layout.places(channel).iter().position(|p| *p == place).unwrap();
    let mut order: Vec<u16> = layout.places(channel).to_vec();
    for other in layout.channels(layout.socket_of(channel)) {
        order.extend(layout.places(*other).get(depth));
    }
    order.extend(0..layout.len() as u16);
    let bad = |p: u16| {
        let unit = unit_of(layout, model.mode, p);
        trail.last.contains(&unit) || trail.start.contains(&unit)
    };
    order.retain(|p| *p != place && !bad(*p));
    let partner = order.iter().find(|p| !trail.used.contains(p)).or(order.first()).copied();
    match partner {
        Some(partner) => {
            trail.used.push(partner);
            vec![Change::Swap(place, partner)]
        }
        None => vec![Change::Reseat(place)],
    }
}

/// The share of hypotheses that planning ignores.
const IGNORED: f64 = 1e-4;

fn planning(belief: &Belief) -> Belief {
    let mut belief = belief.clone();
    belief.drop_below(IGNORED);
    belief
}

/// The four heaviest places that a module, slot or seating hypothesis points at.
fn suspects(belief: &Belief) -> Vec<u16> {
    let mut weights: Vec<(u16, f64)> = Vec::new();
    for h in belief.hypotheses.iter().filter(|h| h.weight >= 1e-3) {
        let place = match h.cause.first {
            Fault::Seat(place) | Fault::Slot(place) => place,
            Fault::Module(piece) => belief.board.spots[usize::from(piece)],
            _ => continue,
        };
        match weights.iter_mut().find(|w| w.0 == place) {
            Some(w) => w.1 += h.weight,
            None => weights.push((place, h.weight)),
        }
    }
    weights.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    weights.truncate(4);
    weights.into_iter().map(|w| w.0).collect()
}

/// The actions the yardstick lets greedy and look2 choose from.
pub fn candidates(model: &Model, belief: &Belief) -> Vec<Action> {
    let layout = &model.layout;
    let suspects = suspects(belief);
    let unit = |p: u16| unit_of(layout, model.mode, p);
    let dirty: Vec<u16> = suspects.iter().map(|s| unit(*s)).collect();
    let clean: Vec<u16> = (0..layout.len() as u16).filter(|p| !dirty.contains(&unit(*p))).collect();
    let socket = |p: u16| layout.socket_of(layout.channel_of(p));
    let mut all: Vec<Action> = vec![Vec::new()];
    for s in &suspects {
        all.push(vec![Change::Reseat(*s)]);
    }
    if suspects.len() > 1 {
        all.push(suspects.iter().map(|s| Change::Reseat(*s)).collect());
    }
    let near = |s: u16| {
        let mut found = Vec::new();
        let same_channel = clean.iter().find(|p| layout.channel_of(**p) == layout.channel_of(s));
        let same_socket =
            clean.iter().find(|p| layout.channel_of(**p) != layout.channel_of(s) && socket(**p) == socket(s));
        let elsewhere = clean.iter().find(|p| socket(**p) != socket(s));
        found.extend(same_channel.into_iter().chain(same_socket).chain(elsewhere).copied());
        found
    };
    for s in &suspects {
        for partner in near(*s) {
            all.push(vec![Change::Swap(*s, partner)]);
        }
    }
    for (n, a) in suspects.iter().enumerate() {
        for b in &suspects[n + 1..] {
            all.push(vec![Change::Swap(*a, *b)]);
        }
    }
    // Scatter: each of the subset to a clean unit of its own, from the near end and from the far end.
    for subset in 1u32..1 << suspects.len() {
        let chosen: Vec<u16> =
            suspects.iter().enumerate().filter(|(n, _)| subset >> n & 1 == 1).map(|s| *s.1).collect();
        if chosen.len() < 2 {
            continue;
        }
        for far in [false, true] {
            let mut used: Vec<u16> = Vec::new();
            let mut action = Vec::new();
            for s in &chosen {
                let mut order = clean.clone();
                if far {
                    order.sort_by_key(|p| {
                        (layout.channel_of(*p) == layout.channel_of(*s), socket(*p) == socket(*s), *p)
                    });
                }
                let Some(partner) = order.into_iter().find(|p| !used.contains(&unit(*p))) else { break };
                used.push(unit(partner));
                action.push(Change::Swap(*s, partner));
            }
            if action.len() == chosen.len() {
                all.push(action);
            }
        }
    }
    if suspects.len() > 1 {
        for s in &suspects {
            for partner in near(*s) {
                let rest = suspects.iter().filter(|o| *o != s).map(|o| Change::Reseat(*o));
                all.push(std::iter::once(Change::Swap(*s, partner)).chain(rest).collect());
            }
        }
    }
    all
}

/// Actions with their gain in bits, best first; ties by insertions, then list order.
fn ranked(model: &Model, belief: &Belief) -> Vec<(f64, Action, Belief)> {
    let before = belief.entropy();
    let mut all: Vec<(f64, Action, Belief)> = candidates(model, belief)
        .into_iter()
        .map(|action| {
            let mut after = belief.clone();
            after.act(model, &action);
            (before - after.outlook(model, 1e-7).entropy_after(), action, after)
        })
        .collect();
    all.sort_by(|a, b| {
        let gain = ((b.0 * 1e9).round()).total_cmp(&(a.0 * 1e9).round());
        gain.then(insertions(&a.1).cmp(&insertions(&b.1)))
    });
    all
}

/// The largest expected drop in entropy.
pub fn greedy(model: &Model, belief: &Belief, _: &mut Trail) -> Action {
    ranked(model, &planning(belief)).into_iter().next().map(|r| r.1).unwrap_or_default()
}

/// Two steps: the cost of the second is estimated from its entropy and its own best gain.
pub fn look2(model: &Model, belief: &Belief, _: &mut Trail) -> Action {
    let ranked = ranked(model, &planning(belief));
    let Some(best) = ranked.first().map(|r| r.0) else { return Vec::new() };
    let mut chosen: Option<(f64, Action)> = None;
    for (gain, action, after) in ranked.into_iter().take(6) {
        if gain < best / 2.0 {
            continue;
        }
        let outlook = after.outlook(model, 1e-6);
        let mut cost = 1.0;
        for (mask, parts) in outlook.outcomes() {
            let chance: f64 = parts.iter().map(|p| p.2).sum();
            let mut then = after.clone();
            then.report(model, &outlook.reported(mask));
            if then.decided(model) {
                continue;
            }
            let then = planning(&then);
            let gain = self::ranked(model, &then).first().map_or(0.0, |r| r.0);
            cost += chance * if gain > 0.0 { (then.entropy() / gain).max(1.0) } else { 40.0 };
        }
        if chosen.as_ref().is_none_or(|(least, _)| cost < least - 1e-9) {
            chosen = Some((cost, action));
        }
    }
    chosen.map(|c| c.1).unwrap_or_default()
}

/// Slot and channel mode only.
pub fn is_named(model: &Model) -> bool {
    model.mode != Mode::Blind
}

/// The changes that leave exactly these pairs of place and module fitted.
fn leaving(belief: &Belief, set: &[(u16, u16)]) -> Action {
    let fitted = (0..belief.board.fitted.len() as u16).filter_map(|p| Some((p, belief.board.at(p)?)));
    let out = fitted.filter(|pair| !set.contains(pair)).map(|(p, _)| Change::Remove(p));
    let new = set.iter().filter(|(p, m)| belief.board.at(*p) != Some(*m)).map(|(p, m)| Change::Fit(*p, *m));
    out.chain(new).collect()
}

/// Where the machine does not post: sets of modules to boot with, by sockets, by channels, by weight, and the heaviest few in
/// each other's places.
fn sets(model: &Model, belief: &Belief) -> Vec<Action> {
    let layout = &model.layout;
    let places = layout.len() as u16;
    let mut weight: Vec<(f64, u16)> = (0..places).map(|p| (0.0, p)).collect();
    for h in &belief.hypotheses {
        if let Fault::Seat(p) | Fault::Slot(p) | Fault::Module(p) = h.cause.first {
            weight[usize::from(p)].0 += h.weight;
        }
    }
    weight.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let heavy: Vec<u16> = weight.iter().map(|w| w.1).collect();
    let all: Vec<(u16, u16)> = (0..places).map(|p| (p, p)).collect();
    let keep = |on: &dyn Fn(u16) -> bool| all.iter().copied().filter(|(p, _)| on(*p)).collect::<Vec<_>>();
    let mut wanted = vec![all.clone()];
    for s in 0..layout.socket_count() as u16 {
        let on = |p: u16| layout.socket_of(layout.channel_of(p)) == s;
        wanted.extend([keep(&on), keep(&|p| !on(p))]);
    }
    for c in 0..layout.channel_count() as u16 {
        let on = |p: u16| layout.channel_of(p) == c;
        wanted.extend([keep(&on), keep(&|p| !on(p)), keep(&|p| layout.channel_of(p) <= c)]);
    }
    for size in 1..heavy.len() {
        let (most, rest) = heavy.split_at(size);
        wanted.extend([keep(&|p| most.contains(&p)), keep(&|p| rest.contains(&p))]);
    }
    for skip in 0..2 {
        wanted.push(heavy.iter().skip(skip).step_by(2).map(|p| (*p, *p)).collect());
    }
    for a in heavy.iter().take(4) {
        for b in heavy.iter().take(4).chain(heavy.last()).filter(|b| *b != a) {
            wanted.extend([vec![(*a, *b)], vec![(*b, *a)]]);
        }
    }
    let mut actions: Vec<Action> =
        wanted.iter().filter(|set| !set.is_empty()).map(|set| leaving(belief, set)).collect();
    let mut anew = leaving(belief, &all);
    anew.extend(all.iter().filter(|(p, m)| belief.board.at(*p) == Some(*m)).map(|(p, _)| Change::Reseat(*p)));
    actions.push(anew);
    actions
}

/// The set that tells most; of equal ones the one with fewer insertions.
pub fn greedy_whole(model: &Model, belief: &Belief, _: &mut Trail) -> Action {
    let belief = planning(belief);
    let told = |action: Action| {
        let mut after = belief.clone();
        after.act(model, &action);
        (after.outlook(model, 1e-7).entropy_after(), insertions(&action), action)
    };
    let all = sets(model, &belief).into_iter().map(told);
    let least = all.min_by(|a, b| ((a.0 * 1e9).round()).total_cmp(&(b.0 * 1e9).round()).then(a.1.cmp(&b.1)));
    least.map(|told| told.2).unwrap_or_default()
}
