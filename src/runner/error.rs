//! Why a walk stops before its end.

use crate::prompt::AskError;
use crate::record::JournalError;

/// Why a walk stops. Everything confirmed before is on disk.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The record takes nothing more.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// Nobody can be asked.
    #[error(transparent)]
    Ask(AskError),
    /// The order in the record does not have the unit the job was opened for.
    #[error("the order does not have the unit this job was opened for")]
    NoUnit,
    /// The rates that come with the program cannot be read.
    #[error("the rates that come with the program are not valid; name a rates file of your own with --rates")]
    NoRates,
    /// The checklist in the record cannot be expanded for its plan.
    #[error("the checklist does not fit the plan: {0}")]
    Expand(#[from] crate::checklist::ExpandError),
}
