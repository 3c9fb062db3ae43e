//! From the lines of a record to the story.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};

use super::amended::Amendments;
use super::notable::{self, Noted};
use super::pace::Paced;
use super::since;
use super::slots::Slots;
use super::tried::Tried;
use super::types::*;
use crate::checklist::{Evidence, Step, StepId, Steps};
use crate::plan::{Action, Plan};
use crate::record::chain::Head;
use crate::record::{Event, How, Job, Line, Role, Torn, time};
use crate::snapshot::{SlotState, Snapshot};

/// A record that was read whole, and the steps of its job.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// All lines. The raw bytes in their snapshots are not looked at and may be left out.
    pub lines: &'a [Line],
    /// The state behind the last of them.
    pub job: &'a Job,
    pub steps: &'a Steps,
    pub head: &'a Head,
    pub torn: Option<Torn>,
}

/// The card for entries at steps that the checklist of the record does not have.
const NO_CARD: &str = "Not on any card";

/// Tells a record.
pub fn story(input: &Input<'_>) -> Story {
    let mut fold = Fold::new(input);
    for line in input.lines {
        fold.line(line);
    }
    fold.told()
}

struct Fold<'a> {
    input: &'a Input<'a>,
    cards: Vec<CardTold>,
    places: BTreeMap<&'a StepId, (usize, usize)>,
    /// Steps that are on no card, by id; their items are on the card behind the last.
    strays: BTreeMap<String, usize>,
    slots: Slots<'a>,
    reports: Vec<Report>,
    tried: Tried,
    notes: Vec<NoteTold>,
    other: Vec<Other>,
    people: Vec<String>,
    paced: Vec<Option<Paced>>,
    scripted: usize,
    last_at: Option<DateTime<FixedOffset>>,
    away: bool,
    /// The card the time is counted for when a line names no step.
    current: usize,
}

impl<'a> Fold<'a> {
    fn new(input: &'a Input<'a>) -> Self {
        let cards = input.steps.cards.iter().map(|card| CardTold {
            name: card.name.clone(),
            began: None,
            ended: None,
            took_ms: 0,
            items: card.steps.iter().map(|step| item(&step.id.0, &step.text, step)).collect(),
        });
        Self {
            input,
            cards: cards.collect(),
            places: input.steps.iter().map(|(card, step, told)| (&told.id, (card, step))).collect(),
            strays: BTreeMap::new(),
            slots: Slots::new(input.job),
            reports: Vec::new(),
            notes: Vec::new(),
            tried: Tried::default(),
            other: Vec::new(),
            people: Vec::new(),
            paced: Vec::new(),
            scripted: 0,
            last_at: None,
            away: false,
            current: 0,
        }
    }

    fn line(&mut self, line: &Line) {
        if line.by != "slotwise" && !self.people.contains(&line.by) {
            self.people.push(line.by.clone());
        }
        self.time(line);
        self.entry(line);
        let step = step_of(&line.event).and_then(|id| self.step(id));
        self.slots.line(line, step);
        self.pace(line, step);
        self.report(line);
        self.tried.line(line);
        match &line.event {
            Event::Noted { step, text } => self.notes.push(NoteTold {
                line: line.n,
                at: time::text(&line.at),
                by: line.by.clone(),
                step: step.as_ref().map(|step| step.0.clone()),
                text: text.clone(),
            }),
            event if !has_words(event) => self.other.push(other(line)),
            _ => {}
        }
    }

