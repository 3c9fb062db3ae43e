//! The probability of every explanation, exactly: a weight for each cause and, under each cause, the seating of every place
//! that was handled.
//!
//! Given the cause, units are independent, so the seating is kept unit by unit: the probability of "badly seated" where a
//! unit is one place, the joint distribution over a channel's places where the firmware drops whole channels. Where the
//! machine does not post all places are one unit; the seating is then kept as the likely sets of places ([`Joint`]).

use super::action::{Arrangement, Change};
use super::fault::{Class, Fault, Mode, all_faults, unit_of};
use super::joint::Joint;
use super::layout::{Layout, Place};
use super::rates::Shares;

/// What holds for the whole isolation.
#[derive(Debug, Clone)]
pub struct Model {
    pub layout: Layout,
    pub mode: Mode,
    /// Probability that an insertion makes a bad seating good.
    pub clears: f64,
    /// Probability that an insertion makes a good seating bad.
    pub spoils: f64,
    /// Probability that a failing unit is reported in one boot.
    pub shows: f64,
    /// Posterior of a class at which the verdict stands.
    pub sure: f64,
}

/// One fault, or two at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cause {
    pub first: Fault,
    pub second: Option<Fault>,
}

impl Cause {
    /// A single fault.
    pub const fn one(first: Fault) -> Self {
        Self { first, second: None }
    }

    /// The faults in it.
    pub fn faults(self) -> impl Iterator<Item = Fault> {
        std::iter::once(self.first).chain(self.second)
    }
}

/// The class of a cause: the classes of its faults, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Kind {
    pub first: Class,
    pub second: Option<Class>,
}

impl Kind {
    /// The classes in it.
    pub fn classes(self) -> impl Iterator<Item = Class> {
        std::iter::once(self.first).chain(self.second)
    }

    /// Whether all classes of another kind are in it.
    pub(super) fn names_all_of(self, other: Kind) -> bool {
        other.classes().all(|class| self.classes().any(|own| own == class))
    }

    /// What a cause is called under a reporting mode. Two faults that no arrangement tells from one are that one.
    pub fn of(cause: Cause, model: &Model) -> Self {
        if let Some(one) = cause.second.and_then(|second| cause.first.together(second, &model.layout, model.mode)) {
            return Self { first: one.class(&model.layout, model.mode), second: None };
        }
        let first = cause.first.class(&model.layout, model.mode);
        let second = cause.second.map(|f| f.class(&model.layout, model.mode)).filter(|s| *s != first);
        match second {
            Some(second) if second < first => Self { first: second, second: Some(first) },
            second => Self { first, second },
        }
    }
}

/// One cause with its weight.
#[derive(Debug, Clone, Copy)]
pub struct Hypothesis {
    pub cause: Cause,
    /// Index into [`Belief::kinds`].
    pub kind: u16,
    pub weight: f64,
}

/// What is believed after all that was seen.
#[derive(Debug, Clone)]
pub struct Belief {
    pub board: Arrangement,
    pub settings_cleared: bool,
    /// Insertions so far.
    pub insertions: usize,
    pub hypotheses: Vec<Hypothesis>,
    kinds: std::sync::Arc<Vec<Kind>>,
    /// Units whose seating is kept; all others are as the cause says.
    columns: Vec<u16>,
    /// Per hypothesis, per column: `width` numbers.
    seating: Vec<f64>,
    width: usize,
    /// Where the machine does not post: the seating of all places together, instead of columns.
    joint: Option<Joint>,
}

/// One unit that may be reported under a cause.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shows {
    pub unit: u16,
    pub chance: f64,
    pub covered: bool,
}

impl Belief {
    /// Before anything is seen: exactly one fault, with its share as its weight.
    pub fn before(model: &Model, board: Arrangement, shares: &Shares) -> Self {
        let causes = all_faults(&model.layout, &board.fitted, shares);
        Self::of(model, board, causes.into_iter().map(|(fault, weight)| (Cause::one(fault), weight)).collect())
    }

