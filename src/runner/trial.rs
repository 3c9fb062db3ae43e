//! One trial as cards for the hands, and what the start after it says.

use std::collections::BTreeMap;

use super::compare::powered_on;
use crate::board::SlotLabel;
use crate::checklist::{Again, Evidence, ScanOf, Step as CardStep, Steps};
use crate::isolate::{self, Seen, Step, Stood};
use crate::plan::{Action, Plan, PlanSlot, Removal};
use crate::record::{Answer, Isolation, Job, Passed, Stands, TrialRun, carry_out};
use crate::snapshot::{SlotReport, Snapshot};
use crate::verify::{Finding, Input, compare_all, lines_of_slots};

/// What the ids of a trial's steps begin with; those of a second search carry its line. Putting the modules back is no trial.
pub fn id(job: &Job, search: &Isolation, run: &TrialRun) -> String {
    let (what, trial) = (if run.puts_back { "back" } else { "trial" }, run.trial);
    match job.isolations().first() {
        Some(first) if first.line == search.line => format!("{what}-{trial}"),
        _ => format!("{what}-{}-{trial}", search.line),
    }
}

/// What is carried from where to where in the trial at index `n`, as a plan of its own.
pub fn as_plan(plan: &Plan, search: &Isolation, n: usize) -> (Plan, Again) {
    let changes = search.trials.get(n).map(|run| run.changes.as_slice()).unwrap_or_default();
    let before = search.arrangement(n);
    let mut after = before.clone();
    carry_out(&mut after, changes);
    let mut made = Plan { slot: Vec::new(), remove: Vec::new(), ..plan.clone() };
    made.order.fitted = Vec::new();
    for (was, is) in before.iter().zip(&after) {
        let planned = |slot: &SlotLabel, action, from: Option<&SlotLabel>| PlanSlot {
            slot: slot.clone(),
            action,
            from: from.cloned(),
            module: is.module.clone(),
            volts: None,
            lot: None,
        };
        match (&was.slot, &is.slot) {
            (Some(from), Some(to)) if from == to => made.slot.push(planned(to, Action::Keep, None)),
            (Some(from), Some(to)) => made.slot.push(planned(to, Action::Move, Some(from))),
            (None, Some(to)) => made.slot.push(planned(to, Action::Insert, None)),
            (Some(from), None) => {
                made.remove.push(Removal { slot: from.clone(), module: is.module.clone(), volts: None, to: None });
            }
            (None, None) => {}
        }
    }
    let reseat = changes.iter().filter_map(|change| match change {
        Step::Reseat(slot) => Some(slot.clone()),
        _ => None,
    });
    let again = Again { reseat: reseat.collect(), clear_settings: changes.contains(&Step::ClearSettings(true)) };
    (made, again)
}

/// The plan with every module where the search has it, slot by slot.
pub fn arranged(plan: &Plan, stands: &[Stands]) -> Plan {
    let slot = stands.iter().filter_map(|one| {
        Some(PlanSlot {
            slot: one.slot.clone()?,
            action: Action::Keep,
            from: None,
            module: one.module.clone(),
            volts: None,
            lot: None,
        })
    });
    Plan { slot: slot.collect(), remove: Vec::new(), mts: None, ..plan.clone() }
}

/// The slots that a report shows as failing, where modules stand as `stands` says.
pub fn seen(job: &Job, steps: &Steps, stands: &[Stands], snapshot: &Snapshot) -> Seen {
    let plan = arranged(&job.opened().plan, stands);
    let findings = compare_all(&Input {
        plan: &plan,
        snapshot,
        scanned: BTreeMap::new(),
        chassis: Some(&job.opened().unit),
        earlier: Vec::new(),
        powered_on: powered_on(job, steps),
    })
    .findings;
    Seen::Slots(failing(&findings))
}

/// The slots of findings that say a module does not work.
fn failing(findings: &[Finding]) -> Vec<SlotLabel> {
    let fails = findings.iter().filter(|finding| finding.fails());
    let mut slots: Vec<SlotLabel> = fails.filter_map(|finding| finding.slot.clone()).collect();
    let mut once = Vec::new();
    slots.retain(|slot| {
        let new = !once.contains(slot);
        once.push(slot.clone());
        new
    });
    slots
}

/// What of the trial's changes was done: without those whose cards were passed.
pub fn carried(job: &Job, steps: &Steps, id: &str, asked: &[Step]) -> Vec<Step> {
    let prefix = format!("{id}/");
    let passed = |step: &CardStep| {
        matches!(step.evidence, Evidence::Scan { of: ScanOf::Module, .. })
            && step.id.0.starts_with(&prefix)
            && job.answer(&step.id).is_some_and(|standing| {
                matches!(standing.answer, Answer::Passed { as_what: Passed::NotDone | Passed::CouldNot, .. })
            })
    };
    let left: Vec<&SlotLabel> =
        steps.iter().filter(|(_, _, step)| passed(step)).filter_map(|(_, _, step)| step.slot.as_ref()).collect();
    let settings_left = job.answers().iter().any(|(id, standing)| {
        let not = matches!(standing.answer, Answer::Passed { .. });
        not && id.0.starts_with(&prefix) && id.0.ends_with("/settings")
    });
    asked
        .iter()
        .filter(|change| match change {
            Step::ClearSettings(_) => !settings_left,
            change => !slots_of(change).iter().any(|slot| left.contains(slot)),
        })
        .cloned()
        .collect()
}

