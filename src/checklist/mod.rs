//! Checklist file, plan and board give the exact steps of one job.

mod check;
mod error;
mod evidence;
mod expand;
mod file;
mod judge;
mod judge_scan;
mod number;
pub mod route;
mod step;
mod template;
mod values;

pub use error::ExpandError;
pub use expand::{Again, expand, expand_again};
pub use file::*;
pub use judge::{Because, JobContext, Judged, PartRead, PreviousScan, Used, judge};
pub use step::*;
pub use template::TemplateError;

/// The stock procedure, which covers a whole job from the order in hand to the sign-off.
pub const STOCK_PROCEDURE: &str = include_str!("../../checklists/procedures/install.toml");
