//! What happened at each slot, and which module was where.

use std::collections::{BTreeMap, BTreeSet};

use super::types::*;
use crate::board::SlotLabel;
use crate::checklist::{Each, Evidence, ScanOf, Step, Steps};
use crate::isolate;
use crate::plan::{Action, Plan};
use crate::record::{Answer, Changed, Event, Job, Line, Stands, TrialRun, time};
use crate::snapshot::{SlotReport, SlotState, Snapshot};
use crate::verify::{Finding, FindingKind, Grave, is_no_evidence, lines_of_slots, serials_equal};

/// The slots of a job while its lines go by.
pub(super) struct Slots<'a> {
    plan: &'a Plan,
    job: &'a Job,
    /// In board order.
    history: Vec<Vec<Seen>>,
    index: BTreeMap<&'a str, usize>,
    /// The serial each slot holds, where it is known.
    holds: BTreeMap<usize, String>,
    /// The slots that the last report shows as filled, and the start it is of.
    filled: BTreeSet<usize>,
    boot: Boot,
    /// The start that was counted last, where its report names it.
    counted: Boot,
    /// What the last trial's start without a report showed, as long as nothing was done since.
    untouched: Option<isolate::Seen>,
}

/// The system UUID and the boot id of a start.
type Boot = Option<(Option<String>, String)>;

impl<'a> Slots<'a> {
    pub(super) fn new(job: &'a Job) -> Self {
        let plan = &job.opened().plan;
        let index: BTreeMap<&str, usize> = plan.board.slots().map(|at| (at.slot.label.as_str(), at.index)).collect();
        let fitted = plan.order.fitted.iter().map(|fitted| (&fitted.slot, &fitted.module));
        let kept = plan.slot.iter().filter(|at| at.action == Action::Keep).map(|at| (&at.slot, &at.module));
        let holds = fitted
            .chain(kept)
            .filter_map(|(slot, module)| Some((*index.get(slot.as_str())?, module.identity.serial.clone()?)))
            .collect();
        Self {
            plan,
            job,
            history: vec![Vec::new(); index.len()],
            index,
            holds,
            filled: BTreeSet::new(),
            boot: None,
            counted: None,
            untouched: None,
        }
    }

    fn at(&self, slot: &SlotLabel) -> Option<usize> {
        self.index.get(slot.as_str()).copied()
    }

    fn push(&mut self, slot: usize, line: &Line, what: What) {
        if let Some(history) = self.history.get_mut(slot) {
            history.push(Seen {
                line: line.n,
                at: time::text(&line.at),
                by: line.by.clone(),
                what,
                amended: Vec::new(),
            });
        }
    }

