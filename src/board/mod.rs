//! The memory layout of one kind of machine.

mod check;
mod layout;
mod summary;

pub use check::{MOST_PLACES, MOST_SLOTS, MOST_SOCKETS};
pub(crate) use check::{check_names, unusable};
pub use layout::*;
pub use summary::Summary;
