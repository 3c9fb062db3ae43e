//! The checklist file as a type.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The first key of a checklist file.
pub const CHECKLIST_FORMAT: &str = "slotwise-checklist/1";

/// Cards of steps, as a bench writes them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Checklist {
    /// `slotwise-checklist/1`.
    pub format: String,
    pub name: String,
    /// Limits and waits a site sets; steps refer to them by name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limit: Vec<Limit>,
    pub card: Vec<CardTemplate>,
    /// Cards for opening the machine once more after findings, and for each trial that isolates a fault: `reseat` is then
    /// every slot whose module is seated anew, `remove` every module taken out, `lift` and `move` those that change places,
    /// `insert` those that come from outside the machine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub again: Vec<CardTemplate>,
}

/// One value a site sets. Without a value the site has to fill it in, and the step says so.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    pub name: String,
    /// A decimal number as text: `0.75`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    pub unit: String,
    /// Where the value is from: a standard and its clause, or `site`.
    pub source: String,
}

/// One card: at most ten steps, one pause point.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CardTemplate {
    pub name: String,
    /// Repeats the card over the plan's slots, moves, removals or covers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub each: Option<Each>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub when: Vec<When>,
    pub step: Vec<StepTemplate>,
}

/// What a card or step is repeated over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Each {
    /// Every slot that gets a module from stock.
    Insert,
    /// The first half of every move: `slot` is where the module stands now. Goes move by move with a `move` card beside it.
    Lift,
    /// The second half of every move: `slot` is where the module goes, `from` where it stood.
    Move,
    /// Every module that leaves the machine.
    Remove,
    /// Every module that is taken out and seated again in its slot. On `again` cards only.
    Reseat,
    /// Every cover in the way, in the order they come off.
    CoverOff,
    /// The same covers in reverse.
    CoverOn,
}

/// When a card or step is wanted at all. All that are named must hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum When {
    /// The machine is a node of a multi-node enclosure: its board or its order says so.
    Enclosure,
    /// It is not.
    Standalone,
    /// The order names the tag of the enclosure.
    EnclosureTag,
    /// The order names the bay the node sits in.
    Bay,
    /// Modules are moved from slot to slot.
    Moves,
    /// Modules leave the machine.
    Removals,
    /// Modules are touched, so that the machine is opened. Always so but for a trial that only starts the machine again.
    Handled,
    /// No module is touched: a trial that only starts the machine again.
    Untouched,
    /// The trial asks for the firmware's settings to be cleared.
    ClearSettings,
    /// A cover has loose fasteners.
    LooseFasteners,
    /// A cover has fasteners that stay in it.
    CaptiveFasteners,
    /// A cover has fasteners at all.
    Fasteners,
    /// A cover has cables that stay attached.
    Cables,
    /// The key lies the other way than at the slot before.
    KeyDiffers,
    /// The board says which way the key lies.
    KeyKnown,
    /// The board says which way the key lies, and it does not differ from the slot before.
    KeySame,
    /// The module waits in the tray between its two slots, because each of them was full.
    Tray,
    /// The module goes straight from slot to slot.
    NoTray,
    /// The plan knows the serial of the module.
    SerialKnown,
    /// The plan knows the part number of the module.
    PartKnown,
}

/// One step as written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StepTemplate {
    /// A short name, unique in its card; the record refers to it.
    pub name: String,
    /// What to do: a template over slot, module, cover, plan.
    pub text: String,
    /// A hazard, shown before the text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub caution: Option<String>,
    /// Why and how, for the help key.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub help: Option<String>,
    pub evidence: EvidenceTemplate,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub when: Vec<When>,
    /// Irreversible or costly: answered by typing a word, never by one key.
    #[serde(default, skip_serializing_if = "is_false")]
    pub critical: bool,
    /// Checked again after a pause, even when it was answered before.
    #[serde(default, skip_serializing_if = "is_false")]
    pub recheck: bool,
    /// A loud warning that something differs from the slot before; wants `word` evidence.
    #[serde(default, skip_serializing_if = "is_false")]
    pub warns: bool,
}

/// What proves that a step was done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum EvidenceTemplate {
    /// A statement; the answer names the state (`both latches closed`), and is recorded as a statement.
    Confirm { state: String },
    /// A reading within limits; `lowest` and `highest` are numbers as text or names of limits.
    Reading {
        unit: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lowest: Option<String>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        highest: Option<String>,
    },
    /// A scan that must match.
    Scan { of: ScanOf },
    /// A word typed out, for critical steps and warnings. `word` is a template such as `{slot.key}`; `meaning` says what
    /// typing it states.
    Word { word: String, meaning: String },
    /// A count that must agree; `expected` is a number as text or a template such as `{cover.fasteners}`.
    Count { expected: String },
    /// A count that is kept, to be compared later.
    Tally,
    /// A count that must be the same as an earlier `tally`: `card/step`.
    TallyBack { first: String },
    /// One of several; `good` are the answers that let the job go on.
    Choice { options: Vec<String>, good: Vec<String> },
    /// Free text that is kept.
    Text {
        #[serde(default)]
        optional: bool,
    },
    /// A wait: for a time, or for the machine's own report.
    Wait { wait_for: WaitFor },
    /// The path of a picture, which is hashed.
    Photo,
}

/// What a scan must match.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ScanOf {
    /// The tag of the enclosure, from the order.
    Enclosure,
    /// The bay, from the order.
    Bay,
    /// The tag of the chassis, from the order.
    Chassis,
    /// The label of the slot.
    Slot,
    /// The label of the module: its serial, or where the plan knows none, its part number and then a serial to bind.
    Module,
    /// The technician's badge.
    Badge,
}

/// What a wait waits for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WaitFor {
    /// A time in seconds: a number as text or the name of a limit.
    Seconds(String),
    /// The snapshot of this machine, taken after it booted.
    Snapshot,
}

fn is_false(value: &bool) -> bool {
    !*value
}

/// The first key of a site's file of limits.
pub const SITE_FORMAT: &str = "slotwise-site/1";

/// What one site sets: its own values for limits that checklists name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// `slotwise-site/1`.
    pub format: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limit: Vec<Limit>,
}