    /// Before anything is seen, with causes given.
    pub fn of(model: &Model, board: Arrangement, causes: Vec<(Cause, f64)>) -> Self {
        let mut kinds: Vec<Kind> = causes.iter().map(|(cause, _)| Kind::of(*cause, model)).collect();
        kinds.sort_unstable();
        kinds.dedup();
        let width = if model.mode == Mode::Channel { 1 << model.layout.deepest() } else { 1 };
        let seats = |cause: &Cause| {
            let places = cause.faults().filter_map(|fault| match fault {
                Fault::Seat(place) => Some(place),
                _ => None,
            });
            places.collect()
        };
        let joint = (model.mode == Mode::Blind).then(|| Joint::of(causes.iter().map(|(cause, _)| seats(cause))));
        let hypotheses = causes
            .into_iter()
            .map(|(cause, weight)| {
                let kind = kinds.binary_search(&Kind::of(cause, model)).unwrap_or(0) as u16;
                Hypothesis { cause, kind, weight }
            })
            .collect();
        Self {
            board,
            settings_cleared: false,
            insertions: 0,
            hypotheses,
            kinds: std::sync::Arc::new(kinds),
            columns: Vec::new(),
            seating: Vec::new(),
            width,
            joint,
        }
    }

    /// Becomes a copy of another belief in the memory it has: a plan tries very many changes on the same one.
    pub(super) fn become_like(&mut self, other: &Self) {
        self.board.fitted.clone_from(&other.board.fitted);
        self.board.spots.clone_from(&other.board.spots);
        self.settings_cleared = other.settings_cleared;
        self.insertions = other.insertions;
        self.hypotheses.clone_from(&other.hypotheses);
        self.kinds.clone_from(&other.kinds);
        self.columns.clone_from(&other.columns);
        self.seating.clone_from(&other.seating);
        self.width = other.width;
        self.joint.clone_from(&other.joint);
    }

    /// What weighing one candidate has to go through.
    pub(super) fn size(&self) -> usize {
        self.hypotheses.len() + self.joint.as_ref().map_or(0, Joint::size)
    }

    /// Keeps less of the seatings of a machine that does not post: for a plan.
    pub(super) fn coarse(&mut self) {
        if let Some(joint) = &mut self.joint {
            joint.coarse();
        }
    }

    /// The classes that hypotheses refer to.
    pub fn kinds(&self) -> &[Kind] {
        &self.kinds
    }

    /// The column a place belongs to.
    fn column_unit(model: &Model, place: Place) -> u16 {
        match model.mode {
            Mode::Slot | Mode::Blind => place,
            Mode::Channel => model.layout.channel_of(place),
        }
    }

    /// The bit of a place within its column.
    fn bit(model: &Model, place: Place) -> usize {
        match model.mode {
            Mode::Slot | Mode::Blind => 0,
            Mode::Channel => {
                let first = model.layout.places(model.layout.channel_of(place)).first().copied().unwrap_or(place);
                usize::from(place - first)
            }
        }
    }

    /// Which bits of a column belong to places that hold a module.
    fn fitted_bits(&self, model: &Model, unit: u16) -> usize {
        match model.mode {
            Mode::Slot | Mode::Blind => usize::from(self.board.at(unit).is_some()),
            Mode::Channel => {
                let places = model.layout.places(unit).iter().enumerate();
                places.filter(|(_, p)| self.board.at(**p).is_some()).fold(0, |bits, (n, _)| bits | 1 << n)
            }
        }
    }

    /// Adds the columns of units, as each cause says they are.
    fn add_columns(&mut self, model: &Model, units: &[u16]) {
        if units.is_empty() {
            return;
        }
        let (old, width) = (self.columns.len() * self.width, self.width);
        let mut seating = Vec::with_capacity(self.hypotheses.len() * (old + width * units.len()));
        for (n, hypothesis) in self.hypotheses.iter().enumerate() {
            seating.extend_from_slice(&self.seating[n * old..(n + 1) * old]);
            for unit in units {
                let mut bits = 0;
                for fault in hypothesis.cause.faults() {
                    if let Fault::Seat(place) = fault
                        && Self::column_unit(model, place) == *unit
                    {
                        bits |= 1 << Self::bit(model, place);
                    }
                }
                if width == 1 {
                    seating.push(if bits == 0 { 0.0 } else { 1.0 });
                } else {
                    seating.extend((0..width).map(|state| if state == bits { 1.0 } else { 0.0 }));
                }
            }
        }
        self.seating = seating;
        self.columns.extend_from_slice(units);
    }

