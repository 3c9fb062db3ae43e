//! Bags whose granules no sockets as wide as can be use up: what they give at most by their granules alone, and a guess with
//! all sockets but one as wide as they can be.

use super::arrange::Arranged;
use super::even::{Even, Split};
use super::ground::Ground;
use super::most::least_time;
use super::socket::Sockets;
use crate::plan::search::work::Work;

/// Parts tried for the socket that is not as wide as can be.
const TRIED: usize = 24;

/// Steps in which parts are listed.
const STEPS: usize = 200_000;

/// Sums of granules looked at most.
const CELLS: usize = 20_000_000;

/// The most MB/s of one socket by its granules, from none to all it can hold of the bag.
pub fn by_granules(ground: &Ground<'_>, bag: &[u16]) -> Vec<u64> {
    let channels = ground.channels[0];
    let sizes = bag.iter().zip(&ground.instance.classes).flat_map(|(&n, c)| std::iter::repeat_n(c.size, n.into()));
    let most: u32 = sizes.take(channels * ground.depth).sum();
    let time = |all| least_time(ground.instance, channels, all);
    let mb_s = |all: u32| (ground.instance.channel_mb_s * u64::from(all)).checked_div(time(all)).unwrap_or(0);
    (0..=most).map(mb_s).collect()
}

/// The most MB/s any arrangement of a bag over sockets that are alike gives, by the granules of each socket alone.
pub fn most_mb_s(ground: &Ground<'_>, bag: &[u16]) -> u64 {
    let one = by_granules(ground, bag);
    let all: usize = bag.iter().zip(&ground.instance.classes).map(|(&n, c)| usize::from(n) * c.size as usize).sum();
    if all.saturating_mul(one.len()).saturating_mul(ground.channels.len()) > CELLS {
        return u64::MAX;
    }
    let mut most: Vec<Option<u64>> = vec![None; all + 1];
    most[0] = Some(0);
    for _ in &ground.channels {
        let next = (0..=all).map(|all| {
            let here = one.iter().enumerate().take(all + 1);
            here.filter_map(|(n, mb_s)| most[all - n].map(|others| others + mb_s)).max()
        });
        most = next.collect();
    }
    most[all].unwrap_or(0)
}

/// An arrangement of at least `wanted` MB/s with all sockets but the first as wide as can be, the best that was found.
pub fn guess(
    ground: &Ground<'_>,
    bag: &[u16],
    wanted: u64,
    sockets: &mut Sockets,
    work: &mut Work<'_>,
) -> Option<Arranged> {
    let mut even = Even::new(ground)?;
    let (wide, others) = (even.wide, ground.channels.len() - 1);
    let all: u32 = bag.iter().zip(&ground.instance.classes).map(|(&n, c)| u32::from(n) * c.size).sum();
    let widest = u64::from(wide) * ground.instance.channel_mb_s;
    let one = by_granules(ground, bag);
    let fits = |n: &usize| *n > 0 && (all - *n as u32).is_multiple_of(wide);
    let mut granules: Vec<usize> = (0..one.len().min(all as usize + 1)).filter(fits).collect();
    granules.sort_by_key(|&n| std::cmp::Reverse((one[n], n)));
    let (mut tries, mut steps) = (TRIED, STEPS);
    for n in granules {
        if one[n] + widest * (others as u64) < wanted {
            return None;
        }
        let mut listed = Vec::new();
        let limits = (ground.channels[0] * ground.depth, wide as usize * others);
        list(ground, bag, n, limits, &mut vec![0; bag.len()], 0, &mut steps, &mut listed);
        for part in listed.into_iter().take(TRIED) {
            if tries == 0 || work.left().is_none() {
                return None;
            }
            tries -= 1;
            let below = 1 - ground.mb_s * i128::from(one[n].saturating_sub(1));
            let Ok(Some((own, rows))) = sockets.best(ground, 0, &part, below, work) else { continue };
            if ground.mb_s_of(&rows) < one[n] {
                continue;
            }
            let rest: Vec<u16> = bag.iter().zip(&part).map(|(all, part)| all - part).collect();
            if let Split::Rows(rest) = even.split_over(&rest, others, work) {
                let worth: Option<i128> = rest.iter().enumerate().map(|(s, rows)| ground.judge(s + 1, rows)).sum();
                let Some(worth) = worth else { continue };
                return Some(Arranged { worth: own + worth, sockets: std::iter::once(rows).chain(rest).collect() });
            }
        }
    }
    None
}

/// Lists parts of a bag that hold so many granules, those of large modules first: at most so many modules in the part, at
/// least so many in the rest.
#[allow(clippy::too_many_arguments)]
fn list(
    ground: &Ground<'_>,
    bag: &[u16],
    granules: usize,
    (places, rest): (usize, usize),
    part: &mut Vec<u16>,
    class: usize,
    steps: &mut usize,
    out: &mut Vec<Vec<u16>>,
) {
    if *steps == 0 || out.len() >= TRIED {
        return;
    }
    *steps -= 1;
    if class == bag.len() {
        let left: usize = bag.iter().zip(&*part).map(|(all, part)| usize::from(all - part)).sum();
        if granules == 0 && left >= rest {
            out.push(part.clone());
        }
        return;
    }
    let size = ground.instance.classes[class].size as usize;
    // What all places hold when they are filled with the largest that are left.
    if places * size < granules {
        return;
    }
    for n in (0..=usize::from(bag[class]).min(places).min(granules / size)).rev() {
        part[class] = n as u16;
        list(ground, bag, granules - n * size, (places - n, rest), part, class + 1, steps, out);
    }
    part[class] = 0;
}
