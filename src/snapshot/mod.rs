//! What one machine reports about its memory at one moment: one file per source, all ending in the same [`Snapshot`].
//!
//! A capture reads raw bytes and merges them; [`merge()`] derives slots, totals and host again from the bytes kept, so a
//! reader of a record can check that the table is what the machine said.

mod blocks;
mod capture;
mod counted;
mod errors_counted;
mod folder;
mod host;
mod identity;
mod json;
mod live;
mod meminfo;
mod merge;
mod model;
mod numa;
mod slots;
pub mod smbios;
mod totals;
mod tree;

pub use capture::{Capture, capture};
pub use counted::{Counted, Watched};
pub use identity::{identity, is_placeholder, unpadded};
pub use json::{LARGEST, SnapshotFault, ascii_json, read_json, write_json};
pub use merge::{Merged, merge, source_name};
pub use model::*;
pub use totals::shortfall_of_a_module;

/// The merged table of a firmware table alone: bare, or a dump with its entry point.
pub fn from_table(bytes: &[u8]) -> Merged {
    merge(&[Source::of(source_name::SMBIOS, "table", bytes)])
}

#[cfg(test)]
mod tests;