    fn step(&self, id: &StepId) -> Option<&'a Step> {
        let (card, step) = self.places.get(id)?;
        self.input.steps.cards.get(*card)?.steps.get(*step)
    }

    /// The time since the line before goes to the card of the step a line names, else to the card before: as the job counts
    /// it, so that the cards add up to the time worked.
    fn time(&mut self, line: &Line) {
        if let Some(id) = step_of(&line.event) {
            self.current = match self.places.get(id) {
                Some((card, _)) => *card,
                None => self.stray(id).0,
            };
        }
        let gap = self.last_at.map(|last| line.at.signed_duration_since(last).to_std().unwrap_or_default());
        let returning = matches!(line.event, Event::Resumed { .. } | Event::TailSetAside { .. });
        if let (Some(gap), false, false) = (gap, self.away, returning)
            && let Some(card) = self.cards.get_mut(self.current)
        {
            card.took_ms = card.took_ms.saturating_add(u64::try_from(gap.as_millis()).unwrap_or(u64::MAX));
        }
        match line.event {
            Event::Paused { .. } | Event::Declared { .. } => self.away = true,
            Event::Resumed { .. } => self.away = false,
            _ => {}
        }
        self.last_at = Some(line.at);
    }

    /// The card and item for a step that is on no card.
    fn stray(&mut self, id: &StepId) -> (usize, usize) {
        let card = self.input.steps.cards.len();
        if self.cards.len() == card {
            let name = NO_CARD.to_owned();
            self.cards.push(CardTold { name, began: None, ended: None, took_ms: 0, items: Vec::new() });
        }
        let Some(told) = self.cards.get_mut(card) else { return (card, 0) };
        let place = *self.strays.entry(id.0.clone()).or_insert(told.items.len());
        if place == told.items.len() {
            let stand = ItemStand::Open;
            let (step, text) = (id.0.clone(), String::new());
            told.items.push(Item { step, text, slot: None, stand, entries: Vec::new() });
        }
        (card, place)
    }

    fn entry(&mut self, line: &Line) {
        let Some(id) = step_of(&line.event) else { return };
        let (card, place) = match self.places.get(id) {
            Some(place) => *place,
            None => self.stray(id),
        };
        let Some(card) = self.cards.get_mut(card) else { return };
        let at = time::text(&line.at);
        card.began.get_or_insert_with(|| at.clone());
        card.ended = Some(at.clone());
        let Some(item) = card.items.get_mut(place) else { return };
        if let Event::Corrected { corrects, .. } = &line.event {
            take_back(&mut item.entries, *corrects, line.n);
        }
        if let Event::ProblemSettled { problem, how, .. } = &line.event {
            for entry in item.entries.iter_mut().filter(|entry| entry.line == *problem) {
                if let Did::Problem { put_right, .. } = &mut entry.did {
                    *put_right = Some(how.clone());
                }
            }
        }
        match &line.event {
            Event::Answered { .. } => item.stand = ItemStand::Answered,
            Event::Overridden { .. } if self.input.job.leaves_findings_open(line.n) => item.stand = ItemStand::LeftOpen,
            Event::Overridden { .. } => item.stand = ItemStand::Skipped,
            Event::Corrected { .. } => item.stand = ItemStand::Open,
            _ => {}
        }
        if let Some(did) = did(&line.event, self.input.job.leaves_findings_open(line.n)) {
            item.entries.push(Entry { line: line.n, at, by: line.by.clone(), did, amended: Vec::new() });
        }
    }

    fn pace(&mut self, line: &Line, step: Option<&Step>) {
        match &line.event {
            Event::Answered { step: id, how, took_ms, .. } => {
                self.scripted += usize::from(*how == How::Scripted);
                let by_hand = *how == How::Typed
                    && step.is_some_and(|step| {
                        !matches!(step.evidence, Evidence::Time { .. } | Evidence::Snapshot | Evidence::Text { .. })
                    });
                self.paced.push(by_hand.then(|| Paced {
                    line: line.n,
                    by: line.by.clone(),
                    step: id.0.clone(),
                    took_ms: *took_ms,
                }));
            }
            Event::Paused { .. } | Event::Resumed { .. } => self.paced.push(None),
            _ => {}
        }
    }

    fn report(&mut self, line: &Line) {
        match &line.event {
            Event::SnapshotTaken { snapshot, .. } => self.reports.push(report(line, snapshot)),
            Event::Compared { snapshot_line, findings } => {
                if let Some(report) = self.reports.iter_mut().rev().find(|report| report.line == *snapshot_line) {
                    report.compared_line = Some(line.n);
                    report.findings.clone_from(findings);
                    let changed = self.input.job.changed_before(line.n);
                    report.on_purpose = findings
                        .iter()
                        .filter_map(|finding| {
                            let (slot, why) = changed.get_key_value(finding.slot.as_ref()?)?;
                            let kind = Some(finding.kind).filter(|_| why.explains(finding))?;
                            Some(OnPurpose { slot: slot.0.clone(), kind, why: why.words() })
                        })
                        .collect();
                }
            }
            _ => {}
        }
    }

    fn told(mut self) -> Story {
        self.tried.ends();
        let Input { job, steps, .. } = *self.input;
        let opened = job.opened();
        let reported = job.comparison().is_some();
        let open = self.reports.last().filter(|_| reported).map_or(&[][..], |report| &report.findings);
        let mut slots = self.slots.told(job, steps, open);
        let amendments = Amendments::of(self.input);
        let mut rounds = rounds(self.input, &self.reports);
        since::mark(&mut self.tried.verdicts, &slots);
        amendments.mark(&mut slots, &mut self.cards, &mut self.tried.verdicts);
        amendments.mark_tried(&mut rounds, &mut self.tried.trials);
        let measured = measured(job, steps);
        let mut stands_out = notable::all(&Noted {
            input: self.input,
            cards: &self.cards,
            reports: &self.reports,
            other: &self.other,
            people: &self.people,
            paced: &self.paced,
            scripted: self.scripted,
        });
        notable::mark_verdicts(&mut stands_out, &self.tried.verdicts);
        let open_items = self.cards.iter().map(|card| card.count(ItemStand::Open)).sum();
        Story {
            record: about(self.input, self.people, open_items),
            stands_out,
            planned: planned(&opened.plan),
            cards: self.cards,
            measured,
            reports: self.reports,
            rounds,
            trials: self.tried.trials,
            verdicts: self.tried.verdicts,
            slots,
            notes: self.notes,
            declarations: declarations(job),
            amendments: amendments.told(),
            other: self.other,
        }
    }
}

