//! The most a board takes, the most a stock makes, and the steps in which modules make memory: bounds anyone can reckon.

use std::collections::{BTreeMap, BTreeSet};

use crate::plan::rules::{Rule, check};
use crate::plan::search::{Problem, Target};
use crate::plan::seat::Seat;
use crate::source::counted;
use crate::stock::Lot;
use crate::text::shown;
use crate::units::{Size, gcd};

/// Slots of sockets with a processor.
fn slots(problem: &Problem<'_>) -> u64 {
    problem.board.slots().filter(|at| problem.cpus.get(at.socket_index).is_some_and(Option::is_some)).count() as u64
}

/// Why a module of this lot may go into no slot of the board.
fn unfit(problem: &Problem<'_>, lot: &Lot) -> Option<String> {
    let at = problem.board.slots().find(|at| problem.cpus.get(at.socket_index).is_some_and(Option::is_some))?;
    let mut seats = vec![None; problem.board.slots().count()];
    seats[at.index] = Some(Seat::from_lot(lot, problem.board));
    let verdict = check(problem.board, problem.cpus, &seats);
    let own = [Rule::Generation, Rule::Kind, Rule::Voltage, Rule::Largest];
    let breach = verdict.breaches.iter().find(|breach| own.contains(&breach.rule))?;
    let place = format!("{}: ", at.slot.label);
    Some(breach.what.strip_prefix(&place).unwrap_or(&breach.what).to_owned())
}

fn usable<'a>(problem: &'a Problem<'_>) -> impl Iterator<Item = &'a Lot> {
    problem.lots.iter().filter(|lot| lot.count > 0 && unfit(problem, lot).is_none())
}

/// More than every slot of the board can hold with the largest module there is in the stock, or fitted: whatever the rules
/// say and however many of each lot there were, no plan reaches this.
fn beyond_reach(problem: &Problem<'_>) -> Size {
    let fitted = problem.fitted.iter().flatten().map(|fitted| fitted.seat.spec.gib);
    let largest = problem.lots.iter().map(|lot| lot.spec.gib).chain(fitted).max().unwrap_or_default();
    Size::from_mib(largest.mib().saturating_mul(problem.board.slots().count() as u64) + 1)
}

/// Whether the target is more than there could be a plan for.
pub fn out_of_reach(problem: &Problem<'_>) -> bool {
    problem.target.size() >= beyond_reach(problem)
}

/// The target, or one as far out of reach that is smaller: the tables of a search grow with its target.
pub fn bounded(problem: &Problem<'_>) -> Target {
    match problem.target {
        Target::AtLeast(size) => Target::AtLeast(size.min(beyond_reach(problem))),
        Target::Exactly(size) => Target::Exactly(size.min(beyond_reach(problem))),
    }
}

/// Memory comes in steps of so many MiB: what the sizes have in common, in every socket where sockets must match.
pub fn step_of(problem: &Problem<'_>) -> u64 {
    let fitted = problem.fitted.iter().flatten().map(|f| f.seat.spec.gib.mib());
    let common = usable(problem).map(|lot| lot.spec.gib.mib()).chain(fitted).fold(0, gcd);
    let sockets = problem.cpus.iter().flatten().count() as u64;
    let times = if problem.board.limits.sockets_match == Some(true) { sockets.max(1) } else { 1 };
    common * times
}

/// Why an exact target that is no multiple of the step cannot be met.
pub fn step(problem: &Problem<'_>) -> Option<String> {
    let (Target::Exactly(target), step) = (problem.target, step_of(problem)) else { return None };
    if step == 0 || target.mib().is_multiple_of(step) {
        return None;
    }
    let fitted = problem.fitted.iter().flatten().map(|f| f.seat.spec.gib);
    let sizes: BTreeSet<Size> = usable(problem).map(|lot| lot.spec.gib).chain(fitted).collect();
    let sizes: Vec<String> = sizes.iter().map(ToString::to_string).collect();
    let matched = problem.board.limits.sockets_match == Some(true) && problem.cpus.iter().flatten().count() > 1;
    let alike = if matched { ", the same in every socket," } else { "" };
    let step = Size::from_mib(step);
    Some(format!("modules of {}{alike} make multiples of {step}, and {target} is none", sizes.join(", ")))
}

