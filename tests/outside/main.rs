//! Checks against things that are not of our making; each names its source.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod esd;
