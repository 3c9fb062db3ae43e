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