    /// Insertions at places, one after another.
    fn insert(&mut self, model: &Model, places: &[Place]) {
        let mut units: Vec<u16> = Vec::new();
        for unit in places.iter().map(|place| Self::column_unit(model, *place)) {
            if !self.columns.contains(&unit) && !units.contains(&unit) {
                units.push(unit);
            }
        }
        self.add_columns(model, &units);
        let (stride, width) = (self.columns.len() * self.width, self.width);
        for place in places {
            let unit = Self::column_unit(model, *place);
            let Some(column) = self.columns.iter().position(|u| *u == unit) else { continue };
            let bit = 1 << Self::bit(model, *place);
            for n in 0..self.hypotheses.len() {
                let at = n * stride + column * width;
                let states = &mut self.seating[at..at + width];
                if width == 1 {
                    states[0] = states[0] * (1.0 - model.clears) + (1.0 - states[0]) * model.spoils;
                } else {
                    for state in (0..width).filter(|s| s & bit == 0) {
                        let (good, bad) = (states[state], states[state | bit]);
                        states[state] = good * (1.0 - model.spoils) + bad * model.clears;
                        states[state | bit] = good * model.spoils + bad * (1.0 - model.clears);
                    }
                }
            }
        }
    }

    /// Carries out an action on the board and on the seating.
    pub fn act(&mut self, model: &Model, action: &[Change]) {
        let mut inserted: Vec<Place> = Vec::new();
        for change in action {
            self.board.apply(*change, &mut |place| inserted.push(place));
            self.settings_cleared |= *change == Change::ClearSettings;
        }
        self.insertions += inserted.len();
        let Some(joint) = &mut self.joint else { return self.insert(model, &inserted) };
        // Together as far as each place is handled once.
        let mut rest = inserted.as_slice();
        while !rest.is_empty() {
            let once = (1..rest.len()).find(|n| rest[..*n].contains(&rest[*n])).unwrap_or(rest.len());
            joint.insert(&rest[..once], model.clears, model.spoils);
            rest = &rest[once..];
        }
    }

    /// By column, which of its bits belong to places that hold a module.
    pub(super) fn fitted(&self, model: &Model) -> Vec<usize> {
        self.columns.iter().map(|unit| self.fitted_bits(model, *unit)).collect()
    }

    /// The units that may be reported under hypothesis `n`; `fitted` as [`Belief::fitted`] has it.
    pub(super) fn shows(&self, model: &Model, n: usize, fitted: &[usize], out: &mut Vec<Shows>) {
        out.clear();
        let cause = self.hypotheses[n].cause;
        for fault in cause.faults() {
            fault.covered(&model.layout, &self.board.fitted, &self.board.spots, self.settings_cleared, &mut |place| {
                let unit = unit_of(&model.layout, model.mode, place);
                if !out.iter().any(|s| s.unit == unit) {
                    out.push(Shows { unit, chance: model.shows, covered: true });
                }
            });
        }
        let bad = |unit: u16, chance: f64, out: &mut Vec<Shows>| {
            if chance > 0.0 && !out.iter().any(|s| s.unit == unit) {
                out.push(Shows { unit, chance: model.shows * chance, covered: false });
            }
        };
        for fault in cause.faults() {
            if let Fault::Seat(place) = fault {
                let unit = Self::column_unit(model, place);
                if self.board.at(place).is_some() && !self.columns.contains(&unit) {
                    bad(unit, 1.0, out);
                }
            }
        }
        let stride = self.columns.len() * self.width;
        let seating = self.seating[n * stride..(n + 1) * stride].chunks_exact(self.width);
        for ((unit, states), fitted) in self.columns.iter().zip(seating).zip(fitted) {
            // Probability that a fitted place of the column is badly seated.
            let chance = match (*fitted, self.width) {
                (0, _) => 0.0,
                (_, 1) => states[0],
                _ => states.iter().enumerate().filter(|(state, _)| state & fitted != 0).map(|(_, chance)| chance).sum(),
            };
            bad(*unit, chance, out);
        }
    }

