//! Walks one technician through the steps of one job and writes the record.
//!
//! The runner knows neither terminal nor file format: it asks through [`crate::prompt::Ask`], judges through
//! [`crate::checklist`], and every answer is on disk through the journal before the next question is put.

mod question;
mod report;

pub use report::{MachineReport, ReportError};
