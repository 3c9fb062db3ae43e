//! Isolation against worked examples from outside: entropies, codes, test sequences, weighings, pools, repairs, Bayes' rule.

use slotwise::board::{Board, SlotLabel};
use slotwise::isolate::action::{Arrangement, Change};
use slotwise::isolate::belief::{Belief, Cause, Model};
use slotwise::isolate::fault::{Fault, Mode};
use slotwise::isolate::layout::Layout;
use slotwise::isolate::rates::shipped;
use slotwise::isolate::{Seen, State, Step, answer, explanations, slips};
use slotwise::module::Module;

use crate::reference::bounds::{apart, entropy, huffman, nested, repairs, sequence};

fn close(value: f64, expected: f64, digits: i32) {
    assert!((value - expected).abs() <= 0.5001 * 10f64.powi(-digits), "{value}, not {expected}");
}

fn model(shows: f64) -> Model {
    Model { layout: Layout::grid(1, 4, 2), mode: Mode::Slot, clears: 0.9, spoils: 0.01, shows, sure: 0.99 }
}

/// The program's own entropy of module faults with these shares.
fn believed(shares: &[f64]) -> f64 {
    let causes = shares.iter().enumerate().map(|(n, p)| (Cause::one(Fault::Module(n as u16)), *p)).collect();
    Belief::of(&model(1.0), Arrangement::full(8), causes).entropy()
}

/// Source: "Entropy", Scholarpedia, example 3 (1/8, 1/4, 1/8, 1/2: 1.75 bits, and 1.75 questions); the eight horses
/// (2 bits) from memory of Cover and Thomas, Elements of Information Theory.
#[test]
fn entropies_are_those_of_the_textbooks() {
    close(believed(&[0.125, 0.25, 0.125, 0.5]), 1.75, 9);
    close(huffman(&[0.125, 0.25, 0.125, 0.5], 2), 1.75, 9);
    let horses = [0.5, 0.25, 0.125, 0.0625, 1.0 / 64.0, 1.0 / 64.0, 1.0 / 64.0, 1.0 / 64.0];
    close(believed(&horses), 2.0, 9);
    close(huffman(&horses, 2), 2.0, 9);
}

/// Source: Cover and Thomas, section 5.6, from memory: .25 .25 .2 .15 .15 has 2.2855 bits, a binary code of 2.30, a ternary
/// one of 1.50. (1/8, 7/8) once and in pairs: 1 question, 87/64 (a worked comment at greaterwrong, EnEmdCZzSH7ixHZyE).
#[test]
fn huffman_codes_are_those_of_the_textbooks() {
    let shares = [0.25, 0.25, 0.2, 0.15, 0.15];
    close(believed(&shares), 2.2855, 4);
    close(huffman(&shares, 2), 2.30, 9);
    close(huffman(&shares, 3), 1.50, 9);
    close(believed(&[0.375, 0.25, 0.25, 0.125]), 1.906, 3);
    close(huffman(&[0.125, 0.875], 2), 1.0, 9);
    close(huffman(&[1.0 / 64.0, 7.0 / 64.0, 7.0 / 64.0, 49.0 / 64.0], 2), 87.0 / 64.0, 9);
}

/// Source: the test-sequencing example of Pattipati and Alexandridis (IEEE SMC 20(4), 1990), from memory: optimum 2.18,
/// entropy 1.4549, Huffman 1.59, one-step gain 2.86. It shows why more than one step is looked ahead.
#[test]
fn the_test_sequencing_example_comes_out_at_2_18() {
    let shares = [0.70, 0.01, 0.02, 0.10, 0.05, 0.12];
    let rows = ["00000", "01001", "00110", "10011", "11000", "11110"].map(|r| u32::from_str_radix(r, 2).unwrap());
    close(believed(&shares), 1.4549, 4);
    close(huffman(&shares, 2), 1.59, 9);
    close(sequence(&shares, &rows, 5, false), 2.18, 9);
    close(sequence(&shares, &rows, 5, true), 2.86, 9);
}

/// One faulty of n, all alike, any half may be tested. Computed: 3 tests for 8, 4.6667 for 24, 5 for 32, 5.6667 for 48.
#[test]
fn one_of_n_takes_its_huffman_length() {
    for (n, tests) in [(8, 3.0), (24, 4.6667), (32, 5.0), (48, 5.6667)] {
        close(huffman(&vec![1.0 / f64::from(n); n as usize], 2), tests, 4);
    }
}

