//! Judges a population by every rule.

use std::collections::{BTreeMap, BTreeSet};

use super::{Breach, Rule, Verdict};
use crate::board::{Board, Mixing, SlotLabel, SlotRef};
use crate::plan::seat::{Cpus, Seat, same_volts};
use crate::plan::speed::{Rate, table};
use crate::units::Size;

/// A filled slot.
type Filled<'a> = (SlotRef<'a>, &'a Seat);

struct Judge<'a> {
    board: &'a Board,
    verdict: Verdict,
}

impl Judge<'_> {
    fn breach(&mut self, rule: Rule, slots: Vec<SlotLabel>, what: String) {
        let board = self.board.source.as_deref().unwrap_or("the board file names no source");
        let source =
            format!("{} of board {}: {}", rule.key(), crate::text::shown(&self.board.name), crate::text::shown(board));
        self.verdict.breaches.push(Breach { rule, slots, what, source });
    }

    fn unknown(&mut self, what: String) {
        if !self.verdict.unknown.contains(&what) {
            self.verdict.unknown.push(what);
        }
    }
}

/// Judges a population: one seat per slot in board order, one processor entry per socket.
pub fn check(board: &Board, cpus: &Cpus, seats: &[Option<Seat>]) -> Verdict {
    let filled: Vec<Filled<'_>> =
        board.slots().filter_map(|at| seats.get(at.index)?.as_ref().map(|seat| (at, seat))).collect();
    let mut judge = Judge { board, verdict: Verdict::default() };
    modules(&mut judge, &filled);
    channels(&mut judge, &filled);
    mixing(&mut judge, &filled);
    sockets(&mut judge, cpus, &filled);
    judge.verdict
}

/// Rules about each module by itself.
fn modules(judge: &mut Judge<'_>, filled: &[Filled<'_>]) {
    let board = judge.board;
    for (at, seat) in filled {
        let (slot, spec) = (&at.slot.label, &seat.spec);
        match spec.generation {
            Some(generation) if generation != board.generation => {
                let what = format!("{slot}: a {generation} module in a {} slot", board.generation);
                judge.breach(Rule::Generation, vec![slot.clone()], what);
            }
            Some(_) => {}
            None => judge.unknown(format!("{slot}: the module's generation is not known")),
        }
        match (&board.limits.volts, &seat.volts) {
            (Some(board), Some(module)) if !same_volts(board, module) => {
                let what = format!(
                    "{slot}: {} V, the board supplies {} V",
                    crate::text::shown(module),
                    crate::text::shown(board)
                );
                judge.breach(Rule::Voltage, vec![slot.clone()], what);
            }
            (Some(_), None) => judge.unknown(format!("{slot}: the module's voltage is not known")),
            _ => {}
        }
        let Some(kind) = spec.kind else {
            judge.unknown(format!("{slot}: the module's kind is not known"));
            continue;
        };
        if !board.limits.kinds.contains(&kind) {
            judge.breach(Rule::Kind, vec![slot.clone()], format!("{slot}: this board takes no {kind}"));
        }
        match board.limits.largest.iter().find(|l| l.kind == kind) {
            Some(largest) if spec.gib > largest.gib => {
                let what = format!("{slot}: {}, the largest {kind} is {}", spec.gib, largest.gib);
                judge.breach(Rule::Largest, vec![slot.clone()], what);
            }
            Some(_) => {}
            None => judge.unknown(format!("the largest {kind} is not in the board file")),
        }
    }
    let Some((first, kind)) = filled.iter().find_map(|(at, seat)| seat.spec.kind.map(|kind| (at, kind))) else {
        return;
    };
    let others: Vec<&Filled<'_>> =
        filled.iter().filter(|(_, seat)| seat.spec.kind.is_some_and(|k| k != kind)).collect();
    if let Some((at, seat)) = others.first() {
        let other = seat.spec.kind.map_or_else(String::new, |k| k.to_string());
        let what = format!("{kind} in {} and {other} in {}: kinds are never mixed", first.slot.label, at.slot.label);
        judge.breach(Rule::KindsMixed, others.iter().map(|o| o.0.slot.label.clone()).collect(), what);
    }
}

