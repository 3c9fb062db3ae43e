//! The population rules that hold during trials too: a channel is filled in the order of its positions, a channel holds one
//! kind of module, a socket without a processor holds none, and a socket with one holds a number of modules that the board
//! allows, in channels of equal depth where it asks for that. A machine that breaks one of these may stay dark for it.
//!
//! Sockets that must match are not held to it: a trial is to tell them apart, and what differs costs speed, not the start.
//! A channel or socket that broke a rule before the trial may stay as it is; a trial that changes it has to leave it in order.

use std::sync::Arc;

use super::action::{Action, Arrangement, Change, handled};
use super::layout::{Layout, NOWHERE, Piece, Place};
use crate::board::Board;

/// What the board asks of every arrangement. Without a board nothing is asked.
#[derive(Debug, Clone, Default)]
pub struct House {
    /// By place: its position in its channel, 1 is filled first. Empty when not known.
    position: Arc<Vec<u8>>,
    /// By module: equal numbers are one kind. Empty when not known.
    kind: Arc<Vec<u16>>,
    /// By socket: whether it goes without a processor. Empty when all have one.
    bare: Arc<Vec<bool>>,
    /// How many modules a socket may hold. Empty when not known.
    counts: Arc<Vec<u32>>,
    /// Whether the channels in use on a socket hold equally many modules.
    same_depth: bool,
}

impl House {
    /// The rules of a board file, for modules not known yet and all processors fitted.
    pub fn of(board: &Board) -> Self {
        Self {
            position: Arc::new(board.slots().map(|s| s.slot.position).collect()),
            counts: Arc::new(board.limits.counts_per_socket.clone()),
            same_depth: board.limits.same_depth == Some(true),
            ..Self::default()
        }
    }

    /// States the kind of each module by a number.
    pub fn kinds(&mut self, kind: Vec<u16>) {
        self.kind = Arc::new(kind);
    }

    /// States which sockets go without a processor.
    pub fn bare(&mut self, bare: Vec<bool>) {
        self.bare = Arc::new(bare);
    }

    fn same_kind(&self, a: Piece, b: Piece) -> bool {
        self.kind.get(usize::from(a)) == self.kind.get(usize::from(b))
    }

    /// Whether a channel as fitted keeps the rules.
    pub fn channel_holds(&self, layout: &Layout, board: &Arrangement, channel: u16) -> bool {
        let places = layout.places(channel);
        let first = places.iter().find_map(|p| board.at(*p));
        let Some(first) = first else { return true };
        if self.bare.get(usize::from(layout.socket_of(channel))) == Some(&true) {
            return false;
        }
        let position = |p: Place| self.position.get(usize::from(p)).copied().unwrap_or(0);
        places.iter().all(|p| match board.at(*p) {
            Some(piece) => self.same_kind(piece, first),
            // Nothing stands behind an empty slot.
            None => !places.iter().any(|o| board.at(*o).is_some() && position(*o) > position(*p)),
        })
    }

    /// Modules by channel of a socket.
    fn depths(layout: &Layout, board: &Arrangement, socket: u16) -> Vec<usize> {
        let depth = |c: &u16| layout.places(*c).iter().filter(|p| board.at(**p).is_some()).count();
        layout.channels(socket).iter().map(depth).collect()
    }

    /// Whether a socket as fitted keeps the rules that are its own.
    fn socket_holds(&self, layout: &Layout, board: &Arrangement, socket: u16) -> bool {
        if self.bare.get(usize::from(socket)) == Some(&true) {
            return true;
        }
        let depths = Self::depths(layout, board, socket);
        let count = depths.iter().sum::<usize>() as u32;
        let mut used = depths.iter().filter(|d| **d > 0);
        let first = used.next();
        (self.counts.is_empty() || self.counts.contains(&count)) && (!self.same_depth || used.all(|d| Some(d) == first))
    }

    /// Whether every channel and every socket that the action changes is in order after it.
    pub fn allows(&self, layout: &Layout, before: &Arrangement, action: &Action) -> bool {
        if action.iter().all(|change| matches!(change, Change::Reseat(_) | Change::ClearSettings)) {
            return true;
        }
        let mut after = before.clone();
        action.iter().for_each(|change| after.apply(*change, &mut |_| {}));
        let mut channels: Vec<u16> = handled(action).map(|place| layout.channel_of(place)).collect();
        channels.extend(
            action
                .iter()
                .filter_map(|change| match change {
                    // Where it came from, if it was on the board.
                    Change::Fit(_, piece) => before.spots.get(usize::from(*piece)).filter(|p| **p != NOWHERE),
                    _ => None,
                })
                .map(|place| layout.channel_of(*place)),
        );
        let mut sockets: Vec<u16> = channels.iter().map(|c| layout.socket_of(*c)).collect();
        sockets.dedup();
        channels.into_iter().all(|channel| {
            let same = layout.places(channel).iter().all(|p| before.at(*p) == after.at(*p));
            same || self.channel_holds(layout, &after, channel)
        }) && sockets.into_iter().all(|socket| {
            Self::depths(layout, before, socket) == Self::depths(layout, &after, socket)
                || self.socket_holds(layout, &after, socket)
        })
    }

