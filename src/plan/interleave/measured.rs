//! Where measured machines leave the model of clock and interleave: the band between the two, and why.
//!
//! Two things lie outside the model. Published STREAM figures of one two-socket DDR4 machine (Xeon E5 v3, four channels):
//! a second RDIMM on a channel 0.828 of one where the clock alone gives 0.875, a third 0.725 for 0.750, one LRDIMM 0.983 of
//! one RDIMM, two 0.980, three 0.841 for 0.875. And uneven filling: the estimate is that of one stream over all memory; many
//! streams at once load every channel by what it holds, which is more. 7 of 8 channels measured 0.70 of full (one report);
//! the stream gives 0.29 there, the load 0.875. The band between them is told in steps of five per cent, and ends at the board's
//! best: load knows nothing of ways that cover fewer channels than there are.

use super::Bandwidth;
use crate::board::Board;
use crate::module::Kind;
use crate::plan::seat::Seat;

/// The effective bandwidth is an estimate that measured machines left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Estimate {
    /// What measured machines let expect, in whole per cent of the board's best population.
    pub low_percent: u64,
    pub high_percent: u64,
    /// Why, a sentence each.
    pub why: Vec<String>,
}

impl Estimate {
    /// `85 to 90 %`.
    pub fn band(&self) -> String {
        format!("{} to {} %", self.low_percent, self.high_percent)
    }
}

/// What measured machines say of a population; `None` where the model is all there is.
pub fn estimate(board: &Board, seats: &[Option<Seat>], bandwidth: &Bandwidth) -> Option<Estimate> {
    let mut why = Vec::new();
    let (below, sentence) = beyond_the_clock(board, seats);
    why.extend(sentence.map(str::to_owned));
    let low = u128::from(bandwidth.effective_mb_s) * u128::from(below) / 1000;
    let loaded: u64 = bandwidth.sockets.iter().map(|socket| socket.loaded_mb_s.max(socket.effective_mb_s)).sum();
    // The scale ends at the board's best: where the ways cover fewer channels than there are, load knows no such end.
    let loaded = loaded.min(bandwidth.best_mb_s).max(bandwidth.effective_mb_s);
    let uneven = loaded > bandwidth.effective_mb_s;
    if uneven {
        why.push(
            "channels hold unequal amounts, or the controller cannot spread over their number: one program that walks all \
             memory gets this, many at once may get more (7 of 8 channels measured 70 % of full in one report, where this \
             gives 29 %)"
                .to_owned(),
        );
    }
    let percent = |mb_s: u64| mb_s.saturating_mul(100).checked_div(bandwidth.best_mb_s).unwrap_or(0);
    let low = percent(u64::try_from(low).unwrap_or(0));
    let high = percent(loaded).max(low);
    // One report is all there is of uneven filling: steps of five, down, so that no more is let expect than the models give.
    let fives = |percent: u64| percent / 5 * 5;
    let (low_percent, high_percent) =
        if uneven && fives(low) < fives(high) { (fives(low), fives(high)) } else { (low, high) };
    (!why.is_empty()).then_some(Estimate { low_percent, high_percent, why })
}

/// Thousandths of the model that were measured with so many modules per channel, and in words.
fn beyond_the_clock(board: &Board, seats: &[Option<Seat>]) -> (u16, Option<&'static str>) {
    let mut per_channel: Vec<Vec<u8>> = board.socket.iter().map(|s| vec![0; s.channel.len()]).collect();
    let mut kind = None;
    for at in board.slots() {
        if let Some(Some(seat)) = seats.get(at.index) {
            let here = &mut per_channel[at.socket_index][at.channel_index];
            *here = here.saturating_add(1);
            kind = kind.or(seat.spec.kind);
        }
    }
    let deepest = per_channel.iter().flatten().copied().max().unwrap_or(0);
    match (kind, deepest) {
        (Some(Kind::RDIMM | Kind::Rdimm3ds), 2) => {
            let text = "two RDIMMs on a channel measured 83 % of one where the clock gives 88 % (one DDR4 machine)";
            (946, Some(text))
        }
        (Some(Kind::RDIMM | Kind::Rdimm3ds), 3..) => {
            let text = "three RDIMMs on a channel measured 73 % of one where the clock gives 75 % (one DDR4 machine)";
            (967, Some(text))
        }
        (Some(Kind::LRDIMM | Kind::Lrdimm3ds), 1) => {
            (983, Some("LRDIMMs measured 98 % of RDIMMs at the same clock (one DDR4 machine)"))
        }
        (Some(Kind::LRDIMM | Kind::Lrdimm3ds), 2) => {
            (980, Some("two LRDIMMs on a channel measured 98 % of one RDIMM at the same clock (one DDR4 machine)"))
        }
        (Some(Kind::LRDIMM | Kind::Lrdimm3ds), 3..) => {
            let text =
                "three LRDIMMs on a channel measured 84 % of one RDIMM where the clock gives 88 % (one DDR4 machine)";
            (961, Some(text))
        }
        _ => (1000, None),
    }
}

