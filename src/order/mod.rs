//! What is asked for: which machines, their processors, the capacity, what is fitted and what must stay.

mod check;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::board::SlotLabel;
use crate::module::Module;
use crate::units::Size;

pub(crate) use check::check_modules;

/// The first key of an order file.
pub const ORDER_FORMAT: &str = "slotwise-order/1";

/// A work order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Order {
    /// `slotwise-order/1`.
    #[schemars(extend("const" = ORDER_FORMAT))]
    pub format: String,
    /// The order's own number or name.
    pub name: String,
    pub unit: Vec<Unit>,
    /// Target capacity of each unit in GiB.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gib: Option<Size>,
    /// What is fitted already, per slot, in every unit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fitted: Vec<Fitted>,
}

/// One machine or node.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Unit {
    /// The tag on its chassis, as a scanner reads it.
    pub chassis: String,
    /// The tag of the enclosure it sits in, for a node of a multi-node enclosure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub enclosure: Option<String>,
    /// The bay it sits in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<String>,
    /// The sockets that hold a processor and which; empty when all sockets hold one and it is not known which.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub processor: Vec<Processor>,
}

/// A processor in a socket.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Processor {
    pub socket: String,
    /// A name of the board's `[[cpu]]` table.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cpu: Option<String>,
}

/// A module that is fitted already.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Fitted {
    pub slot: SlotLabel,
    #[serde(flatten)]
    pub module: Module,
    /// Whether it must stay where it is.
    #[serde(default)]
    pub stays: bool,
}
