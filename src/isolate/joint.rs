//! The seating of all places together, for a machine that does not post: its one report is about the whole board, so which
//! places are badly seated hangs together once a boot has failed.
//!
//! Under a cause the seating is a short list of sets of badly seated places, each with its probability. Causes with the same
//! list share it: all causes without a bad seating begin with one and part only where a boot tells them apart.

use std::collections::HashMap;

use super::layout::{NOWHERE, Place};

/// The most places taken to be badly seated at once.
const MOST: usize = 3;

/// Sets less likely than this are let go.
const UNLIKELY: f64 = 3e-5;

/// The most sets kept for one cause, the likeliest.
const KEPT: usize = 128;

/// The same for a plan, which weighs very many trials.
const COARSE: usize = 10;

/// Places handled at once up to which every two of them are taken as possibly spoiled together.
const PAIRS: i32 = 10;

/// Places handled at once above which a few stand for all in a plan: of equally likely sets it keeps no more than these. So
/// they do beside sets so unlikely that with one place more they would be let go.
const MANY: usize = 64;

/// Places badly seated at once, in order, filled up with [`NOWHERE`].
type Bad = [Place; MOST];

const ALL_GOOD: Bad = [NOWHERE; MOST];

/// Sets with their probabilities, which add up to 1.
type Sets = Vec<(Bad, f64)>;

/// The seating under every cause.
#[derive(Debug, Clone)]
pub struct Joint {
    /// The most sets of a list.
    most: usize,
    lists: Vec<Sets>,
    /// By cause, its list.
    of: Vec<u32>,
}

impl Joint {
    /// As the causes say: for each the places that start badly seated.
    pub fn of(starts: impl Iterator<Item = Vec<Place>>) -> Self {
        let mut joint = Self { most: KEPT, lists: Vec::new(), of: Vec::new() };
        let mut known: HashMap<Bad, u32> = HashMap::new();
        for start in starts {
            let bad = start.iter().fold(ALL_GOOD, |bad, place| with(bad, *place));
            let list = *known.entry(bad).or_insert_with(|| {
                joint.lists.push(vec![(bad, 1.0)]);
                joint.lists.len() as u32 - 1
            });
            joint.of.push(list);
        }
        joint
    }

    /// From here on fewer sets are kept: for a plan.
    pub fn coarse(&mut self) {
        self.most = COARSE;
        for list in &mut self.lists {
            *list = tidied(std::mem::take(list), COARSE);
        }
        self.sweep();
    }

    /// Sets kept in all: what an insertion has to go through.
    pub fn size(&self) -> usize {
        self.lists.iter().map(Vec::len).sum()
    }

    fn sets(&self, cause: usize) -> &[(Bad, f64)] {
        &self.lists[self.of[cause] as usize]
    }

    /// Insertions at several places before one boot, each place once.
    pub fn insert(&mut self, places: &[Place], clears: f64, spoils: f64) {
        for list in &mut self.lists {
            let mut after: Sets = Vec::with_capacity(list.len() * (places.len() + 1));
            for (bad, chance) in list.iter() {
                // What was badly seated is cleared, or not, place by place; then of the others some are spoiled.
                let mut left = vec![(*bad, *chance)];
                for place in bad.iter().filter(|p| **p != NOWHERE && places.contains(p)) {
                    let cleared: Vec<_> = left.iter().map(|(b, c)| (without(*b, *place), c * clears)).collect();
                    left.iter_mut().for_each(|(_, c)| *c *= 1.0 - clears);
                    left.extend(cleared);
                }
                let others: Vec<Place> = places.iter().copied().filter(|p| !bad.contains(p)).collect();
                for (set, chance) in left {
                    spoiled(set, chance, &others, spoils, self.most == KEPT, &mut after);
                }
            }
            *list = tidied(after, self.most);
        }
    }

    /// By list, the probability that a place for which `fitted` holds is badly seated.
    pub fn fails(&self, fitted: impl Fn(Place) -> bool) -> Vec<f64> {
        let fails = |list: &Sets| list.iter().filter(|(bad, _)| any(bad, &fitted)).map(|(_, chance)| chance).sum();
        self.lists.iter().map(fails).collect()
    }