#[cfg(test)]
mod tests {
    use super::super::SocketBandwidth;
    use super::*;
    use crate::module::{Generation, ModuleSpec};
    use crate::units::Size;

    fn board() -> Board {
        let slots = "slot = [{ label = \"A1\", position = 1 }, { label = \"A2\", position = 2 }]";
        toml::from_str(&format!(
            "format = \"slotwise-board/1\"\nname = \"b\"\ngeneration = \"DDR4\"\n[[socket]]\nlabel = \"P\"\n\
             [[socket.channel]]\nlabel = \"A\"\n{slots}\n[limits]\nkinds = [\"RDIMM\", \"LRDIMM\", \"UDIMM\"]\n"
        ))
        .unwrap()
    }

    fn estimated(kind: Kind, modules: usize, loaded_mb_s: u64) -> Option<Estimate> {
        let spec = ModuleSpec {
            generation: Some(Generation::DDR4),
            kind: Some(kind),
            gib: Size::from_gib(16),
            ranks: None,
            width: None,
            mts: None,
        };
        let seats: Vec<Option<Seat>> = (0..2).map(|n| (n < modules).then(|| Seat::of(&spec))).collect();
        let socket = SocketBandwidth {
            label: "P".to_owned(),
            regions: Vec::new(),
            peak_mb_s: 0,
            effective_mb_s: 17_500,
            loaded_mb_s,
        };
        let whole = Bandwidth {
            sockets: vec![socket],
            effective_mb_s: 17_500,
            best_mb_s: 20_000,
            narrowest: 1,
            ways_known: true,
        };
        estimate(&board(), &seats, &whole)
    }

    #[test]
    fn a_second_rdimm_falls_below_its_clock_and_one_does_not() {
        assert_eq!(estimated(Kind::RDIMM, 1, 17_500), None);
        assert_eq!(estimated(Kind::UDIMM, 2, 17_500), None);
        let two = estimated(Kind::RDIMM, 2, 17_500).unwrap();
        assert_eq!((two.band().as_str(), two.why.len()), ("82 to 87 %", 1));
        assert_eq!(estimated(Kind::LRDIMM, 2, 17_500).unwrap().low_percent, 85);
    }

    #[test]
    fn uneven_filling_is_better_for_many_streams() {
        let uneven = estimated(Kind::UDIMM, 1, 19_000).unwrap();
        assert_eq!(uneven.band(), "85 to 95 %");
        // No more digits than one report deserves, unless nothing were left of the band.
        assert_eq!(estimated(Kind::UDIMM, 1, 19_999).unwrap().band(), "85 to 95 %");
        assert_eq!(estimated(Kind::UDIMM, 1, 17_800).unwrap().band(), "87 to 89 %");
    }

    #[test]
    fn nothing_is_let_expect_beyond_the_boards_best() {
        // Twice as many channels loaded as the widest way takes.
        assert_eq!(estimated(Kind::UDIMM, 1, 40_000).unwrap().band(), "85 to 100 %");
        let spec = ModuleSpec {
            generation: Some(Generation::DDR4),
            kind: Some(Kind::UDIMM),
            gib: Size::from_gib(16),
            ranks: None,
            width: None,
            mts: None,
        };
        let socket = SocketBandwidth {
            label: "P".to_owned(),
            regions: Vec::new(),
            peak_mb_s: 40_000,
            effective_mb_s: 20_000,
            loaded_mb_s: 40_000,
        };
        let best = Bandwidth {
            sockets: vec![socket],
            effective_mb_s: 20_000,
            best_mb_s: 20_000,
            narrowest: 4,
            ways_known: true,
        };
        assert_eq!(estimate(&board(), &[Some(Seat::of(&spec)), None], &best), None);
    }
}
