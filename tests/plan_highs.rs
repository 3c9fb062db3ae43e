//! The search against HiGHS, a general mixed-integer solver, on instances larger and with more rules than the other
//! general solver takes: ranks, sockets that match, fitted modules, exact targets, free slots first. The model is
//! `plan_general/model.py` and shares nothing with the search, nor with the other model.
//!
//! Needs a Python with `highspy`: that of `target/python` (`.ci/run` makes it), else `python3`. Skips by name without.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use slotwise::board::Board;
use slotwise::module::{Generation, Kind, ModuleSpec};
use slotwise::plan::search::{Criterion, FittedSeat, Found, Prefer, Problem, Target, search};
use slotwise::plan::{CpuLimit, Cpus, Seat};
use slotwise::stock::{Lot, Money};
use slotwise::units::{Mts, Size};

/// A Python that can import `highspy`.
fn python() -> Option<String> {
    let own = concat!(env!("CARGO_MANIFEST_DIR"), "/target/python/bin/python");
    [own, "python3"].into_iter().map(str::to_owned).find(|python| {
        let tried = Command::new(python).args(["-c", "import highspy"]).stderr(Stdio::null()).status();
        tried.is_ok_and(|status| status.success())
    })
}

/// One module sort: GiB, ranks, MT/s.
type Sort = (u32, u8, u32);

/// An instance in plain numbers.
#[derive(Debug, Clone)]
struct Instance {
    shape: (usize, usize, usize),
    rates: Vec<u32>,
    ways: Vec<u32>,
    ranks_per_channel: Option<u8>,
    sockets_match: bool,
    /// Sort, count, pack, price of one.
    lots: Vec<(Sort, u32, u32, u32)>,
    /// Slot in board order and sort.
    fitted: Vec<(usize, Sort)>,
    units: u32,
    gib: u32,
    exactly: bool,
    budget: Option<u32>,
    prefer: Prefer,
}

impl Instance {
    fn random(rng: &mut fastrand::Rng) -> Self {
        // Sockets, channels, slots, and how many sorts of modules keep the general model within seconds.
        let shapes =
            [(2, 8, 1, 4), (1, 8, 2, 2), (4, 6, 2, 2), (2, 12, 1, 3), (8, 8, 1, 4), (2, 4, 3, 2), (2, 4, 2, 3)];
        let (sockets, channels, slots, most) = shapes[rng.usize(0..shapes.len())];
        let all = [(16, 1), (32, 2), (64, 2), (96, 4), (128, 4), (32, 1)];
        let from = rng.usize(0..all.len());
        let sorts: Vec<(u32, u8)> = (0..most).map(|n| all[(from + n) % all.len()]).collect();
        let mts = |rng: &mut fastrand::Rng| [2666, 2933, 3200][rng.usize(0..3)];
        let places = (sockets * channels * slots) as u32;
        let units = [1, 1, 1, 2, 5][rng.usize(0..5)];
        let count = rng.usize(4..41);
        let ample = if rng.bool() { 1 } else { 8 };
        let lots = (0..count)
            .map(|_| {
                let (gib, ranks) = sorts[rng.usize(0..sorts.len())];
                let price = gib * rng.u32(200..400) / 100 + rng.u32(0..20);
                let most = (2 * places * units * ample / count as u32).max(4);
                ((gib, ranks, mts(rng)), rng.u32(1..=most), [1, 1, 1, 2, 4][rng.usize(0..5)], price)
            })
            .collect();
        let mut fitted = Vec::new();
        if rng.u8(0..3) == 0 {
            // The first slot of some channels.
            for channel in 0..sockets * channels {
                let (gib, ranks) = sorts[rng.usize(0..sorts.len())];
                if rng.u8(0..3) == 0 {
                    fitted.push((channel * slots, (gib, ranks, mts(rng))));
                }
            }
        }
        let middle = sorts.iter().map(|s| s.0).sum::<u32>() / sorts.len() as u32;
        let gib = (places * middle * rng.u32(20..75) / 100).next_multiple_of(32);
        let rates = [[3200, 2933, 2666], [3200, 3200, 2933], [2666, 2666, 2666]][rng.usize(0..3)][..slots].to_vec();
        Self {
            shape: (sockets, channels, slots),
            rates,
            ways: [vec![12, 8, 6, 4, 3, 2, 1], vec![8, 4, 2, 1], vec![4, 3, 2, 1]][rng.usize(0..3)].clone(),
            ranks_per_channel: [None, Some(4), Some(8)][rng.usize(0..3)],
            sockets_match: rng.u8(0..3) == 0,
            lots,
            fitted,
            units,
            gib,
            exactly: rng.u8(0..4) == 0,
            budget: (rng.u8(0..3) == 0).then(|| gib * units * rng.u32(25..50) / 10),
            prefer: [Prefer::Bandwidth, Prefer::Cost, Prefer::Room][rng.usize(0..3)],
        }
    }

