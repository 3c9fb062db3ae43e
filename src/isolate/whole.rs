//! Trials for a machine that does not post: what to leave in, what to leave out.
//!
//! Leaving a module out costs no insertion, so the sets to boot with are cut from what is fitted; only what has been out
//! and is wanted again is put back.

use std::collections::HashSet;

use super::action::{Action, Change};
use super::belief::Belief;
use super::candidates::Means;
use super::fault::Fault;
use super::layout::{Layout, NOWHERE, Piece, Place};

/// Changes worth considering when the only report is "posts" or "does not post". `home` is where each module belongs.
pub fn sets(layout: &Layout, belief: &Belief, home: &[(Place, Piece)], means: &Means) -> Vec<Action> {
    let (mut of_place, mut of_piece) = (vec![0.0; layout.len()], vec![0.0; belief.board.spots.len()]);
    for h in &belief.hypotheses {
        for fault in h.cause.faults() {
            match fault {
                Fault::Seat(p) | Fault::Slot(p) | Fault::Setting(p) => add(&mut of_place, p, h.weight),
                Fault::Module(m) => add(&mut of_piece, m, h.weight),
                _ => {}
            }
        }
    }
    let weight = |p: Place, m: Piece| {
        of_place.get(usize::from(p)).copied().unwrap_or(0.0) + of_piece.get(usize::from(m)).copied().unwrap_or(0.0)
    };
    let mut pairs: Vec<(f64, Place, Piece)> = home.iter().map(|(p, m)| (weight(*p, *m), *p, *m)).collect();
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut wanted: Vec<Vec<(Place, Piece)>> = vec![home.to_vec()];
    let whole = |keep: &dyn Fn(Place) -> bool| home.iter().copied().filter(|(p, _)| keep(*p)).collect::<Vec<_>>();
    for socket in 0..layout.socket_count() as u16 {
        let on = |p: Place| layout.socket_of(layout.channel_of(p)) == socket;
        wanted.push(whole(&on));
        wanted.push(whole(&|p| !on(p)));
    }
    // On a large board single channels say little; cuts through the row of channels do.
    let stride = layout.channel_count().div_ceil(24).max(1);
    for channel in (0..layout.channel_count() as u16).step_by(stride) {
        let on = |p: Place| layout.channel_of(p) == channel;
        wanted.push(whole(&on));
        wanted.push(whole(&|p| !on(p)));
        wanted.push(whole(&|p| layout.channel_of(p) <= channel));
        let depth = layout.places(channel).len();
        wanted.push(whole(&|p| {
            layout.channel_of(p) <= channel && depth > 1 && layout.places(channel).first() != Some(&p)
        }));
    }
    // The heaviest pairs alone, and all but them, at every size; then every second of the heavy ones.
    let sizes = if pairs.len() <= 48 {
        (1..pairs.len()).collect()
    } else {
        vec![1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128]
    };
    for size in sizes.into_iter().filter(|size| *size < pairs.len()) {
        wanted.push(pairs[..size].iter().map(|p| (p.1, p.2)).collect());
        wanted.push(pairs[size..].iter().map(|p| (p.1, p.2)).collect());
    }
    for skip in 0..2 {
        wanted.push(pairs.iter().skip(skip).step_by(2).map(|p| (p.1, p.2)).collect());
    }
    // Places of some with the modules of others: a boot that works clears both.
    for size in [2, 3, 4, 6, 8, 12, 16].into_iter().filter(|size| 2 * size <= pairs.len()) {
        let (some, others) = (&pairs[..size], &pairs[size..2 * size]);
        wanted.push(some.iter().zip(others).map(|(a, b)| (a.1, b.2)).collect());
        wanted.push(others.iter().zip(some).map(|(a, b)| (a.1, b.2)).collect());
        let every = |skip: usize| pairs[skip..].iter().step_by(2).take(size);
        wanted.push(every(0).zip(every(1)).map(|(a, b)| (a.1, b.2)).collect());
    }
    // The heaviest few alone in each other's place: tells the module from the place.
    let few: Vec<_> = pairs.iter().take(4).collect();
    let light = pairs.last();
    for a in &few {
        for b in few.iter().copied().chain(light).filter(|b| b.1 != a.1) {
            wanted.push(vec![(a.1, b.2)]);
            wanted.push(vec![(b.1, a.2)]);
        }
    }
    // All seated anew: what is out or elsewhere is put back. One change of that kind left out would spoil the others.
    let mut all: Vec<Action> = Vec::new();
    let mut anew = towards(belief, home);
    if anew.iter().all(|change| means.may(*change)) {
        let in_place = home.iter().filter(|(p, m)| belief.board.at(*p) == Some(*m));
        anew.extend(in_place.map(|(p, _)| Change::Reseat(*p)).filter(|change| means.may(*change)));
        all.push(anew);
    }
    allowed(layout, belief, home, means, wanted, all)
}

/// The fewest suspect: so many light places are tried for a suspect module, and so many light modules for a suspect place.
const LIGHT: usize = 3;

