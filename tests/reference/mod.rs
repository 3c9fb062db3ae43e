//! The yardstick for fault isolation, written from its own definitions.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(dead_code)] // The test and the bench each use their part.

pub mod bounds;
pub mod exact;
pub mod job;
pub mod least;
pub mod machine;
pub mod policies;
pub mod sampled;