    fn order(&self) -> &'static [&'static str] {
        match self.prefer {
            Prefer::Bandwidth => &["bandwidth", "cost"],
            Prefer::Cost => &["cost", "bandwidth"],
            _ => &["modules", "bandwidth", "cost"],
        }
    }

    fn json(&self) -> Value {
        let lot = |&((gib, ranks, mts), count, pack, price): &(Sort, u32, u32, u32)| json!({ "gib": gib, "ranks": ranks, "mts": mts, "count": count, "pack": pack, "price": price });
        json!({
            "sockets": self.shape.0, "channels": self.shape.1, "rates": self.rates, "ways": self.ways,
            "ranks_per_channel": self.ranks_per_channel, "sockets_match": self.sockets_match,
            "lots": self.lots.iter().map(lot).collect::<Vec<_>>(),
            "fitted": self.fitted.iter()
                .map(|(_, (gib, ranks, mts))| json!({ "gib": gib, "ranks": ranks, "mts": mts })).collect::<Vec<_>>(),
            "units": self.units, "gib": self.gib, "exactly": self.exactly, "budget": self.budget,
            "order": self.order(),
        })
    }

    fn board(&self) -> Board {
        let mut text = String::from("format = \"slotwise-board/1\"\nname = \"b\"\ngeneration = \"DDR4\"\n");
        for s in 0..self.shape.0 {
            text += &format!("[[socket]]\nlabel = \"P{s}\"\n");
            for c in 0..self.shape.1 {
                text += &format!("[[socket.channel]]\nlabel = \"{c}\"\n");
                for p in 1..=self.shape.2 {
                    text += &format!("[[socket.channel.slot]]\nlabel = \"{s}-{c}-{p}\"\nposition = {p}\n");
                }
            }
        }
        text += &format!("[limits]\nkinds = [\"RDIMM\"]\nmixing = \"free\"\nsockets_match = {}\n", self.sockets_match);
        if let Some(ranks) = self.ranks_per_channel {
            text += &format!("ranks_per_channel = {ranks}\n");
        }
        for (n, mts) in self.rates.iter().enumerate() {
            text += &format!("[[speed]]\nkind = \"RDIMM\"\nper_channel = {}\nmts = {mts}\n", n + 1);
        }
        text += &format!("[interleave]\nways = {:?}\nstyle = \"slice\"\n", self.ways);
        toml::from_str(&text).unwrap()
    }

    /// What the search finds, or the value it says no plan beats.
    fn search(&self) -> Result<Option<Vec<i128>>, Option<i128>> {
        let board = self.board();
        let cpus: Cpus = vec![Some(CpuLimit::default()); self.shape.0];
        let spec = |(gib, ranks, mts): Sort| ModuleSpec {
            generation: Some(Generation::DDR4),
            kind: Some(Kind::RDIMM),
            gib: Size::from_gib(u64::from(gib)),
            ranks: Some(ranks),
            width: Some(4),
            mts: Some(Mts(mts)),
        };
        let lot = |(n, &(sort, count, pack, price)): (usize, &(Sort, u32, u32, u32))| {
            let (spec, price) = (spec(sort), Money(u64::from(price)));
            Lot { name: format!("lot {n}"), part: None, spec, volts: None, count, pack, price, serials: Vec::new() }
        };
        let lots: Vec<Lot> = self.lots.iter().enumerate().map(lot).collect();
        let mut fitted = vec![None; board.slots().count()];
        for (slot, sort) in &self.fitted {
            fitted[*slot] = Some(FittedSeat { seat: Seat::of(&spec(*sort)), stays: false });
        }
        let size = Size::from_gib(u64::from(self.gib));
        let problem = Problem {
            board: &board,
            cpus: &cpus,
            lots: &lots,
            fitted: &fitted,
            units: self.units,
            target: if self.exactly { Target::Exactly(size) } else { Target::AtLeast(size) },
            budget: self.budget.map(|b| Money(u64::from(b))),
            prefer: self.prefer,
            alternatives: 0,
        };
        let end = Instant::now() + Duration::from_secs(1);
        let outcome = search(&problem, &mut || Instant::now() >= end).unwrap();
        if outcome.exhausted { Ok(outcome.plans.first().map(|p| self.worth(p))) } else { Err(outcome.bound) }
    }

    fn worth(&self, found: &Found) -> Vec<i128> {
        let value = |criterion| match criterion {
            Criterion::Bandwidth => i128::from(found.score.mb_s),
            Criterion::Cost => i128::from(found.score.cost.0),
            _ => i128::from(found.score.modules),
        };
        self.prefer.order().into_iter().take(self.order().len()).map(value).collect()
    }
}

