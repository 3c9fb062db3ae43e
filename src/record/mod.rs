//! The append-only file of a job. A job is a fold over its events.

mod event;

pub use event::*;
