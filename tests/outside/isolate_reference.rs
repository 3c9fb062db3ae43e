//! The yardstick's exact values: expected power cycles on board A (1 × 4 × 2), all starts, r = 0.9, p = 0.01, q = 1.
//! Source: the isolation yardstick, section 9, computed by an independent program in another language.

use slotwise::isolate::action::{Action, Arrangement, Change};
use slotwise::isolate::belief::{Belief, Cause, Model};
use slotwise::isolate::candidates::Means as Hand;
use slotwise::isolate::choose::{Costs, choose_whole};
use slotwise::isolate::fault::{Fault, Mode};
use slotwise::isolate::layout::Layout;
use slotwise::isolate::rates::Shares;

use crate::reference::exact::exact;
use crate::reference::least::least;
use crate::reference::policies::{Policy, Trail, greedy, look2, practice, swap_first};

fn model(mode: Mode) -> Model {
    Model { layout: Layout::grid(1, 4, 2), mode, clears: 0.9, spoils: 0.01, shows: 1.0, sure: 0.99 }
}

#[test]
fn expected_cycles_of_the_reference_policies_on_board_a() {
    let rows: [(Mode, &str, Shares, [f64; 4]); 6] = [
        (Mode::Slot, "install", Shares::install(), [1.21542, 1.21902, 1.21622, 1.2138]),
        (Mode::Slot, "service", Shares::service(), [1.46838, 0.87076, 0.86700, 0.86700]),
        (Mode::Slot, "flat", Shares::flat(), [1.02549, 0.82534, 0.82222, 0.82222]),
        (Mode::Channel, "install", Shares::install(), [1.82805, 2.83657, 1.41689, 1.41334]),
        (Mode::Channel, "service", Shares::service(), [2.20422, 2.35507, 1.09014, 1.09012]),
        (Mode::Channel, "flat", Shares::flat(), [2.09706, 3.06857, 1.50597, 1.51303]),
    ];
    let policies: [(&str, Policy); 4] =
        [("practice", practice), ("swap first", swap_first), ("greedy", greedy), ("look2", look2)];
    for (mode, name, shares, expected) in rows {
        for ((policy_name, policy), value) in policies.iter().zip(expected) {
            let means = exact(&model(mode), &shares, *policy, 1e-9);
            let off = means.cycles - value;
            assert!(off.abs() < 1e-4, "{mode:?} {name} {policy_name}: {:.5}, not {value}", means.cycles);
        }
    }
}

/// Where the machine does not post, the program's own choice against the yardstick's greedy on board A, q = 1, r = 0.9, p = 0:
/// no more cycles and no more minutes (12 a cycle, 1.5 an insertion). Source: the yardstick's sampled results.
#[test]
fn a_machine_that_does_not_post_takes_no_more_cycles_than_the_yardsticks_greedy() {
    fn chosen(model: &Model, belief: &Belief, _: &mut Trail) -> Action {
        let costs = Costs { boot: 12.0, insertion: 1.5, ..Costs::default() };
        let home: Vec<(u16, u16)> = (0..8).map(|p| (p, p)).collect();
        choose_whole(model, belief, &home, &Hand::default(), &costs).action
    }
    let model = Model { spoils: 0.0, ..model(Mode::Blind) };
    // Cycles, their half-width, minutes.
    let rows = [
        (Shares::install(), 3.537, 0.033, 57.4),
        (Shares::service(), 4.345, 0.018, 65.6),
        (Shares::flat(), 4.446, 0.021, 66.9),
    ];
    for (shares, cycles, width, minutes) in rows {
        let means = exact(&model, &shares, chosen, 1e-6);
        let spent = 12.0 * means.cycles + 1.5 * means.insertions;
        assert!(means.cycles <= cycles + width, "{} cycles, not {cycles}", means.cycles);
        // The published insertions are rounded to whole ones.
        assert!(spent <= minutes + 0.75, "{spent} minutes, not {minutes}");
        assert!(means.right >= 0.993 && means.cut == 0.0, "{means:?}");
    }
}

