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

/// Nested pools: whoever is left over from a pool that failed goes back among those nothing is known of.
pub struct Nested {
    /// By how many nothing is known of: the expected tests and the size of the first pool.
    pub open: Vec<(f64, usize)>,
    /// By how many there are in all: the expected tests once all of these together failed, and the size of the next pool.
    pub failed: (f64, usize),
}

/// Expected tests of the best nested pools for up to `count`, each faulty with chance `faulty`.
pub fn nested(count: usize, faulty: f64) -> Nested {
    let clean: Vec<f64> = (0..=count).map(|n| (1.0 - faulty).powi(n as i32)).collect();
    let mut open = vec![(0.0, 0)];
    // `rows[n][m]`: n left in all, m of them known to hold at least one that is faulty.
    let mut rows: Vec<Vec<f64>> = vec![vec![0.0]];
    let mut failed = (0.0, 0);
    for n in 1..=count {
        let mut row = vec![0.0; n + 1];
        row[1] = open[n - 1].0;
        for m in 2..=n {
            let mut best = (f64::INFINITY, 0);
            for pool in 1..m {
                let works = (clean[pool] - clean[m]) / (1.0 - clean[m]);
                let tests = 1.0 + works * rows[n - pool][m - pool] + (1.0 - works) * row[pool];
                if tests < best.0 {
                    best = (tests, pool);
                }
            }
            row[m] = best.0;
            failed = best;
        }
        let first = |pool: usize| 1.0 + clean[pool] * open[n - pool].0 + (1.0 - clean[pool]) * row[pool];
        let pools = (1..=n).map(|pool| (first(pool), pool));
        open.push(pools.fold((f64::INFINITY, 0), |best, next| if next.0 < best.0 { next } else { best }));
        rows.push(row);
    }
    Nested { open, failed }
}

/// Expected tests when all are pooled first and what is left over from a pool that failed is pooled by itself.
pub fn apart(count: usize, faulty: f64) -> (f64, usize) {
    let clean: Vec<f64> = (0..=count).map(|n| (1.0 - faulty).powi(n as i32)).collect();
    let mut failed = vec![(0.0, 0); 2];
    for m in 2..=count {
        let tests = |pool: usize| {
            let works = (clean[pool] - clean[m]) / (1.0 - clean[m]);
            let rest = m - pool;
            let left: f64 = 1.0 + (1.0 - clean[rest]) * failed[rest].0;
            1.0 + works * failed[rest].0 + (1.0 - works) * (failed[pool].0 + left)
        };
        let pools = (1..m).map(|pool| (tests(pool), pool));
        let best = pools.fold((f64::INFINITY, 0), |best: (f64, usize), next| if next.0 < best.0 { next } else { best });
        failed.push(best);
    }
    (1.0 + (1.0 - clean[count]) * failed[count].0, failed[count].1)
}
