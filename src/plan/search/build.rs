//! From a problem to its families.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::curve::{Seller, curve};
use super::fillings::Ways;
use super::instance::{ChannelType, Class, Filling, Instance, SocketKind, Symbol};
use super::problem::{Problem, SearchError, Target};
use super::weights::{FILL, ORDER, Ranges, Weights};
use crate::board::{Across, Board, Mixing};
use crate::module::{Kind, ModuleSpec};
use crate::plan::interleave::MB_S_PER_MTS;
use crate::plan::same_volts;
use crate::units::{Mts, Size, gcd};

/// What the rules may tell modules apart by: size in MiB, ranks, width; `None` is not known or not looked at.
pub type Org = (u64, Option<u8>, Option<u8>);

/// Which modules may stand together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Template {
    Free,
    /// All modules alike.
    Alike(Org),
    /// Alike at each position.
    ByPosition(Vec<Org>),
}

/// One family: what its plans have in common.
#[derive(Debug, Clone)]
pub struct Family {
    pub kind: Kind,
    /// Its plans run at this rate at least.
    pub mts: Mts,
    ranks: Option<Option<u8>>,
    width: Option<Option<u8>>,
    pub template: Template,
}

/// What all families share.
#[derive(Debug)]
pub struct Shared<'a> {
    pub problem: &'a Problem<'a>,
    /// Sockets with a processor.
    pub sockets: Vec<usize>,
    /// Whether they are filled alike, as one.
    pub matched: bool,
    /// Slot indices by socket (of the board), channel, and place in filling order.
    pub slots: Vec<Vec<Vec<usize>>>,
    /// MiB to a granule.
    pub granule: u64,
    pub weights: Weights,
    /// Granules of the fullest channel there can be.
    full: u32,
    total_slots: usize,
    curves: std::cell::RefCell<HashMap<(Kind, u32, Org, bool), CurveOf>>,
    pub notes: std::cell::RefCell<BTreeSet<String>>,
    pub truncated: std::cell::Cell<bool>,
}

/// Class and `stays` of the fitted module at each place of a channel, over all sockets filled alike.
pub type Content = Vec<(Option<usize>, bool)>;

type CurveOf = (Vec<u64>, Vec<usize>);

/// A family's instance with the way back to lots and slots.
#[derive(Debug)]
pub struct Built<'a> {
    pub instance: Instance<'a>,
    /// Lots of each class.
    pub lots: Vec<Vec<usize>>,
    /// Class of each fitted module, by slot.
    pub fitted: Vec<Option<usize>>,
    /// Sockets that take modules, in board order.
    pub sockets: Vec<usize>,
    /// Kind of each searched socket, in board order.
    kind_of: Vec<usize>,
}

impl<'a> Shared<'a> {
    /// Looks a problem over.
    ///
    /// # Errors
    /// When there is nothing to search.
    pub fn new(problem: &'a Problem<'a>) -> Result<Self, SearchError> {
        let board = problem.board;
        if problem.units == 0 || problem.units > 10_000 {
            return Err(SearchError::Units(problem.units));
        }
        if problem.target.size().mib() == 0 {
            return Err(SearchError::NoTarget);
        }
        let mut slots: Vec<Vec<Vec<usize>>> = board.socket.iter().map(|s| vec![Vec::new(); s.channel.len()]).collect();
        let mut place: Vec<(u8, usize, usize, usize)> =
            board.slots().map(|at| (at.slot.position, at.index, at.socket_index, at.channel_index)).collect();
        place.sort_unstable();
        for (_, index, socket, channel) in place {
            slots[socket][channel].push(index);
        }
        let total_slots = board.slots().count();
        if total_slots == 0 {
            return Err(SearchError::NoSlots(board.name.clone()));
        }
        let sockets: Vec<usize> =
            (0..board.socket.len()).filter(|&s| problem.cpus.get(s).is_some_and(Option::is_some)).collect();
        if sockets.is_empty() {
            return Err(SearchError::NoProcessor);
        }
        let matched = board.limits.sockets_match == Some(true) && sockets.len() > 1;
        let shape = |s: usize| (slots[s].iter().map(Vec::len).collect::<Vec<_>>(), wiring(board, s));
        if matched && sockets.iter().any(|&s| shape(s) != shape(sockets[0])) {
            return Err(SearchError::SocketsDiffer(board.name.clone()));
        }
        let sizes = || {
            let lots = problem.lots.iter().map(|l| l.spec.gib.mib());
            lots.chain(problem.fitted.iter().flatten().map(|f| f.seat.spec.gib.mib()))
        };
        let granule = sizes().fold(0, gcd).max(1);
        let deepest = slots.iter().flatten().map(Vec::len).max().unwrap_or(0) as u64;
        let widest = slots.iter().map(|s| s.iter().map(Vec::len).sum::<usize>()).max().unwrap_or(0) as u64;
        let largest = sizes().max().unwrap_or(0) / granule;
        let full = u32::try_from(deepest * largest).ok().filter(|f| *f < 1 << 24).ok_or(SearchError::TooLarge)?;
        let ranges =
            Ranges::of(problem, total_slots, widest * largest, sockets.len() as u64).ok_or(SearchError::TooLarge)?;
        let weights = Weights::new(problem.prefer.order(), ranges)?;
        Ok(Self {
            problem,
            sockets,
            matched,
            slots,
            granule,
            weights,
            full,
            total_slots,
            curves: std::cell::RefCell::default(),
            notes: std::cell::RefCell::default(),
            truncated: std::cell::Cell::new(false),
        })
    }

