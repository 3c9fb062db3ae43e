//! Walks one technician through the steps of one job and writes the record.
//!
//! The runner knows neither terminal nor file format: it asks through [`crate::prompt::Ask`], judges through
//! [`crate::checklist`], and every answer is on disk through the journal before the next question is put.

mod compare;
mod context;
mod error;
mod isolate;
mod picture;
mod question;
mod report;
mod rounds;
mod sign;
mod snapshot;
pub mod trial;
mod walk;

pub use compare::{comparison, scanned};
pub use error::RunError;
pub use isolate::{SPARE_LABEL, Search, called_bad, open_search, read_trial, spare, table, undecided, verdict_lines};
pub use picture::Pictures;
pub use report::{MachineReport, Report, ReportError};
pub use rounds::all_steps;
pub use sign::STATEMENT;
pub use walk::{Ended, Runner, doubtful};
