//! What so many modules of one sort cost: lots with counts, packs and prices, bought as cheaply as can be.

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

/// The least cost of at least 0, 1, … `most` modules; `None` where there are not so many. Exact: packs are bundled in
/// powers of two and every bundle is taken or left.
fn table(sellers: &[Seller], most: usize) -> Vec<Option<u64>> {
    let mut cost: Vec<Option<u64>> = vec![None; most + 1];
    cost[0] = Some(0);
    let mut singles: Vec<&Seller> = sellers.iter().filter(|s| s.pack <= 1).collect();
    singles.sort_by_key(|s| s.price);
    let (mut have, mut paid) = (0usize, 0u64);
    for seller in singles {
        for _ in 0..seller.count {
            if have == most {
                break;
            }
            have += 1;
            paid += seller.price;
            cost[have] = Some(paid);
        }
    }
    for seller in sellers.iter().filter(|s| s.pack > 1) {
        let packs = (seller.count / seller.pack).min(most as u32 / seller.pack + 1);
        for bundle in bundles(packs) {
            let (modules, price) = bundle_of(seller, bundle);
            for want in (1..=most).rev() {
                if let Some(before) = cost[want.saturating_sub(modules)] {
                    let total = before + price;
                    if cost[want].is_none_or(|old| total < old) {
                        cost[want] = Some(total);
                    }
                }
            }
        }
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

fn bundle_of(seller: &Seller, packs: u32) -> (usize, u64) {
    let modules = u64::from(packs) * u64::from(seller.pack);
    (modules as usize, modules * seller.price)
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
    // The table with one lot more each time: walking it back tells what each lot gave.
    let mut bought = vec![0u32; sellers.len()];
    let mut order: Vec<usize> = (0..sellers.len()).collect();
    order.sort_by_key(|&i| (sellers[i].pack > 1, sellers[i].price));
    let full = table(sellers, want);
    let mut left = want;
    let mut target = full[want]?;
    let mut rest: Vec<usize> = order;
    while let Some(last) = rest.pop() {
        if left == 0 {
            break;
        }
        let seller = sellers[last];
        let others: Vec<Seller> = rest.iter().map(|&i| sellers[i]).collect();
        let before = table(&others, left);
        let pack = seller.pack.max(1);
        let most = (seller.count / pack).min(left as u32 / pack + 1);
        let packs = (0..=most).find(|&packs| {
            let (modules, price) = bundle_of(&Seller { pack, ..seller }, packs);
            before[left.saturating_sub(modules)].is_some_and(|cost| cost + price == target)
        })?;
        let (modules, price) = bundle_of(&Seller { pack, ..seller }, packs);
        bought[last] = modules as u32;
        left = left.saturating_sub(modules);
        target -= price;
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
