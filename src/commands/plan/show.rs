//! The answer on screen.

use super::super::wrap::wrapped;
use super::answer::Answer;
use super::considered::{packs, picks};
use super::short;
use crate::draw::{Align, Look, Mark, State, legend, slot_map, table};
use crate::plan::explain::made_of;
use crate::plan::front::Front;
use crate::plan::moves::Handling;
use crate::plan::search::{Criterion, Found, From, Target};
use crate::source::counted;
use crate::stock::Money;
use crate::text::{shown, shown_within};

/// What the lines are shown on.
#[derive(Debug, Clone, Copy)]
pub struct Page {
    pub look: Look,
    pub colour: bool,
    /// The width of a terminal; `None` in a pipe.
    pub columns: Option<usize>,
}

/// The answer in lines.
pub fn text(answer: &Answer<'_>, page: Page) -> Vec<String> {
    let Page { look, colour, columns } = page;
    let prose = |text: &str| wrapped(text, columns, 2);
    let mut lines = Vec::new();
    for breach in &answer.before.breaches {
        lines.push(prose(&format!("fitted now, against the rules: {breach}")));
    }
    let (Some(best), Some(told)) = (answer.outcome.plans.first(), answer.told.first()) else {
        lines.extend(nothing_fits(answer).into_iter().chain(notes(answer)).map(|line| prose(&line)));
        return lines;
    };
    let mark = |at: crate::board::SlotRef<'_>| {
        let had = answer.modules.get(at.index).is_some_and(Option::is_some);
        Mark::from(match (&best.from[at.index], had) {
            (Some(From::Fitted(was)), _) if *was == at.index => State::Fitted,
            (Some(_), _) => State::Planned,
            (None, true) => State::Leaves,
            (None, false) => State::Empty,
        })
    };
    lines.extend(slot_map(answer.problem.board, &mark, look).shown(colour));
    lines.extend(legend([State::Fitted, State::Planned, State::Leaves, State::Empty], look).shown(colour));
    lines.push(String::new());
    lines.extend(answer.places(best).iter().map(|line| prose(line)));
    lines.push(String::new());
    lines.extend(told.reasons.iter().map(|reason| prose(&format!("- {}", shown_within(reason, 600)))));
    lines.push(String::new());
    lines.extend(purchase(answer, best, page));
    let picks = picks(answer, best);
    if !picks.is_empty() {
        let heads = [("unit", Align::Left), ("slot", Align::Left), ("lot", Align::Left)];
        let rows: Vec<Vec<String>> =
            picks.into_iter().map(|pick| vec![pick.unit, pick.slot.to_string(), pick.lot]).collect();
        lines.push("units differ in the lots their modules come from:".to_owned());
        lines.extend(fitting(&heads, &rows, page));
    }
    let handlings = answer.handlings(best);
    if answer.modules.iter().any(Option::is_some) {
        let each = if answer.problem.units > 1 { " in each unit" } else { "" };
        let tray = if handlings.iter().any(|h| matches!(h, Handling::Park { .. })) {
            ", with one place in the tray"
        } else {
            ""
        };
        let count = counted(best.score.moves as usize, "handling");
        lines.push(prose(&format!(
            "{count}{each} (taking a module out is one, seating it another), in this order{tray}:"
        )));
        let line =
            |(n, h): (usize, &Handling)| wrapped(&format!("{:3}. {}", n + 1, answer.handling(best, *h)), columns, 5);
        lines.extend(handlings.iter().enumerate().map(line));
    }
    if let Some(front) = answer.front.as_ref().filter(|f| f.plans.len() > 1) {
        lines.push(String::new());
        let more = if front.complete { "" } else { " (there are more)" };
        let differ = front.plans.iter().any(|plan| answer.estimate(plan).is_some());
        let star = if differ { "; * an estimate that measured machines differ from" } else { "" };
        let what = if answer.priced() { "memory, cost and bandwidth" } else { "memory and bandwidth" };
        let text =
            format!("trade-off{more}: none of these is beaten in {what} at once, before its figures are rounded{star}");
        lines.push(prose(&text));
        lines.extend(trade_off(answer, front, page));
    }
    let told: Vec<String> = unjudged(&told.unknown).into_iter().chain(notes(answer)).collect();
    if !told.is_empty() {
        lines.push(String::new());
        lines.extend(told.iter().map(|line| prose(line)));
    }
    // What matters most comes last, where a small terminal shows it without scrolling.
    lines.push(String::new());
    lines.extend(others(answer).map(prose));
    lines.extend(alternatives(answer, page));
    lines.extend(below_the_table(answer).iter().map(|line| prose(line)));
    lines.push(String::new());
    lines.extend(short::lines(answer, best, columns));
    lines
}