    /// Whether hypothesis `n` has a fault that covers this fitted place now.
    pub fn covers(&self, model: &Model, n: usize, place: Place) -> bool {
        let mut covers = false;
        for fault in self.hypotheses[n].cause.faults() {
            let board = &self.board;
            fault.covered(&model.layout, &board.fitted, &board.spots, self.settings_cleared, &mut |p| {
                covers |= p == place;
            });
        }
        covers
    }

    /// Probability that this place is badly seated under hypothesis `n`.
    pub fn badly_seated(&self, model: &Model, n: usize, place: Place) -> f64 {
        if let Some(joint) = &self.joint {
            return joint.badly_seated(n, place);
        }
        let unit = Self::column_unit(model, place);
        let Some(column) = self.columns.iter().position(|u| *u == unit) else {
            let bad = self.hypotheses[n].cause.faults().any(|f| f == Fault::Seat(place));
            return f64::from(u8::from(bad));
        };
        let at = (n * self.columns.len() + column) * self.width;
        if self.width == 1 {
            return self.seating[at];
        }
        let bit = 1 << Self::bit(model, place);
        (0..self.width).filter(|state| state & bit != 0).map(|state| self.seating[at + state]).sum()
    }

    /// Multiplies the seating of a place under hypothesis `n` by a factor for bad and one for good; the two factors leave
    /// its probabilities at 1 in all.
    pub(super) fn weigh_seating(&mut self, model: &Model, n: usize, place: Place, bad: f64, good: f64) {
        if let Some(joint) = &mut self.joint {
            return joint.weigh(n, place, bad, good);
        }
        let unit = Self::column_unit(model, place);
        let Some(column) = self.columns.iter().position(|u| *u == unit) else { return };
        let at = (n * self.columns.len() + column) * self.width;
        if self.width == 1 {
            self.seating[at] = (self.seating[at] * bad).min(1.0);
            return;
        }
        let bit = 1 << Self::bit(model, place);
        for (state, weight) in self.seating[at..at + self.width].iter_mut().enumerate() {
            *weight *= if state & bit != 0 { bad } else { good };
        }
    }

    /// Weighs the seating of a place by how it was seen to stand; `factors` are, by hypothesis, the probabilities of that.
    pub(super) fn weigh_stood(&mut self, model: &Model, place: Place, badly: f64, well: f64, factors: &[f64]) {
        if let Some(joint) = &mut self.joint {
            return joint.weigh_all(place, badly, well);
        }
        for (n, factor) in factors.iter().enumerate().filter(|(_, factor)| **factor > 0.0) {
            self.weigh_seating(model, n, place, badly / factor, well / factor);
        }
    }

    /// Takes in what a boot reported, units in any order. Returns the probability this report had; when it is 0 nothing
    /// explains the report, and the belief stays as it was.
    pub fn report(&mut self, model: &Model, reported: &[u16]) -> f64 {
        let whole = self.whole(model);
        let factors: Vec<f64> = match &whole {
            Some(whole) => {
                whole.iter().map(|(fails, _)| if reported.is_empty() { 1.0 - fails } else { *fails }).collect()
            }
            None => self.factors(model, reported),
        };
        let total: f64 = self.hypotheses.iter().zip(&factors).map(|(h, factor)| h.weight * factor).sum();
        if total <= 0.0 {
            return 0.0;
        }
        let before: f64 = self.hypotheses.iter().map(|h| h.weight).sum();
        match (whole, &mut self.joint) {
            (Some(whole), Some(joint)) => {
                let fitted = |place| self.board.at(place).is_some();
                joint.report(!reported.is_empty(), model.shows, fitted, |n| !whole[n].1 && factors[n] > 0.0);
            }
            _ => self.update_seating(model, reported, &factors),
        }
        for (hypothesis, factor) in self.hypotheses.iter_mut().zip(&factors) {
            hypothesis.weight *= factor / total;
        }
        self.drop_below(0.0);
        total / before
    }

