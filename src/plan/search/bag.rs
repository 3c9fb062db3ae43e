//! The least cost of modules that reach the target when only their number and sizes count, not where they go: no plan of
//! the family is cheaper. Exact in counts, packs and prices.

use super::instance::Instance;

/// Additions one table may take before the number of slots is left out of account.
const WORK: u64 = 40_000_000;

/// The least plain cost, in hundredths; `None` when the modules there are do not reach the target at all.
pub fn least_cost(instance: &Instance<'_>) -> Option<u64> {
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
    for c in 0..instance.classes.len() {
        let class = &instance.classes[c];
        let before = table.clone();
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
                    }
                }
            }
        }
    }
    table.iter().filter_map(|row| row[need]).min()
}
