//! Checks against things that are not of our making; each names its source.

mod model_table;
#[path = "../support/mod.rs"]
mod support;
