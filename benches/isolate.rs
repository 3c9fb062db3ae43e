//! The program's choice of trials against the yardstick's policies, all in the same run with the same draws.
//!
//! `cargo bench --bench isolate -- slot 0.7 0.9 ABCD 10000` prints the rows of one table: mode, q, r, boards, draws.

#![allow(clippy::print_stdout)]

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use slotwise::isolate::action::{Action, Arrangement};
use slotwise::isolate::advice::DEPTH;
use slotwise::isolate::belief::{Belief, Model};
use slotwise::isolate::candidates::Means;
use slotwise::isolate::choose::{Costs, choose, choose_whole};
use slotwise::isolate::fault::Mode;
use slotwise::isolate::layout::Layout;
use slotwise::isolate::rates::{Shares, shipped};

#[path = "../tests/reference/mod.rs"]
mod reference;

use reference::exact::{Means as Exact, from_starts, starts};
use reference::job::played;
use reference::least::least;
use reference::machine::board;
use reference::on_processor;
use reference::policies::{Policy, Trail, greedy, greedy_whole, look2};
use reference::sampled::{Tally, sampled};

const PRIORS: [(&str, Shares); 3] =
    [("install", Shares::install()), ("service", Shares::service()), ("flat", Shares::flat())];

/// Draws of a row unless stated.
const RUNS: usize = 10_000;

/// The slowest choice so far, in microseconds.
static SLOWEST: AtomicU64 = AtomicU64::new(0);

/// Sockets, channels a socket, slots a channel.
const BOARDS: [(&str, usize, usize, usize); 6] =
    [("A", 1, 4, 2), ("B", 2, 8, 2), ("C", 4, 6, 2), ("D", 2, 12, 1), ("H", 2, 4, 2), ("L", 8, 12, 2)];

fn engine(model: &Model, belief: &Belief, _: &mut Trail) -> Action {
    let start = on_processor();
    let costs = Costs { boot: 12.0, insertion: 1.5, ..Costs::default() };
    let choice = choose(model, belief, &Means::default(), &costs, DEPTH);
    SLOWEST.fetch_max((on_processor() - start).as_micros() as u64, Ordering::Relaxed);
    choice.action
}

/// The program where the machine does not post.
fn engine_whole(model: &Model, belief: &Belief, _: &mut Trail) -> Action {
    let start = on_processor();
    let costs = Costs { boot: 12.0, insertion: 1.5, ..Costs::default() };
    let home: Vec<(u16, u16)> = (0..model.layout.len() as u16).map(|p| (p, p)).collect();
    let choice = choose_whole(model, belief, &home, &Means::default(), &costs);
    SLOWEST.fetch_max((on_processor() - start).as_micros() as u64, Ordering::Relaxed);
    choice.action
}

/// The machine that does not post: `blind`, boards, draws. Every failure shows and no insertion spoils, as the yardstick has it:
/// few enough outcomes to follow all of them, so both policies' cycles and insertions are exact. What is drawn are convictions.
fn whole(word: &dyn Fn(usize, &str) -> String) {
    let (wanted, runs) = (word(1, "A"), word(2, "").parse().unwrap_or(RUNS));
    for (name, sockets, channels, slots) in BOARDS.into_iter().filter(|b| wanted.contains(b.0)) {
        for (prior, shares) in PRIORS {
            let layout = Layout::grid(sockets, channels, slots);
            let model = Model { layout, mode: Mode::Blind, clears: 0.9, spoils: 0.0, shows: 1.0, sure: 0.99 };
            let walked = |policy| from_starts(&model, policy, starts(&model, &shares, true), 1e-6);
            let told = |m: &Exact| format!("{:.3}; {:.1}; {:.2}", m.cycles, m.insertions, minutes(m));
            let g = walked(greedy_whole as Policy);
            SLOWEST.store(0, Ordering::Relaxed);
            let e = walked(engine_whole);
            let convicted = sampled(&model, &shares, engine_whole, runs).convicted;
            println!(
                "| Blind q=1 r=0.9 | {name} | {prior} | {} | {} | {:+.1} % | {:+.1} % | {:.4} | {:.4} | {:.0} |",
                told(&g),
                told(&e),
                100.0 * (e.cycles / g.cycles - 1.0),
                100.0 * (minutes(&e) / minutes(&g) - 1.0),
                e.right,
                convicted,
                SLOWEST.load(Ordering::Relaxed) as f64 / 1e3,
            );
        }
    }
}

