//! A plan at once: the cheapest modules that reach the target, the largest first, each on the channel that holds least.
//! No proof, but a plan to begin with, and to show when the time ends the search.

use std::collections::{BTreeMap, HashMap};

use super::columns::judge;
use super::family::Plan;
use super::instance::{Choice, Instance};

/// A channel as it is filled.
struct Place {
    socket: usize,
    channel_type: usize,
    /// Classes it holds, in the order of the classes.
    row: Vec<usize>,
    cap: u32,
}

/// Where a row of classes stands among the fillings of a channel type: symbol and filling.
type Known = HashMap<(usize, Vec<usize>), Option<(usize, usize)>>;

/// The plan, when the rules let the modules stand that way and the budget reaches.
pub fn plan(instance: &Instance<'_>) -> Option<Plan> {
    let counts = super::bag::least_counts(instance)?;
    let mut places: Vec<Place> = Vec::new();
    for (socket, &kind) in instance.sockets.iter().enumerate() {
        for &(channel_type, run) in &instance.kinds[kind].runs {
            places.extend((0..run).map(|_| Place { socket, channel_type, row: Vec::new(), cap: 0 }));
        }
    }
    let mut modules: Vec<usize> =
        counts.iter().enumerate().flat_map(|(c, &n)| std::iter::repeat_n(c, n as usize)).collect();
    modules.sort_by_key(|&c| std::cmp::Reverse(instance.classes[c].size));
    let mut known = Known::new();
    for class in modules {
        let mut best: Option<(u32, usize, Vec<usize>)> = None;
        for (at, place) in places.iter().enumerate() {
            if best.as_ref().is_some_and(|b| b.0 <= place.cap) {
                continue;
            }
            let mut row = place.row.clone();
            row.insert(row.partition_point(|&c| c <= class), class);
            if find(instance, &mut known, place.channel_type, &row).is_some() {
                best = Some((place.cap, at, row));
            }
        }
        let (_, at, row) = best?;
        places[at].cap += instance.classes[class].size;
        places[at].row = row;
    }
    settle(instance, &places, &mut known)
}

fn find(instance: &Instance<'_>, known: &mut Known, channel_type: usize, row: &[usize]) -> Option<(usize, usize)> {
    let key = (channel_type, row.to_vec());
    if let Some(found) = known.get(&key) {
        return *found;
    }
    let same = |order: &[usize]| {
        let mut order = order.to_vec();
        order.sort_unstable();
        order == row
    };
    let found = instance.types[channel_type].fillings.iter().enumerate().find_map(|(symbol, fillings)| {
        fillings.iter().position(|filling| same(&filling.order)).map(|filling| (symbol, filling))
    });
    known.insert(key, found);
    found
}

/// The filled channels as a plan, with its worth.
fn settle(instance: &Instance<'_>, places: &[Place], known: &mut Known) -> Option<Plan> {
    let mut sockets: Vec<Choice> = vec![Choice::new(); instance.sockets.len()];
    let mut split: BTreeMap<(usize, usize), Vec<u32>> = BTreeMap::new();
    let mut used = vec![0u32; instance.classes.len()];
    let mut worth = 0i128;
    for place in places {
        let t = place.channel_type;
        if place.row.is_empty() {
            sockets[place.socket].push((t, None));
            continue;
        }
        let (symbol, filling) = find(instance, known, t, &place.row)?;
        sockets[place.socket].push((t, Some(symbol)));
        let fillings = &instance.types[t].fillings[symbol];
        split.entry((t, symbol)).or_insert_with(|| vec![0; fillings.len()])[filling] += 1;
        worth += fillings[filling].worth;
        for &(class, n) in &fillings[filling].usage {
            used[class] += n;
        }
    }
    let (mut cap, mut cost) = (0u32, 0u64);
    for (choice, &kind) in sockets.iter().zip(&instance.sockets) {
        let judged = judge(instance, &instance.kinds[kind], choice)?;
        worth += judged.fixed;
        cap = cap.checked_add(judged.cap)?;
    }
    for (class, &n) in instance.classes.iter().zip(&used) {
        worth += class.curve.get(n as usize)?;
        cost += class.cost.get(n as usize)?;
    }
    let fits = cap >= instance.need && cap <= instance.most && instance.budget.is_none_or(|budget| cost <= budget);
    fits.then(|| Plan { worth, sockets, split: split.into_iter().collect() })
}
