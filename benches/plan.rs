//! How fast the search is: against a general solver on the same instances in the same run, and how its time grows with
//! lots, slots and units. Run with `cargo bench --bench plan`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]

#[path = "../tests/plan_general/bridge.rs"]
mod bridge;
#[path = "../tests/plan_general/mod.rs"]
mod plan_general;

use std::time::{Duration, Instant};

use bridge::Ours;
use plan_general::Model;
use slotwise::plan::search::search;

/// When a search is cut short.
const LIMIT: Duration = Duration::from_secs(2);

const SIZES: [u32; 6] = [16, 32, 48, 64, 96, 128];

/// Boards the growth is measured on: sockets, channels, slots, lots.
const SCALES: [(usize, usize, usize, usize); 7] =
    [(1, 2, 2, 8), (2, 4, 3, 20), (2, 8, 2, 10), (2, 8, 2, 40), (2, 8, 2, 160), (4, 12, 2, 100), (8, 12, 2, 200)];

fn instance(seed: u64, (sockets, channels, slots, lots): (usize, usize, usize, usize)) -> Model {
    Model::random(&mut fastrand::Rng::with_seed(seed), (sockets, channels, slots), lots, &SIZES)
}

#[divan::bench(args = SCALES, max_time = 3)]
fn search_ten_instances(bencher: divan::Bencher<'_, '_>, scale: (usize, usize, usize, usize)) {
    let ours: Vec<Ours> = (0..10).map(|seed| Ours::new(&instance(seed, scale))).collect();
    bencher.bench(|| ours.iter().map(limited).sum::<u64>());
}

#[divan::bench(args = [1, 2, 8, 32], max_time = 3)]
fn search_ten_instances_for_units(bencher: divan::Bencher<'_, '_>, units: u32) {
    let ours: Vec<Ours> = (0..10)
        .map(|seed| {
            let mut model = instance(seed, (2, 8, 2, 40));
            for lot in &mut model.lots {
                lot.count *= units;
            }
            model.units = units;
            model.budget = None;
            Ours::new(&model)
        })
        .collect();
    bencher.bench(|| ours.iter().map(limited).sum::<u64>());
}

/// Steps of one search, cut short where it would not end.
fn limited(ours: &Ours) -> u64 {
    let start = Instant::now();
    search(&ours.problem(), &mut || start.elapsed() > LIMIT).unwrap().nodes
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let start = Instant::now();
    let out = work();
    (out, start.elapsed())
}

/// Median and least ratio over instances both solve; the answers must be the same.
fn against_the_general_solver() {
    let shapes = [(2, 4, 2, 6), (1, 8, 1, 10), (1, 6, 2, 6), (2, 6, 1, 12), (3, 4, 1, 8)];
    let mut ratios: Vec<f64> = Vec::new();
    for seed in 0..60 {
        let (sockets, channels, slots, lots) = shapes[seed as usize % shapes.len()];
        let mut rng = fastrand::Rng::with_seed(seed);
        let model = Model::random(
            &mut rng,
            (sockets, channels, slots),
            lots,
            if slots == 1 { &[16, 32, 64] } else { &[32, 64] },
        );
        let ours = Ours::new(&model);
        // The best of three, so that a busy machine does not speak for us or against us.
        let (outcome, first) = timed(|| search(&ours.problem(), &mut || false).unwrap());
        let own = (0..2).map(|_| timed(|| search(&ours.problem(), &mut || false)).1).fold(first, Duration::min);
        let (general, theirs) = timed(|| model.solve());
        assert_eq!(outcome.plans.first().map(|p| (p.score.mb_s, p.score.cost.0)), general, "seed {seed}");
        ratios.push(theirs.as_secs_f64() / own.as_secs_f64());
    }
    ratios.sort_by(f64::total_cmp);
    println!(
        "general solver / search on {} instances, same optimum each time: median {:.0}x, least {:.1}x",
        ratios.len(),
        ratios[ratios.len() / 2],
        ratios[0]
    );
}

/// Times of many instances; `plenty` multiplies the count of every lot.
fn worst(scale: (usize, usize, usize, usize), plenty: u32, seeds: u64) {
    let mut times: Vec<(Duration, u64, bool)> = (0..seeds)
        .map(|seed| {
            let mut model = instance(seed, scale);
            model.lots.iter_mut().for_each(|lot| lot.count *= plenty);
            let ours = Ours::new(&model);
            let start = Instant::now();
            let (outcome, time) = timed(|| search(&ours.problem(), &mut || start.elapsed() > LIMIT).unwrap());
            (time, seed, outcome.exhausted)
        })
        .collect();
    times.sort();
    let cut = times.iter().filter(|t| !t.2).count();
    let (slowest, seed, _) = times[times.len() - 1];
    println!(
        "{scale:?}, counts x {plenty}: median {:?}, slowest {slowest:?} (seed {seed}), {cut} of {seeds} cut short at {LIMIT:?}",
        times[times.len() / 2].0
    );
    most_memory();
}

/// The most memory held so far.
fn most_memory() {
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        status.lines().filter(|l| l.starts_with("VmHWM")).for_each(|l| println!("most memory so far: {l}"));
    }
}

fn main() {
    for (scale, seeds) in [((2, 8, 2, 40), 30), ((8, 12, 2, 200), 8)] {
        for plenty in [1, 8] {
            worst(scale, plenty, seeds);
        }
    }
    against_the_general_solver();
    divan::main();
}
