//! Isolations as a job runs them, guard and all, by drawing faults and playing the trials; each answer is worked out once.

use std::collections::HashMap;
use std::time::Duration;

use slotwise::board::Board;
use slotwise::isolate::fault::{Fault, Mode, all_faults};
use slotwise::isolate::layout::Layout;
use slotwise::isolate::rates::{Rates, Shares};
use slotwise::isolate::{Answer, Seen, State, answer, likeliest, named_as};

use super::machine::Machine;
use super::on_processor;
use super::sampled::{moved, relabelled};

/// The verdict where all is well and it cannot be told any more which of the two it was.
const EITHER: &str = "seating or settings";

/// Trials after which a run is given up.
const LAST: usize = 60;

/// What a kind of stop came to over all draws; shares are of all draws.
#[derive(Debug, Clone, Default)]
pub struct Stop {
    pub cycles: f64,
    pub insertions: f64,
    /// Named what is wrong, all that it named.
    pub right: f64,
    /// Of these, named a seating or a setting without telling which.
    pub either: f64,
    /// Named something that is not wrong.
    pub wrong: f64,
    /// Named a module that is good.
    pub convicted: f64,
    /// Named one of two faults and did not say that another may hide.
    pub silent: f64,
    /// Said that another may hide.
    pub warned: f64,
    /// Ended without a verdict.
    pub open: f64,
}

impl Stop {
    /// Minutes at 12 a cycle and 1.5 an insertion.
    pub fn minutes(&self) -> f64 {
        12.0 * self.cycles + 1.5 * self.insertions
    }

    fn count(&mut self, cycles: usize, insertions: usize, end: &End, truth: &[(String, String)]) {
        self.cycles += cycles as f64;
        self.insertions += insertions as f64;
        let Some(named) = &end.named else {
            self.open += 1.0;
            return;
        };
        let add = |sum: &mut f64, yes: bool| *sum += f64::from(u8::from(yes));
        // "Seating or settings" names one of the two and says so.
        let either = named.iter().any(|n| n.0 == EITHER);
        let holds = |n: &(String, String)| {
            truth.contains(n) || n.0 == EITHER && truth.iter().any(|t| ["seating", "settings"].contains(&t.0.as_str()))
        };
        let right = named.iter().all(holds);
        add(&mut self.either, right && either);
        add(&mut self.right, right);
        add(&mut self.wrong, !right);
        add(&mut self.convicted, named.iter().any(|n| n.0 == "module" && !truth.contains(n)));
        // The last of three is what both cannot be told from: naming that names both.
        let whole = truth.get(2).is_some_and(|both| named.contains(both));
        let missed = truth.iter().take(2).any(|t| !named.contains(t)) && !whole;
        add(&mut self.silent, right && missed && !end.hides && !(either && truth.len() == 1));
        add(&mut self.warned, end.hides);
    }

    fn over(&mut self, runs: f64) {
        for sum in [
            &mut self.cycles,
            &mut self.insertions,
            &mut self.right,
            &mut self.either,
            &mut self.wrong,
            &mut self.convicted,
            &mut self.silent,
            &mut self.warned,
            &mut self.open,
        ] {
            *sum /= runs;
        }
    }
}

/// With the guard and without, the same draws and the same trials up to where the guard asks for more.
#[derive(Debug, Clone, Default)]
pub struct Outcome {
    pub guarded: Stop,
    pub alone: Stop,
    pub answers: usize,
    /// Time of the slowest answer, and of all, on a processor.
    pub slowest: Duration,
    pub spent: Duration,
    /// Truth and verdict of runs that named something that is not wrong.
    pub wrongs: Vec<String>,
    /// Truth and what is believed of runs that ended without a verdict.
    pub opens: Vec<String>,
}

#[derive(Debug, Clone)]
struct End {
    named: Option<Vec<(String, String)>>,
    hides: bool,
}

struct Node {
    state: State,
    answer: Answer,
    alone: Option<End>,
    next: HashMap<Option<Vec<u16>>, usize>,
}

impl Node {
    fn new(state: State, outcome: &mut Outcome) -> Self {
        let start = on_processor();
        let answer = answer(&state);
        let spent = on_processor() - start;
        outcome.slowest = outcome.slowest.max(spent);
        outcome.spent += spent;
        outcome.answers += 1;
        let alone = likeliest(&state).map(|e| End { named: Some(parts(&e.what, &e.which)), hides: false });
        Self { state, answer, alone, next: HashMap::new() }
    }

    fn end(&self) -> End {
        let verdict = self.answer.verdict.as_ref();
        End {
            named: verdict.map(|v| parts(&v.what, &v.which)),
            hides: verdict.is_some_and(|v| v.because.contains("second fault may hide")),
        }
    }
}

/// `what` and `which` of one cause or of two.
fn parts(what: &str, which: &str) -> Vec<(String, String)> {
    let mut which = which.split(" and ").map(str::to_owned);
    what.split(" and ").map(|w| (w.to_owned(), which.next().unwrap_or_default())).collect()
}