fn notes<'a>(answer: &'a Answer<'_>) -> impl Iterator<Item = String> + 'a {
    // Without a plan they are among the reasons.
    let unlike = answer.outcome.unlike.iter().filter(|_| answer.shortage.is_none());
    let all = unlike.chain(&answer.outcome.notes).chain(&answer.stock.notes).chain(&answer.notes);
    all.map(|note| format!("note: {}", shown_within(note, 400)))
}

/// What could not be judged; the same of several slots in one line.
pub(super) fn unjudged(unknown: &[String]) -> Vec<String> {
    let mut same: Vec<(&str, Vec<&str>)> = Vec::new();
    for text in unknown {
        let (at, what) = text.split_once(": ").unwrap_or(("", text));
        match same.iter_mut().find(|(known, _)| *known == what) {
            Some((_, places)) => places.push(at),
            None => same.push((what, vec![at])),
        }
    }
    same.into_iter()
        .map(|(what, places)| {
            let places = places.join(", ");
            let text = if places.is_empty() { what.to_owned() } else { format!("{places}: {what}") };
            format!("not judged: {}", shown_within(&text, 300))
        })
        .collect()
}

/// What the search proves of plan 1.
pub(super) fn proof(answer: &Answer<'_>) -> String {
    let outcome = &answer.outcome;
    match (outcome.exhausted, outcome.bound) {
        _ if !outcome.unlike.is_empty() && !outcome.cut => {
            "NOT proven: facts of modules are not known, and a better plan may follow from them (see the notes)"
                .to_owned()
        }
        (true, _) => {
            "proven: every arrangement was searched or ruled out, and nothing is better than plan 1".to_owned()
        }
        (false, Some(bound)) => format!("NOT proven: the search was cut short; {}", bound_in_words(answer, bound)),
        (false, None) => "NOT proven: the search was cut short".to_owned(),
    }
}

