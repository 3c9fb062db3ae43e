//! One whole number for a whole order of preference: each criterion weighs more than all after it can add up to.

use super::problem::{Criterion, Problem, SearchError};
use crate::plan::interleave::MB_S_PER_MTS;

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

impl Ranges {
    /// Those of a problem, with so many slots a unit, sockets and granules a socket; `None` where they are too large to count.
    pub fn of(problem: &Problem<'_>, slots: usize, full: u64, sockets: u64) -> Option<Self> {
        let dearest = problem.lots.iter().map(|l| l.price.0).max().unwrap_or(0);
        let pack = problem.lots.iter().map(|l| u64::from(l.pack)).max().unwrap_or(1);
        let modules = slots as u64 * u64::from(problem.units);
        let all: u128 = problem.lots.iter().map(|l| u128::from(l.price.0) * u128::from(l.count)).sum();
        // Every class is overbought by less than a pack.
        let most = u128::from(dearest) * u128::from(modules + pack * slots as u64);
        let rates = problem.lots.iter().filter_map(|l| l.spec.mts);
        let rates = rates.chain(problem.fitted.iter().flatten().filter_map(|f| f.seat.spec.mts));
        let rates = rates.chain(problem.board.speed.iter().map(|r| r.mts));
        let fastest =
            rates.chain(problem.cpus.iter().flatten().filter_map(|c| c.mts)).max().map_or(1, |m| u64::from(m.0));
        let channels: u64 = problem.board.socket.iter().map(|s| s.channel.len() as u64).sum();
        Some(Self {
            mb_s: fastest.checked_mul(MB_S_PER_MTS)?.checked_mul(channels)?,
            cost: u64::try_from(all.min(most)).ok()?,
            slots: slots as u64,
            memory: full * sockets,
            sockets,
            channels,
        })
    }
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
    /// Of a socket's fill: the square, so that sockets are filled alike.
    pub lopsided: i128,
    pub uneven: i128,
    /// Of channels that are not alike the first in the board file is filled deeper.
    pub order: i128,
    /// One step of the last criterion that was asked for; what is below it only settles ties.
    pub asked: i128,
    /// The least all that settles ties can add up to, made positive.
    pub below: i128,
}

/// Steps of the settlement for channels in use, per socket: channels beyond that many count no more.
pub const NARROW: u64 = 32;
/// Steps of the board order of channels: types beyond that many count alike.
pub const ORDER: u64 = 7;
/// Steps of a socket's fill; the sum of their squares settles evenness over the sockets.
pub const SOCKET_FILL: u64 = 15;
/// Steps of a channel's fill; the sum of their squares settles evenness over the channels.
pub const FILL: u64 = 31;

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
            lopsided: 0,
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
        w.lopsided = step(r.channels * FILL * FILL)?;
        w.narrow = step(r.sockets * SOCKET_FILL * SOCKET_FILL)?;
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
