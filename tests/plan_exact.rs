//! The search against every arrangement written out, on small boards.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use proptest::prelude::*;
use slotwise::board::Board;
use slotwise::module::{Generation, Kind, ModuleSpec};
use slotwise::plan::search::{FittedSeat, Prefer, Problem, Score, Target, search};
use slotwise::plan::{CpuLimit, Cpus, Seat, Seats, interleave, rules, speed};
use slotwise::stock::{Lot, Money};
use slotwise::units::{Mts, Size};

/// A board of so many sockets, channels and slots with these limits.
fn board(sockets: usize, channels: usize, slots: usize, limits: &str) -> Board {
    let mut text = String::from("format = \"slotwise-board/1\"\nname = \"small\"\ngeneration = \"DDR4\"\n");
    for s in 0..sockets {
        text += &format!("[[socket]]\nlabel = \"P{s}\"\n");
        for c in 0..channels {
            text += &format!("[[socket.channel]]\nlabel = \"{c}\"\ncontroller = {}\n", c / 2);
            for p in 0..slots {
                text += &format!("[[socket.channel.slot]]\nlabel = \"P{s}{c}{p}\"\nposition = {}\n", p + 1);
            }
        }
    }
    toml::from_str(&(text + limits)).unwrap()
}

fn spec(kind: Kind, gib: u64, ranks: u8, width: u8, mts: u32) -> ModuleSpec {
    ModuleSpec {
        generation: Some(Generation::DDR4),
        kind: Some(kind),
        gib: Size::from_gib(gib),
        ranks: Some(ranks),
        width: Some(width),
        mts: Some(Mts(mts)),
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Atom {
    Lot(usize),
    Fitted(usize),
}

/// The best score by trying every arrangement.
fn brute(problem: &Problem<'_>) -> Option<Score> {
    let slots = problem.board.slots().count();
    let mut atoms: Vec<Atom> = (0..problem.lots.len()).map(Atom::Lot).collect();
    atoms.extend((0..slots).filter(|&s| problem.fitted[s].is_some()).map(Atom::Fitted));
    let mut best: Option<Score> = None;
    let mut chosen: Vec<Option<Atom>> = vec![None; slots];
    try_all(problem, &atoms, 0, &mut chosen, &mut |score, _| {
        if best.is_none_or(|b| better(problem.prefer, &score, &b)) {
            best = Some(score);
        }
    });
    best
}

/// The scores of all arrangements that keep the rules.
fn every_score(problem: &Problem<'_>) -> Vec<Score> {
    let slots = problem.board.slots().count();
    let mut atoms: Vec<Atom> = (0..problem.lots.len()).map(Atom::Lot).collect();
    atoms.extend((0..slots).filter(|&s| problem.fitted[s].is_some()).map(Atom::Fitted));
    let mut all: Vec<Score> = Vec::new();
    try_all(problem, &atoms, 0, &mut vec![None; slots], &mut |score, _| {
        if !all.contains(&score) {
            all.push(score);
        }
    });
    all
}

/// What every arrangement (kind, what each channel holds, a rate) is worth with the modules that are best for it. Left out are
/// those that run faster with modules that are as good: they count at that rate.
fn every_arrangement(problem: &Problem<'_>) -> Vec<[i128; 4]> {
    let slots = problem.board.slots().count();
    let mut atoms: Vec<Atom> = (0..problem.lots.len()).map(Atom::Lot).collect();
    atoms.extend((0..slots).filter(|&s| problem.fitted[s].is_some()).map(Atom::Fitted));
    let mut groups: std::collections::BTreeMap<_, Vec<Score>> = std::collections::BTreeMap::new();
    try_all(problem, &atoms, 0, &mut vec![None; slots], &mut |score, chosen| {
        let mut held = std::collections::BTreeMap::new();
        let mut kind = None;
        for (at, atom) in problem.board.slots().zip(chosen) {
            let spec = match atom {
                None => continue,
                Some(Atom::Lot(lot)) => &problem.lots[*lot].spec,
                Some(Atom::Fitted(slot)) => &problem.fitted[*slot].as_ref().unwrap().seat.spec,
            };
            kind = spec.kind;
            let channel: &mut (u64, u32) = held.entry((at.socket_index, at.channel_index)).or_default();
            *channel = (channel.0 + spec.gib.mib(), channel.1 + 1);
        }
        groups.entry((kind.map(|kind| kind.to_string()), held)).or_default().push(score);
    });
    let mut out = Vec::new();
    for scores in groups.values() {
        for rate in scores.iter().map(|score| score.mts) {
            let least = |s: &Score| (s.cost, s.moves);
            let fast = || scores.iter().filter(|score| score.mts >= rate);
            let Some(best) = fast().map(least).min() else { continue };
            if fast().filter(|score| least(score) == best).all(|score| score.mts == rate) {
                out.extend(fast().filter(|score| least(score) == best).map(|score| key(problem.prefer, score)));
            }
        }
    }
    out.sort_unstable();
    out.dedup();
    out
}

fn try_all(
    p: &Problem<'_>,
    atoms: &[Atom],
    at: usize,
    chosen: &mut Vec<Option<Atom>>,
    found: &mut dyn FnMut(Score, &[Option<Atom>]),
) {
    if at == chosen.len() {
        if let Some(score) = judge(p, chosen) {
            found(score, chosen);
        }
        return;
    }
    chosen[at] = None;
    try_all(p, atoms, at + 1, chosen, found);
    for &atom in atoms {
        if matches!(atom, Atom::Fitted(_)) && chosen[..at].contains(&Some(atom)) {
            continue;
        }
        chosen[at] = Some(atom);
        try_all(p, atoms, at + 1, chosen, found);
    }
    chosen[at] = None;
}

fn judge(p: &Problem<'_>, chosen: &[Option<Atom>]) -> Option<Score> {
    let seats: Seats = chosen
        .iter()
        .map(|a| {
            a.map(|a| match a {
                Atom::Lot(l) => Seat::of(&p.lots[l].spec),
                Atom::Fitted(s) => p.fitted[s].as_ref().unwrap().seat.clone(),
            })
        })
        .collect();
    let capacity: Size = seats.iter().flatten().map(|s| s.spec.gib).sum();
    let meets = match p.target {
        Target::AtLeast(size) => capacity >= size,
        Target::Exactly(size) => capacity == size,
    };
    if !meets || !rules::check(p.board, p.cpus, &seats).breaches.is_empty() {
        return None;
    }
    let mut cost = 0;
    for (l, lot) in p.lots.iter().enumerate() {
        let used = chosen.iter().filter(|a| **a == Some(Atom::Lot(l))).count() as u32 * p.units;
        let bought = used.div_ceil(lot.pack) * lot.pack;
        if bought > lot.count / lot.pack * lot.pack {
            return None;
        }
        cost += u64::from(bought) * lot.price.0;
    }
    if p.budget.is_some_and(|b| cost > b.0) {
        return None;
    }
    for (slot, fitted) in p.fitted.iter().enumerate() {
        if fitted.as_ref().is_some_and(|f| f.stays) && chosen[slot] != Some(Atom::Fitted(slot)) {
            return None;
        }
    }
    let kept = (0..chosen.len()).filter(|&s| chosen[s] == Some(Atom::Fitted(s))).count() as u32;
    let fitted = p.fitted.iter().flatten().count() as u32;
    let modules = seats.iter().flatten().count() as u32;
    let mts = speed::speed(p.board, p.cpus, &seats).mts.unwrap_or(Mts(0));
    let mb_s = interleave::bandwidth(p.board, p.cpus, &seats, mts).effective_mb_s;
    Some(Score { mb_s, cost: Money(cost), moves: fitted + modules - 2 * kept, modules, capacity, mts })
}

fn key(prefer: Prefer, s: &Score) -> [i128; 4] {
    let (bw, cost) = (-i128::from(s.mb_s), i128::from(s.cost.0));
    let (moves, modules) = (i128::from(s.moves), i128::from(s.modules));
    match prefer {
        Prefer::Bandwidth => [bw, cost, moves, modules],
        Prefer::Cost => [cost, bw, moves, modules],
        Prefer::Room => [modules, bw, cost, moves],
        Prefer::MostMemory => [-i128::from(s.capacity.mib()), cost, bw, moves],
        Prefer::LeastMemory => [i128::from(s.capacity.mib()), cost, bw, moves],
    }
}

fn better(prefer: Prefer, a: &Score, b: &Score) -> bool {
    key(prefer, a) < key(prefer, b)
}

const SHAPES: [(usize, usize, usize); 7] =
    [(1, 2, 2), (2, 1, 2), (2, 2, 1), (1, 4, 1), (1, 1, 3), (1, 3, 1), (3, 1, 1)];

prop_compose! {
    fn a_lot()(
        gib in prop::sample::select(vec![8u64, 16, 32, 64]),
        ranks in 1u8..=2, width in prop::sample::select(vec![4u8, 8]),
        mts in prop::sample::select(vec![2133u32, 2400, 2666]),
        lrdimm in prop::bool::weighted(0.15),
        count in 0u32..9, pack in 1u32..3, price in 0u64..9,
    ) -> Lot {
        let kind = if lrdimm { Kind::LRDIMM } else { Kind::RDIMM };
        Lot {
            name: String::new(), part: None, spec: spec(kind, gib, ranks, width, mts), volts: Some("1.2".into()),
            count, pack, price: Money(price), serials: Vec::new(),
        }
    }
}

fn limits(choice: [u8; 9]) -> String {
    let mut text = String::from("[limits]\nkinds = [\"RDIMM\", \"LRDIMM\"]\nvolts = \"1.2\"\n");
    text +=
        ["", "mixing = \"none\"\n", "mixing = \"by-position\"\n", "mixing = \"free\"\n"][usize::from(choice[0] % 4)];
    text += ["", "sockets_match = true\n", "sockets_match = false\n"][usize::from(choice[1] % 3)];
    text += ["", "more_ranks_first = true\n"][usize::from(choice[2] % 2)];
    text += ["", "", "ranks_per_channel = 3\n"][usize::from(choice[3] % 3)];
    text += ["", "", "", "same_ranks = true\n"][usize::from(choice[4] % 4)];
    text += ["", "", "", "same_width = true\n"][usize::from(choice[4] / 4 % 4)];
    text += ["", "", "counts_per_socket = [0, 1, 2, 4]\n", "counts_per_socket = [1, 2]\n"][usize::from(choice[5] % 4)];
    text += ["", "", "", "same_depth = true\n"][usize::from(choice[5] / 4 % 4)];
    text += ["", "[[limits.largest]]\nkind = \"RDIMM\"\ngib = 32\n"][usize::from(choice[6] % 2)];
    if !choice[7].is_multiple_of(3) {
        for (n, mts) in [2666, 2400, 2133].iter().enumerate() {
            text += &format!("[[speed]]\nkind = \"RDIMM\"\nper_channel = {}\nmts = {mts}\n", n + 1);
        }
        if choice[7] % 3 == 2 {
            text += "[[speed]]\nkind = \"RDIMM\"\nranks = 2\nper_channel = 2\nmts = 2133\n";
        }
    }
    text += [
        "",
        "[interleave]\nways = [4, 2, 1]\nstyle = \"slice\"\n",
        "[interleave]\nways = [4, 3, 2, 1]\nstyle = \"slice\"\nacross = \"equal\"\n",
        "[interleave]\nways = [3, 2, 1]\nstyle = \"whole\"\n",
    ][usize::from(choice[8] % 4)];
    text
}

#[derive(Debug, Clone)]
struct Case {
    board: Board,
    cpus: Cpus,
    lots: Vec<Lot>,
    fitted: Vec<Option<FittedSeat>>,
    target: Target,
    units: u32,
    budget: Option<Money>,
    prefer: Prefer,
}

impl Case {
    fn problem(&self) -> Problem<'_> {
        Problem {
            board: &self.board,
            cpus: &self.cpus,
            lots: &self.lots,
            fitted: &self.fitted,
            units: self.units,
            target: self.target,
            budget: self.budget,
            prefer: self.prefer,
            alternatives: 0,
        }
    }
}

prop_compose! {
    fn a_case()(
        shape in prop::sample::select(SHAPES.to_vec()),
        choice in prop::array::uniform9(0u8..16),
        mut lots in prop::collection::vec(a_lot(), 1..4),
        fitted in prop::collection::vec(prop::option::weighted(0.35, (a_lot(), prop::bool::weighted(0.15))), 8),
        target in 1u64..12, exactly in prop::bool::weighted(0.25),
        units in prop::sample::select(vec![1u32, 1, 1, 2, 3]),
        budget in prop::option::weighted(0.3, 0u64..80),
        prefer in prop::sample::select(vec![Prefer::Bandwidth, Prefer::Cost, Prefer::Room, Prefer::MostMemory, Prefer::LeastMemory]),
        missing in prop::bool::weighted(0.1), cpu_mts in prop::option::weighted(0.3, Just(Mts(2400))),
        cpu_gib in prop::option::weighted(0.2, Just(Size::from_gib(64))),
        slower in prop::option::weighted(0.3, (0usize..3, prop::sample::select(vec![Mts(1600), Mts(2133)]))),
    ) -> Case {
        let (s, c, p) = shape;
        let board = board(s, c, p, &limits(choice));
        let slots = s * c * p;
        let mut fitted: Vec<Option<FittedSeat>> = fitted.into_iter().take(slots)
            .map(|f| f.map(|(lot, stays)| FittedSeat { seat: Seat::of(&lot.spec), stays })).collect();
        fitted.resize(slots, None);
        // At most two, or the writing-out takes too long.
        let mut seen = 0;
        for f in &mut fitted {
            if f.is_some() { seen += 1; }
            if seen > 2 { *f = None; }
        }
        if units > 1 {
            // Units alike draw on one lot only where lots differ.
            lots.dedup_by(|a, b| a.spec.gib == b.spec.gib);
            lots.truncate(1);
        }
        let mut cpus: Cpus = vec![Some(CpuLimit { mts: cpu_mts, gib: cpu_gib }); s];
        // A slower processor counts only where its socket holds a module.
        if let Some((socket, mts)) = slower {
            cpus[socket % s] = Some(CpuLimit { mts: Some(mts), gib: cpu_gib });
        }
        if missing && s > 1 { cpus[s - 1] = None; }
        // A module that must stay in a dead socket makes no plan; not what is tested here.
        for at in board.slots() {
            if cpus[at.socket_index].is_none() && let Some(f) = &mut fitted[at.index] { f.stays = false; }
        }
        let size = Size::from_gib(target * 8);
        let target = if exactly { Target::Exactly(size) } else { Target::AtLeast(size) };
        Case { board, cpus, lots, fitted, target, units, budget: budget.map(Money), prefer }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, max_shrink_iters: 400, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn no_arrangement_is_better_than_the_plan(case in a_case()) {
        let problem = case.problem();
        let outcome = search(&problem, &mut || false).unwrap();
        prop_assert!(outcome.exhausted);
        let brute = brute(&problem);
        let found = outcome.plans.first();
        prop_assert_eq!(found.map(|f| key(case.prefer, &f.score)), brute.map(|b| key(case.prefer, &b)),
            "found {:?}\nbrute {:?}", found, brute);
        if let Some(found) = found {
            prop_assert!(rules::check(&case.board, &case.cpus, &found.seats).breaches.is_empty());
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, max_shrink_iters: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every next best is an arrangement that keeps the rules, no better than the one before and of another worth.
    #[test]
    fn the_next_best_are_real_and_in_order(case in a_case()) {
        let problem = Problem { alternatives: 4, ..case.problem() };
        let outcome = search(&problem, &mut || false).unwrap();
        prop_assert!(outcome.exhausted);
        let all = every_score(&problem);
        prop_assert_eq!(outcome.plans.is_empty(), all.is_empty());
        prop_assert!(outcome.plans.iter().all(|plan| all.contains(&plan.score)));
        prop_assert!(outcome.plans.iter().all(|plan| rules::check(&case.board, &case.cpus, &plan.seats).breaches.is_empty()));
        let keys: Vec<[i128; 4]> = outcome.plans.iter().map(|plan| key(problem.prefer, &plan.score)).collect();
        prop_assert!(keys.is_sorted());
        for (n, plan) in outcome.plans.iter().enumerate() {
            prop_assert!(outcome.plans[..n].iter().all(|earlier| earlier.score != plan.score));
        }
    }

    /// What is called the next best leaves no arrangement out.
    #[test]
    fn nothing_lies_between_next_best_that_are_said_to_be_all(case in a_case(), alternatives in 1usize..8) {
        let problem = Problem { alternatives, ..case.problem() };
        let outcome = search(&problem, &mut || false).unwrap();
        if !outcome.alternatives_exhausted {
            return Ok(());
        }
        let found: Vec<[i128; 4]> = outcome.plans.iter().map(|plan| key(problem.prefer, &plan.score)).collect();
        let last = if found.len() > alternatives { found.last() } else { None };
        for one in every_arrangement(&problem) {
            let missing = last.is_none_or(|last| one < *last) && !found.contains(&one);
            prop_assert!(!missing, "{one:?} is not among {found:?}");
        }
    }

    /// The trade-off is that of all arrangements: none of its plans is beaten, and none that is not beaten is missing.
    #[test]
    fn the_trade_off_is_that_of_all_arrangements(case in a_case()) {
        let Target::AtLeast(_) = case.target else { return Ok(()) };
        let problem = Problem { prefer: Prefer::Bandwidth, ..case.problem() };
        let front = slotwise::plan::front::front(&problem, 600, &mut || false).unwrap();
        prop_assert!(front.complete);
        let worth = |s: &Score| (s.capacity, s.cost, s.mb_s);
        let all: Vec<_> = every_score(&problem).iter().map(worth).collect();
        let beats = |a: &(Size, Money, u64), b: &(Size, Money, u64)| a != b && a.0 >= b.0 && a.1 <= b.1 && a.2 >= b.2;
        let mut wanted: Vec<_> = all.iter().filter(|one| !all.iter().any(|other| beats(other, one))).copied().collect();
        wanted.sort_unstable();
        wanted.dedup();
        let mut found: Vec<_> = front.plans.iter().map(|plan| worth(&plan.score)).collect();
        found.sort_unstable();
        prop_assert_eq!(found, wanted);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, max_shrink_iters: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Where ranks or width are not known, what is called proven is the best of all by the rules, and what is not keeps them.
    #[test]
    fn what_is_not_known_never_makes_a_false_proof(
        mut case in a_case(),
        lost in prop::collection::vec((any::<bool>(), any::<bool>()), 8),
    ) {
        for (fitted, (ranks, width)) in case.fitted.iter_mut().zip(lost) {
            let Some(fitted) = fitted else { continue };
            if ranks { fitted.seat.spec.ranks = None; }
            if width { fitted.seat.spec.width = None; }
        }
        let outcome = search(&case.problem(), &mut || false).unwrap();
        let brute = brute(&case.problem()).map(|b| key(case.prefer, &b));
        let found = outcome.plans.first().map(|f| key(case.prefer, &f.score));
        if outcome.exhausted {
            prop_assert_eq!(found, brute);
        } else if let Some(found) = found {
            prop_assert!(brute.is_some_and(|brute| brute <= found), "found {:?}, brute {:?}", found, brute);
        }
        for plan in &outcome.plans {
            prop_assert!(rules::check(&case.board, &case.cpus, &plan.seats).breaches.is_empty());
        }
    }
}

/// Six channels of which the widest region takes three, four or one: what is left over an emptier channel can be wider.
#[test]
fn the_bound_holds_where_less_on_one_channel_opens_a_wider_region() {
    let limits = "[limits]\nkinds = [\"RDIMM\"]\nmixing = \"free\"\n[[speed]]\nkind = \"RDIMM\"\nper_channel = 1\nmts = \
                  2666\n[interleave]\nways = [4, 3, 1]\nstyle = \"slice\"\n";
    let board = board(1, 5, 1, limits);
    let lot = |gib: u64, count: u32, price: u64| Lot {
        name: format!("{gib}"),
        part: None,
        spec: spec(Kind::RDIMM, gib, 2, 4, 2666),
        volts: None,
        count,
        pack: 1,
        price: Money(price),
        serials: Vec::new(),
    };
    let lots = [lot(64, 3, 5000), lot(96, 3, 8250), lot(32, 4, 3000)];
    let cpus: Cpus = vec![Some(CpuLimit::default())];
    let fitted = vec![None; 5];
    for prefer in [Prefer::Bandwidth, Prefer::Cost, Prefer::Room] {
        let problem = Problem {
            board: &board,
            cpus: &cpus,
            lots: &lots,
            fitted: &fitted,
            units: 1,
            target: Target::Exactly(Size::from_gib(320)),
            budget: None,
            prefer,
            alternatives: 0,
        };
        let outcome = search(&problem, &mut || false).unwrap();
        assert!(outcome.exhausted);
        let (found, best) = (outcome.plans[0].score, brute(&problem).unwrap());
        assert!(!better(prefer, &best, &found), "{prefer:?}: {best:?} is better than {found:?}");
    }
}

#[test]
fn sockets_that_must_match_and_are_wired_differently_are_refused() {
    let limits = "[limits]\nkinds = [\"RDIMM\"]\nsockets_match = true\n[[speed]]\nkind = \"RDIMM\"\nper_channel = 1\nmts = \
                  2666\n[interleave]\nways = [4, 2, 1]\nstyle = \"slice\"\nacross = \"equal\"\n";
    let mut board = board(2, 4, 1, limits);
    let lots = [];
    let cpus: Cpus = vec![Some(CpuLimit::default()); 2];
    let fitted = vec![None; 8];
    let ask = |board: &Board| {
        let target = Target::AtLeast(Size::from_gib(64));
        let (prefer, lots) = (Prefer::Bandwidth, &lots[..]);
        let (cpus, fitted) = (&cpus, &fitted[..]);
        search(
            &Problem { board, cpus, lots, fitted, units: 1, target, budget: None, prefer, alternatives: 0 },
            &mut || false,
        )
    };
    assert!(ask(&board).is_ok(), "the second socket's controllers may be numbered on");
    board.socket[1].channel[1].controller = Some(9);
    assert!(matches!(ask(&board), Err(slotwise::plan::search::SearchError::SocketsDiffer(_))));
}
