//! The firmware's own table of the machine (SMBIOS, DMTF document DSP0134), as bytes and as facts.
//!
//! A table is walked with every step checked against the bytes that are there; where it breaks, the walk says where and
//! why, and what came before stays. A field beyond a structure's own length is unknown, not zero (DSP0134 6.1.1).

mod address;
mod array;
mod device;
mod entry;
mod error;
mod host;
mod walk;
pub mod write;

pub use address::{DeviceRange, MemoryRange};
pub use array::MemoryArray;
pub use device::{MemoryDevice, Reported};
pub use entry::{Dump, EntryFault, EntryPoint, Layout};
pub use error::MemoryError;
pub use host::{Baseboard, Chassis, Firmware, Processor, System};
pub use walk::{Break, BreakReason, Structure, Walk, as_text, walk};

/// The handle that means "none" in a field that names another structure (DSP0134 6.1.2).
pub const NO_HANDLE: u16 = 0xFFFF;
/// The handle that means "the firmware does not say" (DSP0134 7.17, 7.18).
pub const HANDLE_NOT_PROVIDED: u16 = 0xFFFE;

/// Everything of a table that says something about memory or about which machine this is.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Table {
    pub firmware: Option<Firmware>,
    pub system: Option<System>,
    pub boards: Vec<Baseboard>,
    pub chassis: Vec<Chassis>,
    pub processors: Vec<Processor>,
    pub arrays: Vec<MemoryArray>,
    pub devices: Vec<MemoryDevice>,
    pub errors: Vec<MemoryError>,
    pub ranges: Vec<MemoryRange>,
    pub device_ranges: Vec<DeviceRange>,
    /// How many structures of any type were whole.
    pub structures: usize,
    /// Where the table breaks, if it does.
    pub broken: Option<Break>,
    /// Whether the walk met the end-of-table structure (type 127).
    pub ended: bool,
}

impl Table {
    /// Decodes a bare table: structures only, no entry point.
    pub fn decode(bytes: &[u8]) -> Self {
        let walked = walk(bytes);
        let mut table =
            Self { structures: walked.structures.len(), broken: walked.broken, ended: walked.ended, ..Self::default() };
        for structure in &walked.structures {
            table.take(structure);
        }
        table
    }

    fn take(&mut self, structure: &Structure<'_>) {
        match structure.kind {
            // The first of each is the machine's own; later ones are of parts that carry their own identity.
            0 if self.firmware.is_none() => self.firmware = Some(Firmware::decode(structure)),
            1 if self.system.is_none() => self.system = Some(System::decode(structure)),
            2 => self.boards.push(Baseboard::decode(structure)),
            3 => self.chassis.push(Chassis::decode(structure)),
            4 => self.processors.push(Processor::decode(structure)),
            16 => self.arrays.push(MemoryArray::decode(structure)),
            17 => self.devices.push(MemoryDevice::decode(structure)),
            18 | 33 => self.errors.push(MemoryError::decode(structure)),
            19 => self.ranges.push(MemoryRange::decode(structure)),
            20 => self.device_ranges.push(DeviceRange::decode(structure)),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests;