    /// Whether a spec may be part of plans of this kind and rate, whatever else stands there.
    pub fn fits(&self, spec: &ModuleSpec, volts: Option<&str>, kind: Kind, mts: Mts, fitted: bool) -> bool {
        let board = self.problem.board;
        // A fitted module whose kind nobody read is of the one kind the board takes, if there is one.
        let known = spec.kind.or_else(|| match board.limits.kinds[..] {
            [only] if fitted => Some(only),
            _ => None,
        });
        known == Some(kind)
            && spec.generation.is_none_or(|g| g == board.generation)
            && spec.mts.map_or(fitted, |m| m >= mts)
            && spec.gib.mib() > 0
            && board.limits.largest.iter().find(|l| l.kind == kind).is_none_or(|l| spec.gib <= l.gib)
            && match (&board.limits.volts, volts.or_else(|| spec.generation.unwrap_or(board.generation).volts())) {
                // As [`crate::plan::Seat::on`] takes it.
                (Some(a), Some(b)) => same_volts(a, b),
                _ => true,
            }
    }

    fn by_ranks(&self, kind: Kind) -> bool {
        let limits = &self.problem.board.limits;
        self.by_org()
            || limits.ranks_per_channel.is_some()
            || limits.more_ranks_first == Some(true)
            || limits.same_ranks == Some(true)
            || self.problem.board.speed.iter().any(|row| row.kind == kind && row.ranks.is_some())
    }

    fn by_org(&self) -> bool {
        self.matched || matches!(self.problem.board.limits.mixing, Some(Mixing::None | Mixing::ByPosition))
    }

    fn by_width(&self) -> bool {
        self.by_org() || self.problem.board.limits.same_width == Some(true)
    }

    /// What the rules see of a spec.
    fn org(&self, spec: &ModuleSpec, kind: Kind) -> Org {
        let ranks = if self.by_ranks(kind) { spec.ranks } else { None };
        (spec.gib.mib(), ranks, if self.by_width() { spec.width } else { None })
    }

    /// Sockets that take modules in plans of this rate: a slower processor limits all memory as soon as its socket holds
    /// a module, and not before. None where the rules let no such socket stay empty.
    pub fn open(&self, mts: Mts) -> Vec<usize> {
        let (limits, problem) = (&self.problem.board.limits, self.problem);
        let slower =
            |s: usize| problem.cpus.get(s).copied().flatten().and_then(|c| c.mts).is_some_and(|limit| limit < mts);
        let (shut, open): (Vec<usize>, Vec<usize>) = self.sockets.iter().partition(|&&s| slower(s));
        let stays = |s: usize| {
            let mut here = self.slots[s].iter().flatten().filter_map(|&slot| problem.fitted.get(slot)?.as_ref());
            here.any(|fitted| fitted.stays)
        };
        let may_be_empty = limits.counts_per_socket.is_empty() || limits.counts_per_socket.contains(&0);
        if !shut.is_empty() && (self.matched || !may_be_empty || shut.iter().any(|&s| stays(s))) {
            return Vec::new();
        }
        open
    }

