//! One family of plans: one kind, a lowest rate, and the modules that may stand together; what each channel may hold.

use std::collections::BTreeMap;

use crate::board::InterleaveStyle;

/// No plan.
pub const INF: i128 = i128::MAX / 8;

/// Modules the rules cannot tell apart.
#[derive(Debug, Clone)]
pub struct Class {
    /// Size in granules.
    pub size: u32,
    /// Weighed cost of 0, 1, … of them per unit.
    pub curve: Vec<i128>,
    /// Plain cost of 0, 1, … of them per unit, all units together, in hundredths.
    pub cost: Vec<u64>,
}

/// One way of filling a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Filling {
    /// Class at each position, first filled first.
    pub order: Vec<usize>,
    /// Class and how many, over all sockets filled by it.
    pub usage: Vec<(usize, u32)>,
    /// Weighed moves, modules and memory.
    pub worth: i128,
}

/// Capacity and depth of a filling: all the bandwidth and the count rule see of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Symbol {
    /// Granules.
    pub cap: u32,
    pub depth: u8,
}

/// Channels that are alike: same slots, same fitted modules.
#[derive(Debug, Clone, Default)]
pub struct ChannelType {
    /// Fillings by symbol (index into [`Instance::symbols`]).
    pub fillings: Vec<Vec<Filling>>,
    /// Worth of leaving it empty; `None` when something must stay.
    pub empty: Option<i128>,
}

/// Sockets that are alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SocketKind {
    /// Runs of channels of one type: type, how many.
    pub runs: Vec<(usize, u32)>,
    /// Channel index of the socket for each place in the runs.
    pub places: Vec<usize>,
    /// Controller of each channel, by channel index.
    pub controllers: Vec<Option<u8>>,
    /// Most granules its processor addresses.
    pub most: u32,
    /// Module counts allowed; empty when any.
    pub counts: Vec<u32>,
    /// Whether filled channels must be equally deep.
    pub same_depth: bool,
}

/// One family.
#[derive(Debug, Clone)]
pub struct Instance<'a> {
    pub interleave: Option<&'a crate::board::Interleave>,
    pub classes: Vec<Class>,
    /// Larger first.
    pub symbols: Vec<Symbol>,
    pub types: Vec<ChannelType>,
    pub kinds: Vec<SocketKind>,
    /// Kind of each socket searched; with matching sockets there is one that stands for all.
    pub sockets: Vec<usize>,
    /// Sockets one searched socket stands for.
    pub mult: u32,
    /// Granules per searched socket group: at least, at most.
    pub need: u32,
    pub most: u32,
    /// MB/s of one channel at the family's rate.
    pub channel_mb_s: u64,
    /// Widths the controller may use, widest first.
    pub ways: Vec<u32>,
    pub weights: super::weights::Weights,
    /// For each number of granules the most a channel can hold that is not more; empty where granules are not counted one
    /// by one.
    pub floors: Vec<u32>,
    /// Budget in hundredths.
    pub budget: Option<u64>,
    /// No fitted module has a place of its own and no controller: only what a channel holds counts.
    pub bare: bool,
}

/// Channels of a socket whose slices are counted.
const MOST_CHANNELS: usize = 64;

/// What each place of a socket holds: channel type and symbol, `None` for empty.
pub type Choice = Vec<(usize, Option<usize>)>;

/// A demand as a key: type, symbol and channels in one number each, because many are kept.
pub type DemandKey = Box<[u64]>;

/// The key of a demand, told in its order.
pub fn key(demand: impl Iterator<Item = ((usize, usize), u32)>) -> DemandKey {
    demand.map(|((t, symbol), n)| (t as u64) << 48 | (symbol as u64) << 24 | u64::from(n)).collect()
}

/// How many channels of each type hold each symbol: the demand a choice of modules must meet.
pub type Demand = BTreeMap<(usize, usize), u32>;

impl Instance<'_> {
    /// The widest way over `n` channels.
    pub fn widest(&self, n: u32) -> u64 {
        self.ways.iter().copied().find(|&w| w <= n).map_or(u64::from(n.min(1)), u64::from)
    }

    /// Whether a socket's MB/s follow from what its channels hold, slice by slice: [`Instance::sliced`].
    pub fn slices(&self) -> bool {
        self.bare && self.interleave.is_none_or(|i| i.style == InterleaveStyle::Slice)
    }

    /// MB/s of a socket whose channels hold this: slices over the channels with most left, as
    /// [`crate::plan::interleave::regions`] makes them. `None` for more channels than are counted here.
    pub fn sliced(&self, caps: impl Iterator<Item = u32>) -> Option<u64> {
        let mut left = [0u32; MOST_CHANNELS];
        let mut n = 0;
        for cap in caps {
            *left.get_mut(n)? = cap;
            n += 1;
        }
        let all: u64 = left[..n].iter().map(|&cap| u64::from(cap)).sum();
        let mut time = 0u64;
        loop {
            left[..n].sort_unstable_by(|a, b| b.cmp(a));
            while n > 0 && left[n - 1] == 0 {
                n -= 1;
            }
            if n == 0 {
                return Some((all * self.channel_mb_s).checked_div(time).unwrap_or(0));
            }
            let wide = self.widest(n as u32) as usize;
            let height = left[wide - 1];
            left[..wide].iter_mut().for_each(|cap| *cap -= height);
            time += u64::from(height);
        }
    }

    /// The most MB/s of a socket with `n` filled channels, `cap` granules in all and `fullest` on one channel: no region is
    /// wider than the widest way, a stream takes at least as long as the fullest channel, and only what the emptiest
    /// channel holds can be spread over all of them.
    pub fn most_mb_s(&self, n: u32, cap: u64, fullest: u32) -> u64 {
        if n == 0 || fullest == 0 {
            return 0;
        }
        let emptiest =
            if n == 1 { u64::from(fullest) } else { cap.saturating_sub(u64::from(fullest)) / u64::from(n - 1) };
        self.most_mb_s_with(n, cap, u64::from(fullest), emptiest)
    }

    /// The same when the emptiest channel holds `emptiest` granules at most; `u64::MAX` when that is not known.
    pub fn most_mb_s_with(&self, n: u32, cap: u64, fullest: u64, emptiest: u64) -> u64 {
        if n == 0 || fullest == 0 {
            return 0;
        }
        let (wide, rate) = (self.widest(n), self.channel_mb_s);
        let mb_s = |time: u64, share: u64| (rate * cap * share).checked_div(time).unwrap_or(0);
        let best = mb_s(cap, wide).min(mb_s(fullest, 1));
        if wide != u64::from(n) || n == 1 || emptiest == u64::MAX {
            return best;
        }
        let emptiest = match self.floors.get(emptiest as usize) {
            Some(&floor) => u64::from(floor),
            None => emptiest,
        };
        // Were the emptiest channel emptier, more would be left for narrower regions: the time would only be longer. How
        // many channels what is left lies on cannot be told from here, so it is taken to lie on all but one.
        let left = cap.saturating_sub(emptiest * wide);
        let next = self.widest(n - 1).max(1);
        best.min(mb_s(emptiest * next + left, next))
    }
}
