//! The machine's report against the plan, with what the job knows: what was scanned where, and which boots were before.

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::board::SlotLabel;
use crate::checklist::{Evidence, Steps};
use crate::module::Identity;
use crate::plan::Plan;
use crate::record::{Answer, Emptied, Job};
use crate::snapshot::Snapshot;
use crate::verify::{Comparison, Earlier, FindingKind, Input, compare_all};

/// `snapshot` against the plan of this job.
///
/// What a search took out on purpose is not where the plan has it, and the finding says so.
pub fn comparison(job: &Job, steps: &Steps, snapshot: &Snapshot) -> Comparison {
    let mut comparison = plain(job, steps, snapshot);
    let emptied = job.emptied_before(u64::MAX);
    for finding in comparison.findings.iter_mut().filter(|finding| finding.kind == FindingKind::Missing) {
        let Some(why) = finding.slot.as_ref().and_then(|slot| emptied.get(slot)) else { continue };
        finding.reported = Some(format!("nothing: {}", why.words()));
        finding.next = match why {
            Emptied::LeftOut => "Leave it out. Whoever signs says why the machine goes back without it.",
            _ => "Nothing is wrong with it by this: it goes back in once the search is over.",
        }
        .to_owned();
    }
    comparison
}

fn plain(job: &Job, steps: &Steps, snapshot: &Snapshot) -> Comparison {
    let opened = job.opened();
    let trials = || job.isolations().iter().flat_map(|search| &search.trials);
    compare_all(&Input {
        plan: &planned(job),
        snapshot,
        scanned: scanned(job, steps),
        chassis: Some(&opened.unit),
        earlier: job
            .rounds()
            .iter()
            .map(|round| Earlier { boot_id: round.boot_id.clone(), uuid: round.uuid.clone() })
            .chain(trials().map(|run| Earlier { boot_id: run.boot_id.clone(), uuid: run.uuid.clone() }))
            .collect(),
        powered_on: powered_on(job, steps),
    })
}

/// The plan, with the serial of the module that trials left in a slot in place of the one planned there: what is fitted has to
/// be what is asked for, and which of like modules stands where is known from the trials.
fn planned(job: &Job) -> Cow<'_, Plan> {
    let plan = &job.opened().plan;
    let Some(search) = job.isolation().filter(|search| search.done() > 0) else { return Cow::Borrowed(plan) };
    let stands = search.arrangement(search.trials.len());
    let mut plan = plan.clone();
    for planned in &mut plan.slot {
        if let Some(one) = stands.iter().find(|one| one.slot.as_ref() == Some(&planned.slot)) {
            planned.module.identity.serial.clone_from(&one.module.identity.serial);
        }
    }
    Cow::Owned(plan)
}

/// What was read from the label of the module in each slot. After trials, the slot it was carried to by the last of them.
pub fn scanned(job: &Job, steps: &Steps) -> BTreeMap<SlotLabel, Identity> {
    let serial = |serial: &str| Identity { serial: Some(serial.to_owned()), ..Identity::default() };
    let bound = job.bound(steps);
    let Some(search) = job.isolation().filter(|search| search.done() > 0) else {
        return bound.into_iter().map(|(slot, bound)| (slot.clone(), serial(bound.serial))).collect();
    };
    let stands = search.arrangement(search.trials.len());
    let carried =
        stands.iter().filter_map(|one| Some((one.slot.clone()?, serial(one.module.identity.serial.as_deref()?))));
    carried.collect()
}

/// When the machine was last switched on by the job: the last standing critical word ahead of the report.
pub(super) fn powered_on(job: &Job, steps: &Steps) -> Option<chrono::DateTime<chrono::FixedOffset>> {
    steps
        .iter()
        .take_while(|(_, _, step)| step.evidence != Evidence::Snapshot)
        .filter(|(_, _, step)| step.critical && matches!(step.evidence, Evidence::Word { .. }))
        .filter_map(|(_, _, step)| job.answer(&step.id))
        .filter(|standing| matches!(standing.answer, Answer::Given { .. }))
        .map(|standing| standing.at)
        .last()
}