/// What the search says of the other plans, where there are any.
pub(super) fn others(answer: &Answer<'_>) -> Option<&'static str> {
    let (found, wanted) = (answer.outcome.plans.len(), answer.problem.alternatives + 1);
    match (found, answer.outcome.alternatives_exhausted) {
        (0, _) => None,
        (1, _) if wanted == 1 => None,
        (1, true) => Some("there is no next best plan: no other arrangement differs from plan 1 in what was asked for"),
        (1, false) => Some("no next best plan was found; another order of --prefer, or another target, gives others"),
        (_, true) if found < wanted => Some("the next best are proven: there are no others"),
        (_, true) => Some("the next best are proven: no other arrangement lies between them"),
        (_, false) if found < wanted => Some(
            "the next best are the best found; that none lies between is not proven, and no more were found: another order of \
             --prefer gives others",
        ),
        (_, false) => Some("the next best are the best found; that none lies between is not proven"),
    }
}

/// What no plan can beat, in the unit of what goes first.
fn bound_in_words(answer: &Answer<'_>, bound: i128) -> String {
    let whole = u64::try_from(bound).unwrap_or(0);
    let scale = answer.told.first().map_or(0, |told| told.bandwidth.best_mb_s);
    let score = answer.outcome.plans.first().map(|plan| plan.score);
    let (text, reached) = match answer.problem.prefer.order()[0] {
        Criterion::Bandwidth => {
            // A plan has no more than the whole board; rounded up, so that what is said holds.
            let percent = whole.min(scale).saturating_mul(100).div_ceil(scale.max(1));
            let text = format!("no plan gives more than {percent} % of this board's best bandwidth");
            (text, score.is_some_and(|s| s.mb_s >= whole.min(scale)))
        }
        Criterion::Cost => {
            let cost = format!("{} {}", Money(whole), shown(answer.currency()));
            (format!("no plan costs less than {}", cost.trim_end()), score.is_some_and(|s| s.cost.0 <= whole))
        }
        _ => {
            let text = format!("no plan takes fewer than {}", counted(usize::try_from(bound).unwrap_or(0), "module"));
            (text, score.is_some_and(|s| u64::from(s.modules) <= whole))
        }
    };
    let rest = if reached { ", and plan 1 reaches that: only what goes after it is not proven" } else { "" };
    format!("{text}{rest}")
}

fn nothing_fits(answer: &Answer<'_>) -> Vec<String> {
    let unlike = !answer.outcome.unlike.is_empty();
    let known = if unlike { " as far as its modules are known" } else { "" };
    let mut lines = vec![match (answer.problem.target, !answer.outcome.cut) {
        (Target::AtLeast(size), true) => format!("no plan meets {size}{known}"),
        (Target::Exactly(size), true) => format!("no plan gives exactly {size}{known}"),
        (Target::AtLeast(size), false) => format!("before the time was up no plan was found that meets {size}"),
        (Target::Exactly(size), false) => format!("before the time was up no plan was found that gives exactly {size}"),
    }];
    let Some(shortage) = &answer.shortage else { return lines };
    lines.extend(shortage.reasons.iter().map(|reason| format!("- {}", shown_within(reason, 600))));
    let each = if answer.problem.units > 1 { " in each unit" } else { "" };
    let with = if answer.problem.budget.is_some() { " with that budget" } else { "" };
    let hedge = if shortage.certain { "" } else { "; a nearer one may exist: it was not looked for to the end" };
    lines.push(match (shortage.below, shortage.certain) {
        (Some(below), _) => format!("nearest below that can be met{with}: {below}{each}{hedge}"),
        (None, true) => format!("nothing below can be met{with}"),
        (None, false) => format!("nothing below that can be met{with} was found; it was not looked for to the end"),
    });
    if let Some(above) = shortage.above {
        lines.push(format!("nearest above that can be met{with}: {above}{each}{hedge}"));
    }
    lines
}

/// Whole per cent; a star where measured machines left the estimate.
pub(super) fn percent(best_mb_s: u64, mb_s: u64, star: bool) -> String {
    let star = if star { "*" } else { "" };
    format!("{} %{star}", (mb_s * 100).checked_div(best_mb_s).unwrap_or(0))
}

/// The head of a column of costs: they are for all units, all else is for one.
fn cost_head(answer: &Answer<'_>) -> String {
    match answer.problem.units {
        0 | 1 => "cost".to_owned(),
        units => format!("cost of {units}"),
    }
}

fn alternatives(answer: &Answer<'_>, page: Page) -> Vec<String> {
    let cost = cost_head(answer);
    let heads = [
        ("plan", Align::Right),
        ("memory", Align::Right),
        ("modules", Align::Right),
        ("MT/s", Align::Right),
        ("channels", Align::Right),
        ("bandwidth", Align::Right),
        (&cost, Align::Right),
        ("handlings", Align::Right),
        ("free", Align::Right),
    ];
    let slots = answer.problem.board.slots().count();
    let rows: Vec<Vec<String>> = answer
        .outcome
        .plans
        .iter()
        .zip(&answer.told)
        .enumerate()
        .map(|(n, (found, told))| {
            let s = found.score;
            vec![
                (n + 1).to_string(),
                s.capacity.to_string(),
                s.modules.to_string(),
                s.mts.0.to_string(),
                format!("{}/{}", told.channels.0, told.channels.1),
                percent(told.bandwidth.best_mb_s, s.mb_s, told.estimate.is_some()),
                answer.amount(s.cost),
                s.moves.to_string(),
                (slots - s.modules as usize).to_string(),
            ]
        })
        .collect();
    priced(answer, heads.to_vec(), rows, page)
}

/// A table; where a terminal is too narrow for it, as many tables below one another as it takes, each with the first column.
/// A pipe has no width.
fn fitting(heads: &[(&str, Align)], rows: &[Vec<String>], page: Page) -> Vec<String> {
    let wide = |n: usize| {
        let cells = rows.iter().filter_map(|row| row.get(n)).map(|cell| cell.chars().count());
        cells.chain([heads[n].0.len()]).max().unwrap_or(0) + 2
    };
    let width: usize = (0..heads.len()).map(wide).sum();
    let Some(columns) = page.columns.filter(|columns| width > columns + 2) else {
        return table(heads, rows, Look { width, ..page.look }).shown(page.colour);
    };
    let mut lines = Vec::new();
    let mut next = 1;
    while next < heads.len() {
        let mut shown = vec![0];
        let mut used = wide(0);
        while next < heads.len() && (shown.len() == 1 || used + wide(next) <= columns + 2) {
            used += wide(next);
            shown.push(next);
            next += 1;
        }
        let heads: Vec<(&str, Align)> = shown.iter().map(|n| heads[*n]).collect();
        let cells = |row: &Vec<String>| shown.iter().filter_map(|n| row.get(*n).cloned()).collect();
        let rows: Vec<Vec<String>> = rows.iter().map(cells).collect();
        lines.extend(table(&heads, &rows, Look { width: columns, ..page.look }).shown(page.colour));
    }
    lines
}

/// Which figures of the table are estimates that measured machines left, and why each plan is not the first.
fn below_the_table(answer: &Answer<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    let bands: Vec<String> = answer
        .told
        .iter()
        .enumerate()
        .filter_map(|(n, told)| told.estimate.as_ref().map(|e| format!("plan {}: {}", n + 1, e.band())))
        .collect();
    if !bands.is_empty() {
        lines.push(format!("* estimate; measured machines let expect {}", bands.join(", ")));
    }
    for (n, other) in answer.outcome.plans.iter().enumerate() {
        if let Some(why) = answer.why_not(n) {
            lines.push(format!("why not {} ({}): {why}", n + 1, made_of(other)));
        }
    }
    lines
}

fn purchase(answer: &Answer<'_>, best: &Found, page: Page) -> Vec<String> {
    let heads = [
        ("lot", Align::Left),
        ("module", Align::Left),
        ("there", Align::Right),
        ("needed", Align::Right),
        ("packs", Align::Left),
        ("taken", Align::Right),
        ("cost", Align::Right),
    ];
    let rows: Vec<Vec<String>> = best
        .bought
        .iter()
        .map(|&(lot, n)| {
            let here = &answer.problem.lots[lot];
            vec![
                here.name.clone(),
                here.part.clone().unwrap_or_else(|| here.spec.to_string()),
                here.count.to_string(),
                answer.needed(best, lot).to_string(),
                packs(n, here.pack.max(1)),
                n.to_string(),
                answer.amount(Money(here.price.0 * u64::from(n))),
            ]
        })
        .collect();
    if rows.is_empty() {
        return vec!["nothing is taken from stock".to_owned()];
    }
    let mut lines = priced(answer, heads.to_vec(), rows, page);
    let units = counted(answer.problem.units as usize, "unit");
    if answer.priced() {
        lines.push(format!("for {units}: {} {}", best.score.cost, shown(answer.currency())).trim_end().to_owned());
    } else {
        lines.push(format!("for {units}; the stock list names no price, so no cost is told"));
    }
    lines
}

fn trade_off(answer: &Answer<'_>, front: &Front, page: Page) -> Vec<String> {
    let cost = cost_head(answer);
    let heads = [
        ("memory", Align::Right),
        (&cost, Align::Right),
        ("bandwidth", Align::Right),
        ("MT/s", Align::Right),
        ("modules", Align::Right),
    ];
    let best = answer.told.first().map_or(0, |t| t.bandwidth.best_mb_s);
    let rows: Vec<Vec<String>> = front
        .plans
        .iter()
        .map(|p| {
            let s = p.score;
            let modules = s.modules.to_string();
            let bandwidth = percent(best, s.mb_s, answer.estimate(p).is_some());
            vec![s.capacity.to_string(), answer.amount(s.cost), bandwidth, s.mts.0.to_string(), modules]
        })
        .collect();
    priced(answer, heads.to_vec(), rows, page)
}

/// The table, its column of costs left out where no lot has a price.
fn priced(answer: &Answer<'_>, mut heads: Vec<(&str, Align)>, mut rows: Vec<Vec<String>>, page: Page) -> Vec<String> {
    let cost = cost_head(answer);
    if let Some(at) = heads.iter().position(|(head, _)| *head == cost || *head == "cost").filter(|_| !answer.priced()) {
        heads.remove(at);
        rows.iter_mut().for_each(|row| drop(row.remove(at)));
    }
    fitting(&heads, &rows, page)
}
