//! From channel capacities to regions.

use crate::board::{Across, Interleave, InterleaveStyle};
use crate::units::Size;

/// One stretch of address space.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Region {
    /// All of it.
    pub size: Size,
    /// Channels it is spread over.
    pub ways: u8,
}

/// The regions of one socket, widest first. `caps` are MiB per channel, `controllers` the controller of each. Without an
/// `[interleave]` table any number of channels is assumed.
pub fn regions(caps: &[u64], controllers: &[Option<u8>], interleave: Option<&Interleave>) -> Vec<Region> {
    let ways = allowed(caps.len(), interleave);
    let equal = interleave.and_then(|i| i.across) == Some(Across::Equal);
    let slice = interleave.is_none_or(|i| i.style == InterleaveStyle::Slice);
    let mut left = caps.to_vec();
    let mut out: Vec<Region> = Vec::new();
    while left.iter().any(|&cap| cap > 0) {
        let (group, height) =
            if slice { widest(&left, controllers, &ways, equal) } else { alike(&left, controllers, &ways, equal) };
        if height == 0 {
            break;
        }
        for &channel in &group {
            left[channel] -= height;
        }
        let (size, ways) = (Size::from_mib(height * group.len() as u64), group.len() as u8);
        match out.last_mut() {
            Some(last) if last.ways == ways => last.size = last.size + size,
            _ => out.push(Region { size, ways }),
        }
    }
    out
}

/// Widths the controller may use, widest first; one channel is always possible.
fn allowed(channels: usize, interleave: Option<&Interleave>) -> Vec<usize> {
    let mut ways: Vec<usize> = match interleave {
        Some(interleave) => {
            interleave.ways.iter().map(|&w| usize::from(w)).filter(|&w| w > 0 && w <= channels).collect()
        }
        None => (1..=channels).collect(),
    };
    ways.push(1);
    ways.sort_unstable_by(|a, b| b.cmp(a));
    ways.dedup();
    ways
}

/// The channels of the next sliced region and its height.
fn widest(left: &[u64], controllers: &[Option<u8>], ways: &[usize], equal: bool) -> (Vec<usize>, u64) {
    let mut order: Vec<usize> = (0..left.len()).filter(|&c| left[c] > 0).collect();
    order.sort_by(|&a, &b| left[b].cmp(&left[a]).then(a.cmp(&b)));
    for &w in ways {
        if w > order.len() {
            continue;
        }
        let group = if equal { spread(&order, left, controllers, w) } else { Some(order[..w].to_vec()) };
        if let Some(group) = group {
            let height = group.iter().map(|&c| left[c]).min().unwrap_or(0);
            return (group, height);
        }
    }
    (Vec::new(), 0)
}

/// The channels of the next region of whole channels, and their capacity.
fn alike(left: &[u64], controllers: &[Option<u8>], ways: &[usize], equal: bool) -> (Vec<usize>, u64) {
    let mut sizes: Vec<u64> = left.iter().copied().filter(|&cap| cap > 0).collect();
    sizes.sort_unstable_by(|a, b| b.cmp(a));
    sizes.dedup();
    for &w in ways {
        for &size in &sizes {
            let order: Vec<usize> = (0..left.len()).filter(|&c| left[c] == size).collect();
            if order.len() < w {
                continue;
            }
            let group = if equal { spread(&order, left, controllers, w) } else { Some(order[..w].to_vec()) };
            if let Some(group) = group {
                return (group, size);
            }
        }
    }
    (Vec::new(), 0)
}

/// `w` of the channels in `order` inside one controller, or an equal number of each controller touched; of several such
/// groups the one that is highest, then the one over fewest controllers.
fn spread(order: &[usize], left: &[u64], controllers: &[Option<u8>], w: usize) -> Option<Vec<usize>> {
    let of = |channel: usize| controllers.get(channel).copied().flatten().map_or(usize::MAX - channel, usize::from);
    let mut names: Vec<usize> = order.iter().map(|&c| of(c)).collect();
    names.sort_unstable();
    names.dedup();
    let mut best: Option<(u64, Vec<usize>)> = None;
    for per in (1..=w).rev().filter(|per| w.is_multiple_of(*per)) {
        let mut groups: Vec<(u64, Vec<usize>)> = names
            .iter()
            .filter_map(|&name| {
                let group: Vec<usize> = order.iter().copied().filter(|&c| of(c) == name).take(per).collect();
                (group.len() == per).then(|| (group.iter().map(|&c| left[c]).min().unwrap_or(0), group))
            })
            .collect();
        if groups.len() < w / per {
            continue;
        }
        groups.sort_by_key(|group| std::cmp::Reverse(group.0));
        groups.truncate(w / per);
        let height = groups.iter().map(|g| g.0).min().unwrap_or(0);
        if best.as_ref().is_none_or(|b| height > b.0) {
            best = Some((height, groups.into_iter().flat_map(|g| g.1).collect()));
        }
    }
    best.map(|b| b.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::interleave::effective_mb_s;
    use crate::units::Mts;

    fn controller(ways: &[u8], style: InterleaveStyle) -> Interleave {
        Interleave { ways: ways.to_vec(), style, across: None }
    }

    fn found(caps: &[u64], interleave: &Interleave) -> Vec<(u64, u8)> {
        regions(caps, &vec![None; caps.len()], Some(interleave)).iter().map(|r| (r.size.mib(), r.ways)).collect()
    }

    #[test]
    fn six_modules_on_four_channels_make_a_four_way_and_a_two_way_region() {
        let c = controller(&[4, 2, 1], InterleaveStyle::Slice);
        assert_eq!(found(&[64, 64, 32, 32], &c), [(128, 4), (64, 2)]);
    }

    #[test]
    fn an_odd_channel_falls_out_of_a_whole_group() {
        let c = controller(&[8, 6, 4, 3, 2, 1], InterleaveStyle::Whole);
        assert_eq!(found(&[64, 32, 32, 32, 32, 32, 32, 32], &c), [(192, 6), (96, 1)]);
    }

    #[test]
    fn equal_sharing_keeps_three_ways_inside_one_controller() {
        let mut c = controller(&[4, 3, 2, 1], InterleaveStyle::Slice);
        c.across = Some(Across::Equal);
        let two = [Some(0), Some(0), Some(1), Some(1)];
        let got: Vec<(u64, u8)> =
            regions(&[32, 32, 32, 0], &two, Some(&c)).iter().map(|r| (r.size.mib(), r.ways)).collect();
        assert_eq!(got, [(64, 2), (32, 1)]);
    }

    #[test]
    fn bandwidth_counts_channels_worth() {
        let c = controller(&[4, 2, 1], InterleaveStyle::Slice);
        let full = regions(&[32; 4], &[None; 4], Some(&c));
        assert_eq!(effective_mb_s(&full, Mts(2400)), 76_800);
        let odd = regions(&[64, 32, 32, 32], &[None; 4], Some(&c));
        assert_eq!(effective_mb_s(&odd, Mts(2400)), 160 * 19_200 / 64);
    }
}
