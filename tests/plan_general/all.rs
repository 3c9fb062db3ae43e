//! The best plan of a small instance by all there are: for every bag of modules one socket may hold its best filling, and from
//! socket to socket the best of every bag they hold together. No bound, no order, nothing left out.

use super::plan_general::{Model, stream};

/// A channel: GiB and modules of each size.
type Channel = (u32, Vec<usize>);

/// No way to hold it.
const NONE: u64 = u64::MAX;

/// The optimal (MB/s, cost), or `None` if nothing fits.
pub fn best(model: &Model) -> Option<(u64, u64)> {
    let mut rates: Vec<u32> = model.lots.iter().map(|l| l.mts).chain(model.rates.iter().copied()).collect();
    rates.sort_unstable();
    rates.dedup();
    let all = rates.into_iter().flat_map(|rate| at_rate(model, rate));
    if model.bandwidth_first {
        all.min_by_key(|&(mb_s, cost)| (std::cmp::Reverse(mb_s), cost))
    } else {
        all.min_by_key(|&(mb_s, cost)| (cost, std::cmp::Reverse(mb_s)))
    }
}

/// (MB/s, cost) of every bag at a rate that reaches the target within the budget.
fn at_rate(model: &Model, rate: u32) -> Vec<(u64, u64)> {
    let mut sizes: Vec<u32> = model.lots.iter().filter(|l| l.mts >= rate).map(|l| l.gib).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let depth = model.rates.iter().take_while(|r| **r >= rate).count();
    let places = model.sockets * model.channels * depth;
    // Cost of 0, 1, ... modules of a size in every unit.
    let costs: Vec<Vec<u64>> = sizes.iter().map(|&size| costs(model, rate, size, places)).collect();
    let mut strides = vec![1];
    costs.iter().for_each(|of| strides.push(strides[strides.len() - 1] * of.len()));
    let states = strides.pop().unwrap_or(1);
    let digits = |state: usize| strides.iter().zip(&costs).map(move |(stride, of)| state / stride % of.len());

    let mut one = vec![NONE; states];
    let none = vec![0; sizes.len()];
    fill(&mut vec![(0, none.clone())], (model, depth), (&sizes, &costs), 0, &mut |row| {
        let caps: Vec<u32> = row.iter().map(|channel| channel.0).collect();
        let bag = (0..sizes.len()).map(|n| row.iter().map(|channel| channel.1[n]).sum::<usize>());
        let counts: Vec<usize> = bag.collect();
        if counts.iter().zip(&costs).all(|(n, of)| *n < of.len()) {
            let at = &mut one[counts.iter().zip(&strides).map(|(n, stride)| n * stride).sum::<usize>()];
            let mb_s = stream(&caps, &model.ways, u64::from(rate) * 8);
            *at = if *at == NONE { mb_s } else { mb_s.max(*at) };
        }
    });
    let parts: Vec<(usize, Vec<usize>, u64)> =
        (0..states).filter(|&at| one[at] != NONE).map(|at| (at, digits(at).collect(), one[at])).collect();
    let mut table = vec![NONE; states];
    table[0] = 0;
    for _ in 0..model.sockets {
        let mut next = vec![NONE; states];
        for at in (0..states).filter(|&at| table[at] != NONE) {
            let room: Vec<usize> = digits(at).zip(&costs).map(|(n, of)| of.len() - 1 - n).collect();
            for (part, counts, mb_s) in &parts {
                if counts.iter().zip(&room).all(|(n, room)| n <= room) {
                    let to = &mut next[at + part];
                    let sum = table[at] + mb_s;
                    *to = if *to == NONE { sum } else { sum.max(*to) };
                }
            }
        }
        table = next;
    }
    let mut out = Vec::new();
    for at in (0..states).filter(|&at| table[at] != NONE) {
        let counts: Vec<usize> = digits(at).collect();
        let gib: u32 = counts.iter().zip(&sizes).map(|(&n, size)| n as u32 * size).sum();
        let cost = counts.iter().zip(&costs).map(|(&n, of)| of[n]).sum();
        if gib >= model.gib && model.budget.is_none_or(|budget| cost <= u64::from(budget)) {
            out.push((table[at], cost));
        }
    }
    out
}

/// Least cost of 0, 1, ... modules of a size in every unit, in whole packs.
fn costs(model: &Model, rate: u32, size: u32, places: usize) -> Vec<u64> {
    let most = places * model.units as usize;
    let mut least = vec![NONE; most + 1];
    least[0] = 0;
    for lot in model.lots.iter().filter(|l| l.mts >= rate && l.gib == size) {
        let before = least.clone();
        for packs in 1..=lot.count / lot.pack {
            for (had, cost) in before.iter().enumerate().filter(|(_, cost)| **cost != NONE) {
                let to = &mut least[(had + (packs * lot.pack) as usize).min(most)];
                *to = (*to).min(cost + u64::from(packs * lot.pack * lot.price));
            }
        }
    }
    for n in (0..most).rev() {
        least[n] = least[n].min(least[n + 1]);
    }
    least.into_iter().step_by(model.units as usize).take_while(|cost| *cost != NONE).collect()
}

/// Every filling of the channels from the last of `row` on.
fn fill(
    row: &mut Vec<Channel>,
    (model, depth): (&Model, usize),
    (sizes, costs): (&[u32], &[Vec<u64>]),
    from: usize,
    each: &mut dyn FnMut(&[Channel]),
) {
    if row.len() == model.channels {
        each(row);
    } else {
        // A channel holds no more than the one before it.
        row.push((0, vec![0; sizes.len()]));
        fill(row, (model, depth), (sizes, costs), 0, each);
        row.pop();
    }
    let last = row.len() - 1;
    let modules: usize = row[last].1.iter().sum();
    for n in from..sizes.len() {
        let more = row[last].0 + sizes[n];
        if modules < depth && (last == 0 || more <= row[last - 1].0) {
            row[last].0 = more;
            row[last].1[n] += 1;
            fill(row, (model, depth), (sizes, costs), n, each);
            row[last].0 -= sizes[n];
            row[last].1[n] -= 1;
        }
    }
}
