//! What so many modules of one sort cost: lots with counts, packs and prices, bought as cheaply as can be.

use std::collections::BTreeMap;

/// A lot as a seller: modules there are, modules per pack, price of one module in hundredths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seller {
    pub count: u32,
    pub pack: u32,
    pub price: u64,
}

impl Seller {
    /// Modules that can be had in whole packs.
    pub fn usable(&self) -> u64 {
        u64::from(self.count / self.pack.max(1)) * u64::from(self.pack.max(1))
    }
}

/// Sellers of one size of pack, the cheapest first, as far as so many modules can need them: packs of one size are all
/// alike, so a dearer one is never taken while a cheaper one is left. However long a stock list is, what is left of it here
/// grows with what is wanted.
struct Group {
    pack: u32,
    /// Price of one module, packs there are, index of the seller.
    offers: Vec<(u64, u32, usize)>,
}

impl Group {
    fn modules(&self, packs: u32) -> usize {
        (u64::from(packs) * u64::from(self.pack)) as usize
    }

    /// What 0, 1, 2, … packs cost.
    fn costs(&self) -> impl Iterator<Item = u64> + '_ {
        let pack = u64::from(self.pack);
        let each = self.offers.iter().flat_map(move |(price, packs, _)| (0..*packs).map(move |_| price * pack));
        std::iter::once(0).chain(each.scan(0, |sum, price| {
            *sum += price;
            Some(*sum)
        }))
    }
}

/// The sellers by the size of their packs, single modules first.
fn groups(sellers: &[Seller], most: usize) -> Vec<Group> {
    let mut by_pack: BTreeMap<u32, Vec<(u64, u32, usize)>> = BTreeMap::new();
    for (index, seller) in sellers.iter().enumerate() {
        let pack = seller.pack.max(1);
        let packs = seller.count / pack;
        if packs > 0 {
            by_pack.entry(pack).or_default().push((seller.price, packs, index));
        }
    }
    let mut out = Vec::new();
    for (pack, mut offers) in by_pack {
        offers.sort_unstable();
        let mut left = u32::try_from(most.div_ceil(pack as usize)).unwrap_or(u32::MAX);
        offers.retain_mut(|(_, packs, _)| {
            *packs = (*packs).min(left);
            left -= *packs;
            *packs > 0
        });
        out.push(Group { pack, offers });
    }
    out
}

/// The least cost of at least 0, 1, … `most` modules before there is any seller.
fn nothing(most: usize) -> Vec<Option<u64>> {
    let mut cost = vec![None; most + 1];
    cost[0] = Some(0);
    cost
}

/// Adds the sellers of a group to a table. Exact: packs are bundled in powers of two and every bundle is taken or left.
fn add(cost: &mut [Option<u64>], group: &Group) {
    if group.pack == 1 {
        // Single modules come first, into an empty table.
        for (cost, sum) in cost.iter_mut().zip(group.costs()) {
            *cost = Some(sum);
        }
        return;
    }
    for (price, packs, _) in &group.offers {
        for bundle in bundles(*packs) {
            let modules = group.modules(bundle);
            let price = modules as u64 * price;
            for want in (1..cost.len()).rev() {
                if let Some(before) = cost[want.saturating_sub(modules)] {
                    let total = before + price;
                    if cost[want].is_none_or(|old| total < old) {
                        cost[want] = Some(total);
                    }
                }
            }
        }
    }
}

/// The least cost of at least 0, 1, … `most` modules; `None` where there are not so many.
fn table(sellers: &[Seller], most: usize) -> Vec<Option<u64>> {
    let mut cost = nothing(most);
    for group in groups(sellers, most) {
        add(&mut cost, &group);
    }
    cost
}

/// 1, 2, 4, … and the rest: every number up to `n` is a sum of some of them.
fn bundles(n: u32) -> Vec<u32> {
    let (mut left, mut next, mut out) = (n, 1, Vec::new());
    while left > 0 {
        let take = next.min(left);
        out.push(take);
        left -= take;
        next *= 2;
    }
    out
}