/// A step's text runs over several lines on the screen of the bench; here it is one.
fn one_line(text: &str) -> String {
    text.lines().map(str::trim).collect::<Vec<_>>().join(" ")
}

fn item(id: &str, text: &str, step: &Step) -> Item {
    Item {
        step: id.to_owned(),
        text: one_line(text),
        slot: step.slot.as_ref().map(|slot| slot.0.clone()),
        stand: ItemStand::Open,
        entries: Vec::new(),
    }
}

/// The step a line is about.
fn step_of(event: &Event) -> Option<&StepId> {
    match event {
        Event::Answered { step, .. }
        | Event::Refused { step, .. }
        | Event::Corrected { step, .. }
        | Event::Overridden { step, .. }
        | Event::ProblemReported { step, .. }
        | Event::ProblemSettled { step, .. } => Some(step),
        Event::Noted { step, .. }
        | Event::Paused { step, .. }
        | Event::Resumed { step, .. }
        | Event::SnapshotTaken { step, .. } => step.as_ref(),
        _ => None,
    }
}

/// Whether this room tells such an event in words of its own.
fn has_words(event: &Event) -> bool {
    step_of(event).is_some()
        || matches!(
            event,
            Event::Opened(_)
                | Event::Noted { .. }
                | Event::Paused { .. }
                | Event::Resumed { .. }
                | Event::SnapshotTaken { .. }
                | Event::Compared { .. }
                | Event::RoundOpened { .. }
                | Event::IsolationOpened(_)
                | Event::SpareBrought { .. }
                | Event::TrialOpened { .. }
                | Event::TrialDone { .. }
                | Event::VerdictReached { .. }
                | Event::TailSetAside { .. }
                | Event::Declared { .. }
                | Event::Signed { .. }
                | Event::Amended { .. }
        )
}

fn did(event: &Event, leaves_open: bool) -> Option<Did> {
    Some(match event {
        Event::Answered { value, how, took_ms, serial, .. } => Did::Answered {
            value: value.clone(),
            how: *how,
            took_ms: *took_ms,
            serial: serial.clone(),
            corrected_by: None,
        },
        Event::Refused { value, how, why, .. } => Did::Refused { value: value.clone(), how: *how, why: why.clone() },
        Event::Corrected { corrects, why, .. } => Did::Corrected { corrects: *corrects, why: why.clone() },
        Event::Overridden { why, name, .. } if leaves_open => {
            Did::LeftOpen { why: why.clone(), name: name.clone(), corrected_by: None }
        }
        Event::Overridden { as_what, why, name, .. } => {
            Did::Skipped { as_what: *as_what, why: why.clone(), name: name.clone(), corrected_by: None }
        }
        Event::ProblemReported { slot, text, .. } => {
            let slot = slot.as_ref().map(|slot| slot.0.clone());
            Did::Problem { slot, text: text.clone(), put_right: None }
        }
        Event::Noted { text, .. } => Did::Noted { text: text.clone() },
        Event::Paused { why, .. } => Did::Paused { why: why.clone() },
        Event::Resumed { away_ms, .. } => Did::Resumed { away_ms: *away_ms },
        Event::SnapshotTaken { .. } => Did::Reported,
        _ => return None,
    })
}

