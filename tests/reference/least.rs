//! A number of cycles that no policy comes below with the program's kinds of trial: each step takes the best of all
//! candidates, so many steps deep, and what is undecided then counts as one cycle more. It grows with the depth towards the
//! best that can be had.
//!
//! Candidates of equal gain and equally many insertions are taken for one (they differ in the partner), hypotheses below one
//! in a million are left out: the bound is good to about four digits.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};

use slotwise::isolate::action::{Arrangement, insertions};
use slotwise::isolate::belief::{Belief, Model};
use slotwise::isolate::candidates::{Means, candidates};
use slotwise::isolate::rates::Shares;

/// Hypotheses and branches below this are not followed.
const FLOOR: f64 = 1e-6;

/// A trial: what is known already of its cycles, and its undecided outcomes (chance, what is known of it, belief).
type Tried = (f64, Vec<(f64, f64, Belief)>);

struct Search<'a> {
    model: &'a Model,
    /// By belief: the steps it was looked ahead and what no policy comes below.
    known: HashMap<u64, (usize, f64)>,
}

impl Search<'_> {
    fn key(&self, belief: &Belief) -> u64 {
        let mut hasher = DefaultHasher::new();
        belief.board.fitted.hash(&mut hasher);
        for (n, h) in belief.hypotheses.iter().enumerate() {
            h.cause.hash(&mut hasher);
            ((h.weight * 1e10).round() as i64).hash(&mut hasher);
            for place in 0..self.model.layout.len() as u16 {
                ((belief.badly_seated(self.model, n, place) * 1e9).round() as i64).hash(&mut hasher);
            }
        }
        hasher.finish()
    }

    fn known(&self, belief: &Belief) -> f64 {
        self.known.get(&self.key(belief)).map_or(1.0, |known| known.1)
    }

    fn least(&mut self, belief: &Belief, steps: usize, reach: f64) -> f64 {
        if belief.decided(self.model) {
            return 0.0;
        }
        let key = self.key(belief);
        match self.known.get(&key) {
            Some((deep, least)) if *deep >= steps => return *least,
            Some((_, least)) if steps == 0 || reach < FLOOR => return *least,
            None if steps == 0 || reach < FLOOR => return 1.0,
            _ => {}
        }
        let mut all = self.trials(belief);
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut best = f64::INFINITY;
        for (at_least, outcomes) in all {
            let mut cycles = at_least;
            for (chance, known, then) in &outcomes {
                if cycles >= best {
                    break;
                }
                cycles += chance * (self.least(then, steps - 1, reach * chance) - known);
            }
            best = best.min(cycles);
        }
        self.known.insert(key, (steps, best));
        best
    }

    /// Each trial: what is known already of its cycles, and its undecided outcomes, likeliest first.
    fn trials(&self, belief: &Belief) -> Vec<Tried> {
        let mut seen: Vec<(f64, usize)> = Vec::new();
        let mut all = Vec::new();
        for action in candidates(self.model, belief, &Means::default()) {
            let mut after = belief.clone();
            after.act(self.model, &action);
            let outlook = after.outlook(self.model, 1e-9);
            let (left, count) = (outlook.entropy_after(), insertions(&action));
            if seen.iter().any(|s| (s.0 - left).abs() < 1e-10 && s.1 == count) {
                continue;
            }
            seen.push((left, count));
            let (mut cycles, mut outcomes) = (1.0, Vec::new());
            for (mask, parts) in outlook.outcomes() {
                let chance: f64 = parts.iter().map(|p| p.2).sum();
                if parts.iter().any(|p| p.2 >= self.model.sure * chance) {
                    continue;
                }
                let mut then = after.clone();
                then.report(self.model, &outlook.reported(mask));
                then.drop_below(FLOOR);
                let known = self.known(&then);
                cycles += chance * known;
                outcomes.push((chance, known, then));
            }
            outcomes.sort_by(|a, b| b.0.total_cmp(&a.0));
            all.push((cycles, outcomes));
        }
        all
    }
}

/// Mean cycles over all starts that no policy comes below, `steps` deep at the likeliest `deep` kinds of start, at most four
/// at the others.
pub fn least(model: &Model, shares: &Shares, steps: usize, deep: usize) -> f64 {
    let before = Belief::before(model, Arrangement::full(model.layout.len()), shares);
    let outlook = before.outlook(model, 0.0);
    // Starts of equal entropy are the same start, looked at from elsewhere.
    let mut starts: Vec<(f64, f64, Belief)> = Vec::new();
    for (mask, parts) in outlook.outcomes().filter(|(mask, _)| *mask != 0) {
        let chance: f64 = parts.iter().map(|p| p.2).sum();
        let mut belief = before.clone();
        belief.report(model, &outlook.reported(mask));
        let entropy = belief.entropy();
        match starts.iter_mut().find(|s| (s.1 - entropy).abs() < 1e-9) {
            Some(start) => start.0 += chance,
            None => starts.push((chance, entropy, belief)),
        }
    }
    starts.sort_by(|a, b| b.0.total_cmp(&a.0));
    let shown: f64 = starts.iter().map(|s| s.0).sum();
    let mut cycles = 0.0;
    for (n, (chance, _, mut belief)) in starts.into_iter().enumerate() {
        belief.drop_below(FLOOR);
        let mut search = Search { model, known: HashMap::new() };
        let last = if n < deep { steps } else { steps.min(4) };
        let value = (1..=last).map(|steps| search.least(&belief, steps, 1.0)).last().unwrap_or(0.0);
        cycles += chance / shown * value;
    }
    cycles
}