/// Rules about each channel.
fn channels(judge: &mut Judge<'_>, filled: &[Filled<'_>]) {
    let board = judge.board;
    if board.limits.ranks_per_channel.is_none() && !filled.is_empty() {
        judge.unknown("the ranks a channel carries are not in the board file".to_owned());
    }
    for (socket_index, socket) in board.socket.iter().enumerate() {
        for (channel_index, channel) in socket.channel.iter().enumerate() {
            let mut here: Vec<&Filled<'_>> = filled
                .iter()
                .filter(|(at, _)| at.socket_index == socket_index && at.channel_index == channel_index)
                .collect();
            here.sort_by_key(|(at, _)| at.slot.position);
            for (at, _) in &here {
                let before = channel.slot.iter().find(|s| {
                    s.position < at.slot.position && !here.iter().any(|(other, _)| other.slot.label == s.label)
                });
                if let Some(before) = before {
                    let what = format!("{} is filled and {} is empty, which goes first", at.slot.label, before.label);
                    judge.breach(Rule::Order, vec![at.slot.label.clone()], what);
                }
            }
            channel_ranks(judge, &here);
            for (at, seat) in &here {
                let Some(kind) = seat.spec.kind else { continue };
                let count = here.len() as u8;
                match table(board, kind, seat.spec.ranks, count) {
                    Rate::Mts(_) => {}
                    Rate::NotAllowed => {
                        let ranks = seat.spec.ranks.map_or_else(String::new, |r| format!("{r}R "));
                        let what =
                            format!("{}: the table has no rate for {count} {ranks}{kind} on a channel", at.slot.label);
                        judge.breach(Rule::PerChannel, vec![at.slot.label.clone()], what);
                    }
                    Rate::Unknown => {
                        judge.unknown(format!("the rate of {kind} at {count} per channel is not in the board file"));
                    }
                }
            }
        }
    }
}

fn channel_ranks(judge: &mut Judge<'_>, here: &[&Filled<'_>]) {
    let limits = &judge.board.limits;
    let (most, first) = (limits.ranks_per_channel, limits.more_ranks_first == Some(true));
    if let Some(most) = most {
        let known: u32 = here.iter().filter_map(|(_, seat)| seat.spec.ranks).map(u32::from).sum();
        if known > u32::from(most) {
            let names: Vec<String> = here.iter().map(|(at, _)| at.slot.label.to_string()).collect();
            let what = format!("{} together carry {known} ranks, the channel {most}", names.join(", "));
            judge.breach(Rule::RanksPerChannel, here.iter().map(|(at, _)| at.slot.label.clone()).collect(), what);
        } else if let Some((at, _)) = here.iter().find(|(_, seat)| seat.spec.ranks.is_none()) {
            judge.unknown(format!("{}: the module's ranks are not known", at.slot.label));
        }
    }
    if first {
        for pair in here.windows(2) {
            let ((front, a), (behind, b)) = (pair[0], pair[1]);
            if let (Some(ranks), Some(more)) = (a.spec.ranks, b.spec.ranks)
                && more > ranks
            {
                let (front, behind) = (&front.slot.label, &behind.slot.label);
                let what = format!("{behind} holds {more} ranks behind {ranks} in {front}: more ranks go first");
                judge.breach(Rule::MoreRanksFirst, vec![front.clone(), behind.clone()], what);
            }
        }
    }
}

/// Whether two modules count as alike: size, ranks and width, as far as both are known.
fn alike(a: &Seat, b: &Seat) -> bool {
    let same = |a: Option<u8>, b: Option<u8>| a.is_none() || b.is_none() || a == b;
    a.spec.gib == b.spec.gib && same(a.spec.ranks, b.spec.ranks) && same(a.spec.width, b.spec.width)
}

/// The first of the modules most are alike: what differs from it is the odd one.
fn usual<'f, 'b>(filled: &[&'f Filled<'b>]) -> Option<&'f Filled<'b>> {
    let like = |one: &Filled<'_>| filled.iter().filter(|other| alike(one.1, other.1)).count();
    filled.iter().copied().reduce(|best, one| if like(one) > like(best) { one } else { best })
}

/// Rules about what may stand together on the board.
fn mixing(judge: &mut Judge<'_>, filled: &[Filled<'_>]) {
    let limits = judge.board.limits.clone();
    let by_position = match limits.mixing {
        Some(Mixing::Free) => None,
        Some(Mixing::None) => Some(false),
        Some(Mixing::ByPosition) => Some(true),
        None => {
            if filled.iter().any(|f| filled.first().is_some_and(|first| !alike(f.1, first.1))) {
                judge.unknown("whether sizes may be mixed is not in the board file".to_owned());
            }
            None
        }
    };
    if let Some(by_position) = by_position {
        for (at, seat) in filled {
            let beside: Vec<&Filled<'_>> =
                filled.iter().filter(|(other, _)| !by_position || other.slot.position == at.slot.position).collect();
            let Some((other, model)) = usual(&beside).filter(|(_, model)| !alike(seat, model)) else { continue };
            let (slot, other) = (&at.slot.label, &other.slot.label);
            let rule = if by_position { "all channels are alike at each position" } else { "all modules are alike" };
            let what = format!("{slot} holds {}, {other} {}: {rule}", seat.spec, model.spec);
            judge.breach(Rule::Mixing, vec![other.clone(), slot.clone()], what);
        }
    }
    let mut same = |on: Option<bool>, rule: Rule, what: &str, of: fn(&Seat) -> Option<u8>| {
        if on != Some(true) {
            return;
        }
        let Some((first, value)) = filled.iter().find_map(|(at, seat)| of(seat).map(|v| (at, v))) else { return };
        for (at, seat) in filled {
            match of(seat) {
                Some(other) if other != value => {
                    let (slot, first) = (&at.slot.label, &first.slot.label);
                    let text = format!("{slot} has {what} {other}, {first} {value}: all must be the same");
                    judge.breach(rule, vec![first.clone(), slot.clone()], text);
                }
                Some(_) => {}
                None => judge.unknown(format!("{}: the module's {what} is not known", at.slot.label)),
            }
        }
    };
    same(limits.same_ranks, Rule::SameRanks, "ranks", |seat| seat.spec.ranks);
    same(limits.same_width, Rule::SameWidth, "width", |seat| seat.spec.width);
}