fn take_back(entries: &mut [Entry], corrects: u64, by_line: u64) {
    for entry in entries.iter_mut().filter(|entry| entry.line == corrects) {
        if let Did::Answered { corrected_by, .. }
        | Did::Skipped { corrected_by, .. }
        | Did::LeftOpen { corrected_by, .. } = &mut entry.did
        {
            *corrected_by = Some(by_line);
        }
    }
}

fn other(line: &Line) -> Other {
    let fields = match serde_json::to_value(&line.event) {
        Ok(serde_json::Value::Object(mut fields)) => {
            fields.remove("event");
            serde_json::Value::Object(fields).to_string()
        }
        _ => String::new(),
    };
    Other { line: line.n, at: time::text(&line.at), by: line.by.clone(), event: line.event.name().to_owned(), fields }
}

fn report(line: &Line, snapshot: &Snapshot) -> Report {
    let fitted = snapshot.slots.iter().filter(|slot| slot.state == SlotState::Fitted).count();
    Report {
        line: line.n,
        at: time::text(&line.at),
        taken: time::text(&snapshot.taken),
        host: snapshot.host.name.clone(),
        boot_id: snapshot.host.boot_id.clone(),
        firmware: snapshot.host.firmware.clone(),
        fitted: u32::try_from(fitted).unwrap_or(u32::MAX),
        firmware_mib: snapshot.totals.firmware_mib,
        os_kib: snapshot.totals.os_kib,
        watched: snapshot.watched(),
        gaps: snapshot.gaps.iter().map(|gap| format!("{}: {}", gap.what, gap.costs)).collect(),
        compared_line: None,
        findings: Vec::new(),
        on_purpose: Vec::new(),
    }
}

/// Where the job stands; `open` items are to be done still.
fn stand(job: &Job, open: usize) -> Stand {
    let countersigned = job.standing_declarations().any(|declared| declared.role == Role::Supervisor);
    let amended = job.amendments().last().map(|amendment| amendment.line);
    let reopened = job.declarations().iter().filter_map(|declared| declared.reopened_by).max();
    match (job.is_done(), job.is_paused(), reopened) {
        (true, _, _) if countersigned => Stand::Countersigned,
        (true, _, _) => Stand::Declared,
        (false, true, _) => Stand::Paused,
        (false, false, _) if open > 0 => Stand::Open,
        (false, false, None) => Stand::Unsigned,
        (false, false, Some(line)) if amended.is_some_and(|amended| amended >= line) => Stand::Amended,
        (false, false, Some(_)) => Stand::Reopened,
    }
}

/// Who stands to the job, and what each sign-off rests on.
fn signed(job: &Job) -> Vec<SignedAs> {
    let of = |role| {
        job.standing_declarations().filter(move |declared| declared.role == role).map(move |declared| {
            let by = match (&declared.key, declared.signed) {
                (None, _) => SignedBy::TypedName,
                (Some(_), Some(_)) => SignedBy::Key,
                (Some(_), None) => SignedBy::NoSignature,
            };
            SignedAs { role, by }
        })
    };
    of(Role::Technician).chain(of(Role::Supervisor)).collect()
}

fn about(input: &Input<'_>, people: Vec<String>, open: usize) -> About {
    let opened = input.job.opened();
    let unit = opened.plan.order.unit.iter().find(|unit| unit.chassis == opened.unit);
    About {
        job: opened.job.clone(),
        version: opened.version.clone(),
        technician: opened.technician.clone(),
        workers: people.iter().filter(|name| input.job.worked_on_it(name)).cloned().collect(),
        people,
        unit: opened.unit.clone(),
        enclosure: unit.and_then(|unit| unit.enclosure.clone()),
        bay: unit.and_then(|unit| unit.bay.clone()),
        board: opened.board.name.clone(),
        practice: opened.practice.as_ref().map(|practice| practice.fault.clone()),
        opened_at: time::text(&input.job.opened_at()),
        last_at: time::text(&input.job.last().0),
        worked_ms: u64::try_from(input.job.worked().as_millis()).unwrap_or(u64::MAX),
        lines: input.job.lines(),
        head: input.head.hash.to_string(),
        fingerprint: crate::record::chain::fingerprint(&input.head.hash),
        state: stand(input.job, open),
        signed: signed(input.job),
        torn: input.torn.map(|torn| torn.kind.words().to_owned()),
    }
}

