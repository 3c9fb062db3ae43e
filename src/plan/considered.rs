//! What `plan` looked at beside the plan it wrote: for people who read the file, used by nothing.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::MadeFor;
use crate::board::SlotLabel;

/// The search behind a plan.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Considered {
    /// What the search proves, in words.
    pub proof: String,
    /// What all of this was worked out for; a plan that is edited no longer fits it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_for: Option<MadeFor>,
    /// Whether exactly the order's capacity was asked for, not more.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub exactly: bool,
    /// The most all units together may cost, with its currency: `500.00 EUR`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<String>,
    /// The handlings in their order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub handling: Vec<String>,
    /// The next best plans and why they are worse.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub alternative: Vec<Measured>,
    /// None of these is beaten in memory, cost and bandwidth at once.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub front: Vec<Measured>,
    /// What is taken from which lot, for all units.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub purchase: Vec<Taken>,
    /// Which unit gets its module from which lot, where units differ.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pick: Vec<Pick>,
}

/// One plan in numbers; per unit except the cost.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// `256 GiB`.
    pub memory: String,
    pub modules: u32,
    /// MT/s.
    pub mts: u32,
    /// Estimated effective bandwidth in per cent of the board's best.
    pub bandwidth_percent: u32,
    /// The band of measured machines, where it leaves that estimate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub estimate: Option<String>,
    /// For all units, with its currency: `492.00 EUR`; absent where the stock list names no price.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost: Option<String>,
    /// Modules taken out plus modules seated.
    pub moves: u32,
    pub free_slots: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why_not: Option<String>,
}

/// What is taken from one lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Taken {
    pub lot: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    /// Modules there are.
    pub there: u32,
    /// Modules the plan needs.
    pub needed: u32,
    /// Modules taken, in whole packs.
    pub taken: u32,
    /// `2 packs of 4`.
    pub packs: String,
    /// Of all that is taken, with its currency: `492.00 EUR`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost: Option<String>,
}

/// One module of one unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Pick {
    /// The chassis tag.
    pub unit: String,
    pub slot: SlotLabel,
    pub lot: String,
}
