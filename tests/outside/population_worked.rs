//! The worked examples that are told in words, the published slot maps and the speed tables that print `rated`: each as
//! the plan of the board it belongs to. Source: the guides by the ids of `population/sources.tsv`.

use std::collections::BTreeMap;

use slotwise::board::{Board, SpeedRow};
use slotwise::module::Kind;
use slotwise::plan::interleave::regions;
use slotwise::plan::search::{Found, Prefer, Problem, Target, search};
use slotwise::plan::speed::speed;
use slotwise::plan::{CpuLimit, Cpus, Seat, Seats};
use slotwise::stock::Lot;
use slotwise::units::{Mts, Size};

use super::population::{board, lot, placed, rows, spec};

/// `channels` channels of `slots` slots in each of `sockets` sockets; the label is socket, channel, position.
fn plain(sockets: usize, channels: usize, slots: usize, ways: &[u8], limits: &str) -> Board {
    let labels: Vec<Vec<Vec<String>>> = (0..sockets)
        .map(|s| (0..channels).map(|c| (1..=slots).map(|p| format!("{s}.{c}.{p}")).collect()).collect())
        .collect();
    built(&labels, ways, limits)
}

fn built(labels: &[Vec<Vec<String>>], ways: &[u8], limits: &str) -> Board {
    let channels: Vec<Vec<Vec<&str>>> =
        labels.iter().map(|s| s.iter().map(|c| c.iter().map(String::as_str).collect()).collect()).collect();
    let sockets: Vec<Vec<&[&str]>> = channels.iter().map(|s| s.iter().map(Vec::as_slice).collect()).collect();
    let sockets: Vec<&[&[&str]]> = sockets.iter().map(Vec::as_slice).collect();
    board(&sockets, ways, limits)
}

/// The best plan for exactly so much memory out of these lots.
fn best(board: &Board, lots: &[Lot], gib: u64) -> Found {
    let cpus: Cpus = vec![Some(CpuLimit::default()); board.socket.len()];
    let fitted = vec![None; board.slots().count()];
    let problem = Problem {
        board,
        cpus: &cpus,
        lots,
        fitted: &fitted,
        units: 1,
        target: Target::Exactly(Size::from_gib(gib)),
        budget: None,
        prefer: Prefer::Bandwidth,
        alternatives: 0,
    };
    let outcome = search(&problem, &mut || false).unwrap();
    assert!(outcome.exhausted);
    outcome.plans.into_iter().next().unwrap()
}

/// Modules of each channel of the first socket, the first filled slot first, as GiB and ranks.
fn channels(board: &Board, found: &Found) -> Vec<Vec<(u64, u8)>> {
    let mut out = vec![Vec::new(); board.socket[0].channel.len()];
    for at in board.slots().filter(|at| at.socket_index == 0) {
        if let Some(seat) = &found.seats[at.index] {
            out[at.channel_index].push((seat.spec.gib.mib() / 1024, seat.spec.ranks.unwrap()));
        }
    }
    out
}

/// Whether a row with this system and slots stands in the shared examples; `true` with a note when they are not at hand.
fn printed(system: &str, slots: &str) -> bool {
    rows("b_population_examples.tsv").is_none_or(|rows| rows.iter().any(|r| r[1] == system && r[5].starts_with(slots)))
}

/// S67: 6 alike on 4 channels are two rows on two channels and one on the others: regions of 128 GB four-way and 64 GB
/// two-way.
#[test]
fn six_on_four_channels_are_four_and_two() {
    assert!(printed("E5-2600 v2/v4 2-socket, 384 GB", "two rows on two channels"));
    let board = plain(1, 4, 3, &[4, 3, 2, 1], "");
    let found = best(&board, &[lot(spec(Kind::RDIMM, 32, 2, 2400), 6)], 192);
    let mut depths: Vec<usize> = channels(&board, &found).iter().map(Vec::len).collect();
    depths.sort_unstable();
    assert_eq!(depths, [1, 1, 2, 2]);
    let caps: Vec<u64> = channels(&board, &found).iter().map(|c| c.iter().map(|m| m.0).sum()).collect();
    let made: Vec<(u64, u8)> =
        regions(&caps, &[None; 4], board.interleave.as_ref()).iter().map(|r| (r.size.mib(), r.ways)).collect();
    assert_eq!(made, [(128, 4), (64, 2)]);
}