/// Weight below which no module and no place is put to the test for itself.
const POINTS: f64 = 1e-3;

/// How many sets [`near`] lists at most, about, for a board of so many places.
pub fn near_count(places: usize) -> usize {
    4 * places
}

/// Sets one change away from what an action leaves fitted: one module less, one more where it belongs, a channel less or
/// more, a suspect module in a place that nothing speaks against, and a good module in a suspect place.
pub fn near(
    layout: &Layout,
    belief: &Belief,
    home: &[(Place, Piece)],
    means: &Means,
    action: &[Change],
) -> Vec<Action> {
    // Seatings done anew are not a set: what they show would be lost with any of them left out.
    if action.iter().any(|change| matches!(change, Change::Reseat(_) | Change::ClearSettings)) {
        return Vec::new();
    }
    let mut after = belief.board.clone();
    action.iter().for_each(|change| after.apply(*change, &mut |_| {}));
    let base: Vec<(Place, Piece)> = (0..layout.len() as Place).filter_map(|p| Some((p, after.at(p)?))).collect();
    let without = |p: Place, m: Piece| base.iter().copied().filter(move |pair| pair.0 != p && pair.1 != m);
    let with = |p: Place, m: Piece| without(p, m).chain([(p, m)]).collect::<Vec<_>>();
    let mut wanted: Vec<Vec<(Place, Piece)>> = base.iter().map(|(p, m)| without(*p, *m).collect()).collect();
    wanted.extend(home.iter().filter(|(p, m)| after.at(*p) != Some(*m)).map(|(p, m)| with(*p, *m)));
    for channel in 0..layout.channel_count() as u16 {
        let on = |pair: &&(Place, Piece)| layout.channel_of(pair.0) == channel;
        let own: Vec<(Place, Piece)> = home.iter().filter(on).copied().collect();
        let off = base.iter().filter(|pair| !on(pair)).copied();
        wanted.push(off.clone().collect());
        wanted.push(off.filter(|pair| own.iter().all(|o| o.1 != pair.1)).chain(own.iter().copied()).collect());
    }
    let (of_place, of_piece) = suspicion(layout, belief);
    let weight = |weights: &[f64], at: u16| weights.get(usize::from(at)).copied().unwrap_or(0.0);
    let order = |weights: &[f64], mut all: Vec<u16>, used: &dyn Fn(u16) -> bool| {
        let heavier = |a: &u16, b: &u16| weight(weights, *a).total_cmp(&weight(weights, *b));
        all.sort_by(|a, b| heavier(a, b).then(used(*a).cmp(&used(*b))));
        all
    };
    let places = order(&of_place, home.iter().map(|h| h.0).collect(), &|p| after.at(p).is_some());
    let pieces = order(&of_piece, home.iter().map(|h| h.1).collect(), &|m| after.fitted.contains(&m));
    for m in pieces.iter().rev().take_while(|m| weight(&of_piece, **m) > POINTS) {
        wanted.extend(places.iter().take(LIGHT).map(|p| with(*p, *m)));
    }
    for p in places.iter().rev().take_while(|p| weight(&of_place, **p) > POINTS) {
        wanted.extend(pieces.iter().take(LIGHT).map(|m| with(*p, *m)));
    }
    allowed(layout, belief, home, means, wanted, Vec::new())
}

/// By place and by module, the weight of all that would be at fault with it.
fn suspicion(layout: &Layout, belief: &Belief) -> (Vec<f64>, Vec<f64>) {
    let (mut of_place, mut of_piece) = (vec![0.0; layout.len()], vec![0.0; belief.board.spots.len()]);
    for h in &belief.hypotheses {
        for fault in h.cause.faults() {
            let channels: &[u16] = match &fault {
                Fault::Seat(p) | Fault::Slot(p) | Fault::Setting(p) => {
                    add(&mut of_place, *p, h.weight);
                    &[]
                }
                Fault::Module(m) => {
                    add(&mut of_piece, *m, h.weight);
                    &[]
                }
                Fault::Channel(c) | Fault::Contact(c) => std::slice::from_ref(c),
                Fault::Group(group) => layout.group(*group),
                Fault::Socket(socket) => layout.channels(*socket),
            };
            for place in channels.iter().flat_map(|c| layout.places(*c)) {
                add(&mut of_place, *place, h.weight);
            }
        }
    }
    (of_place, of_piece)
}

fn add(sums: &mut [f64], at: u16, weight: f64) {
    if let Some(sum) = sums.get_mut(usize::from(at)) {
        *sum += weight;
    }
}

