//! The board file as a type: sockets, channels, slots, what is in the way of them, limits and speeds.
//!
//! Limits are the board's, not the processor family's. A limit nobody has looked up is `None`, and shown as unknown.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::module::{Generation, Kind};
use crate::units::{Mts, Size};

/// The first key of a board file.
pub const BOARD_FORMAT: &str = "slotwise-board/1";

/// The silk-screen label of a slot, as printed on the board. Unique on one board.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct SlotLabel(pub String);

impl SlotLabel {
    /// The label as written in the board file.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl From<&str> for SlotLabel {
    fn from(label: &str) -> Self {
        Self(label.to_owned())
    }
}

impl fmt::Display for SlotLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        crate::text::shown(&self.0).fmt(f)
    }
}

/// One kind of machine's memory layout.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Board {
    /// `slotwise-board/1`.
    #[schemars(extend("const" = BOARD_FORMAT))]
    pub format: String,
    /// What the owner calls this kind of machine.
    pub name: String,
    /// One line about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// Where the layout and the limits were looked up: the machine's own service manual, its page.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// The DRAM generation its slots take.
    pub generation: Generation,
    /// Whether the machine is one node of an enclosure with several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub enclosure: Option<Enclosure>,
    pub socket: Vec<Socket>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cover: Vec<Cover>,
    pub limits: Limits,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub speed: Vec<SpeedRow>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cpu: Vec<Cpu>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub interleave: Option<Interleave>,
}

/// A multi-node enclosure: the technician must find the right node in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Enclosure {
    /// What the enclosure is called.
    pub name: String,
    /// The bays as marked on it.
    pub bays: Vec<String>,
    /// How the node comes out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub release: Option<String>,
}

/// One CPU socket.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Socket {
    /// As printed on the board.
    pub label: String,
    pub channel: Vec<Channel>,
}

/// One memory channel of a socket.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    pub label: String,
    /// The memory controller it belongs to, counted from 0; channels of one controller interleave first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub controller: Option<u8>,
    pub slot: Vec<Slot>,
}

/// One place for a module.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Slot {
    /// The silk-screen label.
    pub label: SlotLabel,
    /// Its place in its channel; 1 is filled first.
    pub position: u8,
    /// The colour or mark on its latch, as the owner of the machine sees it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tab: Option<String>,
    /// Which way the notch side lies: a word such as `front` or `rear`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// The locators the firmware uses for it; the first that fits wins.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reports_as: Vec<ReportsAs>,
    /// Its place in the drawing: column and row, counted from 0 at the top left as the technician stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<[u16; 2]>,
}

/// How the firmware names a slot: its locator alone, or locator and bank where locators repeat.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum ReportsAs {
    Locator(String),
    LocatorAndBank(LocatorAndBank),
}

/// Device locator and bank locator of SMBIOS type 17.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LocatorAndBank {
    pub locator: String,
    pub bank: String,
}

impl ReportsAs {
    /// The device locator.
    pub fn locator(&self) -> &str {
        match self {
            Self::Locator(locator) => locator,
            Self::LocatorAndBank(both) => &both.locator,
        }
    }

    /// The bank locator, where it is needed to tell two slots apart.
    pub fn bank(&self) -> Option<&str> {
        match self {
            Self::Locator(_) => None,
            Self::LocatorAndBank(both) => Some(&both.bank),
        }
    }
}

/// Something in the way of slots. Covers come off in the order they stand in the file, and go back in reverse.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cover {
    pub name: String,
    /// Labels of the sockets, channels (`socket/channel`) or slots it covers; `all` for every slot.
    pub over: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fasteners: Option<Fasteners>,
    /// Cables that stay attached while it is parked.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cables: Vec<String>,
    /// How to park it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub park: Option<String>,
    /// What to mind on the way back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mind: Option<String>,
}

/// Screws, latches or thumb-screws that hold a cover.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fasteners {
    pub count: u32,
    /// Captive ones stay in the cover; loose ones are counted off and back.
    pub hold: Hold,
    /// The driver that fits, `T10`; absent for none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driver: Option<String>,
}

/// Whether a fastener stays in its cover.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Hold {
    Captive,
    Loose,
}