    /// The same after insertions at `places`, each once, without carrying them out: nothing fails when each place that was
    /// badly seated is cleared, or empty, and no other that is handled is spoiled.
    pub fn fails_after(&self, fitted: impl Fn(Place) -> bool, places: &[Place], clears: f64, spoils: f64) -> Vec<f64> {
        // By how many of the handled places were badly seated.
        let filled = places.iter().filter(|place| fitted(**place)).count() as i32;
        let good: Vec<f64> =
            (0..=MOST as i32).map(|bad| clears.powi(bad) * (1.0 - spoils).powi((filled - bad).max(0))).collect();
        let mut touched = vec![false; places.iter().max().map_or(0, |place| usize::from(*place) + 1)];
        places.iter().for_each(|place| touched[usize::from(*place)] = true);
        let works = |bad: &Bad| {
            let mut handled = 0;
            for place in bad.iter().filter(|place| **place != NOWHERE && fitted(**place)) {
                if touched.get(usize::from(*place)) != Some(&true) {
                    return 0.0;
                }
                handled += 1;
            }
            good[handled]
        };
        let fails = |list: &Sets| 1.0 - list.iter().map(|(bad, chance)| chance * works(bad)).sum::<f64>();
        self.lists.iter().map(|list| fails(list).clamp(0.0, 1.0)).collect()
    }

    /// The list of a cause, as an index into what [`Joint::fails`] gives.
    pub fn list(&self, cause: usize) -> usize {
        self.of[cause] as usize
    }

    /// Takes in a boot under the causes that do not cover the failure themselves.
    pub fn report(&mut self, failed: bool, shows: f64, fitted: impl Fn(Place) -> bool, open: impl Fn(usize) -> bool) {
        let before = self.lists.len();
        let mut changed: Vec<Option<u32>> = vec![None; before];
        for cause in 0..self.of.len() {
            let list = self.of[cause] as usize;
            if !open(cause) || list >= before {
                continue;
            }
            let new = changed[list].unwrap_or_else(|| {
                let chance = |bad: &Bad| match (any(bad, &fitted), failed) {
                    (true, true) => shows,
                    (true, false) => 1.0 - shows,
                    (false, true) => 0.0,
                    (false, false) => 1.0,
                };
                let after = self.lists[list].iter().map(|(bad, weight)| (*bad, weight * chance(bad))).collect();
                self.lists.push(tidied(after, self.most));
                self.lists.len() as u32 - 1
            });
            changed[list] = Some(new);
            self.of[cause] = new;
        }
        self.sweep();
    }

    /// Keeps the causes that `wanted` names, by their old numbers.
    pub fn keep(&mut self, wanted: &[bool]) {
        let mut at = 0;
        self.of.retain(|_| {
            at += 1;
            wanted.get(at - 1) == Some(&true)
        });
        self.sweep();
    }

    /// Lets go of lists that no cause refers to, and takes equal ones together.
    fn sweep(&mut self) {
        let mut order: Vec<Option<u32>> = vec![None; self.lists.len()];
        let mut lists: Vec<Sets> = Vec::new();
        for of in &mut self.of {
            let old = *of as usize;
            *of = *order[old].get_or_insert_with(|| {
                let list = std::mem::take(&mut self.lists[old]);
                let same = lists.iter().position(|known| *known == list);
                same.unwrap_or_else(|| {
                    lists.push(list);
                    lists.len() - 1
                }) as u32
            });
        }
        self.lists = lists;
    }

    /// Probability that a place is badly seated under a cause.
    pub fn badly_seated(&self, cause: usize, place: Place) -> f64 {
        self.sets(cause).iter().filter(|(bad, _)| bad.contains(&place)).map(|(_, chance)| chance).sum()
    }

    /// Multiplies the seating of a place under a cause by a factor for bad and one for good.
    pub fn weigh(&mut self, cause: usize, place: Place, bad: f64, good: f64) {
        let factor = |set: &Bad| if set.contains(&place) { bad } else { good };
        let after = self.sets(cause).iter().map(|(set, chance)| (*set, chance * factor(set))).collect();
        self.lists.push(tidied(after, self.most));
        self.of[cause] = self.lists.len() as u32 - 1;
    }

