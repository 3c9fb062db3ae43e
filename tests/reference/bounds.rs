//! What any strategy needs at least or exactly, computed without the program: entropy, Huffman lengths, the best sequence of
//! yes/no tests, weighings, pooled tests, the order of repairs.

use std::collections::HashMap;

/// Bits.
pub fn entropy(shares: &[f64]) -> f64 {
    shares.iter().filter(|p| **p > 0.0).map(|p| -p * p.log2()).sum()
}

/// Mean length of the best code of `ways` letters.
pub fn huffman(shares: &[f64], ways: usize) -> f64 {
    let mut left = shares.to_vec();
    while !(left.len() - 1).is_multiple_of(ways - 1) {
        left.push(0.0);
    }
    let mut length = 0.0;
    while left.len() > 1 {
        left.sort_by(|a, b| b.total_cmp(a));
        let joined: f64 = left.split_off(left.len() - ways).iter().sum();
        length += joined;
        left.push(joined);
    }
    length
}

/// Expected tests of the best sequence: `rows[state]` is a bit per test. With `greedy` the test of largest gain instead.
pub fn sequence(shares: &[f64], rows: &[u32], tests: u32, greedy: bool) -> f64 {
    fn cost(set: u32, s: &[f64], rows: &[u32], tests: u32, greedy: bool, known: &mut HashMap<u32, f64>) -> f64 {
        if set.count_ones() <= 1 {
            return 0.0;
        }
        if let Some(cost) = known.get(&set) {
            return *cost;
        }
        let mass = |set: u32| -> f64 { (0..s.len()).filter(|n| set >> n & 1 == 1).map(|n| s[n]).sum() };
        let passes =
            |t: u32| (0..s.len()).filter(|n| set >> n & 1 == 1 && rows[*n] >> t & 1 == 1).fold(0, |m, n| m | 1 << n);
        let mut splits: Vec<(f64, u32)> = (0..tests)
            .map(passes)
            .filter(|yes| *yes != 0 && *yes != set)
            .map(|yes| (entropy(&[mass(yes) / mass(set), mass(set & !yes) / mass(set)]), yes))
            .collect();
        if greedy {
            splits.sort_by(|a, b| b.0.total_cmp(&a.0));
            splits.truncate(1);
        }
        let best = splits
            .into_iter()
            .map(|(_, yes)| {
                mass(set) + cost(yes, s, rows, tests, greedy, known) + cost(set & !yes, s, rows, tests, greedy, known)
            })
            .fold(f64::INFINITY, f64::min);
        known.insert(set, best);
        best
    }
    cost((1 << shares.len()) - 1, shares, rows, tests, greedy, &mut HashMap::new())
}

/// Expected cost of repairs in this order, each tried until the trouble is gone.
pub fn repairs(order: &[usize], chance: &[f64], cost: &[f64]) -> f64 {
    let mut left = 1.0;
    order
        .iter()
        .map(|n| {
            let spent = left * cost[*n];
            left -= chance[*n];
            spent
        })
        .sum()
}
