//! In which order the hands go: covers, removals, moves, and the slots to fill.
//!
//! # The order of slots
//! The technician stands at the bottom edge of the drawing (`at = [column, row]`, row 0 is farthest away). Of all orders of
//! the slots to fill, the one is taken that is least, compared in this order:
//!
//! 1. **Reaches**: how often a slot is filled while a nearer slot of its column was filled before it in this job, so that the
//!    hand goes over a module that stands already. Far before near in each column gives none.
//! 2. **Turns**: how often the key lies another way than at the slot before. Turning a module is the slip that bends
//!    contacts, so like goes with like. An unknown key counts as a direction of its own.
//! 3. **Travel**: the columns and rows the hand moves from slot to slot.
//!
//! Among equals, the slot that comes first on the board goes first. A board of which not all the slots to fill have a place
//! in the drawing is taken as one row in board order.
//!
//! Reaches and turns are least at any size ([`turns_least`] says why, for up to 50,000 states in the search; beyond that, which
//! takes more than two key directions, the turns are few rather than proven least). Travel is least where the search is small
//! enough to be done whole (see [`WHOLE`]); on larger boards the hand sweeps, see [`sweep`].
//!
//! # Around it
//! Covers in the way of any slot that is touched come off first, in the board's order, and go back last, in reverse. Removals
//! come before moves and moves before inserts, because each may free the slot the next one needs. Removals go near before
//! far, the fill order of the same slots reversed. See [`hops`] for moves.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use super::ExpandError;
use crate::board::{Board, Cover, SlotLabel};
use crate::plan::{Action, Plan};

/// The most states (progress in each column, times the column the hand is at) that are searched whole for least travel:
/// 12 columns of one slot, or 5 columns of 6.
const WHOLE: usize = 60_000;

/// The most states searched for the fewest turns.
const TURN_STATES: usize = 50_000;

/// What an order costs, compared field by field from the top.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Cost {
    /// Slots filled while a nearer slot of the same column was filled already.
    pub reaches: u32,
    /// Times the key lies another way than at the slot before.
    pub turns: u32,
    /// Columns and rows moved from slot to slot.
    pub travel: u32,
}

/// One slot to fill.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Place {
    index: usize,
    column: u16,
    row: u16,
    key: Option<String>,
}

fn places(board: &Board, slots: &[SlotLabel]) -> Vec<Place> {
    let found: Vec<_> =
        slots.iter().enumerate().filter_map(|(n, label)| board.slot(label.as_str()).map(|slot| (n, slot))).collect();
    let drawn = found.iter().all(|(_, slot)| slot.slot.at.is_some());
    found
        .into_iter()
        .map(|(n, slot)| {
            let [column, row] = match slot.slot.at {
                Some(at) if drawn => at,
                _ => [u16::try_from(slot.index).unwrap_or(u16::MAX), 0],
            };
            Place { index: n, column, row, key: slot.slot.key.clone() }
        })
        .collect()
}

fn step(a: &Place, b: &Place) -> (u32, u32) {
    let travel = u32::from(a.column.abs_diff(b.column)) + u32::from(a.row.abs_diff(b.row));
    (u32::from(a.key != b.key), travel)
}

/// What filling `order` in this order costs.
pub fn cost(board: &Board, order: &[SlotLabel]) -> Cost {
    let places = places(board, order);
    let mut cost = Cost::default();
    for (n, place) in places.iter().enumerate() {
        let over = places[..n].iter().any(|before| before.column == place.column && before.row > place.row);
        cost.reaches += u32::from(over);
        if let Some(before) = n.checked_sub(1).and_then(|n| places.get(n)) {
            let (turn, travel) = step(before, place);
            cost.turns += turn;
            cost.travel += travel;
        }
    }
    cost
}

/// The order in which to fill `slots`: see the [module](self). Labels the board does not have are left out.
pub fn fill_order(board: &Board, slots: &[SlotLabel]) -> Vec<SlotLabel> {
    // Board order first, so that the outcome does not hang on the order of the plan.
    let mut slots: Vec<SlotLabel> =
        slots.iter().filter(|label| board.slot(label.as_str()).is_some()).cloned().collect();
    slots.sort_by_key(|label| board.slot(label.as_str()).map(|slot| slot.index));
    slots.dedup();
    let columns = columns(places(board, &slots));
    let order = match states(&columns) {
        Some(states) if states.saturating_mul(columns.len()) <= WHOLE => least(&columns, states),
        _ => sweep(&columns),
    };
    order.into_iter().filter_map(|index| slots.get(index).cloned()).collect()
}

