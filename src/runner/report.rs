//! Where the machine's own report comes from.

use crate::checklist::{Step, Steps};
use crate::isolate::Seen;
use crate::module::Module;
use crate::prompt::Wants;
use crate::record::Job;
use crate::snapshot::Snapshot;

/// A way to get what the machine says about itself: a file made by `capture`, a copied tree, or the practice machine.
pub trait MachineReport {
    /// How the technician is asked for it.
    fn wants(&self) -> Wants;

    /// The snapshot for what the technician gave.
    ///
    /// # Errors
    /// In words, what is wrong with it and the way out; the question comes again.
    fn read(&mut self, given: &str, steps: &Steps, job: &Job) -> Result<Report, ReportError>;

    /// What the bench would show beside the question, where there is no real bench: the label on the module in hand.
    /// `None` on a real machine.
    fn bench(&self, _step: &Step, _steps: &Steps, _job: &Job) -> Option<String> {
        None
    }

    /// Why an answer is not what the bench shows, where there is no real one to look at: a reading or count that was made up.
    /// `None` on a real machine, where nobody but the technician sees it.
    fn disagrees(&self, _step: &Step, _value: &str, _steps: &Steps, _job: &Job) -> Option<String> {
        None
    }

    /// A module that is taken for good and lies on the bench, where there is no real one to look at.
    fn spare(&self, _job: &Job) -> Option<Module> {
        None
    }

    /// What stands on the technician's badge, where there is no real one to look at.
    fn badge(&self) -> Option<String> {
        None
    }

    /// The seconds a stated time takes here. The practice machine's clock runs faster.
    fn seconds(&self, stated: u32) -> u32 {
        stated
    }
}

/// What a start came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Report {
    Snapshot(Box<Snapshot>),
    /// The machine did not start, or nothing but slots could be read off its screen.
    Told(Seen),
}

impl From<Snapshot> for Report {
    fn from(snapshot: Snapshot) -> Self {
        Self::Snapshot(Box::new(snapshot))
    }
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
#[error("{what}")]
pub struct ReportError {
    /// What is wrong, and the way out.
    pub what: String,
}
