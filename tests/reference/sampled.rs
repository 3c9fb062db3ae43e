//! Mean cycles by drawing faults and playing the trials, the choices of a policy kept so that each is made once.

use std::collections::HashMap;

use slotwise::isolate::action::{Action, Arrangement, insertions};
use slotwise::isolate::belief::{Belief, Kind, Model};
use slotwise::isolate::fault::{Fault, Mode, all_faults, unit_of};
use slotwise::isolate::layout::Layout;
use slotwise::isolate::rates::Shares;

use super::exact::LAST_CYCLE;
use super::policies::{Policy, Trail};

/// What a policy came to over all draws.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    pub runs: usize,
    pub cycles: f64,
    /// 95 % half-width of the mean cycles.
    pub half_width: f64,
    pub insertions: f64,
    pub right: f64,
    /// Share of runs that ended with a good module convicted.
    pub convicted: f64,
    pub decisions: usize,
}

impl Tally {
    /// Minutes at 12 a cycle and 1.5 an insertion.
    pub fn minutes(&self) -> f64 {
        12.0 * self.cycles + 1.5 * self.insertions
    }
}

struct Node {
    belief: Belief,
    trail: Trail,
    action: Option<Action>,
    verdict: Option<Kind>,
    next: HashMap<Vec<u16>, usize>,
}

/// One draw of the truth: what is wrong, and how the seatings stand.
struct Truth {
    fault: Fault,
    bad: Vec<bool>,
    board: Arrangement,
}

impl Truth {
    fn reported(&self, model: &Model, dice: &mut fastrand::Rng) -> Vec<u16> {
        let mut failing = Vec::new();
        self.fault.covered(&model.layout, &self.board.fitted, &self.board.spots, false, &mut |p| failing.push(p));
        let bad = |p: &u16| self.bad[usize::from(*p)] && self.board.at(*p).is_some();
        failing.extend((0..model.layout.len() as u16).filter(bad));
        let mut units: Vec<u16> = failing.into_iter().map(|p| unit_of(&model.layout, model.mode, p)).collect();
        units.sort_unstable();
        units.dedup();
        units.retain(|_| dice.f64() < model.shows);
        units
    }

    fn act(&mut self, model: &Model, action: &Action, dice: &mut fastrand::Rng) {
        let mut inserted = Vec::new();
        for change in action {
            self.board.apply(*change, &mut |p| inserted.push(p));
        }
        for place in inserted {
            let bad = &mut self.bad[usize::from(place)];
            *bad = if *bad { dice.f64() >= model.clears } else { dice.f64() < model.spoils };
        }
    }
}

/// Plays `runs` draws; the same seeds for every policy.
pub fn sampled(model: &Model, shares: &Shares, policy: Policy, runs: usize) -> Tally {
    let places = model.layout.len();
    let faults = all_faults(&model.layout, &Arrangement::full(places).fitted, shares);
    let before = Belief::before(model, Arrangement::full(places), shares);
    let mut nodes: Vec<Node> = Vec::new();
    let mut starts: HashMap<Vec<u16>, usize> = HashMap::new();
    let (mut tally, mut squares) = (Tally { runs, ..Tally::default() }, 0.0);
    for run in 0..runs {
        let mut dice = fastrand::Rng::with_seed(20_240_611 * 1_000_003 + run as u64);
        let (mut truth, reported) = loop {
            let mut point = dice.f64();
            let drawn = faults.iter().find(|(_, share)| {
                point -= share;
                point < 0.0
            });
            let fault = drawn.unwrap_or(&faults[0]).0;
            let mut bad = vec![false; places];
            if let Fault::Seat(place) = fault {
                bad[usize::from(place)] = true;
            }
            let truth = Truth { fault, bad, board: Arrangement::full(places) };
            let reported = truth.reported(model, &mut dice);
            if !reported.is_empty() {
                break (truth, reported);
            }
        };
        // Relabelled so that what is reported comes first: the same start, looked at from elsewhere.
        let hit = |p: u16| reported.contains(&unit_of(&model.layout, model.mode, p));
        let order = relabelled(&model.layout, &hit, true);
        truth.fault = moved(truth.fault, &model.layout, &order);
        let mut bad = vec![false; places];
        (0..places).for_each(|p| bad[usize::from(order[p])] = truth.bad[p]);
        truth.bad = bad;
        let mut reported: Vec<u16> = reported.iter().map(|u| moved_unit(model, *u, &order)).collect();
        reported.sort_unstable();
        let mut at = *starts.entry(reported.clone()).or_insert_with(|| {
            let mut belief = before.clone();
            belief.report(model, &reported);
            let trail = Trail { start: reported.clone(), last: reported.clone(), cycle: 1, used: Vec::new() };
            nodes.push(node(model, belief, trail, policy));
            nodes.len() - 1
        });
        let (mut cycles, mut inserted) = (0usize, 0usize);
        while nodes[at].verdict.is_none() && cycles < LAST_CYCLE {
            let action = nodes[at].action.clone().unwrap_or_default();
            truth.act(model, &action, &mut dice);
            inserted += insertions(&action);
            cycles += 1;
            let seen = truth.reported(model, &mut dice);
            at = match nodes[at].next.get(&seen) {
                Some(next) => *next,
                None => {
                    let mut belief = nodes[at].belief.clone();
                    belief.act(model, &action);
                    assert!(belief.report(model, &seen) > 0.0, "the model excludes what the model drew");
                    let old = &nodes[at].trail;
                    let trail = Trail { last: seen.clone(), cycle: old.cycle + 1, ..old.clone() };
                    nodes.push(node(model, belief, trail, policy));
                    let next = nodes.len() - 1;
                    nodes[at].next.insert(seen, next);
                    next
                }
            };
        }
        let class = truth.fault.class(&model.layout, model.mode);
        if let Some(verdict) = nodes[at].verdict {
            tally.right += f64::from(u8::from(verdict.second.is_none() && verdict.first == class));
            let convicts =
                verdict.classes().any(|c| matches!(c, slotwise::isolate::fault::Class::Module(_)) && c != class);
            tally.convicted += f64::from(u8::from(convicts));
        }
        tally.cycles += cycles as f64;
        tally.insertions += inserted as f64;
        squares += (cycles * cycles) as f64;
    }
    let n = runs as f64;
    tally.cycles /= n;
    tally.insertions /= n;
    tally.right /= n;
    tally.convicted /= n;
    tally.half_width = 1.96 * ((squares / n - tally.cycles * tally.cycles) / n).max(0.0).sqrt();
    tally.decisions = nodes.len();
    tally
}

