//! What is told when nothing fits, held against every target there is.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use slotwise::board::Board;
use slotwise::module::{Generation, Kind, ModuleSpec};
use slotwise::plan::search::{FittedSeat, Prefer, Problem, Target, search};
use slotwise::plan::shortage::shortage;
use slotwise::plan::{CpuLimit, Cpus, Seat};
use slotwise::stock::{Lot, Money};
use slotwise::units::{Mts, Size};

fn board(rng: &mut fastrand::Rng) -> Board {
    let (sockets, channels, slots) = (rng.usize(1..3), rng.usize(1..4), rng.usize(1..3));
    let mut text = String::from("format = \"slotwise-board/1\"\nname = \"b\"\ngeneration = \"DDR4\"\n");
    for s in 0..sockets {
        text += &format!("[[socket]]\nlabel = \"P{s}\"\n");
        for c in 0..channels {
            text += &format!("[[socket.channel]]\nlabel = \"{c}\"\n");
            for p in 1..=slots {
                text += &format!("[[socket.channel.slot]]\nlabel = \"{s}-{c}-{p}\"\nposition = {p}\n");
            }
        }
    }
    let mixing = ["none", "by-position", "free"][rng.usize(0..3)];
    text += &format!("[limits]\nkinds = [\"RDIMM\"]\nmixing = \"{mixing}\"\nsockets_match = {}\n", rng.bool());
    toml::from_str(&text).unwrap()
}

fn lots(rng: &mut fastrand::Rng) -> Vec<Lot> {
    (0..rng.usize(1..4))
        .map(|n| Lot {
            name: format!("lot {n}"),
            part: None,
            spec: ModuleSpec {
                generation: Some(Generation::DDR4),
                kind: Some(Kind::RDIMM),
                gib: Size::from_gib([16, 24, 32, 64][rng.usize(0..4)]),
                ranks: Some(2),
                width: Some(4),
                mts: Some(Mts(2666)),
            },
            volts: None,
            count: rng.u32(1..7),
            pack: [1, 1, 2][rng.usize(0..3)],
            price: Money(rng.u64(1..50)),
            serials: Vec::new(),
        })
        .collect()
}

/// Every multiple of 8 GiB is asked for exactly; the nearest told are the nearest of those that have a plan.
#[test]
fn the_nearest_targets_told_are_the_nearest_there_are() {
    let (mut below, mut above, mut none) = (0, 0, 0);
    for seed in 0..180 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let (board, lots) = (board(&mut rng), lots(&mut rng));
        let cpus: Cpus = vec![Some(CpuLimit::default()); board.socket.len()];
        // In every third case something is fitted, and in some of them one must stay.
        let mut seat = || {
            let spec = lots[rng.usize(0..lots.len())].spec.clone();
            FittedSeat { seat: Seat { spec, volts: None }, stays: seed % 6 == 0 && rng.bool() }
        };
        let mut fitted = vec![None; board.slots().count()];
        if seed % 3 == 0 {
            fitted[0] = Some(seat());
        }
        let units = 1 + u32::from(seed % 4 == 1);
        let problem = |target| Problem {
            board: &board,
            cpus: &cpus,
            lots: &lots,
            fitted: &fitted,
            units,
            target,
            budget: None,
            prefer: Prefer::Cost,
            alternatives: 0,
        };
        let has = |target| !search(&problem(target), &mut || false).unwrap().plans.is_empty();
        let all: Vec<Size> = (1..=12 * 64 / 8).map(|n| Size::from_gib(n * 8)).collect();
        let met: Vec<Size> = all.iter().copied().filter(|size| has(Target::Exactly(*size))).collect();
        for asked in (0..4).map(|_| Size::from_gib(rng.u64(1..100) * 8)).filter(|asked| !met.contains(asked)) {
            let told = shortage(&problem(Target::Exactly(asked)), "EUR", &mut || false).unwrap();
            let expected_below = met.iter().copied().filter(|size| *size < asked).max();
            let expected_above = met.iter().copied().filter(|size| *size > asked).min();
            assert_eq!((told.below, told.above), (expected_below, expected_above), "seed {seed}: exactly {asked}");
            assert!(!told.reasons.is_empty());
            (below, above) = (below + u32::from(told.below.is_some()), above + u32::from(told.above.is_some()));
            if expected_above.is_none() {
                none += 1;
                let told = shortage(&problem(Target::AtLeast(asked)), "EUR", &mut || false).unwrap();
                assert_eq!((told.below, told.above), (expected_below, None), "seed {seed}: at least {asked}");
                assert!(!told.reasons.is_empty());
            }
        }
    }
    assert!(below > 100 && above > 50 && none > 50, "{below} {above} {none}");
}

/// Far more than 64 steps of what the sizes have in common lie between an exact target and the nearest below it.
#[test]
fn the_nearest_below_an_exact_target_is_found_however_far_down_it_lies() {
    let mut rng = fastrand::Rng::with_seed(1);
    let mut board = board(&mut rng);
    board.limits.mixing = Some(slotwise::board::Mixing::Free);
    board.limits.sockets_match = None;
    let mut lots = lots(&mut rng);
    lots.truncate(1);
    let model = lots[0].clone();
    let lot = |gib, count| {
        let spec = ModuleSpec { gib: Size::from_gib(gib), ..model.spec.clone() };
        Lot { name: format!("{gib}"), spec, count, pack: 1, ..model.clone() }
    };
    let lots = [lot(1, 1), lot(256, 2)];
    let cpus: Cpus = vec![Some(CpuLimit::default()); board.socket.len()];
    let mut fitted = vec![None; board.slots().count()];
    assert!(fitted.len() >= 3, "the board has room for all three");
    let asked = |budget, fitted: &[Option<FittedSeat>]| {
        let target = Target::Exactly(Size::from_gib(500));
        let problem = Problem {
            board: &board,
            cpus: &cpus,
            lots: &lots,
            fitted,
            units: 1,
            target,
            budget,
            prefer: Prefer::Bandwidth,
            alternatives: 0,
        };
        shortage(&problem, "", &mut || false).unwrap()
    };
    let told = asked(None, &fitted);
    assert_eq!((told.below, told.above, told.certain), (Some(Size::from_gib(257)), Some(Size::from_gib(512)), true));
    // With one that must stay the 64 next below are tried, and that nothing was found there is not passed for more.
    fitted[0] = Some(FittedSeat { seat: Seat { spec: lots[0].spec.clone(), volts: None }, stays: true });
    let told = asked(None, &fitted);
    assert_eq!((told.below, told.certain), (None, false));
}
