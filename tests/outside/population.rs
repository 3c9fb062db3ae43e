//! Published population guides, speed tables and measurements, each row on the board it belongs to.
//!
//! Source: makers' memory guides and reviews, by the ids of `population/sources.tsv`. Boards are built here from what the
//! same source prints of them.

use std::collections::BTreeMap;

use slotwise::board::{Board, Interleave, InterleaveStyle};
use slotwise::module::{Generation, Kind, ModuleSpec};
use slotwise::plan::interleave::{bandwidth, effective_mb_s, regions};
use slotwise::plan::search::{Prefer, Problem, Target, search};
use slotwise::plan::speed::speed;
use slotwise::plan::{CpuLimit, Cpus, Seat, Seats};
use slotwise::stock::{Lot, Money};
use slotwise::units::{Mts, Size};

/// The rows of a shared table, or `None` with a loud note when it is not at hand.
pub(crate) fn rows(name: &str) -> Option<Vec<Vec<String>>> {
    let shared = std::env::var("SLOTWISE_SHARED")
        .unwrap_or_else(|_| concat!(env!("CARGO_MANIFEST_DIR"), "/../shared").to_owned());
    let path = format!("{shared}/data/population/{name}");
    match std::fs::read_to_string(&path) {
        Ok(text) => Some(text.lines().skip(1).map(|l| l.split('\t').map(str::to_owned).collect()).collect()),
        Err(error) => {
            println!("SKIPPED: {path}: {error}");
            None
        }
    }
}

/// A board from the slot labels of each channel, first filled first.
pub(crate) fn board(sockets: &[&[&[&str]]], ways: &[u8], limits: &str) -> Board {
    let mut text = String::from("format = \"slotwise-board/1\"\nname = \"published\"\ngeneration = \"DDR4\"\n");
    for (s, channels) in sockets.iter().enumerate() {
        text += &format!("[[socket]]\nlabel = \"P{s}\"\n");
        for (c, slots) in channels.iter().enumerate() {
            text += &format!("[[socket.channel]]\nlabel = \"{c}\"\n");
            for (p, label) in slots.iter().enumerate() {
                text += &format!("[[socket.channel.slot]]\nlabel = \"{label}\"\nposition = {}\n", p + 1);
            }
        }
    }
    text += &format!("[limits]\nkinds = [\"RDIMM\"]\nmixing = \"none\"\n{limits}\n");
    text += &format!("[interleave]\nways = {ways:?}\nstyle = \"slice\"\n");
    toml::from_str(&text).unwrap()
}

pub(crate) fn spec(kind: Kind, gib: u64, ranks: u8, mts: u32) -> ModuleSpec {
    ModuleSpec {
        generation: Some(Generation::DDR4),
        kind: Some(kind),
        gib: Size::from_gib(gib),
        ranks: Some(ranks),
        width: Some(4),
        mts: Some(Mts(mts)),
    }
}

pub(crate) fn lot(spec: ModuleSpec, count: u32) -> Lot {
    let (name, volts) = (format!("{spec}"), None);
    Lot { name, part: None, spec, volts, count, pack: 1, price: Money(100), serials: Vec::new() }
}

/// Slots the plan fills with exactly `n` modules alike; empty when there is no plan.
pub(crate) fn placed(board: &Board, n: u64) -> Vec<String> {
    let cpus: Cpus = vec![Some(CpuLimit::default()); board.socket.len()];
    let fitted = vec![None; board.slots().count()];
    let lots = [lot(spec(Kind::RDIMM, 16, 2, 2400), 1000)];
    let problem = Problem {
        board,
        cpus: &cpus,
        lots: &lots,
        fitted: &fitted,
        units: 1,
        target: Target::Exactly(Size::from_gib(16 * n)),
        budget: None,
        prefer: Prefer::Bandwidth,
        alternatives: 0,
    };
    let outcome = search(&problem, &mut || false).unwrap();
    assert!(outcome.exhausted);
    let Some(found) = outcome.plans.first() else { return Vec::new() };
    let mut out: Vec<String> = board
        .slots()
        .filter(|at| found.seats[at.index].is_some())
        .map(|at| at.slot.label.as_str().to_owned())
        .collect();
    out.sort();
    out
}

