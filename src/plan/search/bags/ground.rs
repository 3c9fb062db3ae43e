//! What the bags of one family have in common.

use super::super::family::Plan;
use super::super::instance::{Choice, INF, Instance};
use super::most::widths;

/// One way of filling a channel.
#[derive(Debug, Clone)]
pub struct Row {
    pub symbol: usize,
    filling: usize,
    /// Class and how many, the largest first.
    pub uses: Vec<(usize, u16)>,
    /// Granules.
    pub cap: u32,
    pub depth: u8,
    /// What it adds to the worth beside its modules: unevenness.
    pub extra: i128,
}

/// A family whose bags can be searched.
#[derive(Debug)]
pub struct Ground<'i> {
    pub instance: &'i Instance<'i>,
    pub rows: Vec<Row>,
    /// Rows by their first class.
    pub by_first: Vec<Vec<usize>>,
    /// Worth of 0, 1, … modules of a class: cost, handlings, slots, memory.
    pub own: Vec<Vec<i128>>,
    /// Channels of each searched socket.
    pub channels: Vec<usize>,
    pub depth: usize,
    pub slots: usize,
    /// What a MB/s is worth.
    pub mb_s: i128,
    /// From socket `s` on, with so many modules: the most channels' worth of bandwidth.
    pub wide: Vec<Vec<u64>>,
}

impl<'i> Ground<'i> {
    /// `None` for a family that is not searched by bags: fitted modules, channels that differ.
    pub fn new(instance: &'i Instance<'i>) -> Option<Self> {
        let one = instance.bare && instance.types.len() == 1 && instance.kinds.iter().all(|k| k.runs.len() == 1);
        if !one || instance.types[0].empty != Some(0) || instance.classes.len() > 64 {
            return None;
        }
        let (w, mult) = (instance.weights, i128::from(instance.mult));
        let each = |size: u32| (w.moves + w.modules + w.memory * i128::from(size)) * mult;
        let own = instance
            .classes
            .iter()
            .map(|class| {
                class
                    .curve
                    .iter()
                    .step_by(instance.mult as usize)
                    .enumerate()
                    .map(|(n, cost)| cost + each(class.size) * n as i128)
                    .collect()
            })
            .collect();
        let mut rows: Vec<Row> = Vec::new();
        for (symbol, fillings) in instance.types[0].fillings.iter().enumerate() {
            for (filling, made) in fillings.iter().enumerate() {
                let mut uses: Vec<(usize, u16)> =
                    made.usage.iter().map(|&(c, n)| (c, (n / instance.mult) as u16)).collect();
                uses.sort_unstable();
                let modules: i128 = made.order.iter().map(|&c| each(instance.classes[c].size)).sum();
                let (cap, depth) = (instance.symbols[symbol].cap, instance.symbols[symbol].depth);
                rows.push(Row { symbol, filling, uses, cap, depth, extra: made.worth - modules });
            }
        }
        let mut by_first = vec![Vec::new(); instance.classes.len()];
        for (at, row) in rows.iter().enumerate() {
            by_first[row.uses.first()?.0].push(at);
        }
        let channels: Vec<usize> = instance.sockets.iter().map(|&k| instance.kinds[k].runs[0].1 as usize).collect();
        let depth = rows.iter().map(|r| usize::from(r.depth)).max()?;
        let slots = channels.iter().sum::<usize>() * depth;
        let wide = widths(instance, &channels, slots);
        Some(Self { instance, rows, by_first, own, channels, depth, slots, mb_s: w.bandwidth * mult, wide })
    }

    /// The most so many modules can gain by where they stand.
    pub fn gain(&self, modules: usize) -> i128 {
        self.gain_from(0, modules)
    }

    /// The same for the sockets from `socket` on.
    pub fn gain_from(&self, socket: usize, modules: usize) -> i128 {
        let channels = self.wide[socket][modules.min(self.slots)];
        self.mb_s * i128::from(channels * self.instance.channel_mb_s)
    }

    /// Whether a socket can be as wide as can be in more ways than by channels that are all alike.
    pub fn loose(&self) -> bool {
        self.channels.iter().any(|&n| self.instance.widest(n as u32) < n as u64)
    }