    /// The rates a plan may run at: every one that something limits it to.
    pub fn rates(&self) -> BTreeSet<Mts> {
        let (board, problem) = (self.problem.board, self.problem);
        let mut rates: BTreeSet<Mts> = problem.lots.iter().filter_map(|l| l.spec.mts).collect();
        rates.extend(problem.fitted.iter().flatten().filter_map(|f| f.seat.spec.mts));
        rates.extend(board.speed.iter().map(|row| row.mts));
        rates.extend(problem.cpus.iter().flatten().filter_map(|c| c.mts));
        rates
    }

    /// Every family, fastest first.
    pub fn families(&self) -> Vec<Family> {
        let (board, problem) = (self.problem.board, self.problem);
        let limits = &board.limits;
        let rates = self.rates();
        let mut out = Vec::new();
        for &mts in rates.iter().rev().filter(|&&m| m.0 > 0 && !self.open(m).is_empty()) {
            for &kind in &limits.kinds {
                let mut orgs: BTreeSet<Org> = BTreeSet::new();
                for lot in problem.lots.iter().filter(|l| l.count > 0) {
                    if self.fits(&lot.spec, lot.volts.as_deref(), kind, mts, false) {
                        orgs.insert(self.org(&lot.spec, kind));
                    }
                }
                for seat in problem.fitted.iter().flatten().map(|f| &f.seat) {
                    if self.fits(&seat.spec, seat.volts.as_deref(), kind, mts, true) {
                        orgs.insert(self.org(&seat.spec, kind));
                    }
                }
                if orgs.is_empty() {
                    continue;
                }
                let split = |on: Option<bool>, of: fn(&Org) -> Option<u8>| -> Vec<Option<Option<u8>>> {
                    if on == Some(true) {
                        orgs.iter().map(of).collect::<BTreeSet<_>>().into_iter().map(Some).collect()
                    } else {
                        vec![None]
                    }
                };
                for ranks in split(limits.same_ranks, |o| o.1) {
                    for width in split(limits.same_width, |o| o.2) {
                        let here: Vec<Org> = orgs
                            .iter()
                            .copied()
                            .filter(|o| ranks.is_none_or(|r| o.1 == r) && width.is_none_or(|w| o.2 == w))
                            .collect();
                        for template in self.templates(&here) {
                            out.push(Family { kind, mts, ranks, width, template });
                        }
                    }
                }
            }
        }
        out
    }

    fn templates(&self, orgs: &[Org]) -> Vec<Template> {
        let deepest = self.slots.iter().flatten().map(Vec::len).max().unwrap_or(0);
        match self.problem.board.limits.mixing {
            _ if orgs.is_empty() => Vec::new(),
            Some(Mixing::Free) | None => vec![Template::Free],
            Some(Mixing::None) => orgs.iter().map(|&o| Template::Alike(o)).collect(),
            Some(Mixing::ByPosition) => {
                let first = self.problem.board.limits.more_ranks_first == Some(true);
                let mut rows: Vec<Vec<Org>> = vec![Vec::new()];
                for _ in 0..deepest {
                    if rows.len() * orgs.len() > 200_000 {
                        self.truncated.set(true);
                        break;
                    }
                    rows = rows
                        .iter()
                        .flat_map(|row| {
                            orgs.iter().filter_map(move |&org| {
                                let last = row.last();
                                if first && last.is_some_and(|l| l.1.is_some() && l.1 < org.1) {
                                    return None;
                                }
                                Some(row.iter().copied().chain([org]).collect::<Vec<_>>())
                            })
                        })
                        .collect();
                }
                rows.into_iter().map(Template::ByPosition).collect()
            }
        }
    }