/// The changes that leave each wanted set fitted, as near to it as the board's rules let it be, besides those there are. In a
/// place that a module belongs in goes no module of another size, ranks or kind: the board may not take it there.
fn allowed(
    layout: &Layout,
    belief: &Belief,
    home: &[(Place, Piece)],
    means: &Means,
    wanted: Vec<Vec<(Place, Piece)>>,
    mut all: Vec<Action>,
) -> Vec<Action> {
    let mut at_home: Vec<Option<Piece>> = vec![None; layout.len()];
    home.iter().for_each(|(place, piece)| at_home[usize::from(*place)] = Some(*piece));
    let fits = |change: &Change| match change {
        Change::Fit(place, piece) => at_home[usize::from(*place)].is_none_or(|own| means.interchange(own, *piece)),
        _ => true,
    };
    let mut seen: HashSet<Action> = all.iter().cloned().collect();
    for set in wanted {
        let set = means.house.mended(layout, &set, home);
        if set.is_empty() {
            continue;
        }
        let action = towards(belief, &set);
        if action.iter().all(|change| means.may(*change) && fits(change)) && seen.insert(action.clone()) {
            all.push(action);
        }
    }
    all
}

/// The changes that leave exactly `set` fitted.
pub fn towards(belief: &Belief, set: &[(Place, Piece)]) -> Action {
    let fitted = &belief.board.fitted;
    let mut wanted = vec![NOWHERE; fitted.len()];
    for (place, piece) in set {
        if let Some(at) = wanted.get_mut(usize::from(*place)) {
            *at = *piece;
        }
    }
    let out = (0..fitted.len() as Place).filter(|p| {
        let piece = fitted[usize::from(*p)];
        piece != NOWHERE && wanted[usize::from(*p)] != piece
    });
    let mut action: Action = out.map(Change::Remove).collect();
    action.extend(set.iter().filter(|(p, m)| belief.board.at(*p) != Some(*m)).map(|(p, m)| Change::Fit(*p, *m)));
    action
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::isolate::action::Arrangement;
    use crate::isolate::belief::Model;
    use crate::isolate::fault::Mode;
    use crate::isolate::rates::Shares;

    /// A board of 1 × 2 × 2 that did not post, module `n` at home in place `n`.
    fn dead() -> (Model, Belief, Vec<(Place, Piece)>) {
        let layout = Layout::grid(1, 2, 2);
        let model = Model { layout, mode: Mode::Blind, clears: 0.9, spoils: 0.0, shows: 1.0, sure: 0.99 };
        let mut belief = Belief::before(&model, Arrangement::full(4), &Shares::service());
        belief.report(&model, &[0]);
        (model, belief, (0..4).map(|n| (n, n)).collect())
    }

    #[test]
    fn sets_near_one_differ_from_it_by_a_module_or_a_channel() {
        let (model, belief, home) = dead();
        // Both modules of the first channel stay.
        let half = vec![Change::Remove(2), Change::Remove(3)];
        let fitted: Vec<Vec<Piece>> = near(&model.layout, &belief, &home, &Means::default(), &half)
            .into_iter()
            .map(|action| {
                let mut after = belief.board.clone();
                action.iter().for_each(|change| after.apply(*change, &mut |_| {}));
                after.fitted
            })
            .collect();
        const O: Piece = NOWHERE;
        for wanted in [[O, 1, O, O], [0, O, O, O], [0, 1, 2, O], [0, 1, O, 3], [0, 1, 2, 3]] {
            assert!(fitted.iter().any(|set| *set == wanted), "{wanted:?} not in {fitted:?}");
        }
        // A module away from home: this tells it from its place.
        assert!(fitted.iter().any(|set| (0..4).any(|p| set[p] != O && set[p] != p as Piece)), "{fitted:?}");
        for set in &fitted {
            let mut pieces: Vec<Piece> = set.iter().copied().filter(|m| *m != O).collect();
            pieces.sort_unstable();
            assert!(!pieces.is_empty() && pieces.windows(2).all(|two| two[0] != two[1]), "{set:?}");
        }
        let most = near_count(4) + 2 * LIGHT * 4;
        assert!(fitted.len() <= most, "{} sets", fitted.len());
    }

    #[test]
    fn what_must_not_be_touched_stays_and_seatings_done_anew_are_no_set() {
        let (model, belief, home) = dead();
        let means = Means { untouchable: vec![0], ..Means::default() };
        let sets = near(&model.layout, &belief, &home, &means, &[Change::Remove(3)]);
        let touches = |c: &Change| super::super::action::handled(&[*c]).any(|p| p == 0);
        assert!(!sets.is_empty() && !sets.iter().flatten().any(touches));
        assert!(near(&model.layout, &belief, &home, &Means::default(), &[Change::Reseat(0)]).is_empty());
    }

    #[test]
    fn no_module_of_another_size_goes_where_one_belongs() {
        let (model, belief, home) = dead();
        // Large ones in the first places of both channels, small ones behind.
        let means = Means { alike: vec![0, 1, 0, 1], ..Means::default() };
        let mut all = sets(&model.layout, &belief, &home, &means);
        all.extend(near(&model.layout, &belief, &home, &means, &[Change::Remove(3)]));
        let fits = |change: &Change| match *change {
            Change::Fit(place, piece) => place % 2 == piece % 2,
            _ => true,
        };
        assert!(all.iter().flatten().all(fits), "{all:?}");
        let crossed = |change: &Change| matches!(*change, Change::Fit(place, piece) if place != piece);
        assert!(all.iter().flatten().any(crossed), "those alike still change places");
    }
}