    pub(super) fn line(&mut self, line: &Line, step: Option<&Step>) {
        let step_slot = step.and_then(|step| step.slot.as_ref()).and_then(|slot| self.at(slot));
        match &line.event {
            Event::Answered { value, how, serial, .. } => {
                let is_module = step.is_some_and(|s| matches!(s.evidence, Evidence::Scan { of: ScanOf::Module, .. }));
                let (Some(slot), Some(step), true) = (step_slot, step, is_module) else { return };
                let serial = serial.clone().unwrap_or_else(|| value.clone());
                let hands = self.hands(slot, step, &serial);
                match hands {
                    Hands::Out => self.holds.remove(&slot),
                    Hands::In | Hands::Anew => self.holds.insert(slot, serial.clone()),
                };
                let what = What::Scanned { serial, value: value.clone(), how: *how, hands, corrected_by: None };
                self.push(slot, line, what);
            }
            Event::Overridden { step: id, as_what, why, name } => {
                let Some(slot) = step_slot else { return };
                let (why, name) = (why.clone(), name.clone());
                let what = What::Skipped { step: id.0.clone(), as_what: *as_what, why, name, corrected_by: None };
                self.push(slot, line, what);
            }
            Event::Corrected { corrects, .. } => {
                if let Some(slot) = step_slot {
                    self.take_back(slot, *corrects, line.n);
                }
            }
            Event::ProblemReported { slot, text, .. } => {
                let named = slot.as_ref().and_then(|slot| self.at(slot));
                if let Some(slot) = named.or(step_slot) {
                    self.push(slot, line, What::Problem { text: text.clone() });
                }
            }
            Event::SnapshotTaken { snapshot, .. } => self.reported(line, snapshot),
            Event::Compared { snapshot_line, findings } => {
                let changed = self.job.changed_before(line.n);
                for finding in findings {
                    let Some(slot) = finding.slot.as_ref().and_then(|slot| self.at(slot)) else { continue };
                    let why = finding.slot.as_ref().and_then(|slot| changed.get(slot));
                    // It is shown where it was done.
                    if why.is_some_and(|why| why.explains(finding)) {
                        continue;
                    }
                    self.push(slot, line, What::Found { finding: finding.clone() });
                }
                let explained = |finding: &&Finding| {
                    finding.slot.as_ref().and_then(|slot| changed.get(slot)).is_some_and(|why| why.explains(finding))
                };
                let left: Vec<Finding> = findings.iter().filter(|finding| !explained(finding)).cloned().collect();
                self.compared(line, *snapshot_line, &left);
            }
            Event::IsolationOpened(opened) if opened.snapshot_line.is_none() => {
                let search = self.job.isolations().iter().find(|search| search.line == line.n);
                let stands = search.map(|search| search.arrangement(0)).unwrap_or_default();
                let now = opened.before.last().map_or(&opened.first, |done| &done.seen);
                if self.untouched.as_ref() != Some(now) {
                    self.started(line, None, now, &stands);
                }
            }
            Event::TrialDone { trial, seen, snapshot_line, .. } => {
                self.tried(line, *trial, seen);
                if snapshot_line.is_some() {
                    self.counted.clone_from(&self.boot);
                }
            }
            _ => {}
        }
        match &line.event {
            Event::TrialDone { seen, snapshot_line: None, .. } => self.untouched = Some(seen.clone()),
            Event::VerdictReached { .. } | Event::ProblemReported { .. } => {}
            _ => self.untouched = None,
        }
    }

    /// A start outside a trial, by its report: what each module did that the report shows or misses. A second report of one start
    /// is no second start.
    fn compared(&mut self, line: &Line, snapshot_line: u64, findings: &[Finding]) {
        let trials = self.job.isolations().iter().flat_map(|search| &search.trials).filter_map(|run| run.done.as_ref());
        let in_trial = trials.into_iter().any(|done| done.snapshot_line == Some(snapshot_line));
        let counted = self.boot.is_some() && self.boot == self.counted;
        if in_trial || counted || is_no_evidence(findings) {
            return;
        }
        self.counted.clone_from(&self.boot);
        let failing = findings.iter().filter(|finding| finding.fails());
        let failing: Vec<usize> = failing.filter_map(|finding| self.at(finding.slot.as_ref()?)).collect();
        let holds: Vec<(usize, String)> = self.holds.iter().map(|(slot, serial)| (*slot, serial.clone())).collect();
        for (slot, serial) in holds {
            let came = match (failing.contains(&slot), self.filled.contains(&slot)) {
                (true, _) => Came::Failed,
                (false, true) => Came::Worked,
                (false, false) => continue,
            };
            self.push(slot, line, What::Started { serial, trial: None, came });
        }
    }

