//! The population rules: every one read from the board file, and every breach named with its slots and its source.

mod check;
mod rule;

pub use check::check;
pub use rule::{Breach, Rule, Verdict};
