//! The nearest plans beside the one found: one module more, one module fewer, and what each would do.

use super::alone::alone;
use super::had::left;
use crate::plan::interleave::{Bandwidth, bandwidth};
use crate::plan::rules;
use crate::plan::search::{Found, Prefer, Problem, Target};
use crate::plan::seat::{Seat, Seats};
use crate::plan::speed::speed;
use crate::stock::Money;
use crate::text::shown;
use crate::units::{Mts, Size};

/// The slots that change together: one, or the same place of every socket where sockets must match.
fn together(problem: &Problem<'_>, slot: usize) -> Vec<usize> {
    let Some(first) = problem.board.slots().nth(slot) else { return Vec::new() };
    let matched = problem.board.limits.sockets_match == Some(true);
    let same = |at: &crate::board::SlotRef<'_>| {
        let place = at.channel_index == first.channel_index && at.slot.position == first.slot.position;
        at.index == slot || (matched && place && problem.cpus.get(at.socket_index).is_some_and(Option::is_some))
    };
    problem.board.slots().filter(same).map(|at| at.index).collect()
}

fn labels(problem: &Problem<'_>, slots: &[usize]) -> String {
    let of = |slot: &usize| problem.board.slots().nth(*slot).map(|at| at.slot.label.to_string());
    slots.iter().filter_map(of).collect::<Vec<_>>().join(", ")
}

fn memory(seats: &Seats) -> Size {
    seats.iter().flatten().map(|seat| seat.spec.gib).sum()
}

/// How bandwidth changes: rate, the memory that stands alone, per cent.
struct Change {
    then: Bandwidth,
    words: String,
}

impl Change {
    fn of(problem: &Problem<'_>, found: &Found, now: &Bandwidth, seats: &Seats) -> Self {
        let mts = speed(problem.board, problem.cpus, seats).mts.unwrap_or(Mts(0));
        let then = bandwidth(problem.board, problem.cpus, seats, mts);
        let mut parts = Vec::new();
        let before = alone(problem.board, &found.seats, now);
        if let Some(alone) = alone(problem.board, seats, &then).filter(|text| before.as_ref() != Some(text)) {
            parts.push(format!("leaves {alone}"));
        }
        if mts < found.score.mts {
            parts.push(format!("slows all memory to {mts}"));
        }
        let percents = format!("{} % of the best bandwidth in place of {} %", then.percent(), now.percent());
        let words = if parts.is_empty() {
            format!("gives {percents}")
        } else {
            format!("{}: {percents}", super::listed(&parts))
        };
        Self { then, words }
    }
}

