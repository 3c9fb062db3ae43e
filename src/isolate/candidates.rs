//! The changes worth considering before the next boot.

use super::action::{Action, Change};
use super::belief::{Belief, Model};
use super::fault::{Fault, unit_of};
use super::layout::{Layout, NOWHERE, Piece, Place};

/// The most places that are handled one by one.
const SUSPECTS: usize = 4;

/// Clean units kept on either side: in the suspects' sockets, and elsewhere. More than there are suspects.
const ENOUGH: usize = 8;

/// Weight below which a hypothesis points at no place.
const POINTS: f64 = 1e-3;

/// What may be used besides the modules on the board, and what must not be touched.
#[derive(Debug, Clone, Default)]
pub struct Means {
    /// Modules on hand that are taken for good.
    pub spares: Vec<Piece>,
    /// Places that must stay as they are.
    pub untouchable: Vec<Place>,
    /// Pairs of modules that cannot stand in for one another (unequal size, ranks or kind), by a number per module:
    /// modules of equal number are alike. Empty when all are.
    pub alike: Vec<u16>,
    /// What the board asks of every arrangement.
    pub house: super::house::House,
    /// Whether the settings were not cleared yet and may be.
    pub clear_settings: bool,
}

impl Means {
    /// Whether clearing the settings could show anything: while the slot a setting may have shut off is empty, it would only
    /// spoil the evidence.
    pub fn may_clear(&self, belief: &Belief) -> bool {
        let shuts = |fault| matches!(fault, Fault::Setting(place) if belief.board.at(place).is_some());
        let shown = || belief.hypotheses.iter().any(|h| h.weight >= POINTS && h.cause.faults().any(shuts));
        self.clear_settings && !belief.settings_cleared && shown()
    }

    /// Whether a change leaves alone what must not be touched.
    pub fn may(&self, change: Change) -> bool {
        let free = |p: Place| !self.untouchable.contains(&p);
        match change {
            Change::Reseat(p) | Change::Remove(p) | Change::Fit(p, _) => free(p),
            Change::Swap(a, b) | Change::Move(a, b) => free(a) && free(b),
            Change::ClearSettings => true,
        }
    }

    /// Whether one module may stand where the other does.
    pub(super) fn interchange(&self, a: Piece, b: Piece) -> bool {
        self.alike.is_empty() || self.alike.get(usize::from(a)) == self.alike.get(usize::from(b))
    }
}

/// The heaviest empty places that a hypothesis points at: a module that works there, or does not, tells whether it is them.
/// A channel is told from its slot by its next empty place.
fn empty_suspects(layout: &Layout, belief: &Belief) -> Vec<Place> {
    heaviest(belief, POINTS, |fault| {
        let places = match fault {
            Fault::Seat(place) | Fault::Slot(place) | Fault::Setting(place) => vec![place],
            Fault::Channel(channel) | Fault::Contact(channel) => layout.places(channel).to_vec(),
            _ => Vec::new(),
        };
        places.into_iter().filter(|p| belief.board.at(*p).is_none()).collect()
    })
}

/// The heaviest places that a module, slot, seating or setting hypothesis points at; where no single hypothesis weighs
/// enough, all of them together point.
pub fn suspects(belief: &Belief) -> Vec<Place> {
    let found = pointed_at(belief, POINTS);
    if found.is_empty() { pointed_at(belief, 0.0) } else { found }
}

fn pointed_at(belief: &Belief, least: f64) -> Vec<Place> {
    heaviest(belief, least, |fault| {
        let place = match fault {
            Fault::Seat(place) | Fault::Slot(place) | Fault::Setting(place) => Some(place),
            Fault::Module(piece) => belief.board.spots.get(usize::from(piece)).copied(),
            _ => None,
        };
        place.into_iter().filter(|p| belief.board.at(*p).is_some()).collect()
    })
}

/// The places that the hypotheses of at least this weight point at, by `points`; heaviest first, board order among equals.
fn heaviest(belief: &Belief, least: f64, points: impl Fn(Fault) -> Vec<Place>) -> Vec<Place> {
    let mut weights: Vec<(Place, f64)> = Vec::new();
    for h in belief.hypotheses.iter().filter(|h| h.weight >= least) {
        for place in h.cause.faults().flat_map(&points) {
            match weights.iter_mut().find(|w| w.0 == place) {
                Some(w) => w.1 += h.weight,
                None => weights.push((place, h.weight)),
            }
        }
    }
    weights.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    weights.truncate(SUSPECTS);
    weights.into_iter().map(|w| w.0).collect()
}

