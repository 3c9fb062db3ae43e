//! The population rules: every one read from the board file, and every breach named with its slots and its source.

mod check;
mod fitted;
mod rule;

pub use check::check;
pub use fitted::not_fitted;
pub use rule::{Breach, Rule, Verdict};
