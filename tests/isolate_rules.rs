//! What a trial keeps to and what it costs: the rules of the board, minutes, and the life of a connector.

#![allow(clippy::unwrap_used)] // A test that cannot build its machine should stop there.

use slotwise::board::{Board, SlotLabel};
use slotwise::isolate::rates::shipped;
use slotwise::isolate::{Seen, State, Step};
use slotwise::module::Module;

#[path = "reference/machine.rs"]
#[allow(dead_code)] // Its machine plays in other tests.
mod machine;

use machine::{board, module};

/// The rules a trial keeps in a channel, checked here from the board file alone.
fn in_order(board: &Board, now: &[(SlotLabel, Module)], bare: &[usize], channel: (usize, usize)) -> bool {
    let slots: Vec<_> = board.slots().filter(|s| (s.socket_index, s.channel_index) == channel).collect();
    let held = |label: &SlotLabel| now.iter().find(|(l, _)| l == label).map(|(_, m)| m);
    let mut filled: Vec<_> = slots.iter().filter_map(|s| Some((s.slot.position, held(&s.slot.label)?))).collect();
    filled.sort_by_key(|f| f.0);
    let no_gap = filled.iter().enumerate().all(|(n, f)| usize::from(f.0) == n + 1);
    let one_kind = filled.windows(2).all(|w| w[0].1.spec.kind == w[1].1.spec.kind);
    no_gap && one_kind && (filled.is_empty() || !bare.contains(&channel.0))
}

/// Modules by socket.
fn counts(board: &Board, now: &[(SlotLabel, Module)]) -> Vec<u32> {
    let on = |socket: usize| board.slots().filter(move |s| s.socket_index == socket);
    let held = |label: &SlotLabel| now.iter().any(|(l, _)| l == label);
    (0..board.socket.len()).map(|socket| on(socket).filter(|s| held(&s.slot.label)).count() as u32).collect()
}

proptest::proptest! {
    #![proptest_config(proptest::test_runner::Config { cases: 12, ..Default::default() })]

    /// Whatever is fitted, seen and done: no trial leaves a channel it changed with a gap, with two kinds, or filled beside a
    /// socket without a processor, nor a socket with a number of modules that the board does not allow and that it did not
    /// hold at first; and where the machine does not post, no module stands where one of another size belongs.
    #[test]
    fn no_trial_breaks_the_population_rules(
        depth in proptest::collection::vec(0u8..3, 8),
        lrdimm in 0u8..4,
        bare in proptest::bool::ANY,
        no_post in proptest::bool::weighted(0.4),
        spare in proptest::bool::ANY,
        counted in proptest::bool::ANY,
        large in 0u8..8,
        seed in 0u64..1000,
    ) {
        let mut shape = board(2, 4, 2);
        // The slot printed first is filled second.
        for channel in shape.socket.iter_mut().flat_map(|s| s.channel.iter_mut()) {
            channel.slot[0].position = 2;
            channel.slot[1].position = 1;
        }
        if counted {
            shape.limits.counts_per_socket = vec![1, 2, 4, 6, 8];
        }
        let bare: Vec<usize> = if bare { vec![1] } else { Vec::new() };
        let mut fitted: Vec<(SlotLabel, Module)> = Vec::new();
        for s in shape.slots() {
            let channel = s.socket_index * 4 + s.channel_index;
            if s.slot.position <= depth[channel] && !bare.contains(&s.socket_index) {
                let mut one = module(&format!("OSP{:05}", s.index));
                if s.channel_index as u8 == lrdimm {
                    one.spec.kind = Some(slotwise::module::Kind::LRDIMM);
                }
                if channel as u8 == large && s.slot.position == 1 {
                    one.spec.gib = slotwise::units::Size::from_gib(64);
                }
                fitted.push((s.slot.label.clone(), one));
            }
        }
        proptest::prop_assume!(!fitted.is_empty());
        let mut dice = fastrand::Rng::with_seed(seed);
        let mut seen = |fitted: &[(SlotLabel, Module)]| match (no_post, dice.usize(0..3)) {
            (true, 0..=1) => Seen::NoPost,
            (_, 0) | (true, _) => Seen::Slots(Vec::new()),
            _ => Seen::Slots(vec![fitted[dice.usize(0..fitted.len())].0.clone()]),
        };
        let first = if no_post { Seen::NoPost } else { Seen::Slots(vec![fitted[0].0.clone()]) };
        let mut state = State::new(&shape, &fitted, first, &shipped("service").unwrap().unwrap()).unwrap();
        state.without_processor(&bare);
        if spare {
            state.add_spare(module("OSPSPARE"));
        }
        for _ in 0..6 {
            let Some(trial) = slotwise::isolate::next_trial(&state) else { break };
            let before: Vec<(SlotLabel, Module)> = state.fitted_now().map(|(l, m)| (l.clone(), m.clone())).collect();
            state.observe(&trial.changes, trial.changes.clone(), seen(&before)).unwrap();
            let after: Vec<(SlotLabel, Module)> = state.fitted_now().map(|(l, m)| (l.clone(), m.clone())).collect();
            for channel in (0..2).flat_map(|s| (0..4).map(move |c| (s, c))) {
                proptest::prop_assert!(in_order(&shape, &after, &bare, channel), "{:?} in {:?}", trial.changes, channel);
            }
            for (now, first) in counts(&shape, &after).into_iter().zip(counts(&shape, &fitted)) {
                let allowed = shape.limits.counts_per_socket.contains(&now) || now == first;
                proptest::prop_assert!(!counted || allowed, "{:?} leaves {} on a socket", trial.changes, now);
            }
            if no_post {
                let sized = |all: &[(SlotLabel, Module)], label| all.iter().find(|f| f.0 == label).map(|f| f.1.spec.gib);
                for (label, module) in &after {
                    let own = sized(&fitted, label.clone());
                    proptest::prop_assert!(own.is_none_or(|own| own == module.spec.gib), "{:?}", trial.changes);
                }
            }
        }
    }
}

