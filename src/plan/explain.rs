//! Why this plan, and why its neighbours are worse: sentences a buyer can follow.

use super::interleave::{Bandwidth, bandwidth};
use super::rules;
use super::search::{Found, Prefer, Problem, Target};
use super::seat::{Seat, Seats};
use super::speed::{Speed, speed};
use crate::units::Mts;

/// What there is to say of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    pub speed: Speed,
    pub bandwidth: Bandwidth,
    /// Channels that hold a module, and channels there are.
    pub channels: (usize, usize),
    pub reasons: Vec<String>,
    /// What could not be judged.
    pub unknown: Vec<String>,
}

/// Explains a plan.
pub fn explain(problem: &Problem<'_>, found: &Found) -> Told {
    let board = problem.board;
    let speed = speed(board, problem.cpus, &found.seats);
    let mts = speed.mts.unwrap_or(Mts(0));
    let bandwidth = bandwidth(board, problem.cpus, &found.seats, mts);
    let channels = channels(problem, &found.seats);
    let mut reasons = Vec::new();
    let modules = counted(found.score.modules as usize, "module");
    reasons.push(format!("{} in {modules} on {} of {} channels", found.score.capacity, channels.0, channels.1));
    if !speed.limited_by.is_empty() {
        let by: Vec<String> = speed.limited_by.iter().rev().map(ToString::to_string).collect();
        reasons.push(format!("runs at {mts}, held there by {}", by.join(" and ")));
    }
    reasons.extend(speed.remark());
    reasons.push(spread(&bandwidth));
    reasons.extend(one_more(problem, found, &bandwidth));
    reasons.extend(one_less(problem, found, &bandwidth));
    let unknown = rules::check(board, problem.cpus, &found.seats).unknown;
    Told { speed, bandwidth, channels, reasons, unknown }
}

fn channels(problem: &Problem<'_>, seats: &Seats) -> (usize, usize) {
    let mut used: Vec<(usize, usize)> = Vec::new();
    let mut all: Vec<(usize, usize)> = Vec::new();
    for at in problem.board.slots() {
        let channel = (at.socket_index, at.channel_index);
        if !all.contains(&channel) {
            all.push(channel);
        }
        if seats.get(at.index).is_some_and(Option::is_some) && !used.contains(&channel) {
            used.push(channel);
        }
    }
    (used.len(), all.len())
}

/// How the memory is spread, in one sentence.
fn spread(bandwidth: &Bandwidth) -> String {
    let known = if bandwidth.ways_known { "" } else { "; the ways of the controller are not in the board file" };
    let regions: Vec<String> = bandwidth
        .sockets
        .iter()
        .filter(|socket| !socket.regions.is_empty())
        .map(|socket| {
            let parts: Vec<String> = socket
                .regions
                .iter()
                .map(|r| format!("{} over {}", r.size, counted(usize::from(r.ways), "channel")))
                .collect();
            format!("{}: {}", crate::text::shown(&socket.label), parts.join(", "))
        })
        .collect();
    format!("{}; about {} % of this board's best bandwidth (estimate{known})", regions.join("; "), bandwidth.percent())
}

/// One module more, of the sort there is most of, in the first slot that is free.
fn one_more(problem: &Problem<'_>, found: &Found, now: &Bandwidth) -> Option<String> {
    let seat = commonest(&found.seats)?;
    let slot = next_free(problem, &found.seats)?;
    let first = problem.board.slots().nth(slot)?;
    let mut seats = found.seats.clone();
    let mut labels = Vec::new();
    // Sockets that must match take one each, at the same place.
    let matched = problem.board.limits.sockets_match == Some(true);
    for at in problem.board.slots() {
        let same = at.channel_index == first.channel_index && at.slot.position == first.slot.position;
        let socket = problem.cpus.get(at.socket_index).is_some_and(Option::is_some);
        if at.index == slot || (matched && same && socket) {
            seats[at.index] = Some(seat.clone());
            labels.push(at.slot.label.to_string());
        }
    }
    let each = if labels.len() > 1 { " per socket" } else { "" };
    let start = format!("one more module of {}{each} (in {})", seat.spec.gib, labels.join(", "));
    let verdict = rules::check(problem.board, problem.cpus, &seats);
    if let Some(breach) = verdict.breaches.first() {
        return Some(format!("{start} breaks the rule `{}`: {}", breach.rule, breach.what));
    }
    let mts = speed(problem.board, problem.cpus, &seats).mts.unwrap_or(Mts(0));
    let then = bandwidth(problem.board, problem.cpus, &seats, mts);
    let slower = if mts < found.score.mts { format!(" and slows all memory to {mts}") } else { String::new() };
    Some(match alone(&then) {
        Some(alone) if then.effective_mb_s < now.effective_mb_s => {
            format!("{start} leaves {alone}{slower}: {} % in place of {} %", then.percent(), now.percent())
        }
        _ if then.effective_mb_s < now.effective_mb_s => {
            format!("{start} costs bandwidth{slower}: {} % in place of {} %", then.percent(), now.percent())
        }
        _ if then.effective_mb_s > now.effective_mb_s => {
            format!(
                "{start} would give {} % in place of {} %, and was not to be had or not asked for",
                then.percent(),
                now.percent()
            )
        }
        _ => format!("{start} buys memory and no bandwidth"),
    })
}