    /// The same under every cause, and each made to add up to 1 again.
    pub fn weigh_all(&mut self, place: Place, bad: f64, good: f64) {
        for list in &mut self.lists {
            list.iter_mut().for_each(|(set, chance)| *chance *= if set.contains(&place) { bad } else { good });
            *list = tidied(std::mem::take(list), self.most);
        }
        self.sweep();
    }
}

/// The set with none, one or two of `others` spoiled besides. Where these are many, neighbours stand for any two or more.
fn spoiled(set: Bad, chance: f64, others: &[Place], spoils: f64, fine: bool, out: &mut Sets) {
    let count = others.len() as i32;
    let none = (1.0 - spoils).powi(count);
    out.push((set, chance * none));
    if spoils <= 0.0 || count == 0 {
        return;
    }
    let one = spoils * (1.0 - spoils).powi(count - 1);
    let more = 1.0 - none - one * f64::from(count);
    // Each alone would be let go at once, and what they make up in all with them.
    let told = fine && chance * one > UNLIKELY;
    let others = if told || others.len() <= MANY { others } else { &others[..COARSE] };
    let share = one * f64::from(count) / others.len() as f64;
    out.extend(others.iter().map(|place| (with(set, *place), chance * share)));
    let apart = if fine && count <= PAIRS { others.len() } else { 2 };
    let pairs: Vec<(Place, Place)> =
        (1..apart).flat_map(|by| others.iter().copied().zip(others[by..].iter().copied())).collect();
    let each = chance * more / pairs.len().max(1) as f64;
    out.extend(pairs.into_iter().map(|(a, b)| (with(with(set, a), b), each)));
}

fn any(bad: &Bad, fitted: &impl Fn(Place) -> bool) -> bool {
    bad.iter().any(|place| *place != NOWHERE && fitted(*place))
}

/// The set and this place; a set that is full stays as it is.
fn with(mut bad: Bad, place: Place) -> Bad {
    if !bad.contains(&place)
        && let Some(free) = bad.iter_mut().find(|p| **p == NOWHERE)
    {
        *free = place;
        bad.sort_unstable();
    }
    bad
}

fn without(mut bad: Bad, place: Place) -> Bad {
    bad.iter_mut().filter(|p| **p == place).for_each(|p| *p = NOWHERE);
    bad.sort_unstable();
    bad
}

/// A number that sorts sets as they are.
fn in_order(bad: &Bad) -> u64 {
    bad.iter().fold(0, |number, place| number << 16 | u64::from(*place))
}