/// Twelve coins, one odd, heavy or light: 24 states in 3 weighings of 3 outcomes, 13 coins not, 12 in 2 not.
/// Source: av8n.com/physics/twelve-coins.htm. Worked out by search over (unknown, maybe heavy, maybe light) counts.
#[test]
fn twelve_coins_take_three_weighings() {
    // `sound`: whether a coin known to be good is at hand; any number of them then is, as far as needed here.
    fn can(u: i32, h: i32, l: i32, sound: i32, weighings: u32) -> bool {
        if 2 * u + h + l <= 1 {
            return true;
        }
        if weighings == 0 {
            return false;
        }
        let mut all = Vec::new();
        for (lu, lh, ll) in (0..=u).flat_map(|a| (0..=h).flat_map(move |b| (0..=l).map(move |c| (a, b, c)))) {
            for (ru, rh, rl) in
                (0..=u - lu).flat_map(|a| (0..=h - lh).flat_map(move |b| (0..=l - ll).map(move |c| (a, b, c))))
            {
                if (lu + lh + ll - ru - rh - rl).abs() <= sound && lu + lh + ll >= ru + rh + rl && lu + lh + ll > 0 {
                    all.push(((lu, lh, ll), (ru, rh, rl)));
                }
            }
        }
        let limit = 3i32.pow(weighings - 1);
        all.into_iter().any(|((lu, lh, ll), (ru, rh, rl))| {
            let left_heavy = (lu + lh, ru + rl);
            let right_heavy = (ru + rh, lu + ll);
            let even = (u - lu - ru, h - lh - rh, l - ll - rl);
            left_heavy.0 + left_heavy.1 <= limit
                && right_heavy.0 + right_heavy.1 <= limit
                && 2 * even.0 + even.1 + even.2 <= limit
                && can(0, left_heavy.0, left_heavy.1, 99, weighings - 1)
                && can(0, right_heavy.0, right_heavy.1, 99, weighings - 1)
                && can(even.0, even.1, even.2, if lu + ru + lh + rh + ll + rl > 0 { 99 } else { sound }, weighings - 1)
        })
    }
    assert!(can(12, 0, 0, 0, 3));
    assert!(!can(13, 0, 0, 0, 3), "naming the odd coin and its kind among 13 takes four");
    assert!(!can(12, 0, 0, 0, 2));
}

/// Dorfman's table, tests per 100 at the best group size: 1 - (1-p)^k + 1/k. Source: Dorfman 1943, from memory.
#[test]
fn dorfmans_groups_are_found() {
    let rows = [
        (1, 11, 20),
        (2, 8, 27),
        (3, 6, 33),
        (5, 5, 43),
        (8, 4, 53),
        (10, 4, 59),
        (15, 3, 72),
        (20, 3, 82),
        (30, 3, 99),
    ];
    for (per_cent, group, tests) in rows {
        let sound = 1.0 - f64::from(per_cent) / 100.0;
        let cost = |k: i32| 1.0 - sound.powi(k) + 1.0 / f64::from(k);
        let best = (2..40).min_by(|a, b| cost(*a).total_cmp(&cost(*b))).unwrap();
        assert_eq!((best, (100.0 * cost(best)).round() as i32), (group, tests), "at {per_cent} %");
    }
}

/// A thousand parts, each faulty with .000154. Source: a published worked example (test all, then 377: 3.2 tests), and the
/// yardstick's E7, which computes it anew: 3.192 with leftovers tested apart, 2.682 with 488 when they are pooled again.
#[test]
fn a_thousand_rarely_faulty_parts_take_fewer_tests_than_was_published() {
    let faulty = 0.000154;
    let clean = (1.0f64 - faulty).powi(1000);
    close(clean, 0.86, 2);
    // Pools of 81, each member of a pool that fails tested singly: 1000 · (1/81 + 1 - (1-p)^81).
    close(1000.0 * (1.0 / 81.0 + 1.0 - (1.0f64 - faulty).powi(81)), 24.7, 1);
    let (tests, next) = apart(1000, faulty);
    close(tests, 3.192, 3);
    assert_eq!(next, 377);
    let best = nested(1000, faulty);
    close(1.0 + (1.0 - clean) * best.failed.0, 2.682, 3);
    assert_eq!(best.failed.1, 488);
    close(1000.0 * entropy(&[faulty, 1.0 - faulty]), 2.173, 3);
}

/// Source: the yardstick's E8, nested pools by dynamic programming, and the entropy of as many parts as a bound.
#[test]
fn nested_pools_come_near_the_entropy() {
    let few = nested(60, 0.01);
    close(few.open[10].0, 1.4252, 4);
    close(few.open[60].0, 5.0261, 4);
    assert_eq!(few.open[60].1, 60);
    close(60.0 * entropy(&[0.01, 0.99]), 4.8476, 4);
    let more = nested(40, 0.05);
    close(more.open[40].0, 11.6709, 4);
    assert_eq!(more.open[40].1, 14);
    close(40.0 * entropy(&[0.05, 0.95]), 11.4559, 4);
}

/// Above a prevalence of (3 - √5) / 2 testing each singly is best. Source: Ungar's bound; two parts as in the yardstick's E9.
#[test]
fn frequent_faults_are_best_tested_singly() {
    let two = |faulty: f64| nested(2, faulty).open[2];
    close(two(0.38).0, 1.9956, 4);
    assert_eq!(two(0.38).1, 2);
    close(two(0.3825).0, 2.0, 4);
    assert_eq!(two(0.3825).1, 1);
    close((3.0 - 5.0f64.sqrt()) / 2.0, 0.381966, 6);
}

