//! What one machine reports about its memory at one moment.

mod model;
pub mod smbios;

pub use model::*;
