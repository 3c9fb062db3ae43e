//! The memory layout of one kind of machine.

mod layout;

pub use layout::*;
