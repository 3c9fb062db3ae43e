//! An estimate of the cycles of the best choice among the listed trials. The tree of these trials is grown where the best that
//! may still be hoped for is likeliest to be come to; what is undecided and not looked into yet counts as one cycle, so the
//! number grows with the work.
//!
//! It is no bound on what can be had: a trial that is not listed, such as one with another partner, may do better. Listed trials
//! that tell alike and take equally many insertions are taken for one, and hypotheses below one in a million are left out.

use slotwise::isolate::action::{Action, insertions};
use slotwise::isolate::belief::{Belief, Model};
use slotwise::isolate::candidates::{Means, candidates};
use slotwise::isolate::outlook::{Mask, Outlook};
use slotwise::isolate::rates::Shares;

use super::exact::starts;

/// Hypotheses and branches below this are not followed.
const FLOOR: f64 = 1e-6;

/// What leaves a belief undecided after a trial.
struct Outcome {
    chance: f64,
    mask: Mask,
    /// The belief then, once it is looked into.
    then: Option<usize>,
}

struct Trial {
    action: Action,
    /// Cycles if whatever is undecided took one more: what there is at least.
    plain: f64,
    /// What it may come to; worked out once it is the best there is, which most trials never are.
    outcomes: Vec<Outcome>,
}

struct Node {
    belief: Belief,
    before: Option<usize>,
    trials: Vec<Trial>,
    /// Cycles to a verdict at least, and the trial that these are of.
    least: f64,
    best: usize,
    /// How likely the likeliest outcome not looked into yet is, when the best trials are taken on the way to it.
    open: f64,
}

struct Search<'a> {
    model: &'a Model,
    nodes: Vec<Node>,
}

impl Search<'_> {
    /// Looks into a belief: all that can be done and what each may come to.
    fn add(&mut self, mut belief: Belief, before: Option<usize>) -> usize {
        belief.drop_below(FLOOR);
        belief.compact();
        let mut seen: Vec<(f64, f64, usize)> = Vec::new();
        let mut trials = Vec::new();
        for action in candidates(self.model, &belief, &Means::default()) {
            let mut after = belief.clone();
            after.act(self.model, &action);
            let outlook = after.outlook(self.model, 1e-9);
            let even: f64 = outlook.outcomes().map(|(_, parts)| parts.iter().map(|p| p.2).sum::<f64>().powi(2)).sum();
            let plain = 1.0 + self.undecided(&outlook).iter().map(|o| o.chance).sum::<f64>();
            let (left, count) = (outlook.entropy_after(), insertions(&action));
            let alike =
                |s: &(f64, f64, usize)| (s.0 - left).abs() < 1e-10 && (s.1 - even).abs() < 1e-10 && s.2 == count;
            if !seen.iter().any(alike) {
                seen.push((left, even, count));
                trials.push(Trial { action, plain, outcomes: Vec::new() });
            }
        }
        self.nodes.push(Node { belief, before, trials, least: 1.0, best: 0, open: 1.0 });
        self.settle(self.nodes.len() - 1);
        self.nodes.len() - 1
    }

    fn undecided(&self, outlook: &Outlook) -> Vec<Outcome> {
        let all = outlook.outcomes().map(|(mask, parts)| (mask, parts, parts.iter().map(|p| p.2).sum::<f64>()));
        let undecided = all.filter(|(_, parts, chance)| parts.iter().all(|p| p.2 < self.model.sure * chance));
        undecided.map(|(mask, _, chance)| Outcome { chance, mask, then: None }).collect()
    }

    fn cycles(&self, trial: &Trial) -> f64 {
        let known = trial.outcomes.iter().filter_map(|o| Some(o.chance * (self.nodes[o.then?].least - 1.0)));
        trial.plain + known.sum::<f64>()
    }

    fn open(&self, outcome: &Outcome) -> f64 {
        outcome.chance * outcome.then.map_or(1.0, |then| self.nodes[then].open)
    }

    /// Works out anew what a belief takes at least.
    fn settle(&mut self, at: usize) {
        let (mut least, mut best) = (f64::INFINITY, 0);
        for (n, trial) in self.nodes[at].trials.iter().enumerate() {
            let cycles = if trial.plain < least { self.cycles(trial) } else { continue };
            if cycles < least {
                (least, best) = (cycles, n);
            }
        }
        let trial = &self.nodes[at].trials[best];
        if trial.outcomes.is_empty() && trial.plain > 1.0 {
            let mut after = self.nodes[at].belief.clone();
            after.act(self.model, &trial.action);
            self.nodes[at].trials[best].outcomes = self.undecided(&after.outlook(self.model, 1e-9));
        }
        let open = self.nodes[at].trials[best].outcomes.iter().map(|o| self.open(o)).fold(0.0, f64::max);
        let node = &mut self.nodes[at];
        (node.least, node.best, node.open) = (least, best, open);
    }

    /// Looks into the likeliest outcome below a belief that was not looked into yet, the best trials taken on the way.
    fn grow(&mut self, root: usize) {
        let mut at = root;
        loop {
            let (node, best) = (&self.nodes[at], self.nodes[at].best);
            let outcomes = &node.trials[best].outcomes;
            let Some(n) =
                (0..outcomes.len()).max_by(|a, b| self.open(&outcomes[*a]).total_cmp(&self.open(&outcomes[*b])))
            else {
                return;
            };
            if let Some(then) = outcomes[n].then {
                at = then;
                continue;
            }
            let mut belief = node.belief.clone();
            belief.act(self.model, &node.trials[best].action);
            let reported = belief.outlook(self.model, 1e-9).reported(outcomes[n].mask);
            belief.report(self.model, &reported);
            let then = self.add(belief, Some(at));
            self.nodes[at].trials[best].outcomes[n].then = Some(then);
            break;
        }
        let mut up = Some(at);
        while let Some(at) = up {
            self.settle(at);
            up = self.nodes[at].before;
        }
    }
}

/// The estimated mean cycles over all starts, by looking into so many beliefs.
pub fn least(model: &Model, shares: &Shares, beliefs: usize) -> f64 {
    let mut search = Search { model, nodes: Vec::new() };
    let undecided = starts(model, shares, true).into_iter().filter(|s| !s.2.decided(model));
    let roots: Vec<(f64, usize)> = undecided.map(|s| (s.0, search.add(s.2, None))).collect();
    while search.nodes.len() < beliefs {
        let open = |root: &(f64, usize)| root.0 * search.nodes[root.1].open;
        match roots.iter().max_by(|a, b| open(a).total_cmp(&open(b))) {
            Some(root) if open(root) > FLOOR / 10.0 => search.grow(root.1),
            _ => break,
        }
    }
    roots.iter().map(|(chance, root)| chance * search.nodes[*root].least).sum()
}
