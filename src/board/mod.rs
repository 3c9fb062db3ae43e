//! The memory layout of one kind of machine.

mod check;
mod layout;

pub use check::{MOST_PLACES, MOST_SLOTS, MOST_SOCKETS};
pub(crate) use check::{check_names, unusable};
pub use layout::*;
