//! A record is on disk before it answers, opens after any crash, and shows every change.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod disk;
mod faults;
mod laws;
mod sample;
mod spoiled;
mod torn;