/// What the board allows. An absent limit is unknown.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    pub kinds: Vec<Kind>,
    /// The largest module in GiB, per kind.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub largest: Vec<Largest>,
    /// The most ranks one channel carries, all its modules together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ranks_per_channel: Option<u8>,
    /// Whether modules of different sizes may stand on one board.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mixing: Option<Mixing>,
    /// Whether all sockets must be filled alike.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sockets_match: Option<bool>,
    /// Whether a module with more ranks goes first in its channel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub more_ranks_first: Option<bool>,
    /// Whether all modules must have the same number of ranks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub same_ranks: Option<bool>,
    /// Whether all channels in use on a socket must hold the same number of modules.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub same_depth: Option<bool>,
    /// Whether all modules must have the same device width (x4 never with x8).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub same_width: Option<bool>,
    /// The module counts per socket the board allows, 0 among them where a processor may go without; empty when not
    /// looked up.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub counts_per_socket: Vec<u32>,
    /// The supply voltage in volts as written on the label class: `1.2`, `1.35`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts: Option<String>,
}

/// The largest module of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Largest {
    pub kind: Kind,
    pub gib: Size,
}

/// How far sizes may be mixed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Mixing {
    /// All modules alike.
    None,
    /// All channels alike at each position.
    ByPosition,
    Free,
}

/// One row of the board's speed table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SpeedRow {
    pub kind: Kind,
    /// Ranks of the modules it holds for; absent when it holds for any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ranks: Option<u8>,
    /// Modules on the channel.
    pub per_channel: u8,
    pub mts: Mts,
}

/// What one processor allows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cpu {
    pub name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mts: Option<Mts>,
    /// The most memory one processor addresses, in GiB.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gib: Option<Size>,
}

/// How the memory controller spreads addresses over channels.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Interleave {
    /// The numbers of channels it can interleave over.
    pub ways: Vec<u8>,
    /// What it does with channels of unequal size.
    pub style: InterleaveStyle,
    /// How a region may spread over several controllers; absent when it may spread freely.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub across: Option<Across>,
}

/// How a region may spread over the controllers of a socket.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Across {
    /// Over any channels.
    Any,
    /// Inside one controller, or over an equal number of channels of each controller it touches.
    Equal,
}

/// What a controller does with channels of unequal size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum InterleaveStyle {
    /// Slices them: each region takes an equal share of its channels.
    Slice,
    /// Groups whole channels of equal size only; an odd one falls out of the wide group.
    Whole,
}

/// One slot with where it sits. `Board::slots` yields them in board order.
#[derive(Debug, Clone, Copy)]
pub struct SlotRef<'a> {
    /// Its index in board order, from 0.
    pub index: usize,
    /// Index of its socket, from 0.
    pub socket_index: usize,
    /// Index of its channel within the socket, from 0.
    pub channel_index: usize,
    pub socket: &'a Socket,
    pub channel: &'a Channel,
    pub slot: &'a Slot,
}

impl Board {
    /// All slots in board order: by socket, channel, then as listed.
    pub fn slots(&self) -> impl Iterator<Item = SlotRef<'_>> {
        self.socket
            .iter()
            .enumerate()
            .flat_map(|(socket_index, socket)| {
                socket.channel.iter().enumerate().flat_map(move |(channel_index, channel)| {
                    channel.slot.iter().map(move |slot| (socket_index, channel_index, socket, channel, slot))
                })
            })
            .enumerate()
            .map(|(index, (socket_index, channel_index, socket, channel, slot))| SlotRef {
                index,
                socket_index,
                channel_index,
                socket,
                channel,
                slot,
            })
    }

    /// The slot with this label.
    pub fn slot(&self, label: &str) -> Option<SlotRef<'_>> {
        self.slots().find(|s| s.slot.label.as_str() == label)
    }

    /// SHA-256 (hex) of the board's JSON form, which a plan carries to say which board it was made for.
    pub fn sha256(&self) -> String {
        use sha2::{Digest, Sha256};
        let json = serde_json::to_vec(self).unwrap_or_default();
        Sha256::digest(json).iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

impl Cover {
    /// Whether this cover is in the way of `slot`.
    pub fn blocks(&self, slot: SlotRef<'_>) -> bool {
        self.over.iter().any(|over| {
            over == "all"
                || over == slot.slot.label.as_str()
                || *over == slot.socket.label
                || *over == format!("{}/{}", slot.socket.label, slot.channel.label)
        })
    }
}
