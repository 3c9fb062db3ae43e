//! A model of a machine: what its firmware and its kernel would report of the modules that were inserted.
//!
//! The practice job and the tests work on it in place of a real machine. Its SMBIOS encoder is written from the
//! specification alone and shares no code with the decoder of [`crate::snapshot`], so that each checks the other.

mod fault;
mod kernel;
mod model;
mod smbios;
mod speed;
mod tree;

pub use fault::{Fault, Pattern, Reporting, WhichModule};
pub use model::{Boot, Latch, Machine, ModelError, Seated};
pub use tree::{Tree, TreeError};