/// How the modules stood before they were touched, by the answers to the steps named `stood` of one opening of the machine:
/// the first of their answers is that all is level, the second that it is not, any other that there was nothing to see.
pub fn stood(job: &Job, steps: &Steps, id: &str) -> Vec<isolate::Finding> {
    let prefix = format!("{id}/");
    let looked = |step: &CardStep| step.id.0.starts_with(&prefix) && step.id.0.ends_with("/stood");
    let found = steps.iter().filter(|(_, _, step)| looked(step)).filter_map(|(_, _, step)| {
        let Evidence::Choice { options, .. } = &step.evidence else { return None };
        let Answer::Given { value, .. } = &job.answer(&step.id)?.answer else { return None };
        let stood = match options.iter().position(|option| option == value)? {
            0 => Stood::Level,
            1 => Stood::Open,
            _ => return None,
        };
        Some(isolate::Finding::stood(step.slot.clone()?, stood))
    });
    found.collect()
}

/// The slots a change touches.
pub fn slots_of(change: &Step) -> Vec<&SlotLabel> {
    match change {
        Step::Reseat(slot) | Step::Remove(slot) | Step::Substitute(slot, _) => vec![slot],
        Step::Swap(one, other) | Step::Move(one, other) => vec![one, other],
        Step::ClearSettings(_) => Vec::new(),
    }
}

/// Where the report shows modules in other slots than `stands` has them: every slot with the module that is in it.
///
/// What the report does not show is taken to be where `stands` has it; where another module is shown there, where it was
/// `before` the change, which was then not made.
pub fn otherwise(
    job: &Job,
    before: &[Stands],
    stands: &[Stands],
    snapshot: &Snapshot,
) -> Option<Vec<(SlotLabel, String)>> {
    let board = &job.opened().board;
    let reported = lines_of_slots(board, &snapshot.slots);
    let name_of = |report: &SlotReport| {
        let serial = report.serial.as_ref()?;
        let known = |one: &&Stands| {
            one.module.identity.serial.as_ref().is_some_and(|own| crate::verify::serials_equal(own, serial))
        };
        // A module whose serial two of them share tells nothing.
        let mut found = stands.iter().filter(known);
        found.next().filter(|_| found.next().is_none()).map(|one| one.name.clone())
    };
    let shown: Vec<(SlotLabel, String)> = board
        .slots()
        .filter_map(|at| {
            let report = snapshot.slots.get((*reported.get(at.index)?)?)?;
            Some((at.slot.label.clone(), name_of(report)?))
        })
        .collect();
    let here = |slot: &SlotLabel| stands.iter().find(|one| one.slot.as_ref() == Some(slot));
    let differs = shown.iter().any(|(slot, name)| here(slot).is_none_or(|one| one.name != *name));
    let twice = (1..shown.len()).any(|n| shown[..n].iter().any(|(_, name)| *name == shown[n].1));
    if !differs || twice {
        return None;
    }
    let mut found = shown;
    for (was, is) in before.iter().zip(stands) {
        if found.iter().any(|(_, name)| *name == is.name) {
            continue;
        }
        let free = |slot: &&SlotLabel| !found.iter().any(|(other, _)| other == *slot);
        if let Some(slot) = is.slot.iter().chain(&was.slot).find(free) {
            found.push((slot.clone(), is.name.clone()));
        }
    }
    Some(found)
}

/// The changes that bring every module back to its own slot. What the verdict calls bad stays out: a module, and the modules of
/// the slots that it names. A spare takes the place of a bad module.
pub fn put_back(job: &Job, search: &Isolation, verdict: &isolate::Verdict) -> Vec<Step> {
    let (modules, slots) = named_bad(verdict);
    let now = search.arrangement(search.trials.len());
    let first = search.arrangement(0);
    let is_bad = |n: usize| modules.contains(&now[n].name.as_str());
    let spares: Vec<bool> = now.iter().map(|one| job.first_slot(search, one).is_none()).collect();
    // A spare is at home where an earlier search left it.
    let own = |n: usize| job.first_slot(search, &now[n]).or_else(|| first[n].slot.clone());
    let homes: Vec<Option<SlotLabel>> = (0..now.len()).map(own).collect();
    let of_bad: Vec<&SlotLabel> = (0..now.len()).filter(|n| is_bad(*n)).filter_map(|n| homes[n].as_ref()).collect();
    let sound = |slot: &SlotLabel| !slots.contains(&slot.as_str());
    let keeps = |n: usize| homes[n].clone().filter(|slot| !is_bad(n) && !spares[n] && sound(slot));
    let mut targets: Vec<Option<SlotLabel>> = (0..now.len()).map(keeps).collect();
    for n in (0..now.len()).filter(|n| spares[*n] && !is_bad(*n)) {
        let here = now[n].slot.iter().filter(|slot| of_bad.contains(slot));
        let all = homes[n].iter().chain(here).chain(of_bad.iter().copied());
        let free = all.into_iter().find(|slot| sound(slot) && !targets.iter().flatten().any(|taken| taken == *slot));
        targets[n] = free.cloned();
    }
    let moves = || now.iter().zip(&targets).filter(|(one, target)| one.slot != **target);
    let out = moves().filter_map(|(one, _)| one.slot.clone().map(Step::Remove));
    let back = moves().filter_map(|(one, target)| target.clone().map(|slot| Step::Substitute(slot, one.name.clone())));
    out.chain(back).collect()
}

/// The modules and the slots that a verdict calls bad.
pub(super) fn named_bad(verdict: &isolate::Verdict) -> (Vec<&str>, Vec<&str>) {
    let parts = || verdict.what.split(isolate::JOINED).zip(verdict.which.split(isolate::JOINED));
    let modules = parts().filter(|(what, _)| *what == "module").map(|(_, which)| which);
    let slots = parts().filter(|(what, _)| matches!(*what, "slot" | "channel" | "socket"));
    (modules.collect(), slots.flat_map(|(_, which)| which.split(' ')).collect())
}