    /// Where the machine does not post: by hypothesis, the probability that this boot is seen to fail, and whether a fault
    /// other than a seating covers something fitted.
    pub(super) fn whole(&self, model: &Model) -> Option<Vec<(f64, bool)>> {
        let joint = self.joint.as_ref()?;
        let bad = joint.fails(|place| self.board.at(place).is_some());
        let fails = |(n, h): (usize, &Hypothesis)| {
            let covered = h.cause.faults().any(|fault| {
                fault.covers_any(&model.layout, &self.board.fitted, &self.board.spots, self.settings_cleared)
            });
            (model.shows * if covered { 1.0 } else { bad[joint.list(n)] }, covered)
        };
        Some(self.hypotheses.iter().enumerate().map(fails).collect())
    }

    /// The same after an action that is not carried out: for a plan, which weighs very many. `None` where a place is handled
    /// twice, or the machine posts.
    pub(super) fn whole_after(&self, model: &Model, action: &[Change]) -> Option<Vec<(f64, bool)>> {
        let joint = self.joint.as_ref()?;
        let (mut board, mut handled, mut twice) = (self.board.clone(), Vec::new(), false);
        let (mut cleared, mut touched) = (self.settings_cleared, vec![false; board.fitted.len()]);
        for change in action {
            board.apply(*change, &mut |place| {
                twice |= touched.get_mut(usize::from(place)).is_some_and(|known| std::mem::replace(known, true));
                handled.push(place);
            });
            cleared |= *change == Change::ClearSettings;
        }
        if twice {
            return None;
        }
        let bad = joint.fails_after(|place| board.at(place).is_some(), &handled, model.clears, model.spoils);
        let fails = |(n, h): (usize, &Hypothesis)| {
            let covers = |fault: Fault| fault.covers_any(&model.layout, &board.fitted, &board.spots, cleared);
            let covered = h.cause.faults().any(covers);
            (model.shows * if covered { 1.0 } else { bad[joint.list(n)] }, covered)
        };
        Some(self.hypotheses.iter().enumerate().map(fails).collect())
    }

    /// By hypothesis, the probability of a report.
    fn factors(&self, model: &Model, reported: &[u16]) -> Vec<f64> {
        let (mut list, fitted) = (Vec::new(), self.fitted(model));
        let mut factors = Vec::with_capacity(self.hypotheses.len());
        for n in 0..self.hypotheses.len() {
            self.shows(model, n, &fitted, &mut list);
            let mut factor = 1.0;
            let mut explained = 0;
            for s in &list {
                if reported.contains(&s.unit) {
                    explained += 1;
                    factor *= s.chance;
                } else {
                    factor *= 1.0 - s.chance;
                }
            }
            factors.push(if explained == reported.len() { factor } else { 0.0 });
        }
        factors
    }

    fn update_seating(&mut self, model: &Model, reported: &[u16], factors: &[f64]) {
        let mut list = Vec::new();
        let (count, width) = (self.columns.len(), self.width);
        let fitted = self.fitted(model);
        for n in (0..self.hypotheses.len()).filter(|n| factors[*n] > 0.0) {
            self.shows(model, n, &fitted, &mut list);
            for (column, fitted) in fitted.iter().enumerate() {
                let unit = self.columns[column];
                let Some(s) = list.iter().find(|s| s.unit == unit && !s.covered) else { continue };
                let at = (n * count + column) * width;
                let states = &mut self.seating[at..at + width];
                let seen = reported.contains(&unit);
                if width == 1 {
                    if *fitted != 0 {
                        let chance = if seen { model.shows / s.chance } else { (1.0 - model.shows) / (1.0 - s.chance) };
                        states[0] = (states[0] * chance).min(1.0);
                    }
                    continue;
                }
                let mut sum = 0.0;
                for (state, weight) in states.iter_mut().enumerate() {
                    let chance = if state & *fitted != 0 { model.shows } else { 0.0 };
                    *weight *= if seen { chance } else { 1.0 - chance };
                    sum += *weight;
                }
                if sum > 0.0 {
                    states.iter_mut().for_each(|weight| *weight /= sum);
                }
            }
        }
    }

