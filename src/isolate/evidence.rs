//! What is found besides the report of a boot: errors the running machine corrected, the outcome of pattern tests, and how a
//! module stood in its slot before it was touched.
//!
//! Corrected errors are kept as a note and not weighed: a count names no cause. Tests are weak: one that fails speaks for the
//! module, its slot, its channel or its processor, not for one of them, and the numbers are assumed until a shop has its own.
//! How a module stood speaks of its seating alone. None of it convicts a module by itself.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::belief::{Belief, Model};
use super::layout::Place;
use super::rates::EvidenceTable;
use crate::board::SlotLabel;

/// How a module stood in its slot before it was touched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stood {
    /// Both latches closed, its edge level.
    Level,
    /// A latch open, or its edge not level.
    Open,
}

/// What was found out about the module in one slot between two boots: while the machine ran, or by looking at it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    pub slot: SlotLabel,
    /// Errors corrected since the boot; absent when nobody counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected: Option<u64>,
    /// Whether a pattern test of its memory found no error; absent when none ran.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pattern_passed: Option<bool>,
    /// How it stood before it was touched; absent when nobody looked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stood: Option<Stood>,
}

impl Finding {
    /// How the module of a slot stood, and nothing else.
    pub const fn stood(slot: SlotLabel, stood: Stood) -> Self {
        Self { slot, corrected: None, pattern_passed: None, stood: Some(stood) }
    }
}

/// Probability of one sign where a fault covers the slot, where the module is badly seated, and where all is well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sign {
    pub covered: f64,
    pub seated_badly: f64,
    pub sound: f64,
}

impl Sign {
    /// The same for the sign not being there.
    pub fn absent(self) -> Self {
        Self { covered: 1.0 - self.covered, seated_badly: 1.0 - self.seated_badly, sound: 1.0 - self.sound }
    }
}

/// Probability that a module is seen to stand with a latch open or its edge not level: where it is badly seated, and where not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    pub seated_badly: f64,
    pub sound: f64,
}

impl Look {
    /// The probability of what was seen, badly seated and not.
    pub fn of(self, stood: Stood) -> (f64, f64) {
        match stood {
            Stood::Open => (self.seated_badly, self.sound),
            Stood::Level => (1.0 - self.seated_badly, 1.0 - self.sound),
        }
    }
}

/// The numbers of a rates file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    pub pattern: Sign,
    /// Absent in rates that do not have it: then it is not weighed.
    pub stood: Option<Look>,
}

impl Evidence {
    /// As a rates file gives them.
    pub fn of(table: &EvidenceTable) -> Self {
        let sign = |s: &super::rates::SignTable| Sign {
            covered: s.covered.number(),
            seated_badly: s.seating.number(),
            sound: s.sound.number(),
        };
        let look = |s: &super::rates::StoodTable| Look { seated_badly: s.seating.number(), sound: s.sound.number() };
        Self { pattern: sign(&table.pattern), stood: table.stood.as_ref().map(look) }
    }

    /// The sign a finding amounts to, if it is of a pattern test.
    pub fn sign(&self, finding: &Finding) -> Option<Sign> {
        finding.pattern_passed.map(|passed| if passed { self.pattern.absent() } else { self.pattern })
    }
}

impl Belief {
    /// Takes in one sign seen at a place, by Bayes' rule over causes and the seating there. Returns its probability; a sign
    /// that nothing explains changes nothing.
    pub fn sign(&mut self, model: &Model, place: Place, sign: Sign) -> f64 {
        let factors: Vec<f64> = (0..self.hypotheses.len())
            .map(|n| {
                if self.covers(model, n, place) {
                    return sign.covered;
                }
                let bad = self.badly_seated(model, n, place);
                bad * sign.seated_badly + (1.0 - bad) * sign.sound
            })
            .collect();
        let total: f64 = self.hypotheses.iter().zip(&factors).map(|(h, f)| h.weight * f).sum();
        if total <= 0.0 {
            return 0.0;
        }
        for n in (0..self.hypotheses.len()).filter(|n| factors[*n] > 0.0) {
            if !self.covers(model, n, place) {
                self.weigh_seating(model, n, place, sign.seated_badly / factors[n], sign.sound / factors[n]);
            }
        }
        for (hypothesis, factor) in self.hypotheses.iter_mut().zip(&factors) {
            hypothesis.weight *= factor / total;
        }
        self.drop_below(0.0);
        total
    }

    /// Takes in how the module of a place stood, by Bayes' rule: `badly` and `well` are the probabilities of what was seen
    /// where it is badly seated and where not, whatever else is wrong with it. Returns the probability of what was seen;
    /// what nothing explains changes nothing.
    pub fn stood(&mut self, model: &Model, place: Place, (badly, well): (f64, f64)) -> f64 {
        let factor = |n| {
            let bad = self.badly_seated(model, n, place);
            bad * badly + (1.0 - bad) * well
        };
        let factors: Vec<f64> = (0..self.hypotheses.len()).map(factor).collect();
        let total: f64 = self.hypotheses.iter().zip(&factors).map(|(h, f)| h.weight * f).sum();
        if total <= 0.0 {
            return 0.0;
        }
        self.weigh_stood(model, place, badly, well, &factors);
        for (hypothesis, factor) in self.hypotheses.iter_mut().zip(&factors) {
            hypothesis.weight *= factor / total;
        }
        self.drop_below(0.0);
        total
    }
}