/// `25 % of the socket's memory at a quarter of the speed` for the narrowest region.
fn alone(bandwidth: &Bandwidth) -> Option<String> {
    let socket = bandwidth.sockets.iter().find(|s| s.regions.len() > 1)?;
    let (last, first) = (socket.regions.last()?, socket.regions.first()?);
    let total: u64 = socket.regions.iter().map(|r| r.size.mib()).sum();
    let share = (last.size.mib() * 100).checked_div(total)?;
    let fraction = match first.ways / last.ways.max(1) {
        2 => "half".to_owned(),
        3 => "a third".to_owned(),
        4 => "a quarter".to_owned(),
        _ => format!("{} of {} channels'", last.ways, first.ways),
    };
    let channels = counted(usize::from(last.ways), "channel");
    Some(format!(
        "{channels} of {} alone: {share} % of its memory at {fraction} of the speed",
        crate::text::shown(&socket.label)
    ))
}

/// The last filled slot emptied.
fn one_less(problem: &Problem<'_>, found: &Found, now: &Bandwidth) -> Option<String> {
    let slot = problem
        .board
        .slots()
        .filter(|at| found.seats[at.index].is_some())
        .max_by_key(|at| (at.slot.position, at.index))
        .map(|at| (at.index, at.slot.label.clone()))?;
    let mut seats = found.seats.clone();
    let taken = seats[slot.0].take()?;
    let left = seats.iter().flatten().map(|s| s.spec.gib).sum::<crate::units::Size>();
    let start = format!("one module of {} fewer (out of {})", taken.spec.gib, slot.1);
    let (Target::AtLeast(target) | Target::Exactly(target)) = problem.target;
    if left < target {
        return Some(format!("{start} leaves {left}, short of {target}"));
    }
    if let Some(breach) = rules::check(problem.board, problem.cpus, &seats).breaches.first() {
        return Some(format!("{start} breaks the rule `{}`: {}", breach.rule, breach.what));
    }
    let mts = speed(problem.board, problem.cpus, &seats).mts.unwrap_or(Mts(0));
    let then = bandwidth(problem.board, problem.cpus, &seats, mts);
    Some(format!("{start} gives {} % in place of {} %", then.percent(), now.percent()))
}

fn commonest(seats: &Seats) -> Option<&Seat> {
    seats.iter().flatten().max_by_key(|seat| seats.iter().flatten().filter(|s| s.spec == seat.spec).count())
}

/// The free slot that is filled next: the lowest position, in board order, in a socket with a processor.
fn next_free(problem: &Problem<'_>, seats: &Seats) -> Option<usize> {
    problem
        .board
        .slots()
        .filter(|at| problem.cpus.get(at.socket_index).is_some_and(Option::is_some) && seats[at.index].is_none())
        .min_by_key(|at| (at.slot.position, at.index))
        .map(|at| at.index)
}

/// Why `other` stands behind `best`: the first criterion in which it is worse.
pub fn why_worse(prefer: Prefer, best: &Found, other: &Found, currency: &str) -> String {
    use super::search::Criterion as C;
    let (a, b) = (&best.score, &other.score);
    for criterion in prefer.order() {
        let text = match criterion {
            C::Bandwidth if b.mb_s < a.mb_s && b.mts < a.mts => {
                Some(format!("slower: {} in place of {}", b.mts, a.mts))
            }
            C::Bandwidth if b.mb_s < a.mb_s => {
                Some(format!("{} % of the bandwidth", (b.mb_s * 100).checked_div(a.mb_s).unwrap_or(0)))
            }
            C::Cost if b.cost > a.cost => {
                Some(format!("costs {} {currency} more", crate::stock::Money(b.cost.0 - a.cost.0)).replace("  ", " "))
            }
            C::Moves if b.moves > a.moves => {
                Some(format!("{} more", counted((b.moves - a.moves) as usize, "handling")))
            }
            C::Modules if b.modules > a.modules => {
                Some(format!("takes {} more", counted((b.modules - a.modules) as usize, "slot")))
            }
            C::MoreMemory if b.capacity < a.capacity => Some("less memory".to_owned()),
            C::LessMemory if b.capacity > a.capacity => Some("more memory".to_owned()),
            _ => None,
        };
        if let Some(text) = text {
            return text;
        }
    }
    "equal in all that was asked for; less even".to_owned()
}

fn counted(n: usize, what: &str) -> String {
    crate::source::counted(n, what)
}
