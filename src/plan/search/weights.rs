//! One whole number for a whole order of preference: each criterion weighs more than all after it can add up to.

use super::problem::{Criterion, SearchError};

/// The largest value each criterion takes, over all plans of the search.
#[derive(Debug, Clone, Copy)]
pub struct Ranges {
    pub mb_s: u64,
    pub cost: u64,
    pub slots: u64,
    /// Granules of memory.
    pub memory: u64,
    pub sockets: u64,
    pub channels: u64,
}

/// Weight of one step of each criterion. The number that is made smaller is `cost * w.cost - mb_s * w.bandwidth + …`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weights {
    pub bandwidth: i128,
    pub cost: i128,
    pub moves: i128,
    pub modules: i128,
    /// Added per granule; negative when more memory is better.
    pub memory: i128,
    pub narrow: i128,
    pub uneven: i128,
    /// Of channels that are not alike the first in the board file is filled deeper.
    pub order: i128,
    /// One step of the last criterion that was asked for; what is below it only settles ties.
    pub asked: i128,
    /// The least all that settles ties can add up to, made positive.
    pub below: i128,
}

/// Steps of the settlement for channels in use, per socket: channels beyond that many count no more.
pub const NARROW: u64 = 64;
/// Steps of the board order of channels: types beyond that many count alike.
pub const ORDER: u64 = 31;
/// Steps of a channel's fill; the sum of their squares settles evenness, over channels and sockets alike.
pub const FILL: u64 = 255;

impl Weights {
    /// Weights for an order of criteria.
    ///
    /// # Errors
    /// When the numbers would not fit.
    pub fn new(order: [Criterion; 5], r: Ranges) -> Result<Self, SearchError> {
        let mut w = Self {
            bandwidth: 0,
            cost: 0,
            moves: 0,
            modules: 0,
            memory: 0,
            narrow: 0,
            uneven: 0,
            order: 1,
            asked: 1,
            below: 0,
        };
        let mut next = 1i128;
        let mut step = |range: u64| {
            next =
                next.checked_mul(i128::from(range) + 1).filter(|n| *n < i128::MAX / 64).ok_or(SearchError::TooLarge)?;
            Ok::<i128, SearchError>(next)
        };
        w.uneven = step(r.slots * ORDER)?;
        w.narrow = step(r.channels * FILL * FILL)?;
        let mut range = r.sockets * NARROW;
        for (place_from_last, criterion) in order.iter().rev().enumerate() {
            let weight = step(range)?;
            if place_from_last == 1 {
                w.asked = weight;
            }
            let (place, sign, this) = match criterion {
                Criterion::Bandwidth => (&mut w.bandwidth, 1, r.mb_s),
                Criterion::Cost => (&mut w.cost, 1, r.cost),
                Criterion::Moves => (&mut w.moves, 1, 3 * r.slots),
                Criterion::Modules => (&mut w.modules, 1, r.slots),
                Criterion::MoreMemory => (&mut w.memory, -1, r.memory),
                Criterion::LessMemory => (&mut w.memory, 1, r.memory),
            };
            *place = weight * sign;
            if place_from_last == 0 && sign < 0 {
                w.below = weight * i128::from(this);
            }
            range = this;
        }
        step(range)?;
        Ok(w)
    }

    /// The least worth that is as good as this one in all that was asked for.
    pub fn as_good(&self, worth: i128) -> i128 {
        (worth + self.below).div_euclid(self.asked) * self.asked - self.below
    }
}
