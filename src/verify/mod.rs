//! Snapshot against plan gives findings.

mod finding;

pub use finding::*;
