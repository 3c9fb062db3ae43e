//! The plan in short: what a buyer needs most, so that it stands on the last screen of a small terminal.

use std::collections::BTreeMap;

use super::super::wrap::wrapped;
use super::answer::Answer;
use super::considered::packs;
use super::show::{percent, proof};
use crate::plan::explain::{made_of, rates};
use crate::plan::moves::Handling;
use crate::plan::search::Found;
use crate::source::counted;
use crate::stock::Money;
use crate::text::{shown, shown_within};

/// Columns the names of the lines take.
const NAMES: usize = 7;
/// The most sorts of modules, and lots, told here; all of them stand further up.
const MOST: usize = 4;
/// The most slots named one by one.
const MOST_SLOTS: usize = 16;

/// The lines, broken at `columns`.
pub fn lines(answer: &Answer<'_>, best: &Found, columns: Option<usize>) -> Vec<String> {
    let Some(told) = answer.told.first() else { return Vec::new() };
    let units = answer.problem.units;
    let each = if units > 1 { " each" } else { "" };
    let mut out: Vec<(&str, String)> = Vec::new();
    let modules = counted(best.score.modules as usize, "module");
    let (used, all) = told.channels;
    out.push((
        "holds",
        format!("{}{each} in {modules} ({}), on {used} of {all} channels", best.score.capacity, made_of(best)),
    ));
    let share = percent(told.bandwidth.best_mb_s, best.score.mb_s, false);
    let band =
        told.estimate.as_ref().map_or_else(String::new, |e| format!(": measured machines let expect {}", e.band()));
    let at = told.speed.mts.map_or_else(|| "at a rate that is not known".to_owned(), |mts| format!("at {mts}"));
    let rates = rates(answer.problem, best);
    let at = match rates.first().filter(|_| rates.len() > 1) {
        Some((fastest, _)) => format!("{at}, the slowest of the units (others up to {fastest}: told above)"),
        None => at,
    };
    out.push(("runs", format!("{at}; about {share} of this board's best bandwidth (estimate{band})")));
    out.extend(
        few(sorts(answer, best), "sort of modules", "sorts of modules").into_iter().map(|place| ("goes", place)),
    );
    let taken = best.bought.iter().map(|&(lot, n)| {
        let here = &answer.problem.lots[lot];
        let part = here.part.as_ref().map_or_else(String::new, |part| format!(" ({})", shown(part)));
        let needed = answer.needed(best, lot);
        let over = if needed < n { format!(", of which {} stay over", n - needed) } else { String::new() };
        format!("{} of {}{part}{over}", take(n, here.pack.max(1)), shown(&here.name))
    });
    let taken = few(taken.collect(), "lot", "lots");
    if taken.is_empty() {
        out.push(("take", "nothing from stock".to_owned()));
    }
    out.extend(taken.into_iter().map(|taken| ("take", taken)));
    if answer.priced() {
        let named = |money: Money| format!("{money} {}", shown(answer.currency())).trim_end().to_owned();
        let budget = answer.problem.budget.map(named).map_or_else(String::new, |b| format!(", of a budget of {b}"));
        out.push(("cost", format!("{} for {}{budget}", named(best.score.cost), counted(units as usize, "unit"))));
    }
    let leaves: Vec<usize> = answer
        .handlings(best)
        .iter()
        .filter_map(|handling| if let Handling::Remove { slot } = handling { Some(*slot) } else { None })
        .collect();
    if !leaves.is_empty() {
        let count = counted(leaves.len(), "module");
        out.push(("leaves", format!("{count}{each}, out of {}", places(answer, &leaves))));
    }
    if answer.modules.iter().any(Option::is_some) {
        let handlings = counted(best.score.moves as usize, "handling");
        let each = if units > 1 { " in each unit" } else { "" };
        out.push(("hands", format!("{handlings}{each}, listed above")));
    }
    out.push(("proof", proof(answer)));
    let seen = [
        match answer.before.breaches.len() {
            0 => String::new(),
            n => format!("what is fitted now breaks {}", counted(n, "rule")),
        },
        match super::show::unjudged(&told.unknown).len() {
            0 => String::new(),
            n => format!("{} not judged", counted(n, "thing")),
        },
    ];
    let seen: Vec<&str> = seen.iter().map(String::as_str).filter(|text| !text.is_empty()).collect();
    if !seen.is_empty() {
        out.push(("mind", format!("{}: told above", seen.join(", and "))));
    }
    let mut last = "";
    let mut lines = vec!["plan 1 in short".to_owned()];
    for (name, text) in out {
        // A name stands once for the lines below it.
        let name = if std::mem::replace(&mut last, name) == name { "" } else { name };
        lines.push(wrapped(&format!("{name:<NAMES$}{text}"), columns, NAMES));
    }
    lines
}