fn planned(plan: &Plan) -> Planned {
    let told = |slot: &str, action, from: Option<&crate::board::SlotLabel>, module: &crate::module::Module, lot| {
        PlannedModule {
            slot: slot.to_owned(),
            action,
            from: from.map(|from| from.0.clone()),
            maker: module.identity.maker.clone(),
            part: module.identity.part.clone(),
            serial: module.identity.serial.clone(),
            date: module.identity.date.clone(),
            spec: module.spec.to_string(),
            lot,
        }
    };
    Planned {
        plan: plan.name.clone(),
        order: plan.order.name.clone(),
        capacity: plan.capacity().to_string(),
        mts: plan.mts.map(|mts| mts.0),
        reasons: plan.reasons.clone(),
        modules: plan
            .slot
            .iter()
            .map(|at| {
                let action = match at.action {
                    Action::Keep => "keep",
                    Action::Insert => "insert",
                    Action::Move => "move",
                };
                told(at.slot.as_str(), action, at.from.as_ref(), &at.module, at.lot.clone())
            })
            .collect(),
        removed: plan
            .remove
            .iter()
            .map(|gone| told(gone.slot.as_str(), "remove", None, &gone.module, gone.to.clone()))
            .collect(),
    }
}

fn measured(job: &Job, steps: &Steps) -> Vec<Measured> {
    let mut told = Vec::new();
    for (card, _, step) in steps.iter() {
        let Some(standing) = job.answer(&step.id) else { continue };
        let crate::record::Answer::Given { value, .. } = &standing.answer else { continue };
        let mut sources = Vec::new();
        let (unit, wanted) = match &step.evidence {
            Evidence::Reading { unit, lowest, highest } => {
                sources.extend([lowest, highest].into_iter().flatten().map(|bound| bound.source.clone()));
                let wanted = match (lowest, highest) {
                    (Some(low), Some(high)) => Some(format!("{} to {}", low.value, high.value)),
                    (Some(low), None) => Some(format!("at least {}", low.value)),
                    (None, Some(high)) => Some(format!("at most {}", high.value)),
                    (None, None) => None,
                };
                (unit.clone(), wanted)
            }
            Evidence::Count { expected } => (String::new(), Some(expected.to_string())),
            Evidence::Tally => (String::new(), None),
            Evidence::TallyBack { .. } => (String::new(), Some("as counted before".to_owned())),
            _ => continue,
        };
        let card = steps.cards.get(card).map(|card| card.name.clone()).unwrap_or_default();
        let (line, text) = (standing.line, one_line(&step.text));
        told.push(Measured { line, card, text, value: value.clone(), unit, wanted, sources });
    }
    told
}

fn rounds(input: &Input<'_>, reports: &[Report]) -> Vec<RoundTold> {
    let told = |round: &crate::record::Round| {
        let slots: Vec<String> = round.slots.iter().map(|slot| slot.0.clone()).collect();
        let next = reports.iter().find(|report| report.line > round.line && report.compared_line.is_some());
        let outcome = match next {
            None => "no report of the machine since".to_owned(),
            Some(report) => {
                let still: Vec<String> = report
                    .findings
                    .iter()
                    .filter(|finding| finding.slot.as_ref().is_some_and(|slot| round.slots.contains(slot)))
                    .map(|finding| {
                        let slot = finding.slot.as_ref().map(|slot| slot.0.as_str()).unwrap_or_default();
                        format!("{} at {slot}", finding.kind.name())
                    })
                    .collect();
                if still.is_empty() {
                    format!("gone: the report of line {} shows nothing at these slots", report.line)
                } else {
                    format!("not gone: the report of line {} still shows {}", report.line, still.join(", "))
                }
            }
        };
        RoundTold {
            line: round.line,
            at: input
                .lines
                .iter()
                .find(|line| line.n == round.line)
                .map(|line| time::text(&line.at))
                .unwrap_or_default(),
            round: round.round,
            slots,
            snapshot_line: round.snapshot_line,
            outcome,
            amended: Vec::new(),
        }
    };
    input.job.rounds().iter().map(told).collect()
}

fn declarations(job: &Job) -> Vec<Declared> {
    job.declarations()
        .iter()
        .map(|declared| Declared {
            line: declared.line,
            at: time::text(&declared.at),
            name: declared.name.clone(),
            role: declared.role,
            statement: declared.statement.clone(),
            reason: declared.reason.clone(),
            key: declared.key.clone(),
            signed: declared.signed,
            reopened_by: declared.reopened_by,
            replaced_by: declared.replaced_by,
        })
        .collect()
}
