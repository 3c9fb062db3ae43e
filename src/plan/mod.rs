//! Which module goes in which slot.

mod file;

pub use file::*;