    /// What a trial took out, and what the start after it showed of every module that stood in a slot.
    fn tried(&mut self, line: &Line, trial: u64, seen: &isolate::Seen) {
        let of_line = |run: &TrialRun| run.done.as_ref().is_some_and(|done| done.line == line.n);
        let job = self.job;
        let found = job.isolations().iter().find_map(|search| {
            let n = search.trials.iter().position(of_line)?;
            Some((search, n, search.trials[n].puts_back))
        });
        let Some((search, n, puts_back)) = found else { return };
        let (first, before, after) = (search.arrangement(0), search.arrangement(n), search.arrangement(n + 1));
        let moved = |is: &Stands| match is.slot.clone() {
            Some(to) => Changed::Moved { trial, to },
            None => Changed::TakenOut { trial },
        };
        for ((home, was), is) in first.iter().zip(&before).zip(&after) {
            // What stays out for good is told at the slot it belongs into.
            let left = if puts_back && is.slot.is_none() { home.slot.as_ref() } else { None };
            let why = match (left, was.slot.as_ref().filter(|slot| is.slot.as_ref() != Some(*slot))) {
                (Some(slot), _) => Some((slot, Changed::LeftOut)),
                (None, Some(slot)) if !puts_back => Some((slot, moved(is))),
                _ => None,
            };
            if let Some((slot, why)) = why
                && let Some(slot) = self.at(slot)
            {
                self.push(slot, line, What::TakenOut { serial: is.name.clone(), why: why.words() });
            }
        }
        self.holds_now(&before, &after);
        self.started(line, (!puts_back).then_some(trial), seen, &after);
    }

    /// What was carried without a scan, too, is where it was carried to.
    fn holds_now(&mut self, before: &[Stands], after: &[Stands]) {
        let moved: Vec<&Stands> =
            before.iter().zip(after).filter(|(was, is)| was.slot != is.slot).map(|(_, is)| is).collect();
        let left =
            before.iter().zip(after).filter(|(was, is)| was.slot != is.slot).filter_map(|(was, _)| was.slot.as_ref());
        for slot in left.filter_map(|slot| self.at(slot)).collect::<Vec<_>>() {
            self.holds.remove(&slot);
        }
        for one in moved {
            let at = one.slot.as_ref().and_then(|slot| self.at(slot));
            if let (Some(at), Some(serial)) = (at, one.module.identity.serial.clone()) {
                self.holds.insert(at, serial);
            }
        }
    }

    fn started(&mut self, line: &Line, trial: Option<u64>, seen: &isolate::Seen, stands: &[Stands]) {
        for one in stands {
            let Some((slot, at)) = one.slot.as_ref().and_then(|slot| Some((slot, self.at(slot)?))) else { continue };
            let came = match seen {
                isolate::Seen::NoPost => Came::Dark,
                isolate::Seen::Slots(slots) if slots.contains(slot) => Came::Failed,
                isolate::Seen::Slots(_) => Came::Worked,
            };
            self.push(at, line, What::Started { serial: one.name.clone(), trial, came });
        }
    }

    fn hands(&self, slot: usize, step: &Step, serial: &str) -> Hands {
        match step.each {
            Some(Each::Remove | Each::Lift) => Hands::Out,
            _ if self.holds.get(&slot).is_some_and(|held| serials_equal(held, serial)) => Hands::Anew,
            _ => Hands::In,
        }
    }

    /// A correction takes the scan back: what the slot held before it is not known to be in it again, so nothing is said.
    fn take_back(&mut self, slot: usize, corrects: u64, by_line: u64) {
        let Some(history) = self.history.get_mut(slot) else { return };
        for seen in history.iter_mut().filter(|seen| seen.line == corrects) {
            match &mut seen.what {
                What::Scanned { corrected_by, hands, serial, .. } => {
                    *corrected_by = Some(by_line);
                    match hands {
                        Hands::In => {
                            self.holds.remove(&slot);
                        }
                        Hands::Out => {
                            self.holds.insert(slot, serial.clone());
                        }
                        Hands::Anew => {}
                    }
                }
                What::Skipped { corrected_by, .. } => *corrected_by = Some(by_line),
                _ => {}
            }
        }
    }

