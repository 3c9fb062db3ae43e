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
            let sum = match fault {
                Fault::Seat(p) | Fault::Slot(p) | Fault::Setting(p) => of_place.get_mut(usize::from(p)),
                Fault::Module(m) => of_piece.get_mut(usize::from(m)),
                _ => None,
            };
            if let Some(sum) = sum {
                *sum += h.weight;
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
    let mut seen: HashSet<Action> = all.iter().cloned().collect();
    for set in wanted {
        let set = means.house.mended(layout, &set, home);
        if set.is_empty() {
            continue;
        }
        let action = towards(belief, &set);
        if action.iter().all(|change| means.may(*change)) && seen.insert(action.clone()) {
            all.push(action);
        }
    }
    all
}

/// The changes that leave exactly `set` fitted.
pub fn towards(belief: &Belief, set: &[(Place, Piece)]) -> Action {
    let fitted = &belief.board.fitted;
    let out = (0..fitted.len() as Place).filter(|p| {
        let piece = fitted[usize::from(*p)];
        piece != NOWHERE && !set.contains(&(*p, piece))
    });
    let mut action: Action = out.map(Change::Remove).collect();
    action.extend(set.iter().filter(|(p, m)| belief.board.at(*p) != Some(*m)).map(|(p, m)| Change::Fit(*p, *m)));
    action
}
