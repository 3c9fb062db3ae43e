//! The append-only file of a job. A job is a fold over its events.
//!
//! [`Journal`] is the one writer: an event is on disk before [`Journal::append`] returns. [`read`] is for everyone else.
//! [`chain`] says how a line is written and what binds it to the line before, [`Job`] what the lines mean.

pub mod chain;
mod damage;
mod event;
mod job;
mod journal;
mod name;
pub mod read;
mod scan;
pub mod sign;
mod strict;
pub mod time;

pub use damage::{RecordError, Wrong};
pub use event::*;
pub use job::*;
pub use journal::{Failure, FileStorage, Holder, Journal, JournalError, PROGRAM, Stand, Storage, Whereabouts};
pub use name::{file_name, is_job_id, job_id};
pub use scan::{LARGEST_FILE, Scan, Scanned, Stop, Torn, TornKind};
pub use strict::LARGEST_NUMBER;