/// The yardstick's closed forms for slot mode, install, r = 1, p = 0.
#[test]
fn closed_forms_hold_when_every_insertion_works() {
    let model = Model { clears: 1.0, spoils: 0.0, ..model(Mode::Slot) };
    for (policy, value) in [(practice as Policy, 0.55 + 2.0 * 0.25), (swap_first, 0.80), (greedy, 0.80)] {
        let means = exact(&model, &Shares::install(), policy, 1e-9);
        assert!((means.cycles - value).abs() < 1e-9, "{} not {value}", means.cycles);
    }
}

/// One slot, seating / module / slot = 0.55 / 0.20 / 0.05. Source: the yardstick's worked example E12, and Bayes' rule by hand:
/// P(seating | still failing after k insertions, against slot) = .6875·.1^k / (.6875·.1^k + .0625).
#[test]
fn a_seating_that_does_not_clear_is_believed_less_each_time() {
    let model = Model { spoils: 0.0, ..model(Mode::Slot) };
    let causes = vec![(Cause::one(Fault::Seat(0)), 0.6875), (Cause::one(Fault::Slot(0)), 0.0625)];
    let mut belief = Belief::of(&model, Arrangement::full(8), causes);
    for expected in [0.9167, 0.5238, 0.0991, 0.0109, 0.0011] {
        belief.report(&model, &[0]);
        let seat: f64 = belief.hypotheses.iter().filter(|h| h.cause.first == Fault::Seat(0)).map(|h| h.weight).sum();
        assert!((seat - expected).abs() < 5e-5, "{seat} not {expected}");
        belief.act(&model, &[Change::Reseat(0)]);
    }
}

/// P(module | swapped at once and the fault followed, p = 0.01) = .9756. Source: example E12.
#[test]
fn a_fault_that_followed_a_swap_is_not_yet_the_module() {
    let model = model(Mode::Slot);
    let causes = [(Fault::Seat(0), 0.6875), (Fault::Module(0), 0.25), (Fault::Slot(0), 0.0625)];
    let causes = causes.into_iter().map(|(f, w)| (Cause::one(f), w)).collect();
    let mut belief = Belief::of(&model, Arrangement::full(8), causes);
    belief.report(&model, &[0]);
    belief.act(&model, &[Change::Swap(0, 1)]);
    belief.report(&model, &[1]);
    let module: f64 = belief.hypotheses.iter().filter(|h| h.cause.first == Fault::Module(0)).map(|h| h.weight).sum();
    // By hand: .25·.99 / (.25·.99 + .6875·.9·.01), the swap spoiling neither place under the module hypothesis.
    assert!((module - 0.9756).abs() < 5e-4, "{module}");
    assert!(!belief.decided(&model));
}

/// The yardstick's column `optimal`, an expectimax over the same kinds of trial: the estimate grows until it meets it.
#[test]
fn where_every_failure_shows_the_estimate_grows_to_the_yardsticks_optimum() {
    let rows = [
        (Mode::Slot, Shares::install(), 1.21345),
        (Mode::Slot, Shares::service(), 0.86700),
        (Mode::Slot, Shares::flat(), 0.82222),
        (Mode::Channel, Shares::install(), 1.41334),
        (Mode::Channel, Shares::service(), 1.09012),
        (Mode::Channel, Shares::flat(), 1.50592),
    ];
    for (mode, shares, optimal) in rows {
        let near = least(&model(mode), &shares, 400);
        assert!((near - optimal).abs() < 1e-4, "{mode:?}: {near:.5}, not {optimal}");
        let early = least(&model(mode), &shares, 10);
        assert!(early <= near + 1e-9, "{mode:?}: {early:.5} after less work, {near:.5} after more");
    }
}

/// Greedy chooses among the same kinds of trial, so it does not come below the estimate. With other trials it may.
#[test]
fn greedy_with_the_listed_trials_takes_no_fewer_cycles_than_the_estimate() {
    let model = Model { shows: 0.7, ..model(Mode::Slot) };
    for shares in [Shares::install(), Shares::service(), Shares::flat()] {
        let [taken, estimate] = [exact(&model, &shares, greedy, 1e-5).cycles, least(&model, &shares, 1000)];
        assert!(estimate <= taken && estimate > 0.85 * taken, "{estimate:.4} of {taken:.4}");
    }
}