/// One fault, independent repairs: the order by chance over cost is best. Source: Kadane and Simon 1975, as credited by
/// Ottosen and Jensen, arXiv 1203.3502. Figures: chances .5 .3 .2, costs 4 1 1: 3.70, against 4.70 by chance alone.
#[test]
fn repairs_go_by_chance_over_cost() {
    let (chance, cost) = ([0.5, 0.3, 0.2], [4.0, 1.0, 1.0]);
    close(repairs(&[1, 2, 0], &chance, &cost), 3.70, 9);
    close(repairs(&[0, 1, 2], &chance, &cost), 4.70, 9);
    let orders = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];
    let best = orders.iter().map(|o| repairs(o, &chance, &cost)).fold(f64::INFINITY, f64::min);
    close(best, 3.70, 9);
}

/// Bayes' rule by hand: seating, module, slot at .55 .20 .05 behind one failing slot; reseated, and the next boot is clean.
#[test]
fn bayes_by_hand_after_a_reseat() {
    let shares = [(Fault::Seat(0), 0.55), (Fault::Module(0), 0.20), (Fault::Slot(0), 0.05)];
    let mut belief = Belief::of(&model(0.7), Arrangement::full(8), shares.map(|(f, w)| (Cause::one(f), w)).to_vec());
    // First report: every cause shows with .7, so only the shares count: .6875 .25 .0625.
    belief.report(&model(0.7), &[0]);
    let weight =
        |b: &Belief, fault| -> f64 { b.hypotheses.iter().filter(|h| h.cause.first == fault).map(|h| h.weight).sum() };
    close(weight(&belief, Fault::Seat(0)), 0.6875, 9);
    belief.act(&model(0.7), &[Change::Reseat(0)]);
    // Clean: seating .9 + .1 · .3 = .93; module .3 and slot .3 (the insertion changes nothing while they show anyway).
    let clean = belief.report(&model(0.7), &[]);
    let by_hand = 0.6875 * 0.93 + 0.25 * 0.3 + 0.0625 * 0.3;
    close(clean, by_hand, 9);
    close(weight(&belief, Fault::Seat(0)), 0.6875 * 0.93 / by_hand, 9);
    close(weight(&belief, Fault::Module(0)), 0.25 * 0.3 / by_hand, 9);
}

fn bench() -> (Board, Vec<SlotLabel>, Vec<(SlotLabel, Module)>) {
    let mut text = String::from(
        "format = \"slotwise-board/1\"\nname = \"Wren\"\ngeneration = \"DDR4\"\nlimits = { kinds = [\"RDIMM\"] }\n\
         [[socket]]\nlabel = \"P0\"\n",
    );
    for c in 0..4 {
        text += &format!("[[socket.channel]]\nlabel = \"{c}\"\n");
        for d in 1..3 {
            text += &format!("[[socket.channel.slot]]\nlabel = \"C{c}S{d}\"\nposition = {d}\n");
        }
    }
    let board: Board = toml::from_str(&text).unwrap();
    let labels: Vec<SlotLabel> = board.slots().map(|s| s.slot.label.clone()).collect();
    let module = |n: usize| toml::from_str(&format!("gib = 32\nkind = \"RDIMM\"\nserial = \"OSP{n}\"")).unwrap();
    let fitted = labels.iter().cloned().enumerate().map(|(n, l)| (l, module(n))).collect();
    (board, labels, fitted)
}

/// common practice: a module reported bad that works after reseating was a seating error, and does not go back.
#[test]
fn a_module_that_works_after_reseating_was_a_seating_error() {
    let (board, labels, fitted) = bench();
    for rates in ["install", "service", "flat"] {
        let rates = shipped(rates).unwrap().unwrap();
        let mut state = State::new(&board, &fitted, Seen::Slots(vec![labels[1].clone()]), &rates).unwrap();
        let reseat = vec![Step::Reseat(labels[1].clone())];
        state.observe(&reseat, reseat.clone(), Seen::Slots(Vec::new())).unwrap();
        for _ in 0..10 {
            state.observe(&[], Vec::new(), Seen::Slots(Vec::new())).unwrap();
        }
        assert_eq!(answer(&state).verdict.map(|v| v.what).as_deref(), Some("seating"));
        assert!(slips(&state, "0").iter().all(|slip| !slip.convicted));
    }
}

/// common practice: rotating modules tells the module from the slot: the trouble goes with the one or stays with the other.
#[test]
fn rotating_modules_tells_the_module_from_the_slot() {
    let (board, labels, fitted) = bench();
    let rates = shipped("flat").unwrap().unwrap();
    for follows in [true, false] {
        let mut state = State::new(&board, &fitted, Seen::Slots(vec![labels[1].clone()]), &rates).unwrap();
        // The module of slot 1 goes on to 3, then to 5.
        for (from, to) in [(1, 3), (3, 5)] {
            let swap = vec![Step::Swap(labels[from].clone(), labels[to].clone())];
            let failing = if follows { to } else { 1 };
            state.observe(&swap, swap.clone(), Seen::Slots(vec![labels[failing].clone()])).unwrap();
        }
        let lead = explanations(&state).remove(0);
        let expected = if follows { ("module", "OSP1") } else { ("slot", "C0S2") };
        assert_eq!((lead.what.as_str(), lead.which.as_str()), expected, "{lead:?}");
    }
}
