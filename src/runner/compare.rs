//! The machine's report against the plan, with what the job knows: what was scanned where, and which boots were before.

use std::collections::BTreeMap;

use crate::board::SlotLabel;
use crate::checklist::{Evidence, Steps};
use crate::module::Identity;
use crate::record::{Answer, Job};
use crate::snapshot::Snapshot;
use crate::verify::{Comparison, Earlier, Input, compare_all};

/// `snapshot` against the plan of this job.
pub fn comparison(job: &Job, steps: &Steps, snapshot: &Snapshot) -> Comparison {
    let opened = job.opened();
    compare_all(&Input {
        plan: &opened.plan,
        snapshot,
        scanned: scanned(job, steps),
        chassis: Some(&opened.unit),
        earlier: job
            .rounds()
            .iter()
            .map(|round| Earlier { boot_id: round.boot_id.clone(), uuid: round.uuid.clone() })
            .collect(),
        powered_on: powered_on(job, steps),
    })
}

/// What was read from the label of the module in each slot.
pub fn scanned(job: &Job, steps: &Steps) -> BTreeMap<SlotLabel, Identity> {
    job.bound(steps)
        .into_iter()
        .map(|(slot, bound)| (slot.clone(), Identity { serial: Some(bound.serial.to_owned()), ..Identity::default() }))
        .collect()
}

/// When the machine was last switched on by the job: the last standing critical word ahead of the report.
fn powered_on(job: &Job, steps: &Steps) -> Option<chrono::DateTime<chrono::FixedOffset>> {
    steps
        .iter()
        .take_while(|(_, _, step)| step.evidence != Evidence::Snapshot)
        .filter(|(_, _, step)| step.critical && matches!(step.evidence, Evidence::Word { .. }))
        .filter_map(|(_, _, step)| job.answer(&step.id))
        .filter(|standing| matches!(standing.answer, Answer::Given { .. }))
        .map(|standing| standing.at)
        .last()
}