/// S67: 4 of 32 GB and 4 of 16 GB take a row each, the larger first, and every channel holds 48 GB.
#[test]
fn two_sizes_take_a_row_each() {
    assert!(printed("E5-2600 v4 2-socket, 384 GB", "row 1: 4 x 32 GB, row 2: 4 x 16 GB"));
    let mut board = plain(1, 4, 3, &[4, 3, 2, 1], "");
    board.limits.mixing = Some(slotwise::board::Mixing::ByPosition);
    board.limits.more_ranks_first = Some(true);
    let lots = [lot(spec(Kind::RDIMM, 32, 2, 2400), 4), lot(spec(Kind::RDIMM, 16, 1, 2400), 4)];
    let found = best(&board, &lots, 192);
    assert_eq!(channels(&board, &found), vec![vec![(32, 2), (16, 1)]; 4]);
}

/// S67: a board of six channels, two with a second slot: all eight filled are a six-way and a two-way region.
#[test]
fn eight_slots_on_six_channels_are_all_filled() {
    assert!(printed("Xeon SP gen 1 board with 8 slots per CPU", "all (6+2)"));
    let labels: Vec<Vec<String>> =
        (0..6).map(|c| (1..=if c < 2 { 2 } else { 1 }).map(|p| format!("{c}.{p}")).collect()).collect();
    let board = built(&[labels], &[6, 4, 3, 2, 1], "");
    let found = best(&board, &[lot(spec(Kind::RDIMM, 16, 2, 2666), 8)], 128);
    assert_eq!(found.score.modules, 8);
    let caps: Vec<u64> = channels(&board, &found).iter().map(|c| c.iter().map(|m| m.0).sum()).collect();
    let made: Vec<u8> = regions(&caps, &[None; 6], board.interleave.as_ref()).iter().map(|r| r.ways).collect();
    assert_eq!(made, [6, 2]);
    // The advice beside it: six alone are faster.
    let six = best(&board, &[lot(spec(Kind::RDIMM, 16, 2, 2666), 8)], 96);
    assert!(six.score.mb_s > found.score.mb_s);
}

/// S88: 16 on two processors are 8 on each; all on one is called wrong. S66: 8 modules take half the channels of 2 x 8,
/// 16 the first row, 32 all; 12 the first row of 2 x 6, 24 all.
#[test]
fn counts_for_two_processors_fall_evenly_on_rows() {
    assert!(printed("2-socket example", "8 per CPU"));
    assert!(printed("Nutanix G8/G9 2-socket", "16 = first row") && printed("Nutanix G7 2-socket", "12 = first row"));
    for (channels, slots, n, expected) in [
        (8, 2, 8, "4 channels of 1"),
        (8, 2, 16, "8 channels of 1"),
        (8, 2, 32, "8 channels of 2"),
        (6, 2, 12, "6 channels of 1"),
        (6, 2, 24, "6 channels of 2"),
        (4, 3, 16, "4 channels of 2"),
    ] {
        let ways: &[u8] = if channels == 6 { &[6, 4, 3, 2, 1] } else { &[8, 4, 2, 1] };
        // Both guides want the processors filled alike.
        let board = plain(2, channels, slots, ways, "sockets_match = true");
        let filled = placed(&board, n);
        for socket in ["0.", "1."] {
            let mut depth: BTreeMap<&str, usize> = BTreeMap::new();
            for label in filled.iter().filter(|label| label.starts_with(socket)) {
                *depth.entry(label.rsplit_once('.').unwrap().0).or_default() += 1;
            }
            let deepest = *depth.values().max().unwrap();
            assert!(depth.values().all(|d| *d == deepest), "{n}: {depth:?}");
            assert_eq!(format!("{} channels of {deepest}", depth.len()), expected, "{n} modules in socket {socket}");
        }
    }
}

/// S65: of two modules on a channel the one with more ranks goes farther from the processor. S11: 4R, 2R and 1R on one
/// channel of three slots, in that order.
#[test]
fn more_ranks_go_first_in_their_channel() {
    assert!(printed("FusionServer CH225 V5", "2R in 1A1") && printed("UCS B200 M4", "slot 1 = 4R, slot 2 = 2R"));
    for slots in [2, 3] {
        let mut board = plain(1, 1, slots, &[1], "ranks_per_channel = 8\nmore_ranks_first = true");
        board.limits.mixing = Some(slotwise::board::Mixing::Free);
        let sorts = [(16, 1), (32, 2), (64, 4)];
        let lots: Vec<Lot> = sorts[..slots].iter().map(|&(g, r)| lot(spec(Kind::RDIMM, g, r, 2400), 1)).collect();
        let all: u64 = sorts[..slots].iter().map(|s| s.0).sum();
        let ranks: Vec<u8> = channels(&board, &best(&board, &lots, all))[0].iter().map(|m| m.1).collect();
        assert_eq!(ranks, [4, 2, 1][3 - slots..]);
    }
}