/// The least cost of `step * n` modules for n = 0, 1, … up to `most`, as far as there are so many.
pub fn curve(sellers: &[Seller], step: u32, most: usize) -> Vec<u64> {
    let have: u64 = sellers.iter().map(Seller::usable).sum();
    let reach = (have / u64::from(step.max(1))).min(most as u64) as usize;
    let table = table(sellers, reach * step as usize);
    (0..=reach).map_while(|n| table[n * step as usize]).collect()
}

/// How many of each lot are bought for at least `want` modules at the least cost; whole packs.
pub fn purchase(sellers: &[Seller], want: usize) -> Option<Vec<u32>> {
    let groups = groups(sellers, want);
    // The table with one size of pack more each time: walking it back tells what each size gave.
    let mut tables = vec![nothing(want)];
    for group in &groups {
        let mut next = tables.last()?.clone();
        add(&mut next, group);
        tables.push(next);
    }
    let mut bought = vec![0u32; sellers.len()];
    let (mut left, mut target) = (want, tables.pop()?[want]?);
    for group in groups.iter().rev() {
        let before = tables.pop()?;
        let rest = |packs: usize| left.saturating_sub(group.modules(packs as u32));
        let (packs, cost) = group
            .costs()
            .enumerate()
            .find(|(packs, cost)| before[rest(*packs)].is_some_and(|before| before + cost == target))?;
        (left, target) = (rest(packs), target - cost);
        let mut packs = packs as u32;
        for (_, there, seller) in &group.offers {
            let taken = packs.min(*there);
            bought[*seller] = taken * group.pack;
            packs -= taken;
        }
    }
    Some(bought)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every way of buying, written out.
    fn brute(sellers: &[Seller], want: u32) -> Option<u64> {
        match sellers.split_first() {
            None => (want == 0).then_some(0),
            Some((first, rest)) => (0..=first.count / first.pack)
                .filter_map(|packs| {
                    let modules = packs * first.pack;
                    brute(rest, want.saturating_sub(modules)).map(|c| c + u64::from(modules) * first.price)
                })
                .min(),
        }
    }

    #[test]
    fn of_a_long_list_only_what_can_be_needed_is_weighed() {
        let seller =
            |n: u32| Seller { count: 4 + n % 5, pack: [1, 2, 4][n as usize % 3], price: u64::from(n * 7919 % 500) };
        let sellers: Vec<Seller> = (0..30_000).map(seller).collect();
        let groups = groups(&sellers, 24);
        let packs: Vec<(u32, u32)> = groups.iter().map(|g| (g.pack, g.offers.iter().map(|o| o.1).sum())).collect();
        assert_eq!(packs, [(1, 24), (2, 12), (4, 6)]);
        let bought = purchase(&sellers, 24).unwrap();
        let cost: u64 = bought.iter().zip(&sellers).map(|(n, s)| u64::from(*n) * s.price).sum();
        assert_eq!(Some(cost), curve(&sellers, 1, 24).get(24).copied());
    }

    proptest! {
        #[test]
        fn the_curve_is_the_cheapest_way(
            lots in prop::collection::vec((0u32..9, 1u32..5, 0u64..40), 0..5), step in 1u32..4
        ) {
            let sellers: Vec<Seller> = lots.iter().map(|&(count, pack, price)| Seller { count, pack, price }).collect();
            let curve = curve(&sellers, step, 12);
            for n in 0..=12u32 {
                prop_assert_eq!(curve.get(n as usize).copied(), brute(&sellers, n * step));
                if let Some(bought) = purchase(&sellers, (n * step) as usize) {
                    let total: u64 = bought.iter().zip(&sellers).map(|(b, s)| u64::from(*b) * s.price).sum();
                    prop_assert_eq!(Some(total), brute(&sellers, n * step));
                    prop_assert!(bought.iter().sum::<u32>() >= n * step);
                    prop_assert!(bought.iter().zip(&sellers).all(|(b, s)| b % s.pack == 0 && *b <= s.count));
                }
            }
        }
    }
}