    fn reported(&mut self, line: &Line, snapshot: &Snapshot) {
        let lines = lines_of_slots(&self.plan.board, &snapshot.slots);
        let is_filled = |line: &Option<usize>| {
            line.and_then(|line| snapshot.slots.get(line)).is_some_and(|slot| slot.state == SlotState::Fitted)
        };
        self.filled = lines.iter().enumerate().filter(|(_, line)| is_filled(line)).map(|(slot, _)| slot).collect();
        self.boot = snapshot.host.boot_id.clone().map(|boot| (snapshot.host.uuid.clone(), boot));
        for (slot, report) in lines.into_iter().enumerate() {
            let Some(report) = report.and_then(|line| snapshot.slots.get(line)) else { continue };
            // Empty slots are told where a module stands by its scans, or stood: that it is gone is news there.
            let told = self.history.get(slot).is_some_and(|history| !history.is_empty());
            let wanted = self.holds.contains_key(&slot) || told;
            if report.state == SlotState::Empty && !wanted && report.serial.is_none() {
                continue;
            }
            self.push(slot, line, seen(report, snapshot));
        }
    }

    pub(super) fn told(mut self, job: &Job, steps: &Steps, open: &[Finding]) -> Vec<SlotTold> {
        let plan = self.plan;
        plan.board
            .slots()
            .map(|at| {
                let history = self.history.get_mut(at.index).map(std::mem::take).unwrap_or_default();
                SlotTold {
                    slot: at.slot.label.0.clone(),
                    socket: at.socket.label.clone(),
                    channel: at.channel.label.clone(),
                    position: at.slot.position,
                    tab: at.slot.tab.clone(),
                    mark: mark(&at.slot.label, plan, job, steps, open, &history),
                    serial: self.holds.get(&at.index).cloned(),
                    history,
                }
            })
            .collect()
    }
}

fn seen(report: &SlotReport, snapshot: &Snapshot) -> What {
    let counted = snapshot.counted_at(report);
    What::Reported {
        state: report.state,
        size_mib: report.size_mib,
        configured_mts: report.configured_mts,
        maker: report.maker.clone(),
        part: report.part.clone(),
        serial: report.serial.clone(),
        corrected: counted.corrected,
        uncorrected: counted.uncorrected,
        because: report.because.clone(),
    }
}

fn mark(label: &SlotLabel, plan: &Plan, job: &Job, steps: &Steps, open: &[Finding], history: &[Seen]) -> SlotMark {
    let here = |finding: &Finding| finding.grave != Grave::Note && finding.slot.as_ref() == Some(label);
    let own: Vec<&Step> =
        steps.iter().filter(|(_, _, step)| step.slot.as_ref() == Some(label)).map(|(_, _, step)| step).collect();
    let skipped = own
        .iter()
        .any(|step| job.answer(&step.id).is_some_and(|standing| matches!(standing.answer, Answer::Passed { .. })));
    let all_done = own.iter().all(|step| job.answer(&step.id).is_some());
    let planned = plan.module_at(label.as_str());
    let leaves = plan.remove.iter().any(|gone| gone.slot == *label)
        || plan.slot.iter().any(|at| at.from.as_ref() == Some(label));
    let to_do = match planned {
        Some(at) => at.action != Action::Keep && !all_done,
        None => leaves && !all_done,
    };
    // What was found while a search had changed the slot was not there before, and an emptied slot is not cured.
    let changed = |line| job.changed_before(line).contains_key(label);
    let was_found = !changed(u64::MAX)
        && history.iter().any(|seen| match &seen.what {
            What::Found { finding } => finding.grave != Grave::Note && !changed(seen.line),
            _ => false,
        });
    // A finding on exchanged modules is listed at one of their slots.
    let exchanged = open.iter().any(|finding| finding.kind == FindingKind::Exchanged) && changed(u64::MAX);
    match planned {
        _ if exchanged || open.iter().any(here) => SlotMark::Finding,
        _ if skipped => SlotMark::Skipped,
        _ if to_do => SlotMark::ToDo,
        _ if was_found => SlotMark::Cured,
        Some(at) if at.action == Action::Keep => SlotMark::Kept,
        Some(_) => SlotMark::Done,
        None if leaves => SlotMark::Removed,
        None => SlotMark::Empty,
    }
}
