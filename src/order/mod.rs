//! What is asked for: which machines, their processors, the capacity, what is fitted and what must stay.

mod check;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::board::SlotLabel;
use crate::module::Module;
use crate::units::Size;

pub(crate) use check::{check_modules, check_volts};

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
    /// The tags are stand-ins: the plan was made without an order. The real tag is asked for when the work begins.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub stand_ins: bool,
    /// Target capacity of each unit in GiB.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gib: Option<Size>,
    /// What is fitted already, per slot, in every unit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fitted: Vec<Fitted>,
}

impl Order {
    /// The tag a report can be held against: of the only unit, when it is a real one.
    pub fn only_tag(&self) -> Option<&str> {
        match self.unit.as_slice() {
            [only] if !self.stand_ins => Some(&only.chassis),
            _ => None,
        }
    }

    /// The same order for the one machine with this tag, in place of stand-ins. Its enclosure and bay are not known.
    #[must_use]
    pub fn for_tag(mut self, tag: &str) -> Self {
        let processor = self.unit.first().map(|unit| unit.processor.clone()).unwrap_or_default();
        self.unit = vec![Unit { chassis: tag.to_owned(), enclosure: None, bay: None, processor }];
        self.stand_ins = false;
        self
    }
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
    /// Supply voltage in volts, such as `1.35`, where the generation has several or it is another than the generation's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts: Option<String>,
    /// Whether it must stay where it is.
    #[serde(default)]
    pub stays: bool,
}