/// One column per group, its slots far to near.
fn columns(places: Vec<Place>) -> Vec<Vec<Place>> {
    let mut columns: BTreeMap<u16, Vec<Place>> = BTreeMap::new();
    for place in places {
        columns.entry(place.column).or_default().push(place);
    }
    for column in columns.values_mut() {
        column.sort_by_key(|place| (place.row, place.index));
    }
    columns.into_values().collect()
}

/// The number of ways to have filled each column from far to near up to some slot.
fn states(columns: &[Vec<Place>]) -> Option<usize> {
    columns.iter().try_fold(1usize, |product, column| product.checked_mul(column.len() + 1))
}

/// The least order with no reaches, by searching every state. A state is how far each column has been filled; what is left to
/// pay depends on it and on the last slot alone, so each is worked out once, fullest first.
fn least(columns: &[Vec<Place>], states: usize) -> Vec<usize> {
    let width = columns.len();
    if width == 0 {
        return Vec::new();
    }
    let mut weight = vec![1usize; width];
    for column in 1..width {
        weight[column] = weight[column - 1] * (columns[column - 1].len() + 1);
    }
    let filled = |state: usize, column: usize| state / weight[column] % (columns[column].len() + 1);
    let mut to_pay = vec![(u32::MAX, u32::MAX); states * width];
    // The next slot to take after `last`, and the cost from there on; ties go to the slot that comes first on the board.
    let next = |to_pay: &[(u32, u32)], state: usize, last: Option<&Place>| {
        (0..width)
            .filter_map(|column| {
                let place = columns[column].get(filled(state, column))?;
                let (turn, travel) = last.map_or((0, 0), |last| step(last, place));
                let (turns, travels) = to_pay[(state + weight[column]) * width + column];
                Some(((turns + turn, travels + travel), place.index, column))
            })
            .min()
    };
    for state in (1..states).rev() {
        for column in 0..width {
            let Some(last) = filled(state, column).checked_sub(1).and_then(|n| columns[column].get(n)) else {
                continue;
            };
            let cost = next(&to_pay, state, Some(last)).map_or((0, 0), |(cost, _, _)| cost);
            to_pay[state * width + column] = cost;
        }
    }
    let (mut state, mut last, mut order) = (0, None, Vec::new());
    while let Some((_, index, column)) = next(&to_pay, state, last) {
        last = columns[column].get(filled(state, column));
        state += weight[column];
        order.push(index);
    }
    order
}

/// No reaches, least turns, and within each direction of the key the least travel of four ways to sweep: along the rows from
/// far to near, or along the columns, each begun at either end and turning at every end.
fn sweep(columns: &[Vec<Place>]) -> Vec<usize> {
    let keys: Vec<Vec<&Option<String>>> =
        columns.iter().map(|column| column.iter().map(|p| &p.key).collect()).collect();
    let mut at = vec![0; columns.len()];
    let mut hand: Option<&Place> = None;
    let mut order = Vec::new();
    for key in turns_least(&keys) {
        // What can be filled now: in each column, all up to the first of another key. Any order far before near will do.
        let mut ready: Vec<&Place> = Vec::new();
        for (column, at) in columns.iter().zip(&mut at) {
            let run: Vec<&Place> = column.iter().skip(*at).take_while(|place| place.key == *key).collect();
            *at += run.len();
            ready.extend(run);
        }
        let ways = [
            there_and_back(&ready, |place| place.row, |place| place.column, false),
            there_and_back(&ready, |place| place.row, |place| place.column, true),
            columns_there_and_back(&ready, false),
            columns_there_and_back(&ready, true),
        ];
        let travel = |way: &[&Place]| -> u32 {
            let first = hand.zip(way.first().copied()).map_or(0, |(hand, first)| step(hand, first).1);
            first + way.windows(2).map(|pair| step(pair[0], pair[1]).1).sum::<u32>()
        };
        let Some(way) = ways.into_iter().min_by_key(|way| travel(way)) else { continue };
        hand = way.last().copied().or(hand);
        order.extend(way.iter().map(|place| place.index));
    }
    order
}