/// S50: one module in slot 1A; with a second processor one in each, both in the first slot of the first channel.
#[test]
fn two_processors_get_one_module_each_first() {
    assert!(printed("PRIMERGY RX2540 M1", "1A, then slot 1 of the second CPU"));
    let board = plain(2, 4, 3, &[4, 3, 2, 1], "sockets_match = true");
    assert_eq!(placed(&board, 2), ["0.0.1", "1.0.1"]);
}

/// The published slot maps: as many modules as channels take the farthest slot of each, and a full board takes all.
#[test]
fn the_slot_maps_are_filled_farthest_first() {
    let Some(rows) = rows("b_topology_maps.tsv") else { return };
    let mut systems: BTreeMap<(String, String), BTreeMap<String, BTreeMap<u8, String>>> = BTreeMap::new();
    let mut held = 0;
    for row in rows.iter().filter(|row| row.len() == 7) {
        let Ok(place) = row[5].parse() else { continue };
        let channels = systems.entry((row[1].clone(), row[2].clone())).or_default();
        channels.entry(format!("{} {}", row[3], row[4])).or_default().insert(place, row[6].clone());
        held += 1;
    }
    for ((system, cpu), channels) in &systems {
        let labels: Vec<Vec<String>> = channels.values().map(|c| c.values().cloned().collect()).collect();
        let ways: Vec<u8> = (1..=labels.len() as u8).collect();
        let board = built(std::slice::from_ref(&labels), &ways, "");
        let mut first: Vec<String> = labels.iter().map(|channel| channel[0].clone()).collect();
        first.sort();
        assert_eq!(placed(&board, labels.len() as u64), first, "{system} {cpu}");
        let all = board.slots().count();
        assert_eq!(placed(&board, all as u64).len(), all, "{system} {cpu}");
    }
    println!("{held} slots of {} sockets held", systems.len());
    assert!(held >= 150, "{held}");
}

/// Speed rows that print `rated` or `same` in place of a number: the module's own rating holds, up to the number per
/// channel that prints one. S42 and S27: rated, rated, 1600. S67 (Skylake): no fall from one to two. S66: 2933 or 2666 by
/// the processor. S67 (generation 4): 4400 with two where the processor allows 4800 with one.
#[test]
fn speed_rows_in_words() {
    let run = |table: &[(u8, u32)], cpu: Option<u32>, rated: u32, n: usize| {
        let mut board = plain(1, 1, 3, &[1], "");
        for &(per_channel, mts) in table {
            board.speed.push(SpeedRow { kind: Kind::RDIMM, ranks: None, per_channel, mts: Mts(mts) });
        }
        let cpus: Cpus = vec![Some(CpuLimit { mts: cpu.map(Mts), gib: None })];
        let seats: Seats = (0..3).map(|p| (p < n).then(|| Seat::of(&spec(Kind::RDIMM, 16, 2, rated)))).collect();
        speed(&board, &cpus, &seats).mts.unwrap().0
    };
    for rated in [2133, 2400] {
        let e5 = [(1, 2400), (2, 2400), (3, 1600)];
        assert_eq!([1, 2, 3].map(|n| run(&e5, None, rated, n)), [rated, rated, 1600]);
    }
    assert_eq!([1, 2].map(|n| run(&[(1, 2666), (2, 2666)], None, 2666, n)), [2666, 2666]);
    for cpu in [2933, 2666] {
        assert_eq!([1, 2].map(|n| run(&[(1, 2933), (2, 2933)], Some(cpu), 2933, n)), [cpu, cpu]);
    }
    for (cpu, two) in [(4800, 4400), (4400, 4400), (4000, 4000)] {
        assert_eq!([1, 2].map(|n| run(&[(1, 4800), (2, 4400)], Some(cpu), 4800, n)), [cpu, two]);
    }
}
