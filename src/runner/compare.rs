//! The machine's report against the plan, with what the job knows: what was scanned where, and which boots were before.

use std::collections::BTreeMap;

use crate::board::SlotLabel;
use crate::checklist::{Evidence, Steps};
use crate::module::Identity;
use crate::record::{Answer, Changed, Isolation, Job};
use crate::snapshot::{SlotState, Snapshot};
use crate::verify::{Comparison, Earlier, Finding, FindingKind, Grave, Input, compare_all, lines_of_slots};

/// `snapshot` against the plan of this job: what `verify` finds with plan and snapshot alone, and what the job knows besides.
///
/// Where a search changed a slot, the finding says so. A report without serials cannot show such a change: then the record does.
pub fn comparison(job: &Job, steps: &Steps, snapshot: &Snapshot) -> Comparison {
    let trials = || job.isolations().iter().flat_map(|search| &search.trials);
    let mut comparison = compare_all(&Input {
        plan: &job.opened().plan,
        snapshot,
        scanned: expected(job, steps),
        chassis: Some(&job.opened().unit),
        earlier: job
            .rounds()
            .iter()
            .map(|round| Earlier { boot_id: round.boot_id.clone(), uuid: round.uuid.clone() })
            .chain(trials().map(|run| Earlier { boot_id: run.boot_id.clone(), uuid: run.uuid.clone() }))
            .collect(),
        powered_on: powered_on(job, steps),
    });
    let changed = job.changed_before(u64::MAX);
    let is_open = job.isolation().is_some_and(Isolation::is_open);
    for finding in &mut comparison.findings {
        let why = finding.slot.as_ref().and_then(|slot| changed.get(slot));
        let Some(why) = why.filter(|why| why.explains(finding)) else { continue };
        let is_missing = finding.kind == FindingKind::Missing && why.is_empty();
        let reported = finding.reported.as_deref().filter(|_| !is_missing).unwrap_or("nothing");
        finding.reported = Some(format!("{reported}: {}", why.words()));
        finding.next = next(why, is_open).to_owned();
    }
    let unseen = changed.iter().filter_map(|(slot, why)| unseen(job, snapshot, slot, why, is_open));
    comparison.findings.extend(unseen.collect::<Vec<_>>());
    comparison
}

/// What to do about a slot that a search changed.
fn next(why: &Changed, is_open: bool) -> &'static str {
    match why {
        _ if is_open => "This is no fault: the fault search did it. The modules go back when the fault search is over.",
        Changed::LeftOut => {
            "Leave the slot empty. State at the sign-off why the machine goes back without this module."
        }
        Changed::Holds { .. } => "Put the planned module back, or state at the sign-off why the other one stays.",
        Changed::TakenOut { .. } | Changed::Moved { .. } => {
            "Put the module back into its planned slot, or state at the sign-off why it stays out of it."
        }
    }
}

/// The finding on a slot that holds another module than planned, where the report names no serial to see it by.
fn unseen(job: &Job, snapshot: &Snapshot, slot: &SlotLabel, why: &Changed, is_open: bool) -> Option<Finding> {
    let Changed::Holds { module, .. } = why else { return None };
    let board = &job.opened().board;
    let line = *lines_of_slots(board, &snapshot.slots).get(board.slot(slot.as_str())?.index)?;
    let report = snapshot.slots.get(line?)?;
    if report.state != SlotState::Fitted || report.serial.is_some() {
        return None;
    }
    let planned = job.opened().plan.module_at(slot.as_str())?.module.identity.serial.clone()?;
    Some(Finding {
        kind: FindingKind::WrongModule,
        slot: Some(slot.clone()),
        module: Some(module.clone()),
        planned: Some(planned),
        reported: Some(format!("no serial: {}", why.words())),
        source: "the record: what was done in the fault search".to_owned(),
        grave: Grave::Stop,
        next: next(why, is_open).to_owned(),
    })
}

/// The module each slot of the plan is to hold, by the label that was read. Where the plan names a serial, that is the module
/// the job put there; where it names none, each like module will do, and it is the one that is there now.
fn expected(job: &Job, steps: &Steps) -> BTreeMap<SlotLabel, Identity> {
    let now = scanned(job, steps);
    let Some(first) = job.isolations().first() else { return now };
    let named = |slot: &SlotLabel| {
        job.opened().plan.module_at(slot.as_str()).is_some_and(|planned| planned.module.identity.serial.is_some())
    };
    let put_in = first.opened.fitted.iter().map(|fitted| (fitted.slot.clone(), fitted.module.identity.clone()));
    let put_in = put_in.filter(|(slot, _)| named(slot)).map(|(slot, identity)| (slot, serial_of(&identity)));
    now.into_iter().filter(|(slot, _)| !named(slot)).chain(put_in).collect()
}

/// What was read from a label: a serial.
fn serial_of(identity: &Identity) -> Identity {
    Identity { serial: identity.serial.clone(), ..Identity::default() }
}

/// What was read from the label of the module in each slot. After trials, the slot it was carried to by the last of them.
pub fn scanned(job: &Job, steps: &Steps) -> BTreeMap<SlotLabel, Identity> {
    let trials: usize = job.isolations().iter().map(Isolation::done).sum();
    let Some(search) = job.isolation().filter(|_| trials > 0) else {
        let serial = |serial: &str| Identity { serial: Some(serial.to_owned()), ..Identity::default() };
        return job.bound(steps).into_iter().map(|(slot, bound)| (slot.clone(), serial(bound.serial))).collect();
    };
    let stands = search.arrangement(search.trials.len());
    stands.into_iter().filter_map(|one| Some((one.slot?, serial_of(&one.module.identity)))).collect()
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