/// The board of a row of the examples: channels in the order the source fills them.
fn board_of(system: &str, scope: &str) -> Option<Board> {
    let letters = |all: &'static [&'static [&'static str]]| all;
    Some(match (system, scope) {
        // S20: counts 1, 2, 4, 6, 8, 10, 12; one slot a channel; the order is that of its own table.
        ("ThinkSystem SR655 V3", _) => board(
            &[&[&["7"], &["6"], &["9"], &["4"], &["8"], &["5"], &["11"], &["2"], &["10"], &["3"], &["12"], &["1"]]],
            &[12, 10, 8, 6, 4, 2, 1],
            "counts_per_socket = [1, 2, 4, 6, 8, 10, 12]",
        ),
        // S10: 1, 2, 3, 4, 6, …; 6 is three channels of two, 5 and 7 are not recommended: channels in use equally deep.
        // Three-way interleave, as S67 saw on this processor.
        ("UCS B420 M4", cpu) => {
            let set: &[&[&str]] = match cpu {
                "CPU1" | "CPU" => &[&["A1", "A2", "A3"], &["B1", "B2", "B3"], &["C1", "C2", "C3"], &["D1", "D2", "D3"]],
                "CPU2" => &[&["E1", "E2", "E3"], &["F1", "F2", "F3"], &["G1", "G2", "G3"], &["H1", "H2", "H3"]],
                "CPU3" => &[&["I1", "I2", "I3"], &["J1", "J2", "J3"], &["K1", "K2", "K3"], &["L1", "L2", "L3"]],
                _ => &[&["M1", "M2", "M3"], &["N1", "N2", "N3"], &["O1", "O2", "O3"], &["P1", "P2", "P3"]],
            };
            board(&[set], &[4, 3, 2, 1], "same_depth = true")
        }
        ("ThinkServer RD220 / 3821", "CPU1") => {
            board(&[&[&["3", "2", "1"], &["6", "5", "4"], &["8", "7"]]], &[3, 2, 1], "")
        }
        ("ThinkServer RD220 / 3821", "CPU2") => {
            board(&[&[&["11", "10", "9"], &["14", "13", "12"], &["16", "15"]]], &[3, 2, 1], "")
        }
        // S13: both processors identical.
        ("UCS C240 M5", _) => board(
            &[
                letters(&[&["A1", "A2"], &["B1", "B2"], &["C1", "C2"], &["D1", "D2"], &["E1", "E2"], &["F1", "F2"]]),
                letters(&[&["G1", "G2"], &["H1", "H2"], &["J1", "J2"], &["K1", "K2"], &["L1", "L2"], &["M1", "M2"]]),
            ],
            &[6, 5, 4, 3, 2, 1],
            "sockets_match = true",
        ),
        // S12: both processors identical; the maker's table for 4 channels names no three-way region (S40).
        ("UCS C220 M4", _) => board(
            &[
                letters(&[&["A1", "A2", "A3"], &["B1", "B2", "B3"], &["C1", "C2", "C3"], &["D1", "D2", "D3"]]),
                letters(&[&["E1", "E2", "E3"], &["F1", "F2", "F3"], &["G1", "G2", "G3"], &["H1", "H2", "H3"]]),
            ],
            &[4, 2, 1],
            "sockets_match = true",
        ),
        ("UCS C22", _) => board(
            &[
                letters(&[&["A0", "A1"], &["B0", "B1"], &["C0", "C1"]]),
                letters(&[&["D0", "D1"], &["E0", "E1"], &["F0", "F1"]]),
            ],
            &[3, 2, 1],
            "sockets_match = true",
        ),
        ("ProLiant DL380 Gen9", _) => board(
            &[
                letters(&[&["P1-A"], &["P1-B"], &["P1-C"], &["P1-D"]]),
                letters(&[&["P2-A"], &["P2-B"], &["P2-C"], &["P2-D"]]),
            ],
            &[4, 3, 2, 1],
            "sockets_match = true",
        ),
        ("Supermicro X9/X10 DP", "one channel") => board(&[&[&["DIMM0", "DIMM1", "DIMM2"]]], &[1], ""),
        ("PRIMERGY RX2540 M1", "1 CPU") => board(&[&[&["1A", "2A", "3A"], &["1B", "2B", "3B"]]], &[2, 1], ""),
        _ => return None,
    })
}

#[test]
fn the_plan_fills_the_slots_the_guides_print() {
    let Some(rows) = rows("b_population_examples.tsv") else { return };
    let (mut held, mut other) = (0, Vec::new());
    for row in &rows {
        let (system, scope, n, slots) = (&row[1], &row[3], row[4].parse::<u64>().unwrap(), &row[5]);
        let slot_list = slots.replace(" (farthest)", "");
        let Some(board) = board_of(system, scope).filter(|_| row[6] != "counts") else {
            other.push(format!("{system} {scope} {n}: {slots}"));
            continue;
        };
        let mut printed: Vec<String> = slot_list.split(',').map(|s| s.trim().to_owned()).collect();
        printed.sort();
        if slots == "not recommended" {
            printed.clear();
        }
        assert_eq!(placed(&board, n), printed, "{} {system} {scope}, {n} modules", row[0]);
        held += 1;
    }
    println!("{held} examples held, {} are no list of slots or another mode: {other:#?}", other.len());
    assert!(held >= 75, "{held}");
}

/// S66 and S20: the counts a guide calls balanced give the best bandwidth of their neighbours.
#[test]
fn balanced_counts_beat_the_counts_between() {
    let slots: Vec<Vec<String>> = (0..8).map(|c| vec![format!("{c}a"), format!("{c}b")]).collect();
    let slots: Vec<Vec<&str>> = slots.iter().map(|c| c.iter().map(String::as_str).collect()).collect();
    let slots: Vec<&[&str]> = slots.iter().map(Vec::as_slice).collect();
    let board = board(&[&slots], &[8, 4, 2, 1], "");
    let mb_s = |n: u64| {
        let cpus: Cpus = vec![Some(CpuLimit::default())];
        let filled = placed(&board, n);
        let seats: Seats = board
            .slots()
            .map(|at| {
                filled.iter().any(|l| l == at.slot.label.as_str()).then(|| Seat::of(&spec(Kind::RDIMM, 16, 2, 4800)))
            })
            .collect();
        bandwidth(&board, &cpus, &seats, Mts(4800)).effective_mb_s
    };
    // 8 and 16 per processor are best, 2, 4 and 12 nearly so (S66); 7 is worse than 4 and than 8 (S74 measured 0.70).
    assert!(mb_s(8) == mb_s(16) && mb_s(12) < mb_s(8) && mb_s(12) > mb_s(11) && mb_s(12) > mb_s(13));
    assert!(mb_s(4) > mb_s(3) && mb_s(4) > mb_s(5) && mb_s(7) < mb_s(6));
}

/// Predictions computed apart from this program (predictor A, time-weighted), and their regions.
#[test]
fn regions_and_effective_bandwidth_are_those_of_the_worked_model() {
    let Some(rows) = rows("d_model_predictions.tsv") else { return };
    for row in &rows {
        let ways: Vec<u8> = row[0].split(['{', '}']).nth(1).unwrap().split(',').map(|w| w.parse().unwrap()).collect();
        let number = |mark: &str| -> usize {
            let before = row[0].split(mark).next().unwrap();
            before.rsplit(|c: char| !c.is_ascii_digit()).next().unwrap().parse().unwrap()
        };
        let channels = if row[0].contains(" ports") { number(" ports") } else { number("ch") };
        let n: usize = row[1].parse().unwrap();
        let style = if row[0].starts_with("POWER9") { InterleaveStyle::Whole } else { InterleaveStyle::Slice };
        let interleave = Interleave { ways, style, across: None };
        let caps: Vec<u64> = (0..channels).map(|c| (n / channels + usize::from(c < n % channels)) as u64).collect();
        let found = regions(&caps, &vec![None; channels], Some(&interleave));
        let mine: Vec<String> = found.iter().map(|r| format!("{}x{}", r.ways, r.size.mib())).collect();
        assert_eq!(mine.join("+"), row[2], "{} with {n}", row[0]);
        let full = effective_mb_s(&regions(&vec![1; channels], &vec![None; channels], Some(&interleave)), Mts(10_000));
        let share = effective_mb_s(&found, Mts(10_000)) as f64 / full as f64;
        assert!((share - row[3].parse::<f64>().unwrap()).abs() < 0.001, "{} with {n}: {share} {}", row[0], row[3]);
    }
}

/// Every row of the speed tables that prints plain numbers, as the one row of its board.
#[test]
fn speed_tables_row_by_row() {
    let Some(rows) = rows("a_speed_by_dpc.tsv") else { return };
    let (mut held, mut left_out) = (0, Vec::new());
    for row in &rows {
        let (kind, ranks, rated) = (&row[3], &row[4], row[6].parse::<u32>());
        let printed: Vec<Option<u32>> = row[9..12].iter().map(|v| v.parse().ok()).collect();
        let (Ok(rated), Some(_)) = (rated, printed[0]) else {
            left_out.push(row.join(" | "));
            continue;
        };
        let kind = if kind.starts_with("LRDIMM") {
            Kind::LRDIMM
        } else if kind == "UDIMM" {
            Kind::UDIMM
        } else {
            Kind::RDIMM
        };
        let ranks: Vec<u8> = [1, 2, 4, 8].into_iter().filter(|r| ranks.contains(&format!("{r}R"))).collect();
        let mut board = board(&[&[&["a", "b", "c"]]], &[1], "");
        for (n, mts) in printed.iter().enumerate().filter_map(|(n, mts)| mts.map(|m| (n, m))) {
            board.speed.push(slotwise::board::SpeedRow { kind, ranks: None, per_channel: n as u8 + 1, mts: Mts(mts) });
        }
        let cpus: Cpus = vec![Some(CpuLimit::default())];
        for &ranks in if ranks.is_empty() { &[2][..] } else { &ranks } {
            for (n, mts) in printed.iter().enumerate().filter_map(|(n, mts)| mts.map(|m| (n, m))) {
                let seats: Seats = (0..3).map(|p| (p <= n).then(|| Seat::of(&spec(kind, 16, ranks, rated)))).collect();
                let found = speed(&board, &cpus, &seats);
                assert_eq!(found.mts, Some(Mts(mts.min(rated))), "{}", row.join(" | "));
                // A slower module still holds the rate down (printed rule of every guide).
                let mut slow = seats.clone();
                slow[0] = Some(Seat::of(&spec(kind, 16, ranks, 800)));
                assert_eq!(speed(&board, &cpus, &slow).mts, Some(Mts(800)));
                held += 1;
            }
        }
    }
    println!("{held} speeds held; rows without plain numbers: {left_out:#?}");
    assert!(held > 90, "{held}");
}

/// Capacities of full boards, by the rows that check out (the source errors are marked in the table).
#[test]
fn capacity_examples_add_up() {
    let Some(rows) = rows("b_capacity_examples.tsv") else { return };
    let mut held = 0;
    for row in rows.iter().filter(|r| r[6] == "ok") {
        let (n, gib, all): (usize, u64, u64) =
            (row[2].parse().unwrap(), row[3].parse().unwrap(), row[4].parse().unwrap());
        let labels: Vec<String> = (0..n).map(|c| format!("s{c}")).collect();
        let channels: Vec<Vec<&str>> = labels.iter().map(|l| vec![l.as_str()]).collect();
        let channels: Vec<&[&str]> = channels.iter().map(Vec::as_slice).collect();
        let board = board(&[&channels], &[1], "");
        let lots = [lot(spec(Kind::RDIMM, gib, 2, 2400), 1000)];
        let modules = |target: u64| {
            let problem = Problem {
                board: &board,
                cpus: &vec![Some(CpuLimit::default())],
                lots: &lots,
                fitted: &vec![None; n],
                units: 1,
                target: Target::AtLeast(Size::from_gib(target)),
                budget: None,
                prefer: Prefer::Cost,
                alternatives: 0,
            };
            search(&problem, &mut || false).unwrap().plans.first().map(|p| p.score.modules as usize)
        };
        assert_eq!(modules(all), Some(n), "{row:?}");
        assert_eq!(modules(all + 1), None, "{row:?}");
        held += 1;
    }
    assert!(held >= 55, "{held}");
}

/// Measured bandwidth as a band, not a proof. Where the model leaves the band is written down in docs/plan.md.
#[test]
fn measured_bandwidth_is_within_its_band() {
    // S67, chart: 1, 2, 4, 6, 8 of 8 channels gave 0.11, 0.26, 0.54, 0.81, 1.00; two sockets of four channels.
    let interleave = Interleave { ways: vec![4, 3, 2, 1], style: InterleaveStyle::Slice, across: None };
    let socket = |n: usize| -> f64 {
        let caps: Vec<u64> = (0..4).map(|c| u64::from(c < n)).collect();
        effective_mb_s(&regions(&caps, &[None; 4], Some(&interleave)), Mts(1600)) as f64
    };
    for (filled, measured) in [(1, 0.11), (2, 0.26), (4, 0.54), (6, 0.81), (8, 1.00)] {
        let model = (socket(filled / 2) + socket(filled - filled / 2)) / (2.0 * socket(4));
        assert!((model - measured).abs() < 0.08, "{filled} of 8: model {model}, measured {measured}");
    }
    // S67, AnandTech: RDIMM at 1, 2, 3 per channel 1.000, 0.828, 0.725; LRDIMM 0.983, 0.980, 0.841. The model knows the
    // clock alone (2133, 1866, 1600; 2133, 2133, 1866): within 0.06 of what was measured.
    for (mts, measured) in
        [(2133.0, 1.0), (1866.0, 0.828), (1600.0, 0.725), (2133.0, 0.983), (2133.0, 0.98), (1866.0, 0.841)]
    {
        let model: f64 = mts / 2133.0;
        assert!((model - measured).abs() < 0.06, "{mts}: {measured}");
    }
    // S40: a one-channel region gives as little as a quarter of a four-channel one.
    assert_eq!(socket(1) * 4.0, socket(4));
}

/// Common practice: on 2 x 4 x 3, 8 modules take the first slot of every channel, 16 the first and second; channels are
/// filled evenly before any is deepened; a 2666 module on a 2400 board runs at 2400.
#[test]
fn common_practice_holds() {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/checklists/boards/heron.toml")).unwrap();
    let heron: Board = toml::from_str(&text).unwrap();
    for (n, deepest) in [(8, 1), (16, 2), (24, 3)] {
        let expected: Vec<String> = {
            let mut labels: Vec<String> = heron
                .slots()
                .filter(|at| at.slot.position <= deepest)
                .map(|at| at.slot.label.as_str().to_owned())
                .collect();
            labels.sort();
            labels
        };
        assert_eq!(placed(&heron, n), expected, "{n} modules");
    }
    let mut depth: BTreeMap<char, usize> = BTreeMap::new();
    for n in (2..=24).step_by(2) {
        depth.clear();
        for label in placed(&heron, n).iter().filter(|l| l.starts_with('F')) {
            *depth.entry(label.chars().nth(1).unwrap()).or_default() += 1;
        }
        let most = depth.values().copied().max().unwrap_or(0);
        let least = if depth.len() < 4 { 0 } else { depth.values().copied().min().unwrap_or(0) };
        assert!(most - least <= 1, "{n}: {depth:?} of {:?}", placed(&heron, n));
    }
    let mut slow = heron.clone();
    slow.speed.iter_mut().for_each(|row| row.mts = Mts(2400));
    let seats: Seats =
        slow.slots().map(|at| (at.slot.position == 1).then(|| Seat::of(&spec(Kind::RDIMM, 32, 2, 2666)))).collect();
    let cpus: Cpus = vec![Some(CpuLimit::default()); 2];
    let found = speed(&slow, &cpus, &seats);
    assert_eq!(found.mts, Some(Mts(2400)));
    assert_eq!(found.remark().unwrap(), "rated 2666, this board's limit 2400: the faster module buys nothing");
}