/// One module more in the slot that is filled next, of a sort that can be had; else what would have to be bought.
pub fn one_more(problem: &Problem<'_>, found: &Found, now: &Bandwidth, currency: &str) -> Option<String> {
    let free = problem
        .board
        .slots()
        .filter(|at| problem.cpus.get(at.socket_index).is_some_and(Option::is_some) && found.seats[at.index].is_none())
        .min_by_key(|at| (at.slot.position, at.index));
    let Some(free) = free else {
        return Some("one more module has no slot: every slot of a socket with a processor is filled".to_owned());
    };
    let slots = together(problem, free.index);
    let wanted = (slots.len() as u32).saturating_mul(problem.units);
    let filled = |spec: &Seat| {
        let mut seats = found.seats.clone();
        slots.iter().for_each(|&slot| seats[slot] = Some(spec.clone()));
        seats
    };
    let sorts = sorts(problem, found);
    let had = |seat: &&Seat| left(problem, found, seat, wanted).0 >= wanted;
    let allowed = |seat: &&Seat| rules::check(problem.board, problem.cpus, &filled(seat)).breaches.is_empty();
    // The sort there is most of tells most; another that can be had and may go in tells more than one that may not.
    let first = sorts.first()?;
    let seat = Some(first).filter(had).or_else(|| sorts.iter().filter(had).find(allowed)).unwrap_or(first);
    let (there, cost) = left(problem, found, seat, wanted);
    let seats = filled(seat);
    let each = if slots.len() > 1 { " per socket" } else { "" };
    let mut start = format!("one more module of {}{each} (in {})", seat.spec.gib, labels(problem, &slots));
    if let Some(breach) = rules::check(problem.board, problem.cpus, &seats).breaches.first() {
        return Some(format!("{start} breaks the rule `{}`: {}", breach.rule, breach.what));
    }
    if let Target::Exactly(target) = problem.target {
        return Some(format!("{start} makes {}, and exactly {target} is asked for", memory(&seats)));
    }
    let change = Change::of(problem, found, now, &seats);
    if there < wanted {
        let left = if there == 0 { "none".to_owned() } else { format!("only {there}") };
        let units = if problem.units > 1 { format!("{wanted} for all units") } else { wanted.to_string() };
        return Some(format!(
            "{start} would have to be bought (the stock has {left} left, it takes {units}); it {}",
            change.words
        ));
    }
    let price = format!("{cost} {}", shown(currency)).trim_end().to_owned();
    let total = Money(found.score.cost.0.saturating_add(cost.0));
    if let Some(budget) = problem.budget.filter(|budget| total > *budget) {
        let named = |money: Money| format!("{money} {}", shown(currency)).trim_end().to_owned();
        let (rest, budget) = (named(Money(budget.0.saturating_sub(found.score.cost.0))), named(budget));
        return Some(format!("{start} costs {price} more, and the budget of {budget} leaves {rest}"));
    }
    if cost.0 > 0 {
        start.push_str(&format!(" costs {price} more and"));
    }
    let (was, is) = (now.effective_mb_s, change.then.effective_mb_s);
    Some(match problem.prefer {
        _ if is < was => format!("{start} {}", change.words),
        _ if is == was => format!("{start} buys memory and no bandwidth"),
        Prefer::Cost | Prefer::LeastMemory if cost.0 > 0 => {
            format!("{start} {}; the least cost goes first", change.words)
        }
        Prefer::Room => format!("{start} {}; free slots go first", change.words),
        _ => format!("{start} {}", change.words),
    })
}

/// The sorts of modules there are: those of the plan by their number, then those of the stock.
fn sorts(problem: &Problem<'_>, found: &Found) -> Vec<Seat> {
    let count = |sort: &Seat| found.seats.iter().flatten().filter(|seat| *seat == sort).count();
    let stock = problem.lots.iter().map(|lot| Seat::from_lot(lot, problem.board));
    let mut sorts: Vec<Seat> = Vec::new();
    for seat in found.seats.iter().flatten().cloned().chain(stock) {
        if !sorts.contains(&seat) {
            sorts.push(seat);
        }
        // A stock of thousands of sorts is not walked for one sentence.
        if sorts.len() >= 40 {
            break;
        }
    }
    sorts.sort_by_key(|seat| std::cmp::Reverse(count(seat)));
    sorts
}

/// The last filled slot emptied, in every socket where sockets must match.
pub fn one_less(problem: &Problem<'_>, found: &Found, now: &Bandwidth) -> Option<String> {
    let last = problem
        .board
        .slots()
        .filter(|at| found.seats[at.index].is_some())
        .max_by_key(|at| (at.slot.position, at.index))?;
    let slots = together(problem, last.index);
    let mut seats = found.seats.clone();
    let size = seats[last.index].as_ref()?.spec.gib;
    slots.iter().for_each(|&slot| seats[slot] = None);
    let each = if slots.len() > 1 { " per socket" } else { "" };
    let start = format!("one module of {size}{each} fewer (out of {})", labels(problem, &slots));
    let (target, left) = (problem.target.size(), memory(&seats));
    if left < target {
        return Some(format!("{start} leaves {left}, short of {target}"));
    }
    if let Some(breach) = rules::check(problem.board, problem.cpus, &seats).breaches.first() {
        return Some(format!("{start} breaks the rule `{}`: {}", breach.rule, breach.what));
    }
    let words = Change::of(problem, found, now, &seats).words;
    // Words that begin with what is left alone say "leaves" themselves.
    let how = words.strip_prefix("leaves ").map_or_else(|| format!("and {words}"), |alone| format!("with {alone}"));
    Some(format!("{start} leaves {left} {how}"))
}