#[test]
fn a_trial_costs_the_boot_measured_the_opening_and_each_cover_once() {
    let mut shape = board(1, 4, 2);
    for (name, over) in [("air duct", "all"), ("riser", "P0/3")] {
        let text = format!("name = \"{name}\"\nover = [\"{over}\"]");
        shape.cover.push(toml::from_str(&text).unwrap());
    }
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let rates = shipped("install").unwrap().unwrap();
    let minutes = |slot: usize| {
        let mut state = State::new(&shape, &fitted, Seen::Slots(vec![labels[slot].clone()]), &rates).unwrap();
        state.measured_boot(20.0);
        state.opening_minutes(4.0);
        state.cover_minutes("air duct", 3.0);
        state.cover_minutes("riser", 5.0);
        let trial = slotwise::isolate::next_trial(&state).unwrap();
        let inserted = trial.changes.iter().map(|step| match step {
            Step::Swap(..) => 2.0,
            Step::ClearSettings(_) | Step::Remove(_) => 0.0,
            _ => 1.0,
        });
        let below_riser = serde_json::to_string(&trial.changes).unwrap().contains("P0C3");
        // 20 boot, 4 opening, 3 for the duct, 1.5 for each insertion; below the riser 5 more.
        let expected = 20.0 + 4.0 + 3.0 + 1.5 * inserted.sum::<f64>() + if below_riser { 5.0 } else { 0.0 };
        assert_eq!(trial.minutes, expected.ceil() as u32, "{:?}", trial.changes);
        (below_riser, trial.changes.is_empty())
    };
    assert_eq!((minutes(1), minutes(7)), ((false, false), (true, false)));
}

#[test]
fn insertions_of_earlier_jobs_count_towards_the_connectors_life() {
    let shape = board(1, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let rates = shipped("install").unwrap().unwrap();
    let mut state = State::new(&shape, &fitted, Seen::Slots(vec![labels[1].clone()]), &rates).unwrap();
    state.inserted_before(&labels[1], 19).unwrap();
    assert!(state.notes().is_empty(), "{:?}", state.notes());
    let reseat = vec![Step::Reseat(labels[1].clone())];
    state.observe(&reseat, reseat.clone(), Seen::Slots(vec![labels[1].clone()])).unwrap();
    assert_eq!(state.insertions_of(&labels[1]), Some(20));
    assert!(state.notes()[0].contains("20 insertions of the 25"), "{:?}", state.notes());
    state.inserted_before(&labels[1], 24).unwrap();
    // Worn out: no trial touches it any more.
    if let Some(trial) = slotwise::isolate::next_trial(&state) {
        assert!(!serde_json::to_string(&trial.changes).unwrap().contains("P0C0S1"), "{trial:?}");
    }
}
