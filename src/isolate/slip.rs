//! What the RMA desk gets for a module with a verdict.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::advice::{Verdict, settled, verdict};
use super::belief::Kind;
use super::fault::{Class, unit_of};
use super::layout::NOWHERE;
use super::state::{Done, State};
use crate::board::SlotLabel;
use crate::module::Module;

/// One module's part in an isolation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Slip {
    pub module: Module,
    /// The slots it was in, in order, and what each boot showed there.
    pub stays: Vec<Stay>,
    pub trials: Vec<Done>,
    /// Whether the verdict is about this module itself: only then does it go back.
    pub convicted: bool,
    pub verdict: Verdict,
    /// Insertions of this isolation, all slots.
    pub insertions: u32,
    /// SHA-256 (hex) of the record it is drawn from.
    pub record: String,
}

/// One boot of a module in a slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Stay {
    pub slot: SlotLabel,
    /// 0 is the boot that showed the trouble.
    pub boot: u32,
    pub failed: bool,
}

/// Slips for the modules the verdict is about, and for every module that was reported and is cleared by it.
pub fn slips(state: &State, record: &str) -> Vec<Slip> {
    let Some(verdict) = verdict(state) else { return Vec::new() };
    let convicted = |piece: u16| {
        let is = |kind: Kind| kind.classes().any(|c| c == Class::Module(piece));
        settled(state).is_some_and(|(kind, _)| is(kind))
    };
    (0..state.known.len() as u16)
        .filter_map(|piece| {
            let stays = stays(state, piece);
            let guilty = convicted(piece);
            if !guilty && !stays.iter().any(|s| s.failed) {
                return None;
            }
            Some(Slip {
                module: state.known.get(usize::from(piece))?.module.clone(),
                stays,
                trials: state.trials.clone(),
                convicted: guilty,
                verdict: verdict.clone(),
                insertions: state.insertions.iter().zip(&state.earlier).map(|(all, before)| all - before).sum(),
                record: record.to_owned(),
            })
        })
        .collect()
}

fn stays(state: &State, piece: u16) -> Vec<Stay> {
    let mut stays = Vec::new();
    for (boot, (board, seen)) in state.starts().into_iter().enumerate() {
        let place = board.spots.get(usize::from(piece)).copied().unwrap_or(NOWHERE);
        if let Some(label) = state.labels.get(usize::from(place)) {
            let failed = state.units(seen).contains(&unit_of(&state.model.layout, state.model.mode, place));
            stays.push(Stay { slot: label.clone(), boot: boot as u32, failed });
        }
    }
    stays
}
