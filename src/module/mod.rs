//! What a module is, and how it tells you.

mod label;
mod spec;

pub use label::{Label, LabelError};
pub use spec::{Generation, Identity, Kind, Module, ModuleSpec};
