//! The program's choice of trials against the yardstick's policies, all in the same run with the same draws.

#![allow(clippy::print_stdout)]

use slotwise::isolate::action::Action;
use slotwise::isolate::belief::{Belief, Model};
use slotwise::isolate::candidates::Means;
use slotwise::isolate::choose::{Costs, Depth, choose};
use slotwise::isolate::fault::Mode;
use slotwise::isolate::layout::Layout;
use slotwise::isolate::rates::Shares;

#[path = "../tests/reference/mod.rs"]
mod reference;

use reference::policies::{Policy, Trail, greedy, look2};
use reference::sampled::sampled;

fn engine(model: &Model, belief: &Belief, _: &mut Trail) -> Action {
    let e = |k: &str, d: usize| std::env::var(k).ok().and_then(|v| v.parse().ok()).unwrap_or(d);
    let steps = e("STEPS", 1);
    let w = e("W", 6);
    let depth = Depth { steps, width: [w, w.min(5), 3, 3, 3, 3], floor: 1.0 / e("FLOOR", 100) as f64 };
    let costs = Costs { boot: 12.0, insertion: e("INS", 150) as f64 / 100.0, opening: 0.0 };
    choose(model, belief, &Means::default(), &costs, depth).action
}

fn main() {
    let runs = std::env::var("RUNS").ok().and_then(|v| v.parse().ok()).unwrap_or(10_000);
    let only = std::env::var("BOARDS").unwrap_or("A".into());
    let qs: Vec<f64> = std::env::var("Q").unwrap_or("0.7".into()).split(',').map(|q| q.parse().unwrap()).collect();
    let boards = [("A", 1, 4, 2), ("B", 2, 8, 2), ("C", 4, 6, 2), ("D", 2, 12, 1)];
    for mode in [Mode::Slot, Mode::Channel] {
        if mode == Mode::Channel && std::env::var("SLOT").is_ok() {
            continue;
        }
        for q in &qs {
            for (name, s, c, d) in boards {
                if !only.contains(name) || (mode == Mode::Channel && d == 1) {
                    continue;
                }
                for (prior, shares) in
                    [("install", Shares::install()), ("service", Shares::service()), ("flat", Shares::flat())]
                {
                    let r = std::env::var("R").ok().and_then(|v| v.parse().ok()).unwrap_or(0.9);
                    let model =
                        Model { layout: Layout::grid(s, c, d), mode, clears: r, spoils: 0.01, shows: *q, sure: 0.99 };
                    let policies: [(&str, Policy); 3] = [("greedy", greedy), ("look2", look2), ("engine", engine)];
                    print!("{mode:?} q{q} {name} {prior:8}");
                    for (label, p) in policies {
                        let t0 = std::time::Instant::now();
                        let t = sampled(&model, &shares, p, runs);
                        print!(
                            " | {label} {:.3}±{:.3} i{:.2} m{:.2} r{:.4} c{:.4} n{} {:.1}s",
                            t.cycles,
                            t.half_width,
                            t.insertions,
                            t.minutes(),
                            t.right,
                            t.convicted,
                            t.decisions,
                            t0.elapsed().as_secs_f64()
                        );
                    }
                    println!();
                }
            }
        }
    }
}