    /// Cost curve and lots of one org at one rate, fitted modules not counted.
    fn curve(&self, kind: Kind, mts: Mts, org: Org) -> CurveOf {
        let key = (kind, mts.0, org, false);
        if let Some(known) = self.curves.borrow().get(&key) {
            return known.clone();
        }
        let lots: Vec<usize> = (0..self.problem.lots.len())
            .filter(|&i| {
                let lot = &self.problem.lots[i];
                lot.count > 0
                    && self.fits(&lot.spec, lot.volts.as_deref(), kind, mts, false)
                    && self.org(&lot.spec, kind) == org
            })
            .collect();
        let sellers: Vec<Seller> = lots.iter().map(|&i| self.seller(i)).collect();
        let found = (curve(&sellers, self.problem.units, self.total_slots), lots);
        self.curves.borrow_mut().insert(key, found.clone());
        found
    }

    /// A lot as a seller.
    pub fn seller(&self, lot: usize) -> Seller {
        let lot = &self.problem.lots[lot];
        Seller { count: lot.count, pack: lot.pack, price: lot.price.0 }
    }

    /// A worth no plan of a family is below, without looking at its modules: only its rate counts.
    pub fn least(&self, family: &Family) -> i128 {
        if self.problem.prefer != super::problem::Prefer::Bandwidth {
            return -super::instance::INF;
        }
        let channels: usize = self.open(family.mts).iter().map(|&s| self.slots[s].len()).sum();
        let most = channels as u64 * u64::from(family.mts.0) * MB_S_PER_MTS;
        // One more step of bandwidth outweighs all that follows.
        -self.weights.bandwidth * (i128::from(most) + 1)
    }

    /// The kind of a board socket in a family's instance.
    pub fn kind_of(&self, built: &Built<'_>, socket: usize) -> Option<usize> {
        let at = built.sockets.iter().position(|&s| s == socket)?;
        built.kind_of.get(at).copied()
    }

