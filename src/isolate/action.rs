//! What a technician changes between two boots.

use super::layout::{NOWHERE, Piece, Place};

/// One change. Every place that ends up with a module taken out and put in, or brought in, is one insertion.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Change {
    /// Out and back into the same place.
    Reseat(Place),
    /// Two modules exchange places.
    Swap(Place, Place),
    /// Into an empty place.
    Move(Place, Place),
    /// Out, and left out.
    Remove(Place),
    /// A module from outside the board into a place, empty or not; what was there comes out.
    Fit(Place, Piece),
    /// The firmware's settings are cleared.
    ClearSettings,
}

/// All changes between two boots. None: boot again untouched.
pub type Action = Vec<Change>;

/// Which module is where.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Arrangement {
    /// By place; [`NOWHERE`] is an empty place.
    pub fitted: Vec<Piece>,
    /// By module; [`NOWHERE`] is not on the board.
    pub spots: Vec<Place>,
}

impl Arrangement {
    /// Modules by place, with `pieces` modules known in all (spares too).
    pub fn new(fitted: Vec<Piece>, pieces: usize) -> Self {
        let mut spots = vec![NOWHERE; pieces];
        for (place, piece) in fitted.iter().enumerate() {
            if let Some(spot) = spots.get_mut(usize::from(*piece)) {
                *spot = place as Place;
            }
        }
        Self { fitted, spots }
    }

    /// A board with every place filled, module `n` in place `n`.
    pub fn full(places: usize) -> Self {
        Self::new((0..places as Piece).collect(), places)
    }

    /// The module in a place.
    pub fn at(&self, place: Place) -> Option<Piece> {
        self.fitted.get(usize::from(place)).copied().filter(|p| *p != NOWHERE)
    }

    fn put(&mut self, place: Place, piece: Piece) {
        if let Some(slot) = self.fitted.get_mut(usize::from(place)) {
            *slot = piece;
        }
        if let Some(spot) = self.spots.get_mut(usize::from(piece)) {
            *spot = place;
        }
    }

    fn clear(&mut self, place: Place) {
        if let Some(piece) = self.at(place) {
            self.put(place, NOWHERE);
            if let Some(spot) = self.spots.get_mut(usize::from(piece)) {
                *spot = NOWHERE;
            }
        }
    }

    /// Carries out one change and calls `inserted` for every place that saw an insertion.
    pub fn apply(&mut self, change: Change, inserted: &mut impl FnMut(Place)) {
        match change {
            Change::Reseat(place) => {
                if self.at(place).is_some() {
                    inserted(place);
                }
            }
            Change::Swap(a, b) | Change::Move(a, b) => {
                let (in_a, in_b) = (self.at(a).unwrap_or(NOWHERE), self.at(b).unwrap_or(NOWHERE));
                self.put(a, in_b);
                self.put(b, in_a);
                for (place, piece) in [(a, in_b), (b, in_a)] {
                    if piece != NOWHERE {
                        inserted(place);
                    }
                }
            }
            Change::Remove(place) => self.clear(place),
            Change::Fit(place, piece) => {
                self.clear(place);
                self.put(place, piece);
                inserted(place);
            }
            Change::ClearSettings => {}
        }
    }
}

/// The places whose modules are handled.
pub fn handled(action: &[Change]) -> impl Iterator<Item = Place> + '_ {
    action.iter().flat_map(|change| {
        let (a, b) = match *change {
            Change::Reseat(p) | Change::Remove(p) | Change::Fit(p, _) => (Some(p), None),
            Change::Swap(a, b) | Change::Move(a, b) => (Some(a), Some(b)),
            Change::ClearSettings => (None, None),
        };
        a.into_iter().chain(b)
    })
}

/// How many insertions the changes are.
pub fn insertions(action: &[Change]) -> usize {
    action
        .iter()
        .map(|change| match change {
            Change::Swap(..) => 2,
            Change::Reseat(_) | Change::Move(..) | Change::Fit(..) => 1,
            Change::Remove(_) | Change::ClearSettings => 0,
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_swap_is_two_insertions_and_a_move_is_one() {
        let mut board = Arrangement::new(vec![0, 1, NOWHERE], 3);
        let mut touched = Vec::new();
        board.apply(Change::Swap(0, 1), &mut |p| touched.push(p));
        board.apply(Change::Move(0, 2), &mut |p| touched.push(p));
        assert_eq!((board.fitted.clone(), touched), (vec![NOWHERE, 0, 1], vec![0, 1, 2]));
        board.apply(Change::Fit(1, 2), &mut |_| {});
        assert_eq!((board.at(1), board.spots[0]), (Some(2), NOWHERE));
        assert_eq!(insertions(&[Change::Swap(0, 1), Change::Remove(1), Change::Reseat(0)]), 3);
    }
}
