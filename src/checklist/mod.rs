//! Checklist file, plan and board give the exact steps of one job.

mod file;
mod step;

pub use file::*;
pub use step::*;
