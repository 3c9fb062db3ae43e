//! Which module goes in which slot.

mod check;
mod file;
mod load;

pub use file::*;
pub use load::{LoadError, Resolve, load, schema};
