//! What is wrong with the model, and how its firmware shows it.

use serde::{Deserialize, Serialize};

use crate::board::SlotLabel;

/// The one thing that is wrong with the machine.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    #[default]
    None,
    /// The first module that stands in the slot is not fully latched; taking it out and inserting it again cures it.
    Seating { slot: SlotLabel },
    /// A module is bad, wherever it stands.
    Module(WhichModule),
    /// A slot is bad, whatever stands in it.
    Slot { slot: SlotLabel },
    /// A channel is bad; labels of the socket and the channel.
    Channel { socket: String, channel: String },
    /// The memory side of a processor socket is bad; the label of the socket.
    Socket { socket: String },
}

/// Names the bad module.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhichModule {
    Serial(String),
    /// The module that stood (or was first inserted) in this slot, wherever it goes afterwards.
    FirstIn(SlotLabel),
}

/// How the firmware shows what does not work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reporting {
    /// The failed slot alone, by one of the patterns.
    BySlot(Pattern),
    /// The whole channel of the failed slot is dropped, and its slots are shown as empty.
    ByChannel,
    /// The machine does not start at all.
    Blind,
}

impl Default for Reporting {
    fn default() -> Self {
        Self::BySlot(Pattern::E)
    }
}

/// The ways firmware shows a module it does not use, as seen in tables of real machines (linuxhw/DMI at 57b21bc6);
/// no standard names one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Pattern {
    /// Size 0, identity, speed and ranks kept.
    A,
    /// Size kept, configured speed and voltage 0, mapped total short by it.
    B,
    /// Size kept, no mapped addresses (type 20), mapped total short by it.
    C,
    /// Size unknown, identity and speed kept, not mapped.
    D,
    /// Exactly as an empty slot.
    #[default]
    E,
}

impl Pattern {
    /// All five.
    pub const ALL: [Self; 5] = [Self::A, Self::B, Self::C, Self::D, Self::E];
}
