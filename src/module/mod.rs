//! What a module is, and how it tells you.

mod label;
pub mod scan;
mod scan_match;
mod spec;

pub use label::{Label, LabelError};
pub use scan::{Field, Role, ScanRead};
pub use scan_match::{Match, matches, matches_as};
pub use spec::{Generation, Identity, Kind, Module, ModuleSpec, is_volts};