    /// Whether a socket that holds this may be as wide as can be: equal shares, none smaller than its largest module.
    pub fn even(&self, socket: usize, bag: &[u16]) -> bool {
        let wide = self.instance.widest(self.channels[socket] as u32) as u32;
        let (mut all, mut largest, mut modules) = (0u32, 0u32, 0u32);
        for (&n, class) in bag.iter().zip(&self.instance.classes).filter(|(n, _)| **n > 0) {
            all += u32::from(n) * class.size;
            modules += u32::from(n);
            largest = largest.max(class.size);
        }
        modules >= wide && wide > 0 && all.is_multiple_of(wide) && largest * wide <= all
    }

    /// The most any bag can gain.
    pub fn most_gain(&self) -> i128 {
        self.gain(self.slots)
    }

    /// What a bag is worth wherever it stands.
    pub fn worth(&self, bag: &[u16]) -> i128 {
        bag.iter().zip(&self.own).map(|(&n, own)| own[usize::from(n)]).sum()
    }

    /// From each class on, the least of something that brings at least (or exactly) so many granules.
    pub fn suffixes<T: Copy + Ord + Default>(
        &self,
        none: T,
        of: impl Fn(usize, usize) -> T,
        add: impl Fn(T, T) -> Option<T>,
    ) -> Vec<Vec<T>> {
        let need = self.instance.need as usize;
        let exact = self.instance.most == self.instance.need;
        let classes = self.own.len();
        let mut tables = vec![vec![none; need + 1]; classes + 1];
        tables[classes][0] = T::default();
        for c in (0..classes).rev() {
            let size = self.instance.classes[c].size as usize;
            let (before, after) = tables.split_at_mut(c + 1);
            for (want, cell) in before[c].iter_mut().enumerate() {
                for n in 0..self.own[c].len() {
                    let left = want.saturating_sub(n * size);
                    if exact && n * size > want {
                        break;
                    }
                    let rest = after[0][left];
                    if rest != none
                        && let Some(sum) = add(rest, of(c, n))
                    {
                        *cell = (*cell).min(sum);
                    }
                }
            }
        }
        tables
    }

    /// The least an arrangement of a whole bag adds to its worth that is as good as this in all that was asked for.
    pub fn as_good(&self, bag: &[u16], worth: i128) -> i128 {
        let own = self.worth(bag);
        self.instance.weights.as_good(own + worth) - own
    }

    /// The plan of an arrangement: rows of each searched socket.
    pub fn plan(&self, worth: i128, sockets: &[Vec<usize>]) -> Plan {
        let mut split: std::collections::BTreeMap<(usize, usize), Vec<u32>> = std::collections::BTreeMap::new();
        let mut choices = Vec::new();
        for (rows, &channels) in sockets.iter().zip(&self.channels) {
            choices.push(self.choice(rows, channels));
            for &at in rows {
                let row = &self.rows[at];
                let fillings = self.instance.types[0].fillings[row.symbol].len();
                split.entry((0, row.symbol)).or_insert_with(|| vec![0; fillings])[row.filling] += 1;
            }
        }
        Plan { worth, sockets: choices, split: split.into_iter().collect() }
    }

    /// What the places of a socket hold.
    pub fn choice(&self, rows: &[usize], channels: usize) -> Choice {
        let mut symbols: Vec<usize> = rows.iter().map(|&at| self.rows[at].symbol).collect();
        symbols.sort_unstable();
        let empty = channels.saturating_sub(symbols.len());
        symbols.into_iter().map(|s| (0, Some(s))).chain(std::iter::repeat_n((0, None), empty)).collect()
    }

    /// MB/s of a socket that holds these rows, where they follow from the channels alone.
    pub fn mb_s_of(&self, rows: &[usize]) -> u64 {
        self.instance.sliced(rows.iter().map(|&at| self.rows[at].cap)).unwrap_or(0)
    }

    /// What an arrangement of socket `socket` adds to the worth of its bag; `None` when a rule forbids it.
    pub fn judge(&self, socket: usize, rows: &[usize]) -> Option<i128> {
        let kind = &self.instance.kinds[self.instance.sockets[socket]];
        let choice = self.choice(rows, self.channels[socket]);
        let judged = super::super::columns::judge(self.instance, kind, &choice)?;
        let extra: i128 = rows.iter().map(|&at| self.rows[at].extra).sum();
        Some((judged.fixed + extra).min(INF))
    }
}
