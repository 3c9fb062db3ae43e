//! What no arrangement of a bag can beat.

use super::super::instance::Instance;

/// From each socket on, with so many modules: the most channels' worth of bandwidth, when every region were as wide as the
/// channels in use allow.
pub fn widths(instance: &Instance<'_>, channels: &[usize], slots: usize) -> Vec<Vec<u64>> {
    let mut tables = vec![vec![0u64; slots + 1]];
    for &channels in channels.iter().rev() {
        let later = &tables[tables.len() - 1];
        let table = (0..=slots)
            .map(|modules| {
                let here = (0..=channels.min(modules)).map(|n| instance.widest(n as u32) + later[modules - n]);
                here.max().unwrap_or(0)
            })
            .collect();
        tables.push(table);
    }
    tables.reverse();
    tables
}

/// The most MB/s a socket with `channels` channels of `depth` slots can give when it holds exactly these modules.
/// `sizes` are granules, largest first; `None` when they do not fit.
///
/// With `n` channels in use no region is wider than the widest way over `n`, a stream takes at least as long as the
/// fullest channel, and only as much as the emptiest channel holds can be spread over all of them.
pub fn most_mb_s(instance: &Instance<'_>, channels: usize, depth: usize, sizes: &[u32]) -> Option<u64> {
    let modules = sizes.len();
    if modules > channels * depth {
        return None;
    }
    if modules == 0 {
        return Some(0);
    }
    let all: u64 = sizes.iter().map(|&s| u64::from(s)).sum();
    let mut most = 0;
    for n in modules.div_ceil(depth)..=channels.min(modules) {
        let shared = if modules > n { u64::from(sizes[n - 1]) + u64::from(sizes[n]) } else { 0 };
        let fullest = u64::from(sizes[0]).max(shared).max(all.div_ceil(n as u64));
        // Channels that hold one module alone: at least so many.
        let alone = (2 * n).saturating_sub(modules);
        let mut least = if n == 1 { all } else { (all - fullest.min(all)) / (n as u64 - 1) };
        if alone > 0 {
            least = least.min(u64::from(sizes[alone - 1]));
        }
        most = most.max(instance.most_mb_s_with(n as u32, all, fullest, least));
    }
    Some(most)
}

/// The least time a stream over `all` granules takes with at most `channels` channels, in granules of one channel: every
/// slice is whole granules high and as wide as one of the ways.
pub fn least_time(instance: &Instance<'_>, channels: usize, all: u32) -> u64 {
    let wide = instance.widest(channels as u32).max(1) as usize;
    // More than so much beside the widest slices is never better.
    let rest = (all as usize).min(wide * wide + all as usize % wide);
    let rest = rest - (rest - all as usize % wide) % wide;
    let mut times = vec![0u64; rest + 1];
    for left in 1..=rest {
        let narrower = instance.ways.iter().map(|&w| w as usize).filter(|&w| w <= left.min(wide)).chain([1]);
        times[left] = narrower.map(|w| times[left - w] + 1).min().unwrap_or(0);
    }
    times[rest] + (all as u64 - rest as u64) / wide as u64
}

#[cfg(test)]
mod tests {
    use super::super::super::build::Shared;
    use super::super::bridge::Ours;
    use super::super::plan_general::Model;
    use super::*;

    #[test]
    fn no_stream_is_faster_than_its_granules_allow_and_some_are_as_fast() {
        let mut tight = 0;
        for seed in 0..60 {
            let mut rng = fastrand::Rng::with_seed(seed);
            let mut model = Model::random(&mut rng, (1, 12, 2), 6, &[16, 32, 48]);
            if seed % 3 == 0 {
                // Two slices over three are better than one over four and two over one.
                model.ways = vec![4, 3, 1];
            }
            let ours = Ours::new(&model);
            let problem = ours.problem();
            let shared = Shared::new(&problem).unwrap();
            let families = shared.families();
            let Some(built) = families.first().and_then(|f| shared.build(f)) else { continue };
            let rate = built.instance.channel_mb_s;
            for _ in 0..500 {
                let (channels, used, most) = (rng.usize(1..=12), rng.usize(1..=12), rng.u32(1..12));
                let caps: Vec<u32> = (0..channels.min(used)).map(|_| most.saturating_sub(rng.u32(0..3))).collect();
                let all = caps.iter().sum();
                let Some(mb_s) = (rate * u64::from(all)).checked_div(least_time(&built.instance, channels, all)) else {
                    continue;
                };
                let given = built.instance.sliced(caps.iter().copied()).unwrap();
                assert!(given <= mb_s, "seed {seed}: {caps:?} gives {given}, not {mb_s}");
                tight += u32::from(given == mb_s);
            }
        }
        assert!(tight > 3_000, "the bound was reached {tight} times");
    }
}
