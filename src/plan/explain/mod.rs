//! Why this plan, and why its neighbours are worse: sentences a buyer can follow.

mod alone;
mod had;
mod neighbour;
mod units;
mod worse;

pub use units::{rates, unlike_rates};
pub use worse::{made_of, why_worse};

use super::interleave::{Bandwidth, Estimate, bandwidth, estimate};
use super::rules;
use super::search::{Found, Problem};
use super::seat::Seats;
use super::speed::{LimitedBy, Speed, speed};
use crate::source::counted;
use crate::text::shown;
use crate::units::Mts;

/// What there is to say of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    pub speed: Speed,
    pub bandwidth: Bandwidth,
    /// Where measured machines left the model that gives the bandwidth.
    pub estimate: Option<Estimate>,
    /// Channels that hold a module, and channels of sockets with a processor.
    pub channels: (usize, usize),
    pub reasons: Vec<String>,
    /// What could not be judged.
    pub unknown: Vec<String>,
}

/// Explains a plan; `currency` is that of the stock list, empty where it names none.
pub fn explain(problem: &Problem<'_>, found: &Found, currency: &str) -> Told {
    let board = problem.board;
    let speed = speed(board, problem.cpus, &found.seats);
    let mts = speed.mts.unwrap_or(Mts(0));
    let bandwidth = bandwidth(board, problem.cpus, &found.seats, mts);
    let estimate = estimate(board, &found.seats, &bandwidth);
    let channels = channels(problem, &found.seats);
    let mut reasons = Vec::new();
    let modules = counted(found.score.modules as usize, "module");
    let made_of = made_of(found);
    reasons.push(format!(
        "{} in {modules} ({made_of}) on {} of {} channels",
        found.score.capacity, channels.0, channels.1
    ));
    if !speed.limited_by.is_empty() {
        let by: Vec<String> = speed.limited_by.iter().rev().map(|limit| limit_in_words(limit, found, mts)).collect();
        reasons.push(format!("runs at {mts}, held there by {}", by.join(" and by ")));
    }
    reasons.extend(speed.remark());
    reasons.push(spread(&bandwidth, estimate.as_ref()));
    reasons.extend(dead(problem));
    reasons.extend(estimate.iter().flat_map(|e| &e.why).map(|why| format!("estimate: {why}")));
    reasons.extend(neighbour::one_more(problem, found, &bandwidth, currency));
    reasons.extend(neighbour::one_less(problem, found, &bandwidth));
    let unknown = rules::check(board, problem.cpus, &found.seats).unknown;
    Told { speed, bandwidth, estimate, channels, reasons, unknown }
}

/// Sockets whose slots stay empty because they hold no processor.
fn dead(problem: &Problem<'_>) -> Option<String> {
    let sockets = problem.board.socket.iter().zip(problem.cpus).filter(|(_, cpu)| cpu.is_none());
    let labels: Vec<String> = sockets.map(|(socket, _)| shown(&socket.label).to_string()).collect();
    let text = match labels.len() {
        0 => return None,
        1 => "holds no processor: its slots and channels are",
        _ => "hold no processor: their slots and channels are",
    };
    let word = if labels.len() == 1 { "socket" } else { "sockets" };
    Some(format!("{word} {} {text} dead and stay empty", listed(&labels)))
}

/// `a`, `a and b`, `a, b and c`.
fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [only] => only.clone(),
        [firsts @ .., last] => format!("{} and {last}", firsts.join(", ")),
    }
}

fn channels(problem: &Problem<'_>, seats: &Seats) -> (usize, usize) {
    let mut used: Vec<(usize, usize)> = Vec::new();
    let mut all: Vec<(usize, usize)> = Vec::new();
    // Those of a socket without a processor are dead.
    let alive = |socket: usize| problem.cpus.get(socket).is_some_and(Option::is_some);
    for at in problem.board.slots().filter(|at| alive(at.socket_index)) {
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

/// `the modules' own rating` where all have the same, else the limit as it stands.
fn limit_in_words(limit: &LimitedBy, found: &Found, mts: Mts) -> String {
    let all_alike = found.seats.iter().flatten().all(|seat| seat.spec.mts == Some(mts));
    match limit {
        LimitedBy::Module { .. } if all_alike => "the modules' own rating".to_owned(),
        other => other.to_string(),
    }
}

/// How the memory is spread, in one sentence; sockets filled alike are told once.
fn spread(bandwidth: &Bandwidth, estimate: Option<&Estimate>) -> String {
    let known = if bandwidth.ways_known { "" } else { "; the ways of the controller are not in the board file" };
    let mut alike: Vec<(String, Vec<String>)> = Vec::new();
    for socket in bandwidth.sockets.iter().filter(|socket| !socket.regions.is_empty()) {
        let parts: Vec<String> = socket
            .regions
            .iter()
            .map(|r| format!("{} over {}", r.size, counted(usize::from(r.ways), "channel")))
            .collect();
        let (parts, label) = (listed(&parts), shown(&socket.label).to_string());
        match alike.iter_mut().find(|(known, _)| *known == parts) {
            Some((_, labels)) => labels.push(label),
            None => alike.push((parts, vec![label])),
        }
    }
    let sockets: Vec<String> = alike
        .into_iter()
        .map(|(parts, labels)| match &labels[..] {
            [only] => format!("socket {only}: {parts}"),
            several => format!("sockets {}, each: {parts}", listed(several)),
        })
        .collect();
    let band = estimate.map_or_else(String::new, |e| format!("; measured machines let expect {}", e.band()));
    format!(
        "{}; about {} % of this board's best bandwidth (estimate{band}{known})",
        sockets.join("; "),
        bandwidth.percent()
    )
}