#[cfg(test)]
mod tests {
    use super::super::action::{Arrangement, Change};
    use super::super::belief::Cause;
    use super::super::fault::{Fault, Mode};
    use super::super::layout::Layout;
    use super::*;

    const FAILED: Sign = Sign { covered: 0.3, seated_badly: 0.1, sound: 0.05 };

    fn weight(belief: &Belief, fault: Fault) -> f64 {
        belief.hypotheses.iter().filter(|h| h.cause == Cause::one(fault)).map(|h| h.weight).sum()
    }

    fn model(mode: Mode) -> Model {
        Model { layout: Layout::grid(1, 4, 2), mode, clears: 0.9, spoils: 0.01, shows: 0.7, sure: 0.99 }
    }

    #[test]
    fn a_failed_pattern_test_speaks_for_what_covers_the_slot_and_does_not_choose_among_it() {
        let model = model(Mode::Slot);
        let faults = [Fault::Module(0), Fault::Slot(0), Fault::Channel(0), Fault::Module(4)];
        let causes = faults.map(|f| (Cause::one(f), 0.25)).to_vec();
        let mut belief = Belief::of(&model, Arrangement::full(8), causes);
        let seen = belief.sign(&model, 0, FAILED);
        // By hand: .25 · (3 · .3 + .05) = .2375; each that covers the slot .25 · .3 / .2375, the other .25 · .05 / .2375.
        assert!((seen - 0.2375).abs() < 1e-12);
        for fault in &faults[..3] {
            assert!((weight(&belief, *fault) - 0.075 / 0.2375).abs() < 1e-12);
        }
        assert!((weight(&belief, faults[3]) - 0.0125 / 0.2375).abs() < 1e-12);
    }

    #[test]
    fn the_seating_at_the_slot_is_weighed_too() {
        for mode in [Mode::Slot, Mode::Channel] {
            let model = model(mode);
            let causes = vec![(Cause::one(Fault::Seat(0)), 0.5), (Cause::one(Fault::Module(0)), 0.5)];
            let mut belief = Belief::of(&model, Arrangement::full(8), causes);
            belief.act(&model, &[Change::Reseat(0)]);
            belief.sign(&model, 0, FAILED);
            // By hand: the seating stayed bad with .1, so a sign has .1 · .1 + .9 · .05 = .055 under it and .3 under the module.
            assert!((weight(&belief, Fault::Seat(0)) - 0.055 / 0.355).abs() < 1e-12, "{mode:?}");
            // And the seating is bad with .01 / .055 afterwards.
            let n = belief.hypotheses.iter().position(|h| h.cause.first == Fault::Seat(0)).unwrap();
            assert!((belief.badly_seated(&model, n, 0) - 0.01 / 0.055).abs() < 1e-12, "{mode:?}");
        }
    }

    #[test]
    fn how_a_module_stood_speaks_of_its_seating_alone() {
        let look = Look { seated_badly: 0.6, sound: 0.02 };
        for mode in [Mode::Slot, Mode::Channel, Mode::Blind] {
            let model = model(mode);
            let seat = Fault::Seat(0);
            let causes = [(seat, 0.5), (Fault::Module(0), 0.3), (Fault::Channel(0), 0.2)];
            let causes = causes.map(|(fault, weight)| (Cause::one(fault), weight)).to_vec();
            let mut belief = Belief::of(&model, Arrangement::full(8), causes);
            let seen = belief.stood(&model, 0, look.of(Stood::Open));
            // By hand: .5 · .6 + (.3 + .2) · .02 = .31.
            assert!((seen - 0.31).abs() < 1e-12, "{mode:?}");
            assert!((weight(&belief, seat) - 0.3 / 0.31).abs() < 1e-12, "{mode:?}");
            assert!((weight(&belief, Fault::Module(0)) - 0.006 / 0.31).abs() < 1e-12, "{mode:?}");
            // Put in anew it is still badly seated with .1 under a bad seating, and spoiled with .01 under the others:
            // level is then seen with .1 · .4 + .9 · .98 = .922, and with .01 · .4 + .99 · .98 = .9742.
            belief.act(&model, &[Change::Reseat(0)]);
            let seen = belief.stood(&model, 0, look.of(Stood::Level));
            let by_hand = (0.3 * 0.922 + 0.01 * 0.9742) / 0.31;
            assert!((seen - by_hand).abs() < 1e-9, "{mode:?}");
            assert!((weight(&belief, seat) - 0.3 * 0.922 / (0.3 * 0.922 + 0.01 * 0.9742)).abs() < 1e-9, "{mode:?}");
            let n = belief.hypotheses.iter().position(|h| h.cause.first == seat).unwrap();
            assert!((belief.badly_seated(&model, n, 0) - 0.04 / 0.922).abs() < 1e-9, "{mode:?}");
        }
    }

    #[test]
    fn corrected_errors_are_no_sign_and_a_passed_pattern_test_is_one_against() {
        let evidence = Evidence { pattern: FAILED, stood: None };
        let finding = |corrected, pattern_passed| Finding { slot: "A1".into(), corrected, pattern_passed, stood: None };
        assert_eq!(evidence.sign(&finding(Some(5_000), None)), None);
        assert_eq!(evidence.sign(&finding(Some(5_000), Some(true))), Some(FAILED.absent()));
        assert_eq!(evidence.sign(&finding(None, Some(false))), Some(FAILED));
    }
}
