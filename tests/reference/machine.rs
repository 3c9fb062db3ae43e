//! A machine with faults, which does what the steps say and boots as its firmware would.

use slotwise::board::{Board, SlotLabel};
use slotwise::isolate::action::{Arrangement, Change};
use slotwise::isolate::fault::{Fault, Mode, unit_of};
use slotwise::isolate::layout::Layout;
use slotwise::isolate::{Seen, Step};
use slotwise::module::Module;

/// A regular board.
pub fn board(sockets: usize, channels: usize, slots: usize) -> Board {
    let mut text = String::from(
        "format = \"slotwise-board/1\"\nname = \"Heron\"\ngeneration = \"DDR4\"\nlimits = { kinds = [\"RDIMM\"] }\n",
    );
    for s in 0..sockets {
        text += &format!("[[socket]]\nlabel = \"P{s}\"\n");
        for c in 0..channels {
            text += &format!("[[socket.channel]]\nlabel = \"{c}\"\n");
            for d in 0..slots {
                text += &format!("[[socket.channel.slot]]\nlabel = \"P{s}C{c}S{d}\"\nposition = {}\n", d + 1);
            }
        }
    }
    toml::from_str(&text).unwrap()
}

/// A module of the bench.
pub fn module(serial: &str) -> Module {
    toml::from_str(&format!("gib = 32\nkind = \"RDIMM\"\npart = \"OM4R32-2R4-2666\"\nserial = \"{serial}\"")).unwrap()
}

/// The machine as it is, not as it is believed to be.
pub struct Machine {
    pub layout: Layout,
    pub labels: Vec<SlotLabel>,
    pub board: Arrangement,
    pub serials: Vec<String>,
    pub faults: Vec<Fault>,
    pub bad: Vec<bool>,
    pub mode: Mode,
    /// Probability that a failing unit is reported in one boot.
    pub shows: f64,
    pub cleared: bool,
    pub dice: fastrand::Rng,
}

impl Machine {
    /// A full board and one spare, with these faults.
    pub fn new(shape: &Board, faults: &[Fault], mode: Mode, shows: f64, dice: fastrand::Rng) -> Self {
        let layout = Layout::of(shape);
        let places = layout.len();
        Self {
            board: Arrangement::new((0..places as u16).collect(), places + 1),
            bad: (0..places as u16).map(|p| faults.contains(&Fault::Seat(p))).collect(),
            faults: faults.to_vec(),
            dice,
            layout,
            labels: shape.slots().map(|s| s.slot.label.clone()).collect(),
            serials: (0..=places).map(|n| format!("OSP{n:05}")).collect(),
            mode,
            shows,
            cleared: false,
        }
    }

    /// The modules on the board, by label.
    pub fn fitted(&self) -> Vec<(SlotLabel, Module)> {
        self.labels.iter().cloned().zip(self.serials.iter().map(|s| module(s))).collect()
    }

    pub fn boot(&mut self) -> Seen {
        let mut failing: Vec<u16> = (0..self.layout.len() as u16)
            .filter(|p| self.bad[usize::from(*p)] && self.board.at(*p).is_some())
            .collect();
        for fault in &self.faults {
            let (layout, board) = (&self.layout, &self.board);
            fault.covered(layout, &board.fitted, &board.spots, self.cleared, &mut |p| failing.push(p));
        }
        let mut units: Vec<u16> = failing.iter().map(|p| unit_of(&self.layout, self.mode, *p)).collect();
        units.sort_unstable();
        units.dedup();
        units.retain(|_| self.dice.f64() < self.shows);
        if self.mode == Mode::Blind {
            return if units.is_empty() { Seen::Slots(Vec::new()) } else { Seen::NoPost };
        }
        let shown = |p: &u16| units.contains(&unit_of(&self.layout, self.mode, *p)) && self.board.at(*p).is_some();
        Seen::Slots((0..self.layout.len() as u16).filter(shown).map(|p| self.labels[usize::from(p)].clone()).collect())
    }

    /// Does what the steps say; returns how many insertions that was.
    pub fn act(&mut self, steps: &[Step]) -> usize {
        let at = |label: &SlotLabel| self.labels.iter().position(|l| l == label).unwrap() as u16;
        let changes: Vec<Change> = steps
            .iter()
            .map(|step| match step {
                Step::Reseat(a) => Change::Reseat(at(a)),
                Step::Swap(a, b) => Change::Swap(at(a), at(b)),
                Step::Move(a, b) => Change::Move(at(a), at(b)),
                Step::Remove(a) => Change::Remove(at(a)),
                Step::Substitute(a, s) => Change::Fit(at(a), self.serials.iter().position(|k| k == s).unwrap() as u16),
                Step::ClearSettings(_) => Change::ClearSettings,
            })
            .collect();
        let mut inserted = Vec::new();
        for change in changes {
            self.board.apply(change, &mut |p| inserted.push(p));
            self.cleared |= change == Change::ClearSettings;
        }
        for p in &inserted {
            let bad = &mut self.bad[usize::from(*p)];
            *bad = if *bad { self.dice.f64() >= 0.9 } else { self.dice.f64() < 0.01 };
        }
        inserted.len()
    }
}