fn key(machine: &Machine, seen: &Seen) -> Option<Vec<u16>> {
    match seen {
        Seen::NoPost => None,
        Seen::Slots(labels) => {
            let at = |l| machine.labels.iter().position(|k| k == l).unwrap() as u16;
            Some(labels.iter().map(at).collect())
        }
    }
}

/// Plays `runs` draws of `faults` faults each.
pub fn played(shape: &Board, rates: &Rates, mode: Mode, faults: usize, runs: usize) -> Outcome {
    let layout = Layout::of(shape);
    let full: Vec<u16> = (0..layout.len() as u16).collect();
    let all = all_faults(&layout, &full, &Shares::of(rates));
    let shows = rates.report.shows.number();
    let mut outcome = Outcome::default();
    let mut nodes: Vec<Node> = Vec::new();
    let mut starts: HashMap<Option<Vec<u16>>, usize> = HashMap::new();
    for run in 0..runs {
        let mut dice = fastrand::Rng::with_seed(20_240_611 * 1_000_003 + run as u64);
        let (mut machine, first) = loop {
            let mut drawn: Vec<Fault> = Vec::new();
            while drawn.len() < faults {
                let mut point = dice.f64();
                let fault = all.iter().find(|(_, share)| {
                    point -= share;
                    point < 0.0
                });
                let fault = fault.unwrap_or(&all[0]).0;
                if !drawn.contains(&fault) {
                    drawn.push(fault);
                }
            }
            let mut machine = Machine::new(shape, &drawn, mode, shows, dice.clone());
            let seen = machine.boot();
            dice = machine.dice.clone();
            if seen == Seen::Slots(Vec::new()) {
                continue;
            }
            // The same start, looked at from elsewhere: sockets, groups and channels with reports come first.
            let places = key(&machine, &seen).unwrap_or_default();
            let order = relabelled(&layout, &|p| places.contains(&p), false);
            let drawn: Vec<Fault> = drawn.into_iter().map(|f| moved(f, &layout, &order)).collect();
            let mut places: Vec<u16> = places.into_iter().map(|p| order[usize::from(p)]).collect();
            places.sort_unstable();
            let machine = Machine::new(shape, &drawn, mode, shows, dice.clone());
            let labels = places.iter().map(|p| machine.labels[usize::from(*p)].clone()).collect();
            break (machine, if seen == Seen::NoPost { seen } else { Seen::Slots(labels) });
        };
        let mut at = match starts.get(&key(&machine, &first)) {
            Some(at) => *at,
            None => {
                let state = State::new(shape, &machine.fitted(), first.clone(), rates).unwrap();
                nodes.push(Node::new(state, &mut outcome));
                starts.insert(key(&machine, &first), nodes.len() - 1);
                nodes.len() - 1
            }
        };
        let (mut cycles, mut inserted) = (0, 0);
        let mut alone: Option<(usize, usize, End)> = None;
        let truth = loop {
            let node = &nodes[at];
            let truth = named_as(&node.state, &machine.faults);
            if let (None, Some(end)) = (&alone, &node.alone) {
                alone = Some((cycles, inserted, end.clone()));
            }
            let trial = match &node.answer.trial {
                Some(trial) if cycles < LAST => trial.changes.clone(),
                _ => break truth,
            };
            inserted += machine.act(&trial);
            cycles += 1;
            let seen = machine.boot();
            let key = key(&machine, &seen);
            at = match node.next.get(&key) {
                Some(next) => *next,
                None => {
                    let mut state = node.state.clone();
                    state.observe(&trial, trial.clone(), seen).unwrap();
                    nodes.push(Node::new(state, &mut outcome));
                    let next = nodes.len() - 1;
                    nodes[at].next.insert(key, next);
                    next
                }
            };
        };
        let end = nodes[at].end();
        outcome.guarded.count(cycles, inserted, &end, &truth);
        if end.named.is_none() {
            let answer = &nodes[at].answer;
            let (undecided, steps) = (&answer.undecided, nodes[at].state.trials());
            let steps: Vec<_> = steps.iter().map(|t| (&t.done, &t.seen)).collect();
            let first: Vec<_> =
                answer.explanations.iter().take(4).map(|e| (&e.what, &e.which, &e.probability)).collect();
            outcome.opens.push(format!("{run}: {truth:?} after {cycles}: {first:?} {undecided:?} {steps:?}"));
        }
        if let Some(named) = end.named.filter(|named| named[0].0 != EITHER && !named.iter().all(|n| truth.contains(n)))
        {
            let node = &nodes[at];
            let first: Vec<_> =
                node.answer.explanations.iter().take(4).map(|e| (&e.what, &e.which, &e.probability)).collect();
            let steps: Vec<_> = node.state.trials().iter().map(|t| (&t.done, &t.seen)).collect();
            outcome.wrongs.push(format!("{run}: {truth:?}, named {named:?} after {cycles}: {first:?} {steps:?}"));
        }
        let (cycles, inserted, end) = alone.unwrap_or((cycles, inserted, End { named: None, hides: false }));
        outcome.alone.count(cycles, inserted, &end, &truth);
    }
    outcome.guarded.over(runs as f64);
    outcome.alone.over(runs as f64);
    outcome
}