/// Minutes at 12 a cycle and 1.5 an insertion.
fn minutes(means: &Exact) -> f64 {
    12.0 * means.cycles + 1.5 * means.insertions
}

/// The estimate for the listed trials beside the better of both policies of the yardstick, both without drawing: `least`, mode,
/// q, r, boards, beliefs looked into, priors.
fn estimates(word: &dyn Fn(usize, &str) -> String) {
    let mode = if word(1, "slot") == "channel" { Mode::Channel } else { Mode::Slot };
    let number = |n: usize, default: f64| word(n, "").parse().unwrap_or(default);
    let (shows, clears, wanted) = (number(2, 0.7), number(3, 0.9), word(4, "A"));
    let (beliefs, priors) = (word(5, "20000").parse().unwrap_or(20_000), word(6, "install,service,flat"));
    let (mut sum_better, mut sum_cut, mut sum_estimate) = (0.0, 0.0, 0.0);
    for (name, sockets, channels, slots) in BOARDS.into_iter().filter(|b| wanted.contains(b.0)) {
        for (prior, shares) in PRIORS.into_iter().filter(|p| priors.split(',').any(|wanted| wanted == p.0)) {
            let layout = Layout::grid(sockets, channels, slots);
            let model = Model { layout, mode, clears, spoils: 0.01, shows, sure: 0.99 };
            let walked = |policy| from_starts(&model, policy, starts(&model, &shares, true), 1e-6);
            let [greedy, look2] = [greedy as Policy, look2].map(walked);
            let better = if greedy.cycles < look2.cycles { greedy } else { look2 };
            let (better, cut, estimate) = (better.cycles, better.cut, least(&model, &shares, beliefs));
            (sum_better, sum_cut, sum_estimate) = (sum_better + better, sum_cut + cut, sum_estimate + estimate);
            let below = 100.0 * (estimate / better - 1.0);
            println!(
                "| {mode:?} q={shows} r={clears} | {name} | {prior} | {better:.4} | {estimate:.4} | {below:+.1} % |"
            );
        }
    }
    let below = 100.0 * (sum_estimate / sum_better - 1.0);
    println!(
        "| {mode:?} q={shows} r={clears} | {wanted} | all | {sum_better:.4} | {sum_estimate:.4} | {below:+.1} % |"
    );
    println!("Branches left out of the better of both: {sum_cut:.4}.");
}

fn cell(t: &Tally) -> String {
    format!("{:.3} ± {:.3}; {:.1}; {:.2}", t.cycles, t.half_width, t.insertions, t.minutes())
}

/// One choice on a board of 192 slots, right after the first report, in milliseconds.
fn large(mode: Mode) {
    let layout = Layout::grid(8, 12, 2);
    let model = Model { layout, mode, clears: 0.9, spoils: 0.01, shows: 0.7, sure: 0.99 };
    let board = Arrangement::full(192);
    let mut belief = Belief::before(&model, board, &Shares::install());
    belief.report(&model, &[0]);
    let costs = Costs { boot: 12.0, insertion: 1.5, ..Costs::default() };
    let start = on_processor();
    let choice = if mode == Mode::Blind {
        let home: Vec<(u16, u16)> = (0..192).map(|p| (p, p)).collect();
        choose_whole(&model, &belief, &home, &Means::default(), &costs)
    } else {
        choose(&model, &belief, &Means::default(), &costs, DEPTH)
    };
    println!(
        "| 192 slots | {mode:?} | {:.0} ms | {:?} changes |",
        (on_processor() - start).as_secs_f64() * 1e3,
        choice.action.len()
    );
}

