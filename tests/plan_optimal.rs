//! The search against a general mixed-integer solver on random instances too large to write out.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "plan_general/all.rs"]
mod all;
#[path = "plan_general/bridge.rs"]
mod bridge;
mod plan_general;

use bridge::Ours;
use plan_general::Model;
use slotwise::plan::search::search;

fn agree(seeds: std::ops::Range<u64>) {
    let shapes = [(2, 4, 2), (1, 8, 1), (2, 3, 2), (1, 6, 2), (3, 4, 1), (1, 4, 3), (2, 6, 1)];
    let mut feasible = 0;
    let count = seeds.end - seeds.start;
    for seed in seeds {
        let mut rng = fastrand::Rng::with_seed(seed);
        let shape = shapes[rng.usize(0..shapes.len())];
        let lots = rng.usize(3..9);
        let sizes: &[u32] = if rng.bool() { &[16, 32] } else { &[32, 48, 64] };
        let sizes = if shape.2 == 1 { &[16, 32, 64][..] } else { sizes };
        let sizes = if shape.1 * shape.2 > 8 { &sizes[..2] } else { sizes };
        let model = Model::random(&mut rng, shape, lots, sizes);
        let ours = Ours::new(&model);
        let outcome = search(&ours.problem(), &mut || false).unwrap();
        assert!(outcome.exhausted, "seed {seed}");
        let found = outcome.plans.first().map(|p| (p.score.mb_s, p.score.cost.0));
        feasible += u64::from(found.is_some());
        assert_eq!(found, model.solve(), "seed {seed}: {model:?}");
    }
    assert!(feasible * 3 > count, "only {feasible} of {count} instances have a plan");
}

#[test]
fn the_general_solver_finds_nothing_better_first_part() {
    agree(0..250);
}

#[test]
fn the_general_solver_finds_nothing_better_second_part() {
    agree(1000..1260);
}

/// Controllers with any widths at all, those no maker would build as well: a bound must not lean on the usual ones. The
/// solver gives up on some of these; what it finds must not be better.
#[test]
fn the_general_solver_finds_nothing_better_with_any_ways() {
    let shapes = [(1, 4, 1), (1, 5, 1), (1, 6, 1), (1, 7, 1), (1, 8, 1)];
    let mut same = 0;
    // Among them one (5501) in which a bound that took what is left over the emptiest channel for known was too high.
    for seed in 5400..5560 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let shape = shapes[rng.usize(0..shapes.len())];
        let lots = rng.usize(3..7);
        let mut model = Model::random(&mut rng, shape, lots, &[32, 64, 96]);
        model.ways = (2..=shape.1 as u32).rev().filter(|_| rng.bool()).chain([1]).collect();
        let ours = Ours::new(&model);
        let outcome = search(&ours.problem(), &mut || false).unwrap();
        assert!(outcome.exhausted, "seed {seed}");
        let found = outcome.plans.first().map(|p| (p.score.mb_s, p.score.cost.0));
        let solved = model.solve();
        same += u32::from(found == solved);
        let Some((mb_s, cost)) = solved else { continue };
        let (best, least) = found.unwrap_or_else(|| panic!("seed {seed}: no plan, the solver has one"));
        let better = if model.bandwidth_first { (best, cost) < (mb_s, least) } else { (cost, best) < (least, mb_s) };
        assert!(!better, "seed {seed}: {mb_s} MB/s for {cost} is better than {best} for {least}: {model:?}");
    }
    assert!(same > 150, "the same in {same} of 160");
}

/// Boards of three to eight sockets, two slots to a channel, modules of six sizes, a few of each. What is called proven is the
/// best of all plans, and what no plan is said to beat no plan beats.
fn best_of_all(seeds: impl Iterator<Item = u64>) {
    let shapes = [(3, 3, 2), (3, 4, 2), (4, 3, 2), (4, 4, 2), (5, 3, 2), (6, 2, 2), (6, 3, 2), (8, 3, 2)];
    let (mut proven, mut count) = (0, 0);
    for seed in seeds {
        count += 1;
        let mut rng = fastrand::Rng::with_seed(seed);
        let shape = shapes[rng.usize(0..shapes.len())];
        let lots = rng.usize(5..9);
        let mut model = Model::random(&mut rng, shape, lots, &[16, 32, 48, 64, 96, 128]);
        for lot in &mut model.lots {
            (lot.count, lot.pack) = (rng.u32(1..5), rng.u32(1..3));
        }
        model.ways = [vec![2, 1], vec![3, 2, 1], vec![4, 3, 2, 1], vec![4, 2, 1]][rng.usize(0..4)].clone();
        // Cost first, few bags are left, and each is spread over the sockets as well as it can be.
        (model.units, model.bandwidth_first) = (1, rng.u32(0..4) == 0);
        let all: u32 = model.lots.iter().map(|lot| lot.gib * lot.count).sum();
        model.gib = all * rng.u32(50..100) / 100;
        model.budget = model.budget.map(|_| model.gib * rng.u32(25..50) / 10);
        let ours = Ours::new(&model);
        let mut asked = 0;
        let outcome = search(&ours.problem(), &mut || {
            asked += 1;
            asked > 200
        });
        let outcome = outcome.unwrap();
        let found = outcome.plans.first().map(|p| (p.score.mb_s, p.score.cost.0));
        let best = all::best(&model);
        if outcome.exhausted {
            proven += 1;
            assert_eq!(found, best, "seed {seed}: {model:?}");
        } else if let (Some((mb_s, cost)), Some(bound)) = (best, outcome.bound) {
            let (mb_s, cost) = (i128::from(mb_s), i128::from(cost));
            assert!(if model.bandwidth_first { mb_s <= bound } else { cost >= bound }, "seed {seed}: {model:?}");
        }
    }
    assert!(proven * 10 > count * 9, "only {proven} of {count} are proven");
}

// A bound that was not kept up with what was found out of a part was too low with seeds 149 and 783.
#[test]
fn no_plan_on_boards_of_three_to_eight_sockets_is_better_first_part() {
    best_of_all((0..70).chain([149]));
}

#[test]
fn no_plan_on_boards_of_three_to_eight_sockets_is_better_second_part() {
    best_of_all((70..140).chain([783]));
}

#[test]
fn a_search_that_is_cut_short_gives_a_plan_within_the_budget_and_a_bound_that_holds() {
    let mut cut = 0;
    for seed in 0..30 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let model = Model::random(&mut rng, (2, 8, 2), 40, &[16, 32, 48, 64, 96, 128]);
        let ours = Ours::new(&model);
        let outcome = search(&ours.problem(), &mut || true).unwrap();
        let plan = outcome.plans.first().unwrap_or_else(|| panic!("seed {seed}: no plan"));
        assert!(plan.score.capacity >= slotwise::units::Size::from_gib(u64::from(model.gib)), "seed {seed}");
        assert!(model.budget.is_none_or(|budget| plan.score.cost.0 <= u64::from(budget)), "seed {seed}");
        if let Some(bound) = outcome.bound {
            cut += 1;
            let (mb_s, cost) = (i128::from(plan.score.mb_s), i128::from(plan.score.cost.0));
            let holds = if model.bandwidth_first { mb_s <= bound } else { cost >= bound };
            assert!(holds && !outcome.exhausted, "seed {seed}: {:?} against {bound}", plan.score);
        }
    }
    assert!(cut > 10, "only {cut} of 30 were cut short");
}