/// Equal sets taken together, unlikely ones let go, the rest made to add up to 1. Where there are more than `most`, the
/// likeliest stand for all: those with something badly seated for all of these, so that the chance of a failure stays.
fn tidied(mut list: Sets, most: usize) -> Sets {
    list.sort_unstable_by_key(|(bad, _)| in_order(bad));
    list.dedup_by(|a, b| {
        let same = a.0 == b.0;
        if same {
            b.1 += a.1;
        }
        same
    });
    let total: f64 = list.iter().map(|(_, chance)| chance).sum();
    list.retain(|(_, chance)| *chance > UNLIKELY * total);
    if list.len() > most {
        let bad = |list: &Sets| list.iter().filter(|(set, _)| *set != ALL_GOOD).map(|(_, chance)| chance).sum::<f64>();
        let before = bad(&list);
        list.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        list.truncate(most);
        list.sort_unstable_by_key(|(bad, _)| in_order(bad));
        let after = bad(&list);
        list.iter_mut().filter(|(set, _)| *set != ALL_GOOD).for_each(|(_, chance)| *chance *= before / after);
    }
    let total: f64 = list.iter().map(|(_, chance)| chance).sum();
    if total > 0.0 {
        list.iter_mut().for_each(|(_, chance)| *chance /= total);
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_boot_that_failed_and_fails_again_untouched_is_no_news() {
        let mut joint = Joint::of([vec![], vec![4]].into_iter());
        joint.insert(&[2], 0.9, 0.01);
        joint.insert(&[3], 0.9, 0.01);
        // By hand: 1 - .99 · .99 of spoiling one or both.
        assert!((joint.fails(|_| true)[joint.list(0)] - 0.0199).abs() < 1e-12);
        joint.report(true, 1.0, |_| true, |_| true);
        // Whichever it was, it is still there; each of the two with .0099 + .0001 of .0199.
        assert!((joint.fails(|_| true)[joint.list(0)] - 1.0).abs() < 1e-12);
        assert!((joint.badly_seated(0, 2) - 0.01 / 0.0199).abs() < 1e-12);
        // With place 2 out, a boot that works says it was place 2 alone.
        joint.report(false, 1.0, |p| p != 2, |_| true);
        assert_eq!((joint.badly_seated(0, 2), joint.badly_seated(0, 3)), (1.0, 0.0));
    }

    #[test]
    fn insertions_before_one_boot_are_as_good_as_one_after_another() {
        let start = || Joint::of([vec![], vec![4]].into_iter());
        let (mut together, mut singly) = (start(), start());
        together.insert(&[4, 5, 6], 0.9, 0.01);
        [4, 5, 6].iter().for_each(|p| singly.insert(&[*p], 0.9, 0.01));
        for (cause, place) in [(0, 4), (0, 6), (1, 4), (1, 5)] {
            assert!((together.badly_seated(cause, place) - singly.badly_seated(cause, place)).abs() < 1e-4);
        }
        // Many at once: the chance that none is spoiled stays what it is.
        let mut many = start();
        many.insert(&(10..70).collect::<Vec<Place>>(), 0.9, 0.01);
        assert!((many.fails(|_| true)[many.list(0)] - (1.0 - 0.99f64.powi(60))).abs() < 1e-3);
    }

    #[test]
    fn in_a_plan_few_of_very_many_handled_stand_for_all() {
        let mut plan = Joint::of([vec![], vec![4]].into_iter());
        plan.coarse();
        plan.insert(&(0..192).collect::<Vec<Place>>(), 0.9, 0.01);
        let fails = plan.fails(|_| true);
        // The chance of a failure stays what it is: of any spoiled, and of the bad one left or any other spoiled.
        assert!((fails[plan.list(0)] - (1.0 - 0.99f64.powi(192))).abs() < 1e-2, "{fails:?}");
        assert!((fails[plan.list(1)] - (1.0 - 0.9 * 0.99f64.powi(191))).abs() < 1e-2, "{fails:?}");
        assert!(plan.size() <= 2 * COARSE);
    }

    #[test]
    fn beside_an_unlikely_set_few_of_very_many_handled_stand_for_all() {
        let places: Vec<Place> = (0..192).collect();
        let mut sets = Sets::new();
        spoiled(with(ALL_GOOD, 200), 0.01, &places, 0.01, true, &mut sets);
        // By hand: the chance stays what it is, and 0.01 x 0.01 x 0.99^191 a place is below what is kept.
        assert!((sets.iter().map(|(_, chance)| chance).sum::<f64>() - 0.01).abs() < 1e-12);
        assert!(sets.len() <= 2 * COARSE, "{}", sets.len());
        sets.clear();
        spoiled(ALL_GOOD, 1.0, &places, 0.01, true, &mut sets);
        assert!(sets.len() > places.len());
    }

    #[test]
    fn causes_that_nothing_told_apart_share_their_list() {
        let mut joint = Joint::of([vec![], vec![], vec![1], vec![]].into_iter());
        assert_eq!(joint.lists.len(), 2);
        joint.insert(&[1], 0.9, 0.01);
        joint.report(true, 0.7, |_| true, |cause| cause != 3);
        // A boot that failed leaves place 1 badly seated under all three that do not cover it.
        assert_eq!((joint.list(0), joint.list(0), joint.lists.len()), (joint.list(1), joint.list(2), 2));
        joint.keep(&[true, true, false, false]);
        assert_eq!(joint.lists.len(), 1);
    }
}