/// `8`, `2 packs of 4`.
fn take(modules: u32, pack: u32) -> String {
    if pack == 1 { modules.to_string() } else { packs(modules, pack) }
}

/// The first few, and how many there are more.
fn few(mut all: Vec<String>, one: &str, several: &str) -> Vec<String> {
    if all.len() > MOST {
        let more = all.len() - (MOST - 1);
        all.truncate(MOST - 1);
        all.push(format!("and {more} more {}: all stand above", if more == 1 { one } else { several }));
    }
    all
}

/// Each sort of module with where it comes from and where it goes.
fn sorts(answer: &Answer<'_>, best: &Found) -> Vec<String> {
    let mut sorts = answer.sorts(best, true);
    if sorts.len() > MOST {
        sorts = answer.sorts(best, false);
    }
    sorts.iter().map(|(what, slots)| format!("{}: {}", shown_within(what, 120), places(answer, slots))).collect()
}

/// `the first slot of every channel`, else the labels.
fn places(answer: &Answer<'_>, slots: &[usize]) -> String {
    let board = answer.problem.board;
    let alive = |at: &crate::board::SlotRef<'_>| answer.problem.cpus.get(at.socket_index).is_some_and(Option::is_some);
    let mut whole: Vec<u8> = Vec::new();
    let mut covered = 0;
    let mut positions: Vec<u8> = board.slots().filter(alive).map(|at| at.slot.position).collect();
    positions.sort_unstable();
    positions.dedup();
    let channels = board.slots().filter(alive).filter(|at| at.slot.position == 1).count();
    for &position in &positions {
        let there: Vec<usize> =
            board.slots().filter(alive).filter(|at| at.slot.position == position).map(|at| at.index).collect();
        if there.len() == channels && there.iter().all(|slot| slots.contains(slot)) {
            whole.push(position);
            covered += there.len();
        }
    }
    if covered == slots.len() && channels > 1 {
        let count = counted(slots.len(), "slot");
        if whole == positions {
            return format!("every slot ({count})");
        }
        let names: Vec<String> = whole.iter().map(|position| ordinal(*position)).collect();
        let word = if names.len() == 1 { "slot" } else { "slots" };
        return format!("the {} {word} of every channel ({count})", names.join(" and "));
    }
    let labels: Vec<String> = slots.iter().map(|&slot| answer.label(slot)).collect();
    if labels.len() <= MOST_SLOTS {
        return labels.join(" ");
    }
    if let Some(row) = alike_in_sockets(answer, slots) {
        return row;
    }
    format!("{} and {} more, see the map", labels[..MOST_SLOTS - 4].join(" "), labels.len() - (MOST_SLOTS - 4))
}

/// `the first slot of channels A, B in every socket`, where it is one place of the same channels of each.
fn alike_in_sockets(answer: &Answer<'_>, slots: &[usize]) -> Option<String> {
    let board = answer.problem.board;
    let mut by_socket: BTreeMap<usize, Vec<&str>> = BTreeMap::new();
    let mut position = None;
    for at in board.slots().filter(|at| slots.contains(&at.index)) {
        if *position.get_or_insert(at.slot.position) != at.slot.position {
            return None;
        }
        by_socket.entry(at.socket_index).or_default().push(&at.channel.label);
    }
    let live = answer.problem.cpus.iter().filter(|cpu| cpu.is_some()).count();
    let channels = by_socket.values().next()?;
    if live < 2 || by_socket.len() != live || by_socket.values().any(|other| other != channels) {
        return None;
    }
    let (names, count) = (shown(&channels.join(", ")).to_string(), counted(slots.len(), "slot"));
    Some(format!("the {} slot of channels {names} in every socket ({count})", ordinal(position?)))
}

fn ordinal(position: u8) -> String {
    match position {
        1 => "first".to_owned(),
        2 => "second".to_owned(),
        3 => "third".to_owned(),
        n => format!("{n}th"),
    }
}