/// Line after line, each run along in the other sense than the one before.
fn there_and_back<'a>(
    places: &[&'a Place],
    line: impl Fn(&Place) -> u16,
    along: impl Fn(&Place) -> u16,
    backwards: bool,
) -> Vec<&'a Place> {
    let mut lines: BTreeMap<u16, Vec<&'a Place>> = BTreeMap::new();
    for place in places {
        lines.entry(line(place)).or_default().push(place);
    }
    let mut back = backwards;
    let mut way = Vec::new();
    for (_, mut places) in lines {
        places.sort_by_key(|place| (along(place), place.index));
        if back {
            places.reverse();
        }
        back = !back;
        way.extend(places);
    }
    way
}

/// Column after column from either side. Within a column there is no way back: far comes before near.
fn columns_there_and_back<'a>(places: &[&'a Place], backwards: bool) -> Vec<&'a Place> {
    let side = |place: &Place| if backwards { u16::MAX - place.column } else { place.column };
    let mut way = places.to_vec();
    way.sort_by_key(|place| (side(place), place.row, place.index));
    way
}

/// A state of the search: how far each series is, the state it was reached from, and the key that led to it.
type Reached<'k> = (Vec<usize>, usize, Option<&'k Option<String>>);

/// The shortest series of key directions in which all columns can be filled far to near.
///
/// Within one direction it never harms to fill every slot that can be: what is filled now is not waited for later. So only the
/// series matters, it is a shortest common supersequence of the columns' series, and a search in breadth finds one. Columns
/// with the same series move together, so there are few states: with two directions, a handful.
fn turns_least<'k>(columns: &[Vec<&'k Option<String>>]) -> Vec<&'k Option<String>> {
    let mut series: Vec<Vec<&'k Option<String>>> = columns.to_vec();
    for one in &mut series {
        one.dedup();
    }
    series.sort();
    series.dedup();
    let keys: BTreeSet<&'k Option<String>> = series.iter().flatten().copied().collect();
    let advance = |at: &[usize], key: &Option<String>| -> Vec<usize> {
        at.iter().zip(&series).map(|(n, one)| n + usize::from(one.get(*n).is_some_and(|k| *k == key))).collect()
    };
    let done = |at: &[usize]| at.iter().zip(&series).all(|(n, one)| *n == one.len());
    let start = vec![0; series.len()];
    let mut reached: Vec<Reached<'k>> = vec![(start.clone(), 0, None)];
    let mut seen: HashSet<Vec<usize>> = HashSet::from([start]);
    let mut next = 0;
    while next < reached.len() && reached.len() < TURN_STATES {
        let at = reached[next].0.clone();
        if done(&at) {
            return path(&reached, next);
        }
        for key in &keys {
            let to = advance(&at, key);
            if to != at && seen.insert(to.clone()) {
                reached.push((to, next, Some(key)));
            }
        }
        next += 1;
    }
    // Too many to search: always the direction that most columns wait for.
    let mut at = vec![0; series.len()];
    let mut order = Vec::new();
    while !done(&at) {
        let waiting = |key: &Option<String>| advance(&at, key).iter().sum::<usize>();
        let Some(key) = keys.iter().copied().max_by_key(|key| waiting(key)) else { break };
        at = advance(&at, key);
        order.push(key);
    }
    order
}

fn path<'k>(reached: &[Reached<'k>], mut at: usize) -> Vec<&'k Option<String>> {
    let mut keys = Vec::new();
    while let Some((_, before, Some(key))) = reached.get(at) {
        keys.push(*key);
        at = *before;
    }
    keys.reverse();
    keys
}

/// One carry of a moved module.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Hop {
    /// From slot to slot.
    Across { from: SlotLabel, to: SlotLabel },
    /// Out of its slot into the tray, because modules wait for each other's slots in a ring.
    ToTray { from: SlotLabel, to: SlotLabel },
    /// Out of the tray into its slot.
    FromTray { from: SlotLabel, to: SlotLabel },
}

impl Hop {
    /// The slot the module stood in and the slot it goes to.
    pub fn ends(&self) -> (&SlotLabel, &SlotLabel) {
        match self {
            Self::Across { from, to } | Self::ToTray { from, to } | Self::FromTray { from, to } => (from, to),
        }
    }
}