/// The board's own most, where the target is beyond it.
pub fn of_the_board(problem: &Problem<'_>) -> Vec<String> {
    let (limits, target, slots) = (&problem.board.limits, problem.target.size(), slots(problem));
    let mut out = Vec::new();
    let known = limits.kinds.iter().all(|kind| limits.largest.iter().any(|l| l.kind == *kind));
    let largest = limits.largest.iter().filter(|l| limits.kinds.contains(&l.kind)).max_by_key(|l| l.gib.mib());
    if let Some(largest) = largest.filter(|_| known) {
        let most = Size::from_mib(largest.gib.mib().saturating_mul(slots));
        if most < target {
            out.push(format!(
                "the target is beyond this board: its {slots} slots hold {most} with the largest module it takes \
                 ({} of {})",
                largest.kind, largest.gib
            ));
        }
    }
    let addressed: Option<Vec<Size>> = problem.cpus.iter().flatten().map(|cpu| cpu.gib).collect();
    if let Some(most) = addressed.map(|all| all.into_iter().sum::<Size>()).filter(|most| *most < target) {
        out.push(format!("the target is beyond the processors: together they address {most}"));
    }
    out
}

/// The stock's own most, whatever the rules say, where the target is beyond it.
pub fn of_the_stock(problem: &Problem<'_>) -> Option<String> {
    let units = u64::from(problem.units);
    let (places, target) = (slots(problem) * units, problem.target.size());
    let mut by_size: BTreeMap<Size, u64> = BTreeMap::new();
    for lot in usable(problem) {
        *by_size.entry(lot.spec.gib).or_default() += u64::from(lot.count);
    }
    for fitted in problem.fitted.iter().flatten() {
        *by_size.entry(fitted.seat.spec.gib).or_default() += units;
    }
    let (mut left, mut parts, mut most) = (places, Vec::new(), 0u64);
    for (size, there) in by_size.iter().rev() {
        let taken = left.min(*there);
        if taken > 0 {
            parts.push(format!("{taken} of {size}"));
        }
        most += size.mib() * taken;
        left -= taken;
    }
    if most >= target.mib().saturating_mul(units) || parts.is_empty() {
        return None;
    }
    let (all, fill) = (places - left, counted(places as usize, "slot"));
    let fitted = if problem.fitted.iter().any(Option::is_some) { " and what is fitted" } else { "" };
    let whose = if units == 1 { String::new() } else { format!(" of {units} units") };
    let needed = if units == 1 {
        format!("{target} is asked for")
    } else {
        format!("{} is asked for in all", Size::from_mib(target.mib().saturating_mul(units)))
    };
    Some(format!(
        "the target is beyond this stock{fitted}: for {fill}{whose} the {all} largest modules there are ({}) make {}, \
         and {needed}",
        parts.join(", "),
        Size::from_mib(most)
    ))
}

/// Lots whose modules go into no slot of this board, the same reason told once.
pub fn that_do_not_fit(problem: &Problem<'_>) -> Vec<String> {
    let mut why: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for lot in problem.lots {
        if let Some(unfit) = unfit(problem, lot) {
            why.entry(unfit).or_default().push(&lot.name);
        }
    }
    why.into_iter()
        .take(5)
        .map(|(why, lots)| {
            let names: Vec<String> = lots.iter().take(4).map(|name| shown(name).to_string()).collect();
            let more = if lots.len() > 4 { format!(" and {} more", lots.len() - 4) } else { String::new() };
            let word = if lots.len() == 1 { "lot" } else { "lots" };
            format!("{word} {}{more} cannot be used: {why}", names.join(", "))
        })
        .collect()
}
