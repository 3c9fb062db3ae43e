//! What a module is, and how it tells you.

pub mod scan;
mod scan_match;
mod spec;

pub use scan::{Field, Role, ScanRead};
pub use scan_match::{Match, matches, matches_as};
pub use spec::{Generation, Identity, Kind, Module, ModuleSpec};