/// Rules about sockets.
fn sockets(judge: &mut Judge<'_>, cpus: &Cpus, filled: &[Filled<'_>]) {
    let board = judge.board;
    let of = |index: usize| filled.iter().filter(move |(at, _)| at.socket_index == index);
    let with_cpu: Vec<usize> = (0..board.socket.len()).filter(|&s| cpus.get(s).is_some_and(Option::is_some)).collect();
    for (index, socket) in board.socket.iter().enumerate() {
        let label = crate::text::shown(&socket.label);
        let slots: Vec<SlotLabel> = of(index).map(|(at, _)| at.slot.label.clone()).collect();
        let Some(cpu) = cpus.get(index).copied().flatten() else {
            if !slots.is_empty() {
                let named: Vec<&str> = slots.iter().map(SlotLabel::as_str).collect();
                let what = format!("{}: socket {label} holds no processor, so its slots are dead", named.join(", "));
                let (rule, source) = (Rule::NoProcessor, "unit.processor of the order".to_owned());
                judge.verdict.breaches.push(Breach { rule, slots, what, source });
            }
            continue;
        };
        let counts = &board.limits.counts_per_socket;
        if !filled.is_empty() && !counts.is_empty() && !counts.contains(&(slots.len() as u32)) {
            let list: Vec<String> = counts.iter().map(u32::to_string).collect();
            let what = format!("socket {label} holds {}; the board allows {}", slots.len(), list.join(", "));
            judge.breach(Rule::Count, slots.clone(), what);
        }
        if board.limits.same_depth == Some(true) {
            let depth = |channel: usize| of(index).filter(|(at, _)| at.channel_index == channel).count();
            let depths: Vec<usize> = (0..socket.channel.len()).map(depth).filter(|d| *d > 0).collect();
            if depths.iter().any(|d| *d != depths[0]) {
                let list: Vec<String> = depths.iter().map(usize::to_string).collect();
                let what =
                    format!("socket {label}: its channels in use hold {} modules, not the same", list.join(", "));
                judge.breach(Rule::SameDepth, slots.clone(), what);
            }
        }
        let held: Size = of(index).map(|(_, seat)| seat.spec.gib).sum();
        match cpu.gib {
            Some(most) if held > most => {
                let what = format!("socket {label} holds {held}, its processor addresses {most}");
                judge.breach(Rule::CpuCapacity, slots, what);
            }
            Some(_) => {}
            None => judge.unknown(format!("the processor in {label}: how much memory it addresses is not known")),
        }
    }
    if board.limits.sockets_match == Some(true)
        && let Some((&first, rest)) = with_cpu.split_first()
    {
        let places = |index: usize| -> BTreeMap<(usize, u8), &Filled<'_>> {
            of(index).map(|one| ((one.0.channel_index, one.0.slot.position), one)).collect()
        };
        let model = places(first);
        for &other in rest {
            let found = places(other);
            let at: BTreeSet<(usize, u8)> = model.keys().chain(found.keys()).copied().collect();
            let unlike = at.into_iter().find(|at| match (model.get(at), found.get(at)) {
                (Some(a), Some(b)) => !alike(a.1, b.1),
                _ => true,
            });
            let Some(at) = unlike else { continue };
            let side = |index: usize, filled: Option<&&Filled<'_>>| {
                let socket = &board.socket[index];
                let slot = socket.channel.get(at.0).and_then(|c| c.slot.iter().find(|slot| slot.position == at.1));
                let text = match (slot, filled) {
                    (_, Some((place, seat))) => format!("{} holds {}", place.slot.label, seat.spec),
                    (Some(slot), None) => format!("{} holds nothing", slot.label),
                    (None, None) => format!("socket {} has no such slot", crate::text::shown(&socket.label)),
                };
                (slot.map(|slot| slot.label.clone()), text)
            };
            let ((a, one), (b, two)) = (side(first, model.get(&at)), side(other, found.get(&at)));
            let (name, name_of_other) = (&board.socket[first].label, &board.socket[other].label);
            let what = format!(
                "sockets {} and {} are not filled alike: {one}, {two}",
                crate::text::shown(name),
                crate::text::shown(name_of_other)
            );
            judge.breach(Rule::SocketsMatch, a.into_iter().chain(b).collect(), what);
        }
    }
}