fn node(model: &Model, belief: Belief, mut trail: Trail, policy: Policy) -> Node {
    let verdict = belief.best().filter(|(_, chance)| *chance >= model.sure).map(|b| b.0);
    let action = if verdict.is_none() { Some(policy(model, &belief, &mut trail)) } else { None };
    Node { belief, trail, action, verdict, next: HashMap::new() }
}

/// Where each place goes so that sockets, groups, channels with reports come first, and slots where `slots_too`.
pub fn relabelled(layout: &Layout, hit: &dyn Fn(u16) -> bool, slots_too: bool) -> Vec<u16> {
    let key = |places: &[u16]| std::cmp::Reverse(places.iter().filter(|p| hit(**p)).count());
    let slots = |channel: u16| {
        let mut places = layout.places(channel).to_vec();
        places.sort_by_key(|p| slots_too && !hit(*p));
        places
    };
    let mut sockets: Vec<Vec<u16>> = (0..layout.socket_count() as u16)
        .map(|socket| {
            let channels = layout.channels(socket);
            let mut groups: Vec<Vec<u16>> = channels
                .chunks(2)
                .map(|pair| {
                    let mut pair: Vec<Vec<u16>> = pair.iter().map(|c| slots(*c)).collect();
                    pair.sort_by_key(|places| key(places));
                    pair.concat()
                })
                .collect();
            groups.sort_by_key(|places| key(places));
            groups.concat()
        })
        .collect();
    sockets.sort_by_key(|places| key(places));
    let mut order = vec![0; layout.len()];
    for (new, old) in sockets.concat().into_iter().enumerate() {
        order[usize::from(old)] = new as u16;
    }
    order
}

fn moved_unit(model: &Model, unit: u16, order: &[u16]) -> u16 {
    match model.mode {
        Mode::Slot => order[usize::from(unit)],
        Mode::Channel => model.layout.channel_of(order[usize::from(model.layout.places(unit)[0])]),
        Mode::Blind => 0,
    }
}

/// The fault under the new labels.
pub fn moved(fault: Fault, layout: &Layout, order: &[u16]) -> Fault {
    let place = |p: u16| order[usize::from(p)];
    let channel = |c: u16| layout.channel_of(place(layout.places(c)[0]));
    match fault {
        Fault::Seat(p) => Fault::Seat(place(p)),
        // Module m starts in place m.
        Fault::Module(m) => Fault::Module(place(m)),
        Fault::Slot(p) => Fault::Slot(place(p)),
        Fault::Setting(p) => Fault::Setting(place(p)),
        Fault::Channel(c) => Fault::Channel(channel(c)),
        Fault::Contact(c) => Fault::Contact(channel(c)),
        Fault::Group(g) => Fault::Group(layout.group_of(channel(layout.group(g)[0])).unwrap()),
        Fault::Socket(s) => Fault::Socket(layout.socket_of(channel(layout.channels(s)[0]))),
    }
}
