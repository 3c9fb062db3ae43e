//! A good arrangement of a bag, without a proof: modules are moved and exchanged at random, worse ones taken less and less
//! often. The numbers are drawn from a fixed seed: the same question gets the same answer.

use super::arrange::Arranged;
use super::ground::Ground;
use crate::plan::search::instance::MOST_CHANNELS;
use crate::plan::search::work::Work;

/// Moves tried for each module and socket.
const MOVES: usize = 120;

/// Moves tried in all.
const MOST_MOVES: usize = 60_000;

/// One channel.
#[derive(Debug, Clone, Default)]
struct Channel {
    socket: usize,
    /// Classes, the largest first.
    row: Vec<usize>,
    cap: u32,
}

/// The best arrangement found, `None` when the modules did not go in. It ends early at `floor`.
pub fn anneal(ground: &Ground<'_>, bag: &[u16], floor: i128, work: &mut Work<'_>) -> Option<Arranged> {
    let mut channels = start(ground, bag)?;
    let mut best = finish(ground, &channels);
    let asked = ground.instance.weights;
    let done = |best: &Option<Arranged>| best.as_ref().is_some_and(|b| asked.as_good(b.worth) <= floor);
    let modules: usize = bag.iter().map(|&n| usize::from(n)).sum();
    let sockets = ground.channels.len();
    let moves = (MOVES * modules * sockets).min(MOST_MOVES);
    let mut rng = fastrand::Rng::with_seed(1);
    let mut streams: Vec<u64> = (0..sockets).map(|s| stream(ground, s, &channels)).collect();
    let mut most = streams.iter().sum::<u64>();
    let rate = ground.instance.channel_mb_s as f64;
    for turn in 0..moves {
        if done(&best) || (turn % 16 == 0 && !work.step()) {
            break;
        }
        let (a, b) = (rng.usize(0..channels.len()), rng.usize(0..channels.len()));
        if a == b || channels[a].row.is_empty() {
            continue;
        }
        let before = (channels[a].clone(), channels[b].clone());
        let out = rng.usize(0..channels[a].row.len());
        let class = channels[a].row.remove(out);
        if !channels[b].row.is_empty() && (channels[b].row.len() == ground.depth || rng.bool()) {
            let back = rng.usize(0..channels[b].row.len());
            let class = channels[b].row.remove(back);
            put(&mut channels[a].row, class);
        }
        put(&mut channels[b].row, class);
        let allowed = [a, b].iter().all(|&c| settle(ground, &mut channels[c]));
        let (s, t) = (channels[a].socket, channels[b].socket);
        let mut gain = 0i64;
        let mut next = (0, 0);
        if allowed {
            next = (stream(ground, s, &channels), stream(ground, t, &channels));
            gain = next.0 as i64 - streams[s] as i64;
            if s != t {
                gain += next.1 as i64 - streams[t] as i64;
            }
        }
        let heat = rate * 0.6 * (1.0 - turn as f64 / moves as f64).powi(2) + 1.0;
        // Floats only choose where to look.
        if !allowed || (gain < 0 && rng.f64() >= (gain as f64 / heat).exp()) {
            channels[a] = before.0;
            channels[b] = before.1;
            continue;
        }
        streams[s] = next.0;
        streams[t] = next.1;
        let all = streams.iter().sum::<u64>();
        if all > most
            && let Some(found) = finish(ground, &channels)
            && best.as_ref().is_none_or(|b| found.worth < b.worth)
        {
            most = all;
            best = Some(found);
        }
    }
    best
}

fn put(row: &mut Vec<usize>, class: usize) {
    row.insert(row.partition_point(|&c| c < class), class);
}

/// Counts a channel anew; false when it may not hold what it does.
fn settle(ground: &Ground<'_>, channel: &mut Channel) -> bool {
    if channel.row.is_empty() {
        channel.cap = 0;
        return true;
    }
    match ground.by_classes.get(&channel.row) {
        Some(&at) => {
            channel.cap = ground.rows[at].cap;
            true
        }
        None => false,
    }
}

/// Largest first, each on the channel that holds least.
fn start(ground: &Ground<'_>, bag: &[u16]) -> Option<Vec<Channel>> {
    let sockets = ground.channels.iter().enumerate();
    let mut channels: Vec<Channel> =
        sockets.flat_map(|(socket, &n)| (0..n).map(move |_| Channel { socket, ..Channel::default() })).collect();
    for (class, &n) in bag.iter().enumerate() {
        for _ in 0..n {
            let mut order: Vec<usize> = (0..channels.len()).collect();
            order.sort_by_key(|&c| channels[c].cap);
            let into = order.into_iter().find(|&c| {
                let mut row = channels[c].row.clone();
                put(&mut row, class);
                ground.by_classes.contains_key(&row)
            })?;
            put(&mut channels[into].row, class);
            settle(ground, &mut channels[into]);
        }
    }
    Some(channels)
}

/// MB/s of a socket as it stands.
fn stream(ground: &Ground<'_>, socket: usize, channels: &[Channel]) -> u64 {
    let caps = channels.iter().filter(|c| c.socket == socket).map(|c| c.cap).take(MOST_CHANNELS);
    ground.instance.sliced(caps).unwrap_or(0)
}

/// The arrangement, when the rules about sockets let it stand.
fn finish(ground: &Ground<'_>, channels: &[Channel]) -> Option<Arranged> {
    let mut sockets = vec![Vec::new(); ground.channels.len()];
    for channel in channels.iter().filter(|c| !c.row.is_empty()) {
        sockets[channel.socket].push(*ground.by_classes.get(&channel.row)?);
    }
    let mut worth = 0;
    for (socket, rows) in sockets.iter().enumerate() {
        worth += ground.judge(socket, rows)?;
    }
    Some(Arranged { worth, sockets })
}

#[cfg(test)]
mod tests {
    use super::super::super::build::Shared;
    use super::super::bridge::Ours;
    use super::super::plan_general::Model;
    use super::*;
    use crate::plan::interleave::{MB_S_PER_MTS, effective_mb_s, regions};
    use crate::units::Mts;

    #[test]
    fn the_short_reckoning_is_that_of_the_regions() {
        let mut rng = fastrand::Rng::with_seed(7);
        for seed in 0..200 {
            let ours = Ours::new(&Model::random(&mut fastrand::Rng::with_seed(seed), (2, 8, 2), 6, &[16, 32, 48]));
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let families = shared.families();
            let Some(built) = families.first().and_then(|f| shared.build(f)) else { continue };
            let Some(ground) = Ground::new(&built.instance) else { continue };
            let channels: Vec<Channel> =
                (0..16).map(|n| Channel { socket: n / 8, row: Vec::new(), cap: rng.u32(0..6) }).collect();
            for socket in 0..2 {
                let caps: Vec<u64> = channels.iter().filter(|c| c.socket == socket).map(|c| u64::from(c.cap)).collect();
                let found = regions(&caps, &[None; 8], built.instance.interleave);
                let rate = Mts((built.instance.channel_mb_s / MB_S_PER_MTS) as u32);
                assert_eq!(stream(&ground, socket, &channels), effective_mb_s(&found, rate), "{caps:?}");
            }
        }
    }
}