/// The solver beside us: one question a line.
struct Solver(Child);

impl Solver {
    fn ask(&mut self, instances: &[Instance]) -> Vec<Option<Vec<i128>>> {
        let mut stdin = self.0.stdin.take().unwrap();
        let lines: String = instances.iter().map(|i| format!("{}\n", i.json())).collect();
        let writer = std::thread::spawn(move || stdin.write_all(lines.as_bytes()));
        let answers = BufReader::new(self.0.stdout.take().unwrap())
            .lines()
            .map(|line| serde_json::from_str::<Option<Vec<i128>>>(&line.unwrap()).unwrap())
            .collect();
        writer.join().unwrap().unwrap();
        assert!(self.0.wait().unwrap().success());
        answers
    }
}

#[test]
fn highs_finds_nothing_better_on_larger_instances() {
    let Some(python) = python() else {
        println!("SKIPPED highs_finds_nothing_better_on_larger_instances: no Python here imports highspy");
        return;
    };
    let instances: Vec<Instance> =
        (0..130).map(|seed| Instance::random(&mut fastrand::Rng::with_seed(0x5107 + seed))).collect();
    let model = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/plan_general/model.py");
    let child = Command::new(python).arg(model).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    let mut solver = Solver(child);
    let (mut same, mut plans, mut cut) = (0, 0, 0);
    std::thread::scope(|scope| {
        let theirs = scope.spawn(|| solver.ask(&instances));
        let ours: Vec<_> = instances.iter().map(Instance::search).collect();
        let theirs = theirs.join().unwrap();
        assert_eq!(theirs.len(), instances.len());
        for ((instance, ours), theirs) in instances.iter().zip(ours).zip(theirs) {
            match ours {
                Ok(found) => {
                    assert_eq!(found, theirs, "{instance:?}");
                    same += 1;
                    plans += u32::from(theirs.is_some());
                }
                // Cut short: nothing may beat the bound that was told.
                Err(bound) => {
                    cut += 1;
                    if let (Some(bound), Some(theirs)) = (bound, theirs) {
                        let most = instance.prefer == Prefer::Bandwidth;
                        assert!(if most { theirs[0] <= bound } else { theirs[0] >= bound }, "{bound}: {instance:?}");
                    }
                }
            }
        }
    });
    println!("{same} the same, {plans} of them with a plan; {cut} cut short, their bounds hold");
    assert!(same >= 100 && plans * 2 > same, "{same} the same, {plans} with a plan, {cut} cut short");
}
