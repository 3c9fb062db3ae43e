//! The yardstick's exact values: expected power cycles on board A (1 × 4 × 2), all starts, r = 0.9, p = 0.01, q = 1.
//! Source: the isolation yardstick, section 9, computed by an independent program in another language.

use slotwise::isolate::belief::Model;
use slotwise::isolate::fault::Mode;
use slotwise::isolate::layout::Layout;
use slotwise::isolate::rates::Shares;

use crate::reference::exact::exact;
use crate::reference::policies::{Policy, greedy, look2, practice, swap_first};

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
            println!(
                "{mode:?} {name} {policy_name}: {:.5} {value} {:+.5} ins {:.3} right {:.4}",
                means.cycles,
                means.cycles - value,
                means.insertions,
                means.right
            );
        }
    }
}