    /// Forgets hypotheses at or below a weight and makes the rest add up to 1.
    pub fn drop_below(&mut self, floor: f64) {
        self.keep(|h| h.weight > floor);
    }

    /// Leaves out the classes that no hypothesis refers to any more: planning asks for all of them again and again.
    pub fn compact(&mut self) {
        let mut used: Vec<u16> = self.hypotheses.iter().map(|h| h.kind).collect();
        used.sort_unstable();
        used.dedup();
        let kinds = used.iter().filter_map(|k| self.kinds.get(usize::from(*k)).copied()).collect();
        for h in &mut self.hypotheses {
            h.kind = used.binary_search(&h.kind).unwrap_or(0) as u16;
        }
        self.kinds = std::sync::Arc::new(kinds);
    }

    /// Keeps the hypotheses that `wanted` names and makes them add up to 1.
    pub fn keep(&mut self, wanted: impl Fn(&Hypothesis) -> bool) {
        let stride = self.columns.len() * self.width;
        let mut kept = 0;
        if let Some(joint) = &mut self.joint {
            joint.keep(&self.hypotheses.iter().map(&wanted).collect::<Vec<_>>());
        }
        for n in 0..self.hypotheses.len() {
            if wanted(&self.hypotheses[n]) {
                self.hypotheses[kept] = self.hypotheses[n];
                self.seating.copy_within(n * stride..(n + 1) * stride, kept * stride);
                kept += 1;
            }
        }
        self.hypotheses.truncate(kept);
        self.seating.truncate(kept * stride);
        let total: f64 = self.hypotheses.iter().map(|h| h.weight).sum();
        if total > 0.0 {
            self.hypotheses.iter_mut().for_each(|h| h.weight /= total);
        }
    }

    /// Takes every kind that names all of `kind` for it: for a plan that asks only whether what leads stands.
    pub(super) fn take_as(&mut self, kind: Kind) {
        let Ok(one) = self.kinds.binary_search(&kind) else { return };
        let named: Vec<bool> = self.kinds.iter().map(|k| k.names_all_of(kind)).collect();
        for h in self.hypotheses.iter_mut().filter(|h| named.get(usize::from(h.kind)) == Some(&true)) {
            h.kind = one as u16;
        }
    }

    /// The probability of each kind of cause, likeliest first.
    pub fn by_kind(&self) -> Vec<(Kind, f64)> {
        let mut sums = vec![0.0; self.kinds.len()];
        for h in &self.hypotheses {
            sums[usize::from(h.kind)] += h.weight;
        }
        let mut all: Vec<(Kind, f64)> = self.kinds.iter().copied().zip(sums).filter(|(_, sum)| *sum > 0.0).collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        all
    }

    /// The likeliest kind of cause and its probability.
    pub fn best(&self) -> Option<(Kind, f64)> {
        let mut sums = vec![0.0; self.kinds.len()];
        for h in &self.hypotheses {
            sums[usize::from(h.kind)] += h.weight;
        }
        let best = (0..sums.len()).max_by(|a, b| sums[*a].total_cmp(&sums[*b]))?;
        Some((self.kinds[best], sums[best]))
    }

    /// Whether one kind of cause is as likely as a verdict needs.
    pub fn decided(&self, model: &Model) -> bool {
        self.best().is_some_and(|(_, chance)| chance >= model.sure)
    }

    /// Entropy over kinds of cause, in bits.
    pub fn entropy(&self) -> f64 {
        self.by_kind().iter().map(|(_, p)| -p * p.log2()).sum()
    }
}
