//! Every way of filling one channel.

use super::build::{Family, Org, Shared};
use super::instance::{Class, Filling, Symbol};
use crate::plan::speed::{Rate, table};

/// Fillings one channel type may have before modules are set aside.
const FILLINGS: usize = 60_000;

/// Enumerates the fillings of one channel type.
pub struct Ways<'b, 'a> {
    pub shared: &'b Shared<'a>,
    pub family: &'b Family,
    pub orgs: &'b [Org],
    pub classes: &'b [Class],
    pub content: &'b [(Option<usize>, bool)],
    pub depth: usize,
    pub mult: u32,
}

impl Ways<'_, '_> {
    /// Adds every multiset of usable classes that begins with `row`.
    pub fn grow(&self, usable: &[usize], first: usize, row: &mut Vec<usize>, out: &mut Vec<(Symbol, Filling)>) {
        if out.len() > FILLINGS {
            self.shared.truncated.set(true);
            return;
        }
        if !row.is_empty() {
            self.put(row, false, out);
        }
        if row.len() < self.depth {
            for (at, &class) in usable.iter().enumerate().skip(first) {
                row.push(class);
                if self.ranks(row).is_some() {
                    self.grow(usable, at, row, out);
                }
                row.pop();
            }
        }
    }

    /// Ranks of a row when the channel carries them.
    fn ranks(&self, row: &[usize]) -> Option<u32> {
        let limits = &self.shared.problem.board.limits;
        let ranks: u32 = row.iter().map(|&c| self.orgs[c].1.map_or(0, u32::from)).sum();
        (limits.ranks_per_channel.is_none_or(|most| ranks <= u32::from(most))).then_some(ranks)
    }

    /// Adds a row of classes, in the order that keeps most fitted modules.
    pub fn put(&self, row: &[usize], fixed: bool, out: &mut Vec<(Symbol, Filling)>) {
        let board = self.shared.problem.board;
        let per_channel = row.len() as u8;
        let slow = row.iter().any(|&c| match table(board, self.family.kind, self.orgs[c].1, per_channel) {
            Rate::Mts(mts) => mts < self.family.mts,
            Rate::NotAllowed => true,
            Rate::Unknown => false,
        });
        if slow || self.ranks(row).is_none() {
            return;
        }
        let first = board.limits.more_ranks_first == Some(true);
        let mut best: Option<(usize, Vec<usize>)> = None;
        let mut order = row.to_vec();
        // The order to fall back on: larger first, then more ranks first (common practice).
        if !fixed {
            order.sort_by_key(|&c| {
                let (size, ranks) = (self.classes[c].size, self.orgs[c].1);
                let key =
                    if first { (u32::from(ranks.unwrap_or(0)), size) } else { (size, u32::from(ranks.unwrap_or(0))) };
                (std::cmp::Reverse(key), c)
            });
        }
        let mut consider = |order: &[usize]| {
            // What is not known is not judged: `None` is neither more nor fewer.
            let more = |w: &[usize]| self.orgs[w[0]].1.is_some_and(|ranks| Some(ranks) < self.orgs[w[1]].1);
            if first && order.windows(2).any(more) {
                return;
            }
            if let Some(keeps) = self.keeps(order)
                && best.as_ref().is_none_or(|b| keeps > b.0)
            {
                best = Some((keeps, order.to_vec()));
            }
        };
        consider(&order);
        if !fixed && order.len() <= 6 && self.content.iter().any(|c| c.0.is_some() || c.1) {
            permutations(&order, &mut consider);
        }
        let Some((keeps, order)) = best else { return };
        let mut usage: Vec<(usize, u32)> = Vec::new();
        for &c in row {
            match usage.iter_mut().find(|u| u.0 == c) {
                Some(u) => u.1 += self.mult,
                None => usage.push((c, self.mult)),
            }
        }
        let cap: u32 = row.iter().map(|&c| self.classes[c].size).sum();
        let (w, modules) = (self.shared.weights, i128::from(self.mult) * row.len() as i128);
        let worth = w.moves * (modules - 2 * keeps as i128)
            + w.modules * modules
            + w.memory * i128::from(cap) * i128::from(self.mult);
        out.push((Symbol { cap, depth: per_channel }, Filling { order, usage, worth }));
    }

    /// Fitted modules that stay when the channel (of every socket filled by it) is filled in this order; `None` when one
    /// that must stay would not.
    fn keeps(&self, order: &[usize]) -> Option<usize> {
        let mut keeps = 0;
        for (n, &(class, stays)) in self.content.iter().enumerate() {
            let position = n % self.depth.max(1);
            let same = class.is_some() && order.get(position).copied() == class;
            if stays && !same {
                return None;
            }
            keeps += usize::from(same);
        }
        Some(keeps)
    }
}

fn permutations(row: &[usize], each: &mut dyn FnMut(&[usize])) {
    fn go(left: &mut Vec<usize>, done: &mut Vec<usize>, each: &mut dyn FnMut(&[usize])) {
        if left.is_empty() {
            each(done);
        }
        for i in 0..left.len() {
            if left[..i].contains(&left[i]) {
                continue;
            }
            let c = left.remove(i);
            done.push(c);
            go(left, done, each);
            done.pop();
            left.insert(i, c);
        }
    }
    go(&mut row.to_vec(), &mut Vec::new(), each);
}
