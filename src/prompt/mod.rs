//! How a question reaches a person and how the answer comes back.

mod ask;

pub use ask::*;