    /// The set as near to what is wanted as the rules let it be: gaps below a module are closed with the modules that belong
    /// there, where these are free; otherwise what stands behind the gap is left out. Empty where no set near it keeps them.
    pub fn mended(&self, layout: &Layout, set: &[(Place, Piece)], home: &[(Place, Piece)]) -> Vec<(Place, Piece)> {
        if self.position.is_empty() && self.bare.is_empty() && self.counts.is_empty() {
            return set.to_vec();
        }
        let pieces = home.iter().chain(set).map(|(_, m)| usize::from(*m) + 1).max().unwrap_or(0);
        let mut fitted = vec![NOWHERE; layout.len()];
        for (place, piece) in set {
            fitted[usize::from(*place)] = *piece;
        }
        let mut board = Arrangement::new(fitted, pieces);
        let mut at_home = vec![NOWHERE; layout.len()];
        home.iter().for_each(|(place, piece)| at_home[usize::from(*place)] = *piece);
        for channel in 0..layout.channel_count() as u16 {
            let mut places = layout.places(channel).to_vec();
            places.sort_by_key(|p| self.position.get(usize::from(*p)).copied());
            let Some(last) = places.iter().rposition(|p| board.at(*p).is_some()) else { continue };
            let mut gap = false;
            for place in &places[..=last] {
                let own = at_home[usize::from(*place)];
                let is_free = board.spots.get(usize::from(own)) == Some(&NOWHERE);
                match own {
                    _ if gap => board.apply(Change::Remove(*place), &mut |_| {}),
                    own if is_free && board.at(*place).is_none() => {
                        board.apply(Change::Fit(*place, own), &mut |_| {});
                    }
                    _ => gap = board.at(*place).is_none(),
                }
            }
        }
        for channel in 0..layout.channel_count() as u16 {
            if !self.channel_holds(layout, &board, channel) {
                layout.places(channel).iter().for_each(|place| board.apply(Change::Remove(*place), &mut |_| {}));
            }
        }
        let home = Arrangement::new(at_home, pieces);
        if !(0..layout.socket_count() as u16).all(|socket| self.counted(layout, &mut board, &home, socket)) {
            return Vec::new();
        }
        (0..layout.len() as Place).filter_map(|p| Some((p, board.at(p)?))).collect()
    }

    /// Brings a socket to the nearest number of modules it may hold, with modules that belong there and are free, or by
    /// leaving out what was filled last; `false` where that cannot be.
    fn counted(&self, layout: &Layout, board: &mut Arrangement, home: &Arrangement, socket: u16) -> bool {
        if self.counts.is_empty() && !self.same_depth {
            return true;
        }
        // As it was at first it may stay.
        let keeps = |board: &Arrangement| {
            self.socket_holds(layout, board, socket)
                || Self::depths(layout, board, socket) == Self::depths(layout, home, socket)
        };
        if keeps(board) {
            return true;
        }
        let most = layout.channels(socket).iter().map(|c| layout.places(*c).len()).sum();
        for by in 1..=most {
            for adds in [false, true] {
                let mut tried = board.clone();
                let changes = (0..by).all(|_| self.stepped(layout, &mut tried, home, socket, adds));
                if changes && keeps(&tried) {
                    *board = tried;
                    return true;
                }
            }
        }
        false
    }

