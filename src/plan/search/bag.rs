//! The least cost of modules that reach the target when only their number and sizes count, not where they go: no plan of
//! the family is cheaper. Exact in counts, packs and prices.

use super::instance::Instance;

/// Additions one table may take before the number of slots is left out of account.
const WORK: u64 = 40_000_000;

/// Cells for which it is kept how many of a class were taken, so that the counts can be told as well.
const TRACED: usize = 8_000_000;

/// The least plain cost, in hundredths; `None` when the modules there are do not reach the target at all.
pub fn least_cost(instance: &Instance<'_>) -> Option<u64> {
    cheapest(instance, false).map(|found| found.0)
}

/// How many of each class (per searched sockets) reach the target at the least cost; `None` when they do not, or when there
/// are too many to trace.
pub fn least_counts(instance: &Instance<'_>) -> Option<Vec<u32>> {
    cheapest(instance, true).and_then(|found| found.1)
}

fn cheapest(instance: &Instance<'_>, counts_too: bool) -> Option<(u64, Option<Vec<u32>>)> {
    let deepest = |t: usize| -> u32 {
        let fillings = &instance.types[t].fillings;
        (0..fillings.len())
            .filter(|&s| !fillings[s].is_empty())
            .map(|s| u32::from(instance.symbols[s].depth))
            .max()
            .unwrap_or(0)
    };
    let places: u32 =
        instance.sockets.iter().flat_map(|&k| &instance.kinds[k].runs).map(|&(t, run)| run * deepest(t)).sum();
    let mult = instance.mult;
    let (need, exact) = (instance.need as usize, instance.most == instance.need);
    let counts = |c: usize| ((instance.classes[c].cost.len() as u32 - 1) / mult).min(places);
    let all: u64 = (0..instance.classes.len()).map(|c| u64::from(counts(c))).sum();
    let by_number = all * u64::from(places) * need as u64 <= WORK;
    let rows = if by_number { places as usize } else { 0 };
    // table[modules][granules]
    let mut table: Vec<Vec<Option<u64>>> = vec![vec![None; need + 1]; rows + 1];
    table[0][0] = Some(0);
    let cells = (rows + 1) * (need + 1);
    let traced = counts_too && cells.saturating_mul(instance.classes.len()) <= TRACED;
    // How many of each class brought a cell to its cost, and from which capacity.
    let mut took: Vec<Vec<(u16, u32)>> = Vec::new();
    for c in 0..instance.classes.len() {
        let class = &instance.classes[c];
        let before = table.clone();
        let mut taken: Vec<(u16, u32)> = Vec::new();
        if traced {
            taken = (0..cells).map(|at| (0, (at % (need + 1)) as u32)).collect();
        }
        for n in 1..=counts(c) as usize {
            let (cost, size) = (class.cost[n * mult as usize], n * class.size as usize);
            let rise = if by_number { n } else { 0 };
            for row in 0..(rows + 1).saturating_sub(rise) {
                for (cap, known) in before[row].iter().enumerate() {
                    let Some(known) = known else { continue };
                    let to = cap + size;
                    if exact && to > need {
                        break;
                    }
                    let at = &mut table[row + rise][to.min(need)];
                    if at.is_none_or(|old| known + cost < old) {
                        *at = Some(known + cost);
                        if let Some(kept) = taken.get_mut((row + rise) * (need + 1) + to.min(need)) {
                            *kept = (n as u16, cap as u32);
                        }
                    }
                }
            }
        }
        took.push(taken);
    }
    let (mut row, least) =
        (0..=rows).filter_map(|row| table[row][need].map(|cost| (row, cost))).min_by_key(|found| found.1)?;
    if !traced {
        return Some((least, None));
    }
    let mut counts = vec![0u32; instance.classes.len()];
    let mut cap = need;
    for c in (0..counts.len()).rev() {
        let (n, from) = took[c][row * (need + 1) + cap];
        counts[c] = u32::from(n);
        cap = from as usize;
        row -= if by_number { usize::from(n) } else { 0 };
    }
    Some((least, Some(counts)))
}