/// Isolations as a job runs them: `job` with one fault at a time, `two` with two; mode, q, boards, draws, priors.
fn job(word: &dyn Fn(usize, &str) -> String, faults: usize) {
    let mode = match word(1, "slot").as_str() {
        "channel" => Mode::Channel,
        "blind" => Mode::Blind,
        _ => Mode::Slot,
    };
    let (shows, wanted) = (word(2, "1"), word(3, "A"));
    let runs: usize = word(4, "3000").parse().unwrap_or(3000);
    let priors = word(5, "install,service,flat");
    for (name, sockets, channels, slots) in BOARDS.into_iter().filter(|b| wanted.contains(b.0)) {
        for prior in priors.split(',') {
            let Some(Ok(mut rates)) = shipped(prior) else { continue };
            rates.report.shows.value = shows.clone();
            let o = played(&board(sockets, channels, slots), &rates, mode, faults, runs);
            let (g, a) = (&o.guarded, &o.alone);
            let each = o.spent.as_secs_f64() * 1e3 / o.answers as f64;
            let per_cent = |share: f64| format!("{:.2}", 100.0 * share);
            println!(
                "| {mode:?} q={shows} | {name} | {prior} | {} ({} either) | {} | {} | {} | {} | {} | {:.2} | {:.1} | {} | {} | {:+.2} | {:+.1} | {each:.0} | {:.0} |",
                per_cent(g.right),
                per_cent(g.either),
                per_cent(g.wrong),
                per_cent(g.convicted),
                per_cent(g.silent),
                per_cent(g.warned),
                per_cent(g.open),
                g.cycles,
                g.minutes(),
                per_cent(a.right),
                per_cent(a.convicted),
                g.cycles - a.cycles,
                g.minutes() - a.minutes(),
                o.slowest.as_secs_f64() * 1e3,
            );
            let shown = word(6, "0").parse().unwrap_or(0);
            o.wrongs.iter().take(shown).for_each(|w| println!("  wrong {w}"));
            o.opens.iter().take(shown).for_each(|w| println!("  open {w}"));
        }
    }
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|w| w != "--bench").collect();
    let word = |n: usize, default: &str| words.get(n).cloned().unwrap_or_else(|| default.to_owned());
    if word(0, "slot") == "large" {
        return [Mode::Slot, Mode::Channel, Mode::Blind].into_iter().for_each(large);
    }
    if word(0, "slot") == "least" {
        return estimates(&word);
    }
    if word(0, "slot") == "blind" {
        return whole(&word);
    }
    if ["job", "two"].contains(&word(0, "slot").as_str()) {
        return job(&word, if word(0, "job") == "two" { 2 } else { 1 });
    }
    let mode = if word(0, "slot") == "channel" { Mode::Channel } else { Mode::Slot };
    let shows: f64 = word(1, "0.7").parse().unwrap_or(0.7);
    let clears: f64 = word(2, "0.9").parse().unwrap_or(0.9);
    let (wanted, runs) = (word(3, "A"), word(4, "").parse().unwrap_or(RUNS));
    for (name, sockets, channels, slots) in BOARDS {
        if !wanted.contains(name) || ["H", "L"].contains(&name) || (mode == Mode::Channel && slots == 1) {
            continue;
        }
        for (prior, shares) in PRIORS {
            let layout = Layout::grid(sockets, channels, slots);
            let model = Model { layout, mode, clears, spoils: 0.01, shows, sure: 0.99 };
            let [g, l] = [greedy as Policy, look2].map(|policy| sampled(&model, &shares, policy, runs));
            SLOWEST.store(0, Ordering::Relaxed);
            let start = Instant::now();
            let e = sampled(&model, &shares, engine, runs);
            let each = start.elapsed().as_secs_f64() * 1e3 / e.decisions as f64;
            println!(
                "| {mode:?} q={shows} r={clears} | {name} | {prior} | {} | {} | {} | {:+.1} % | {:+.1} % | {:.4} | {:.4} | {each:.1} | {:.0} |",
                cell(&g),
                cell(&l),
                cell(&e),
                100.0 * (e.cycles / g.cycles.min(l.cycles) - 1.0),
                100.0 * (e.minutes() / g.minutes().min(l.minutes()) - 1.0),
                e.right,
                e.convicted,
                SLOWEST.load(Ordering::Relaxed) as f64 / 1e3,
            );
        }
    }
}
