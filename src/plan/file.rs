//! The plan file as a type. A plan is self-contained: it carries its board and its order.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Considered, Seat};
use crate::board::{Board, SlotLabel};
use crate::module::Module;
use crate::order::Order;
use crate::units::{Mts, Size};

/// The first key of a plan file.
pub const PLAN_FORMAT: &str = "slotwise-plan/1";

/// Which module goes in which slot, what is moved, removed and inserted, and what the machine should report afterwards.
///
/// Slots that are not listed stay empty. A hand-written plan may name its board file (`board_file`) in place of carrying it;
/// the reader puts the board in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// `slotwise-plan/1`.
    #[schemars(extend("const" = PLAN_FORMAT))]
    pub format: String,
    pub name: String,
    /// SHA-256 (hex) of the board it was made for; checked against `board`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub board_sha256: Option<String>,
    /// What the machine should run its memory at, in MT/s, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mts: Option<Mts>,
    /// Why this plan, a line each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reasons: Vec<String>,
    /// What the search looked at beside this plan; a plan made by hand has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub considered: Option<Considered>,
    #[serde(default)]
    pub slot: Vec<PlanSlot>,
    /// Modules that leave the machine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remove: Vec<Removal>,
    pub order: Order,
    pub board: Board,
}

/// One slot that holds a module when the job is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PlanSlot {
    pub slot: SlotLabel,
    /// What is done to get it there.
    #[serde(rename = "do")]
    pub action: Action,
    /// The slot it comes from, for a move.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<SlotLabel>,
    #[serde(flatten)]
    pub module: Module,
    /// Supply voltage in volts, such as `1.35`, where the generation has several or it is another than the generation's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts: Option<String>,
    /// The lot of the stock it is taken from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
}

/// What is done with a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Action {
    /// The module is fitted already and stays.
    Keep,
    /// A module from stock goes in.
    Insert,
    /// A fitted module comes from another slot.
    Move,
}

/// A module that leaves the machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Removal {
    pub slot: SlotLabel,
    #[serde(flatten)]
    pub module: Module,
    /// Supply voltage in volts, such as `1.35`, where the generation has several or it is another than the generation's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts: Option<String>,
    /// Where it goes: a lot of the stock, a tray.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
}

impl PlanSlot {
    /// The module as the rules read it.
    pub fn seat(&self) -> Seat {
        Seat::with(&self.module.spec, self.volts.as_deref())
    }
}

impl Plan {
    /// The module planned for a slot when the job is done.
    pub fn module_at(&self, label: &str) -> Option<&PlanSlot> {
        self.slot.iter().find(|s| s.slot.as_str() == label)
    }

    /// The capacity when the job is done.
    pub fn capacity(&self) -> Size {
        self.slot.iter().map(|s| s.module.spec.gib).sum()
    }
}