/// All changes worth considering, fewest insertions first within each form.
pub fn candidates(model: &Model, belief: &Belief, means: &Means) -> Vec<Action> {
    listed(model, belief, means, true)
}

/// The same without those that differ in which of the other suspects are seated anew: all are, or none.
pub fn simple_candidates(model: &Model, belief: &Belief, means: &Means) -> Vec<Action> {
    listed(model, belief, means, false)
}

fn listed(model: &Model, belief: &Belief, means: &Means, every_subset: bool) -> Vec<Action> {
    let around = Around::new(model, belief, means);
    let mut all: Vec<Action> = vec![Vec::new()];
    if means.may_clear(belief) {
        all.push(vec![Change::ClearSettings]);
    }
    around.reseats(&mut all, every_subset);
    around.swaps(&mut all, every_subset);
    around.scatters(&mut all);
    around.spares(&mut all);
    around.fills(&mut all);
    all.retain(|action| means.house.allows(&model.layout, &belief.board, action));
    all
}

struct Around<'a> {
    model: &'a Model,
    belief: &'a Belief,
    means: &'a Means,
    suspects: Vec<Place>,
    /// Places in units that hold no suspect.
    clean: Vec<Place>,
}

impl<'a> Around<'a> {
    fn new(model: &'a Model, belief: &'a Belief, means: &'a Means) -> Self {
        let free = |p: &Place| !means.untouchable.contains(p);
        let suspects: Vec<Place> = suspects(belief).into_iter().filter(free).collect();
        let unit = |p: Place| unit_of(&model.layout, model.mode, p);
        let dirty: Vec<u16> = suspects.iter().map(|s| unit(*s)).collect();
        let mut clean: Vec<Place> =
            (0..model.layout.len() as Place).filter(|p| free(p) && !dirty.contains(&unit(*p))).collect();
        if means.alike.windows(2).all(|w| w[0] == w[1]) {
            // Clean places are as good as one another; a few near and a few elsewhere serve every candidate.
            let socket = |p: Place| model.layout.socket_of(model.layout.channel_of(p));
            let near = |p: Place| suspects.iter().any(|s| socket(*s) == socket(p));
            let channel = |p: Place| suspects.iter().any(|s| model.layout.channel_of(*s) == model.layout.channel_of(p));
            let mut left = [ENOUGH, ENOUGH];
            let mut last = NOWHERE;
            clean.retain(|p| {
                let side = &mut left[usize::from(near(*p))];
                if unit(*p) != last && *side > 0 {
                    *side -= 1;
                    last = unit(*p);
                }
                channel(*p) || last == unit(*p) || belief.board.at(*p).is_none()
            });
        }
        Self { model, belief, means, suspects, clean }
    }

    fn unit(&self, place: Place) -> u16 {
        unit_of(&self.model.layout, self.model.mode, place)
    }

    /// The change that takes what is in `from` to `to` and what is in `to`, if anything, back.
    fn exchange(&self, from: Place, to: Place) -> Option<Change> {
        let piece = self.belief.board.at(from)?;
        match self.belief.board.at(to) {
            Some(other) => self.means.interchange(piece, other).then_some(Change::Swap(from, to)),
            None => Some(Change::Move(from, to)),
        }
    }

    fn reseats(&self, all: &mut Vec<Action>, every_subset: bool) {
        let count = self.suspects.len();
        for subset in
            subsets(count, 1).filter(|s| every_subset || s.count_ones() == 1 || s.count_ones() == count as u32)
        {
            all.push(self.chosen(subset).map(Change::Reseat).collect());
        }
    }

