//! Capacities and the counts behind them, as anyone at a bench reckons them (common practice).

use std::fs;

use slotwise::board::Board;
use slotwise::source::{Text, from_toml};
use slotwise::units::Size;

fn shipped(name: &str) -> Board {
    let path = format!("{}/checklists/boards/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let bytes = fs::read(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    from_toml(&Text { file: &path, bytes: &bytes }).unwrap_or_else(|faults| panic!("{faults}"))
}

/// The capacity with one size of module in every slot.
fn filled(board: &Board, gib: u64) -> String {
    board.slots().map(|_| Size::from_gib(gib)).sum::<Size>().to_string()
}

/// 2 × 4 × 3 = 24 slots; 24 × 32 GiB = 768 GiB and 24 × 64 GiB = 1536 GiB = 1.5 TiB (common practice: 1 TiB = 1024 GiB).
#[test]
fn twenty_four_slots_of_32_and_64_gib() {
    let heron = shipped("heron");
    assert_eq!(heron.slots().count(), 24);
    assert_eq!(filled(&heron, 32), "768 GiB");
    assert_eq!(filled(&heron, 64), "1.5 TiB");
}

/// 2 × 8 × 2 = 32 slots of 64 GiB are 2 TiB; 1 × 2 × 2 = 4 slots of 48 GiB are 192 GiB (common practice).
#[test]
fn thirty_two_slots_and_four() {
    assert_eq!(filled(&shipped("curlew"), 64), "2 TiB");
    assert_eq!(filled(&shipped("wren"), 48), "192 GiB");
}

/// What the shipped boards' processors address is enough for the largest plan of those above: half of 1.5 TiB each.
#[test]
fn half_of_the_largest_plan_fits_a_processor() {
    let heron = shipped("heron");
    let half = Size::from_gib(24 * 64 / 2);
    assert!(heron.cpu.iter().all(|cpu| cpu.gib.is_some_and(|gib| gib >= half)));
}