/// The moves in an order in which every slot is free when its module comes. A ring of moves is opened by carrying one module
/// to the tray; each ring needs the tray once, which is the least.
///
/// # Errors
/// When a move has no or an impossible beginning, or its slot is not free by the plan.
pub fn hops(plan: &Plan) -> Result<Vec<Hop>, ExpandError> {
    let mut waiting: Vec<(SlotLabel, SlotLabel)> = Vec::new();
    for slot in plan.slot.iter().filter(|slot| slot.action == Action::Move) {
        let Some(from) = slot.from.clone().filter(|from| *from != slot.slot) else {
            return Err(ExpandError::MoveFromNowhere { slot: slot.slot.clone() });
        };
        // Two modules out of one slot, or two into one, are a plan nobody can carry out.
        if waiting.iter().any(|(other, _)| *other == from) {
            return Err(ExpandError::TakenTwice { slot: from });
        }
        if waiting.iter().any(|(_, other)| *other == slot.slot) {
            return Err(ExpandError::Occupied { slot: slot.slot.clone() });
        }
        waiting.push((from, slot.slot.clone()));
    }
    let mut hops = Vec::new();
    let mut tray: Vec<(SlotLabel, SlotLabel)> = Vec::new();
    while !waiting.is_empty() || !tray.is_empty() {
        let free = |to: &SlotLabel| !waiting.iter().any(|(from, _)| from == to);
        if let Some(n) = tray.iter().position(|(_, to)| free(to)) {
            let (from, to) = tray.remove(n);
            hops.push(Hop::FromTray { from, to });
        } else if let Some(n) = waiting.iter().position(|(_, to)| free(to)) {
            let (from, to) = waiting.remove(n);
            hops.push(Hop::Across { from, to });
        } else {
            let (from, to) = waiting.remove(0);
            hops.push(Hop::ToTray { from: from.clone(), to: to.clone() });
            tray.push((from, to));
        }
    }
    Ok(hops)
}

/// The covers in the way of any slot the plan touches and of the slots in `besides`, in the order they come off.
pub fn covers<'a>(plan: &'a Plan, besides: &[SlotLabel]) -> Vec<&'a Cover> {
    let touched: BTreeSet<&str> = plan
        .slot
        .iter()
        .filter(|slot| slot.action != Action::Keep)
        .flat_map(|slot| std::iter::once(&slot.slot).chain(&slot.from))
        .chain(plan.remove.iter().map(|removal| &removal.slot))
        .chain(besides)
        .map(SlotLabel::as_str)
        .collect();
    let in_the_way = |cover: &&Cover| {
        plan.board.slots().any(|slot| touched.contains(slot.slot.label.as_str()) && cover.blocks(slot))
    };
    plan.board.cover.iter().filter(in_the_way).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn turns(columns: &[Vec<Place>], order: &[usize]) -> u32 {
        let place = |index: usize| columns.iter().flatten().find(|place| place.index == index).unwrap();
        order.windows(2).map(|pair| step(place(pair[0]), place(pair[1])).0).sum()
    }

    /// Columns of these keys, far to near.
    fn made(keys: &[Vec<u8>]) -> Vec<Vec<Place>> {
        let mut index = 0;
        let mut place = |column: usize, row: usize, key: u8| {
            index += 1;
            Place { index, column: column as u16, row: row as u16, key: Some(key.to_string()) }
        };
        keys.iter()
            .enumerate()
            .map(|(c, keys)| keys.iter().enumerate().map(|(r, key)| place(c, r, *key)).collect())
            .collect()
    }

    proptest! {
        /// The sweep for large boards has no reaches and as few turns as the whole search; both take every slot once.
        #[test]
        fn the_sweep_turns_as_seldom_as_the_whole_search(
            keys in proptest::collection::vec(proptest::collection::vec(0_u8..3, 1..4), 1..6)
        ) {
            let columns = made(&keys);
            let count = states(&columns).unwrap();
            let (whole, sweep) = (least(&columns, count), sweep(&columns));
            for order in [&whole, &sweep] {
                prop_assert_eq!(order.iter().collect::<BTreeSet<_>>().len(), columns.iter().flatten().count());
                for column in &columns {
                    let at: Vec<_> =
                        column.iter().map(|place| order.iter().position(|index| *index == place.index)).collect();
                    prop_assert!(at.is_sorted());
                }
            }
            prop_assert_eq!(turns(&columns, &whole), turns(&columns, &sweep));
        }
    }

    /// With two directions the least is known: the longest series of a column, one more if a column begins the other way.
    #[test]
    fn two_directions_need_no_more_turns_than_the_longest_column() {
        let columns = made(&[vec![0, 1, 0], vec![1], vec![0, 0, 0], vec![1, 1]]);
        assert_eq!(turns(&columns, &sweep(&columns)), 2);
        let wide = made(&(0..40).map(|column| vec![column % 2, 1 - column % 2]).collect::<Vec<_>>());
        assert_eq!(turns(&wide, &sweep(&wide)), 2);
    }
}
