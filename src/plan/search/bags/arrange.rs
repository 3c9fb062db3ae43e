//! The best way to spread one bag over the sockets.

use std::collections::HashMap;

use super::Bag;
use super::ground::Ground;
use super::socket::Sockets;
use crate::plan::search::instance::INF;
use crate::plan::search::work::Work;

/// An arrangement: what it adds to the worth of its bag, and the rows of each socket.
#[derive(Debug, Clone)]
pub struct Arranged {
    pub worth: i128,
    pub sockets: Vec<Vec<usize>>,
}

/// What was found for other bags.
#[derive(Debug, Default)]
pub struct Known {
    sockets: Sockets,
    /// By socket and bag: the sockets from there on are not worth less than this.
    not_below: HashMap<(usize, Bag), i128>,
}

/// Rounds over all pairs of sockets while ties are settled.
const ROUNDS: usize = 8;

/// Ways to divide a bag between one socket and the others that are looked at.
const DIVISIONS: usize = 150_000;

/// The best arrangement of the sockets from `socket` on worth less than `below`; `None` if there is none, `Err` if there was
/// too much to look at. Sockets alike are taken in falling order of their bags: no bag is
/// above `most`.
pub fn spread(
    ground: &Ground<'_>,
    socket: usize,
    bag: &[u16],
    below: i128,
    most: Option<&[u16]>,
    known: &mut Known,
    work: &mut Work<'_>,
) -> Result<Option<Arranged>, ()> {
    if socket + 1 == ground.channels.len() {
        if most.is_some_and(|most| bag > most) {
            return Ok(None);
        }
        let found = known.sockets.best(ground, socket, bag, below, work)?;
        return Ok(found.map(|(worth, rows)| Arranged { worth, sockets: vec![rows] }));
    }
    let key = (socket, Bag::from(bag));
    if known.not_below.get(&key).is_some_and(|least| *least >= below) {
        return Ok(None);
    }
    let modules: usize = bag.iter().map(|&n| usize::from(n)).sum();
    if -ground.gain_from(socket, modules) >= below {
        return Ok(None);
    }
    let divisions = bag.iter().try_fold(1usize, |all, &n| all.checked_mul(usize::from(n) + 1));
    if divisions.is_none_or(|n| n > DIVISIONS) {
        return Err(());
    }
    let strict = below.saturating_sub(ground.mb_s) <= -ground.gain_from(socket, ground.slots);
    let alike = ground.instance.sockets.get(socket + 1) == Some(&ground.instance.sockets[socket]);
    let last = socket + 2 == ground.channels.len();
    let mut ways: Vec<(i128, i128, Bag, Bag)> = Vec::new();
    let mut here = vec![0u16; bag.len()];
    loop {
        if !work.step() {
            return Err(());
        }
        if strict && !ground.even(socket, &here) {
            if !count(&mut here, bag) {
                break;
            }
            continue;
        }
        let rest: Bag = bag.iter().zip(&here).map(|(all, part)| all - part).collect();
        let in_order = most.is_none_or(|most| *here <= *most) && (!alike || !last || *rest <= *here);
        if in_order && let Some(own) = known.sockets.least(ground, socket, &here) {
            let others = if last {
                known.sockets.least(ground, socket + 1, &rest)
            } else {
                let modules = rest.iter().map(|&n| usize::from(n)).sum();
                Some(-ground.gain_from(socket + 1, modules))
            };
            if let Some(others) = others
                && own + others < below
            {
                ways.push((own + others, others, here.clone().into_boxed_slice(), rest));
            }
        }
        if !count(&mut here, bag) {
            break;
        }
    }
    ways.sort();
    let mut best: Option<Arranged> = None;
    let mut limit = below;
    for (least, others, here, rest) in ways {
        if least >= limit {
            break;
        }
        let Some((own, rows)) = known.sockets.best(ground, socket, &here, limit - others, work)? else { continue };
        let most = alike.then_some(&*here);
        if let Some(found) = spread(ground, socket + 1, &rest, limit - own, most, known, work)? {
            let worth = own + found.worth;
            // Only of a whole plan can it be told what is as good in all that was asked for.
            limit = if socket == 0 { ground.as_good(bag, worth) } else { worth };
            best = Some(Arranged { worth, sockets: std::iter::once(rows).chain(found.sockets).collect() });
        }
    }
    if best.is_none() && most.is_none() && below < INF {
        known.not_below.insert(key, below);
    }
    Ok(best)
}

/// Settles ties of a whole arrangement: channels are exchanged between sockets, or moved into empty ones, as long as that
/// fills channels and sockets more evenly and costs nothing that was asked for.
pub fn settle(ground: &Ground<'_>, found: &mut Arranged) {
    let sockets = found.sockets.len();
    let mut worths: Vec<Option<i128>> = (0..sockets).map(|s| ground.judge(s, &found.sockets[s])).collect();
    for _ in 0..ROUNDS {
        let mut better = false;
        for a in 0..sockets {
            for b in a + 1..sockets {
                better |= exchange(ground, found, &mut worths, (a, b));
            }
        }
        if !better {
            break;
        }
    }
    if let Some(worth) = worths.into_iter().sum::<Option<i128>>() {
        found.worth = worth;
    }
}

/// Exchanges channels of two sockets while that is better.
fn exchange(ground: &Ground<'_>, found: &mut Arranged, worths: &mut [Option<i128>], (a, b): (usize, usize)) -> bool {
    let mut any = false;
    'again: loop {
        let (Some(worth_a), Some(worth_b)) = (worths[a], worths[b]) else { return any };
        let (rows_a, rows_b) = (found.sockets[a].clone(), found.sockets[b].clone());
        // One place more on each side: an empty channel.
        for i in 0..=rows_a.len() {
            for j in 0..=rows_b.len() {
                let (x, y) = (rows_a.get(i), rows_b.get(j));
                if x == y {
                    continue;
                }
                let next_a: Vec<usize> = swapped(&rows_a, i, y);
                let next_b: Vec<usize> = swapped(&rows_b, j, x);
                if next_a.len() > ground.channels[a] || next_b.len() > ground.channels[b] {
                    continue;
                }
                let (Some(new_a), Some(new_b)) = (ground.judge(a, &next_a), ground.judge(b, &next_b)) else { continue };
                if new_a + new_b < worth_a + worth_b {
                    (found.sockets[a], found.sockets[b]) = (next_a, next_b);
                    (worths[a], worths[b]) = (Some(new_a), Some(new_b));
                    any = true;
                    continue 'again;
                }
            }
        }
        return any;
    }
}

/// Rows with place `at` taken out and another row in its stead, or none.
fn swapped(rows: &[usize], at: usize, with: Option<&usize>) -> Vec<usize> {
    rows.iter().enumerate().filter(|(n, _)| *n != at).map(|(_, row)| *row).chain(with.copied()).collect()
}

/// The next part of `all`; false after the last.
fn count(part: &mut [u16], all: &[u16]) -> bool {
    for (n, most) in part.iter_mut().zip(all) {
        if *n < *most {
            *n += 1;
            return true;
        }
        *n = 0;
    }
    false
}