    /// One module more in the shallowest channel, or one less in the deepest, such that the channel keeps its rules.
    fn stepped(&self, layout: &Layout, board: &mut Arrangement, home: &Arrangement, socket: u16, adds: bool) -> bool {
        let depths = Self::depths(layout, board, socket);
        let mut order: Vec<usize> = (0..depths.len()).collect();
        // Of equal ones the first is filled and the last is emptied.
        order.sort_by_key(|n| if adds { (depths[*n], *n) } else { (usize::MAX - depths[*n], depths.len() - n) });
        for channel in order.into_iter().map(|n| layout.channels(socket)[n]) {
            for place in layout.places(channel) {
                let change = match (adds, board.at(*place), home.at(*place)) {
                    (true, None, Some(own)) if board.spots.get(usize::from(own)) == Some(&NOWHERE) => {
                        Change::Fit(*place, own)
                    }
                    (false, Some(_), _) => Change::Remove(*place),
                    _ => continue,
                };
                let mut after = board.clone();
                after.apply(change, &mut |_| {});
                if self.channel_holds(layout, &after, channel) {
                    *board = after;
                    return true;
                }
            }
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two_by_two() -> (House, Layout) {
        let house = House { position: Arc::new(vec![1, 2, 1, 2]), ..House::default() };
        (house, Layout::grid(1, 2, 2))
    }

    #[test]
    fn nothing_stands_behind_an_empty_slot() {
        let (house, layout) = two_by_two();
        let full = Arrangement::full(4);
        assert!(house.allows(&layout, &full, &vec![Change::Remove(1)]));
        assert!(!house.allows(&layout, &full, &vec![Change::Remove(0)]));
        assert!(house.allows(&layout, &full, &vec![Change::Remove(0), Change::Remove(1)]));
        // The order of the board file is not the order of filling.
        let far_first = House { position: Arc::new(vec![2, 1, 2, 1]), ..House::default() };
        assert!(far_first.allows(&layout, &full, &vec![Change::Remove(0)]));
        assert!(!far_first.allows(&layout, &full, &vec![Change::Remove(1)]));
    }

    #[test]
    fn kinds_do_not_mix_in_a_channel_and_a_bare_socket_takes_none() {
        let (mut house, layout) = two_by_two();
        house.kinds(vec![0, 0, 1, 1]);
        let full = Arrangement::full(4);
        assert!(!house.allows(&layout, &full, &vec![Change::Swap(0, 2)]));
        assert!(house.allows(&layout, &full, &vec![Change::Swap(0, 2), Change::Swap(1, 3)]));
        let (mut house, layout) = (two_by_two().0, Layout::grid(2, 1, 2));
        house.bare(vec![false, true]);
        let half = Arrangement::new(vec![0, NOWHERE, NOWHERE, NOWHERE], 1);
        assert!(!house.allows(&layout, &half, &vec![Change::Move(0, 2)]));
    }

    #[test]
    fn a_socket_holds_a_number_of_modules_that_the_board_allows() {
        let layout = Layout::grid(2, 2, 2);
        let position = Arc::new(vec![1, 2, 1, 2, 1, 2, 1, 2]);
        let house = House { position, counts: Arc::new(vec![1, 2, 4]), ..House::default() };
        let full = Arrangement::full(8);
        assert!(!house.allows(&layout, &full, &vec![Change::Remove(3)]), "three are not allowed");
        assert!(house.allows(&layout, &full, &vec![Change::Remove(3), Change::Remove(1)]));
        let empties: Action = (4..8).map(Change::Remove).collect();
        assert!(!house.allows(&layout, &full, &empties), "no processor goes without");
        assert!(house.allows(&layout, &full, &vec![Change::Swap(3, 7)]));
        let home: Vec<(Place, Piece)> = (0..8).map(|n| (n, n)).collect();
        // Three become two; none become one.
        let mended = house.mended(&layout, &[(0, 0), (1, 1), (2, 2)], &home);
        assert_eq!(mended, [(0, 0), (2, 2), (4, 4)]);
        // What belongs there is elsewhere, so nothing near it keeps the rule.
        assert!(house.mended(&layout, &[(0, 4), (1, 5), (2, 6), (3, 7)], &home).is_empty());
        let may = House { counts: Arc::new(vec![0, 1, 2, 4]), ..house.clone() };
        assert_eq!(may.mended(&layout, &[(0, 0), (1, 1)], &home), [(0, 0), (1, 1)]);
        // A machine that was filled against the rule is not brought to it by a trial that leaves the socket alone.
        let three = [(0, 0), (1, 1), (2, 2), (4, 4)];
        assert_eq!(house.mended(&layout, &three, &three), three);
    }

    #[test]
    fn channels_in_use_are_equally_deep_where_the_board_asks_for_it() {
        let layout = Layout::grid(1, 2, 2);
        let house = House { same_depth: true, ..two_by_two().0 };
        let full = Arrangement::full(4);
        assert!(!house.allows(&layout, &full, &vec![Change::Remove(3)]));
        assert!(house.allows(&layout, &full, &vec![Change::Remove(3), Change::Remove(1)]));
        let home = [(0, 0), (1, 1), (2, 2), (3, 3)];
        assert_eq!(house.mended(&layout, &[(0, 0), (1, 1), (2, 2)], &home), [(0, 0), (2, 2)]);
        assert_eq!(house.mended(&layout, &[(0, 0), (1, 1)], &home), [(0, 0), (1, 1)]);
    }

    #[test]
    fn a_set_with_a_gap_is_mended_from_below() {
        let (house, layout) = two_by_two();
        let home = [(0, 0), (1, 1), (2, 2), (3, 3)];
        assert_eq!(house.mended(&layout, &[(1, 1)], &home), [(0, 0), (1, 1)]);
        // Module 0 stands elsewhere, so the gap in front of place 1 cannot be closed.
        assert_eq!(house.mended(&layout, &[(1, 1), (2, 0)], &home), [(2, 0)]);
    }
}
