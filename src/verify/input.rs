//! Everything a comparison looks at.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};

use crate::board::SlotLabel;
use crate::module::Identity;
use crate::plan::Plan;
use crate::snapshot::Snapshot;

/// What is compared, and what is known of the job around it.
#[derive(Debug, Clone)]
pub struct Input<'a> {
    pub plan: &'a Plan,
    pub snapshot: &'a Snapshot,
    /// What was scanned into each slot; it says more than the plan, which may name a part only.
    pub scanned: BTreeMap<SlotLabel, Identity>,
    /// The tag of the chassis the job is on.
    pub chassis: Option<&'a str>,
    /// Snapshots taken before the work.
    pub earlier: Vec<Earlier>,
    /// When the machine was switched on after the work, by the clock of the job.
    pub powered_on: Option<DateTime<FixedOffset>>,
}

/// What is kept of a snapshot taken before the work.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Earlier {
    pub boot_id: Option<String>,
    pub uuid: Option<String>,
}

impl From<&Snapshot> for Earlier {
    fn from(snapshot: &Snapshot) -> Self {
        Self { boot_id: snapshot.host.boot_id.clone(), uuid: snapshot.host.uuid.clone() }
    }
}

impl<'a> Input<'a> {
    /// Plan and snapshot alone.
    pub fn new(plan: &'a Plan, snapshot: &'a Snapshot) -> Self {
        Self { plan, snapshot, scanned: BTreeMap::new(), chassis: None, earlier: Vec::new(), powered_on: None }
    }
}