    /// A family's instance; `None` when the target cannot be met in its steps.
    pub fn build(&self, family: &Family) -> Option<Built<'a>> {
        let problem = self.problem;
        let orgs = self.orgs_of(family);
        let fitted: Vec<Option<usize>> = problem
            .fitted
            .iter()
            .map(|f| {
                let seat = &f.as_ref()?.seat;
                if !self.fits(&seat.spec, seat.volts.as_deref(), family.kind, family.mts, true) {
                    return None;
                }
                let org = self.org(&seat.spec, family.kind);
                orgs.iter().position(|&o| o == org)
            })
            .collect();
        let mut classes = Vec::new();
        let mut lots = Vec::new();
        for (c, &org) in orgs.iter().enumerate() {
            let (bought, of) = self.curve(family.kind, family.mts, org);
            let here = fitted.iter().filter(|f| **f == Some(c)).count();
            let cost: Vec<u64> = (0..here).map(|_| 0).chain(bought.iter().copied()).collect();
            let size = u32::try_from(org.0 / self.granule).ok()?;
            let weighed = cost.iter().map(|&x| i128::from(x) * self.weights.cost).collect();
            classes.push(Class { size, curve: weighed, cost });
            lots.push(of);
        }
        let sockets = self.open(family.mts);
        let mut instance = self.instance(family, &sockets, &orgs, classes, &fitted)?;
        let kind_of = instance.sockets.clone();
        instance.sockets.sort_unstable();
        Some(Built { instance, lots, fitted, sockets, kind_of })
    }

    fn orgs_of(&self, family: &Family) -> Vec<Org> {
        let mut orgs: BTreeSet<Org> = BTreeSet::new();
        match &family.template {
            Template::Alike(org) => drop(orgs.insert(*org)),
            Template::ByPosition(rows) => orgs.extend(rows),
            Template::Free => {
                let lots = self.problem.lots.iter().filter(|l| l.count > 0);
                orgs.extend(
                    lots.filter(|l| self.fits(&l.spec, l.volts.as_deref(), family.kind, family.mts, false))
                        .map(|l| self.org(&l.spec, family.kind)),
                );
                let seats = self.problem.fitted.iter().flatten().map(|f| &f.seat);
                orgs.extend(
                    seats
                        .filter(|s| self.fits(&s.spec, s.volts.as_deref(), family.kind, family.mts, true))
                        .map(|s| self.org(&s.spec, family.kind)),
                );
            }
        }
        orgs.into_iter()
            .filter(|o| family.ranks.is_none_or(|r| o.1 == r) && family.width.is_none_or(|w| o.2 == w))
            .rev()
            .collect()
    }

    fn instance(
        &self,
        family: &Family,
        takers: &[usize],
        orgs: &[Org],
        classes: Vec<Class>,
        fitted: &[Option<usize>],
    ) -> Option<Instance<'a>> {
        let board = self.problem.board;
        let searched = if self.matched { &takers[..1] } else { takers };
        let mult = if self.matched { takers.len() as u32 } else { 1 };
        let equal = board.interleave.as_ref().and_then(|i| i.across) == Some(Across::Equal);
        // A channel type is what the search must tell apart: slots, fitted modules, controller.
        let mut keys: BTreeMap<(usize, Content, Option<u8>), usize> = BTreeMap::new();
        let mut per_socket: Vec<Vec<usize>> = Vec::new();
        for &socket in searched {
            let alike: &[usize] = if self.matched { takers } else { std::slice::from_ref(&socket) };
            let of_channel = |channel: usize| {
                let content: Content = alike
                    .iter()
                    .flat_map(|&s| &self.slots[s][channel])
                    .map(|&slot| {
                        let stays = self.problem.fitted.get(slot).and_then(Option::as_ref).is_some_and(|f| f.stays);
                        (fitted.get(slot).copied().flatten(), stays)
                    })
                    .collect();
                let controller = if equal { board.socket[socket].channel[channel].controller } else { None };
                (self.slots[socket][channel].len(), content, controller)
            };
            let types = (0..self.slots[socket].len())
                .map(|channel| {
                    let next = keys.len();
                    *keys.entry(of_channel(channel)).or_insert(next)
                })
                .collect();
            per_socket.push(types);
        }
        let mut listed: Vec<(Content, usize)> = vec![(Vec::new(), 0); keys.len()];
        for ((depth, content, _), index) in keys {
            listed[index] = (content, depth);
        }
        let mut made: Vec<Vec<(Symbol, Filling)>> = listed
            .iter()
            .map(|(content, depth)| self.fillings(family, orgs, &classes, content, *depth, mult))
            .collect();
        for (n, made) in made.iter_mut().enumerate() {
            for (symbol, filling) in made {
                let modules = i128::from(symbol.depth) * i128::from(mult);
                let fill = u64::from(symbol.cap) * FILL / u64::from(self.full.max(1));
                filling.worth += self.weights.uneven * i128::from(mult) * i128::from(fill * fill);
                filling.worth += self.weights.order * modules * (n as i128).min(i128::from(ORDER));
            }
        }
        let mut symbols: Vec<Symbol> = made.iter().flatten().map(|(s, _)| *s).collect();
        symbols.sort_by(|a, b| b.cap.cmp(&a.cap).then(a.depth.cmp(&b.depth)));
        symbols.dedup();
        let types: Vec<ChannelType> = made
            .into_iter()
            .zip(&listed)
            .map(|(made, (content, _))| {
                let mut t = ChannelType { fillings: vec![Vec::new(); symbols.len()], empty: None };
                for (symbol, filling) in made {
                    if let Some(at) = symbols.iter().position(|s| *s == symbol) {
                        t.fillings[at].push(filling);
                    }
                }
                t.empty = (!content.iter().any(|c| c.1)).then_some(0);
                t
            })
            .collect();
        let mut kinds: Vec<SocketKind> = Vec::new();
        let mut sockets = Vec::new();
        for (&socket, types) in searched.iter().zip(&per_socket) {
            let mut places: Vec<usize> = (0..types.len()).collect();
            places.sort_by_key(|&p| (types[p], p));
            let mut runs: Vec<(usize, u32)> = Vec::new();
            for &p in &places {
                match runs.last_mut() {
                    Some(run) if run.0 == types[p] => run.1 += 1,
                    _ => runs.push((types[p], 1)),
                }
            }
            let alike: &[usize] = if self.matched { takers } else { std::slice::from_ref(&socket) };
            let gib: Option<Size> =
                alike.iter().filter_map(|&s| self.problem.cpus.get(s).copied().flatten()?.gib).min();
            let kind = SocketKind {
                runs,
                places,
                controllers: board.socket[socket].channel.iter().map(|c| c.controller).collect(),
                most: gib.map_or(u32::MAX, |g| u32::try_from(g.mib() / self.granule).unwrap_or(u32::MAX)),
                counts: board.limits.counts_per_socket.clone(),
                same_depth: board.limits.same_depth == Some(true),
            };
            let at = kinds.iter().position(|k| *k == kind).unwrap_or_else(|| {
                kinds.push(kind);
                kinds.len() - 1
            });
            sockets.push(at);
        }
        let (need, most) = self.range(u64::from(mult))?;
        let mut floors = vec![0u32; symbols.first().map_or(0, |s| s.cap as usize + 1)];
        for symbol in &symbols {
            floors[symbol.cap as usize] = symbol.cap;
        }
        for cap in 1..floors.len() {
            floors[cap] = floors[cap].max(floors[cap - 1]);
        }
        let channels = board.socket.iter().map(|s| s.channel.len()).max().unwrap_or(1) as u32;
        let mut ways: Vec<u32> = match &board.interleave {
            Some(i) => i.ways.iter().map(|&w| u32::from(w)).chain([1]).filter(|&w| w > 0).collect(),
            None => (1..=channels).collect(),
        };
        ways.sort_unstable_by(|a, b| b.cmp(a));
        Some(Instance {
            interleave: board.interleave.as_ref(),
            classes,
            symbols,
            types,
            kinds,
            sockets,
            mult,
            need,
            most,
            channel_mb_s: u64::from(family.mts.0) * MB_S_PER_MTS,
            ways,
            weights: self.weights,
            floors,
            budget: self.problem.budget.map(|b| b.0),
            bare: !equal && listed.iter().all(|(content, _)| content.iter().all(|c| *c == (None, false))),
        })
    }

    /// Granules needed and allowed per searched socket group.
    fn range(&self, mult: u64) -> Option<(u32, u32)> {
        let mib = self.problem.target.size().mib();
        let least = mib.div_ceil(self.granule).div_ceil(mult);
        match self.problem.target {
            Target::AtLeast(_) => Some((u32::try_from(least).ok()?, u32::MAX)),
            Target::Exactly(_) => {
                let most = mib / self.granule / mult;
                (least == most).then_some((u32::try_from(least).ok()?, u32::try_from(most).ok()?))
            }
        }
    }

    /// Every way of filling a channel with these fitted modules.
    fn fillings(
        &self,
        family: &Family,
        orgs: &[Org],
        classes: &[Class],
        content: &[(Option<usize>, bool)],
        depth: usize,
        mult: u32,
    ) -> Vec<(Symbol, Filling)> {
        let mut out = Vec::new();
        let usable: Vec<usize> = (0..classes.len()).filter(|&c| classes[c].cost.len() > 1).collect();
        match &family.template {
            Template::Free | Template::Alike(_) => {
                let mut row = Vec::new();
                let all = Ways { shared: self, family, orgs, classes, content, depth, mult };
                all.grow(&usable, 0, &mut row, &mut out);
            }
            Template::ByPosition(rows) => {
                let all = Ways { shared: self, family, orgs, classes, content, depth, mult };
                let row: Vec<usize> = rows.iter().filter_map(|o| orgs.iter().position(|p| p == o)).collect();
                for d in 1..=depth.min(row.len()) {
                    if row[..d].iter().any(|c| classes[*c].cost.len() <= 1) {
                        break;
                    }
                    all.put(&row[..d], true, &mut out);
                }
            }
        }
        out
    }
}

/// Which channels of a socket share a controller, where regions must be spread evenly over the controllers: for each channel
/// the first channel of the same controller.
fn wiring(board: &Board, socket: usize) -> Vec<usize> {
    if board.interleave.as_ref().and_then(|i| i.across) != Some(Across::Equal) {
        return Vec::new();
    }
    let channels = &board.socket[socket].channel;
    let first = |of: Option<u8>| channels.iter().position(|c| c.controller == of).unwrap_or_default();
    channels.iter().map(|channel| first(channel.controller)).collect()
}