    fn chosen(&self, subset: u32) -> impl Iterator<Item = Place> + '_ {
        self.suspects.iter().enumerate().filter(move |(n, _)| subset >> n & 1 == 1).map(|(_, s)| *s)
    }

    /// One clean partner in the same channel, the same socket, another socket; filled places and empty ones apart.
    fn partners(&self, place: Place) -> Vec<Change> {
        let layout = &self.model.layout;
        let channel = layout.channel_of(place);
        let socket = layout.socket_of(channel);
        let ring = |p: Place| {
            let c = layout.channel_of(p);
            if c == channel {
                0
            } else if layout.socket_of(c) == socket {
                1
            } else {
                2
            }
        };
        let mut found = Vec::new();
        let mut seen = [[false; 2]; 3];
        for p in &self.clean {
            let empty = usize::from(self.belief.board.at(*p).is_none());
            if seen[ring(*p)][empty] {
                continue;
            }
            if let Some(change) = self.exchange(place, *p) {
                seen[ring(*p)][empty] = true;
                found.push(change);
            }
        }
        found
    }

    fn swaps(&self, all: &mut Vec<Action>, every_subset: bool) {
        for (n, a) in self.suspects.iter().enumerate() {
            let others: Vec<Place> = self.suspects.iter().copied().filter(|o| o != a).collect();
            for change in self.partners(*a) {
                // One goes elsewhere, any of the others are reseated with it.
                let every = (1u32 << others.len()) - 1;
                for subset in subsets(others.len(), 0).filter(|s| every_subset || *s == 0 || *s == every) {
                    let rest = others.iter().enumerate().filter(|(n, _)| subset >> n & 1 == 1);
                    all.push(std::iter::once(change).chain(rest.map(|(_, o)| Change::Reseat(*o))).collect());
                }
            }
            for b in &self.suspects[n + 1..] {
                all.extend(self.exchange(*a, *b).map(|change| vec![change]));
            }
        }
    }

    /// Several suspects at once, each to a clean unit of its own: from the near end and from the far end.
    fn scatters(&self, all: &mut Vec<Action>) {
        let layout = &self.model.layout;
        for subset in subsets(self.suspects.len(), 2) {
            for far in [false, true] {
                let mut used: Vec<u16> = Vec::new();
                let mut action = Action::new();
                for s in self.chosen(subset) {
                    let mut order = self.clean.clone();
                    if far {
                        let socket = |p: Place| layout.socket_of(layout.channel_of(p));
                        order.sort_by_key(|p| {
                            (layout.channel_of(*p) == layout.channel_of(s), socket(*p) == socket(s), *p)
                        });
                    }
                    let free = order.into_iter().filter(|p| !used.contains(&self.unit(*p)));
                    let Some((to, change)) = free.filter_map(|p| Some((p, self.exchange(s, p)?))).next() else { break };
                    used.push(self.unit(to));
                    action.push(change);
                }
                if action.len() == subset.count_ones() as usize {
                    all.push(action);
                }
            }
        }
    }

    /// A module into an empty suspect place: one from near by, one from each ring of clean places, a spare.
    fn fills(&self, all: &mut Vec<Action>) {
        let layout = &self.model.layout;
        for to in empty_suspects(layout, self.belief).into_iter().filter(|p| !self.means.untouchable.contains(p)) {
            let channel = layout.channel_of(to);
            let ring = |p: Place| match layout.channel_of(p) {
                c if c == channel => 0,
                c if layout.socket_of(c) == layout.socket_of(channel) => 1,
                _ => 2,
            };
            let mut seen = [[false; 2]; 3];
            // Every filled place is a source: a suspect module, and one that is clean.
            for from in (0..layout.len() as Place).filter(|p| !self.means.untouchable.contains(p)) {
                let suspect = usize::from(self.suspects.contains(&from));
                if self.belief.board.at(from).is_some() && !std::mem::replace(&mut seen[ring(from)][suspect], true) {
                    all.push(vec![Change::Move(from, to)]);
                }
            }
            let outside = |spare: &&Piece| self.belief.board.spots.get(usize::from(**spare)) == Some(&NOWHERE);
            if let Some(spare) = self.means.spares.iter().find(outside) {
                all.push(vec![Change::Fit(to, *spare)]);
            }
        }
    }

    /// A spare in the place of a suspect, the suspect out of the machine or in an empty place.
    fn spares(&self, all: &mut Vec<Action>) {
        for s in &self.suspects {
            let Some(piece) = self.belief.board.at(*s) else { continue };
            let fits = |spare: &&Piece| {
                self.belief.board.spots.get(usize::from(**spare)) == Some(&NOWHERE)
                    && self.means.interchange(piece, **spare)
            };
            if let Some(spare) = self.means.spares.iter().find(fits) {
                all.push(vec![Change::Fit(*s, *spare)]);
            }
        }
    }
}

fn subsets(of: usize, at_least: u32) -> impl Iterator<Item = u32> {
    (0u32..1 << of).filter(move |subset| subset.count_ones() >= at_least)
}
