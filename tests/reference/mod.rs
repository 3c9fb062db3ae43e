//! The yardstick for fault isolation, written from its own definitions.

#![allow(dead_code)] // The test and the bench each use their part.

pub mod exact;
pub mod policies;
pub mod sampled;
