//! What a module is, and how it tells you.

mod spec;

pub use spec::{Generation, Identity, Kind, Module, ModuleSpec};
