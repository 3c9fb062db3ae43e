//! Checks against things that are not of our making; each names its source.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod model_table;
#[path = "../support/mod.rs"]
mod support;
mod verify_real;
