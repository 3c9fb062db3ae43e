//! The story in a terminal.

use super::seen;
use super::story::*;
use super::text::Lines;
use super::words::{counted, duration, hour, list, moment, offset};
use crate::board::{Board, SlotRef};
use crate::draw::{Align, Drawing, Look, Mark, State, Tone, legend, slot_map, table};
use crate::record::Role;
use crate::units::Size;
use crate::verify::{Grave, serials_equal};

/// How the story is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wish {
    pub look: Look,
    /// Every item with all that was entered at it.
    pub items: bool,
}

/// The story as lines.
pub fn review(story: &Story, board: &Board, wish: Wish) -> Drawing {
    let mut lines = Lines::new(wish.look);
    top(&mut lines, story);
    stands_out(&mut lines, story);
    planned(&mut lines, story);
    slots(&mut lines, story, board);
    cards(&mut lines, story);
    measured(&mut lines, story);
    reports(&mut lines, story);
    tried(&mut lines, story);
    concluded(&mut lines, story);
    if !story.notes.is_empty() {
        lines.head("Notes");
        for note in &story.notes {
            let head = format!("{} {}, line {}:", moment(&note.at), note.by, note.line);
            lines.put(2, 2, &format!("{head} {}", note.text), Tone::Plain);
        }
    }
    for other in &story.other {
        lines.head("Events this version has no words for");
        lines.put(2, 4, &format!("line {} {} by {}: {}", other.line, other.event, other.by, other.fields), Tone::Plain);
    }
    if wish.items {
        items(&mut lines, story);
    }
    lines.drawing
}

fn top(lines: &mut Lines, story: &Story) {
    let record = &story.record;
    lines.put(0, 2, &format!("{}  {}", record.unit, headline(story)), Tone::Strong);
    if let Some(fault) = &record.practice {
        let text = format!("PRACTICE JOB, fault \"{fault}\": machine and modules are invented.");
        lines.put(0, 2, &text, Tone::Attention);
    }
    for (name, value) in about(story) {
        lines.pair(0, name, &value);
    }
}

/// In one line: is it done, and is anything open.
pub(super) fn headline(story: &Story) -> String {
    let open = story.open_findings().iter().filter(|finding| finding.grave != Grave::Note).count();
    let end = match story.reports.last() {
        None => "no report of the machine".to_owned(),
        Some(report) if report.compared_line.is_none() => "last report not compared".to_owned(),
        Some(_) if open == 0 => "the machine reports what the plan says".to_owned(),
        Some(_) => format!("{} open", counted(open, "finding")),
    };
    format!("{}; {end}", story.record.stand())
}

/// Which record, who, when, how long.
pub(super) fn about(story: &Story) -> Vec<(&'static str, String)> {
    let record = &story.record;
    let items = [ItemStand::Answered, ItemStand::Skipped, ItemStand::Open].map(|stand| story.items(stand));
    let [answered, skipped, open] = items;
    let left = match story.items(ItemStand::LeftOpen) {
        0 => String::new(),
        n => format!(", {n} left open with its findings"),
    };
    let wrote: Vec<&String> = record.people.iter().filter(|name| !record.workers.contains(name)).collect();
    let by = if record.workers.is_empty() { record.technician.clone() } else { list(&record.workers) };
    let by = if wrote.is_empty() { by } else { format!("{by}; lines also by {}", list(&wrote)) };
    let mut machine = vec![format!("{}, board {}", record.unit, record.board)];
    machine.extend(record.enclosure.as_ref().map(|enclosure| format!("enclosure {enclosure}")));
    machine.extend(record.bay.as_ref().map(|bay| format!("bay {bay}")));
    vec![
        ("job", record.job.clone()),
        ("machine", machine.join(", ")),
        ("by", by),
        (
            "when",
            format!(
                "{} to {} ({}), worked {}",
                moment(&record.opened_at),
                if record.opened_at.get(..10) == record.last_at.get(..10) {
                    hour(&record.last_at)
                } else {
                    moment(&record.last_at)
                },
                offset(&record.opened_at),
                duration(record.worked_ms)
            ),
        ),
        ("items", format!("{answered} answered, {skipped} skipped, {open} open{left}")),
        ("record", format!("{}, fingerprint {}", counted(record.lines as usize, "line"), record.fingerprint)),
        ("signatures", record.signatures()),
    ]
}

fn stands_out(lines: &mut Lines, story: &Story) {
    lines.head("What stands out");
    if story.stands_out.is_empty() {
        lines.put(2, 2, NOTHING, Tone::Plain);
    }
    for notable in &story.stands_out {
        let tone = match notable.grave {
            Grave::Stop => Tone::Wrong,
            Grave::Look => Tone::Attention,
            Grave::Note => Tone::Strong,
        };
        let line = notable.line.map(|line| format!(" (line {line})")).unwrap_or_default();
        let text = format!("{} {}: {}{line}", sign(notable.grave), notable.kind.word().to_uppercase(), notable.title);
        lines.put(0, 3, &text, tone);
        for fact in &notable.facts {
            lines.pair(3, fact.name, &fact.value);
        }
    }
}

/// What is said when nothing stands out.
pub(super) const NOTHING: &str =
    "Nothing: every item answered, none corrected, refused or skipped, and the last report as planned.";

/// How grave, as a sign that needs no colour.
pub(super) const fn sign(grave: Grave) -> &'static str {
    match grave {
        Grave::Stop => "XX",
        Grave::Look => "!!",
        Grave::Note => "--",
    }
}

fn planned(lines: &mut Lines, story: &Story) {
    lines.head("Planned");
    for (name, value) in plan(story) {
        lines.pair(2, name, &value);
    }
}

/// The plan in short.
pub(super) fn plan(story: &Story) -> Vec<(&'static str, String)> {
    let planned = &story.planned;
    let rate = planned.mts.map(|mts| format!(" at {mts} MT/s")).unwrap_or_default();
    let count = |action: &str| planned.modules.iter().filter(|module| module.action == action).count();
    let mut told = vec![
        ("plan", planned.plan.clone()),
        ("order", planned.order.clone()),
        ("when done", format!("{}{rate}", planned.capacity)),
    ];
    let work: Vec<String> = [
        (count("insert"), "put in"),
        (count("move"), "move"),
        (planned.removed.len(), "take out"),
        (count("keep"), "keep"),
    ]
    .into_iter()
    .filter(|(n, _)| *n > 0)
    .map(|(n, word)| format!("{word} {}", counted(n, "module")))
    .collect();
    told.push(("work", list(&work)));
    told.extend(planned.reasons.iter().map(|reason| ("because", reason.clone())));
    told
}

const fn state(mark: SlotMark) -> State {
    match mark {
        SlotMark::Finding => State::Finding,
        SlotMark::Skipped => State::Warned,
        SlotMark::Cured => State::Cured,
        SlotMark::ToDo => State::Planned,
        SlotMark::Done => State::Done,
        SlotMark::Kept => State::Fitted,
        SlotMark::Removed => State::Leaves,
        SlotMark::Empty => State::Empty,
    }
}

fn slots(lines: &mut Lines, story: &Story, board: &Board) {
    lines.head("Slots");
    let states: Vec<State> = story.slots.iter().map(|slot| state(slot.mark)).collect();
    let mark = |at: SlotRef<'_>| Mark::from(states.get(at.index).copied().unwrap_or(State::Empty));
    lines.append(slot_map(board, &mark, lines.look));
    lines.append(legend(states.iter().copied(), lines.look));
    lines.gap();
    let rows: Vec<Vec<String>> = story
        .slots
        .iter()
        .filter(|slot| slot.mark != SlotMark::Empty || !slot.history.is_empty())
        .map(|slot| {
            vec![
                slot.slot.clone(),
                slot.mark.word().to_owned(),
                slot.serial.clone().unwrap_or_else(|| "-".to_owned()),
                last_report(slot),
            ]
        })
        .collect();
    let heads = [("slot", Align::Left), ("stand", Align::Left), ("module", Align::Left), ("last report", Align::Left)];
    lines.append(table(&heads, &rows, lines.look));
    for slot in story.slots.iter().filter(|slot| slot.history.iter().any(seen::is_bad)) {
        lines.gap();
        lines.put(0, 2, &format!("history of {}", slot.slot), Tone::Strong);
        for entry in &slot.history {
            let tone = if seen::is_bad(entry) { Tone::Attention } else { Tone::Plain };
            lines.put(2, 4, &format!("{} line {}: {}", hour(&entry.at), entry.line, seen::words(entry)), tone);
            amended(lines, 4, &entry.amended);
        }
    }
}

/// What the machine last said of a slot, short: the serial only where it is not the one that is due.
pub(super) fn last_report(slot: &SlotTold) -> String {
    let last = slot.history.iter().rev().find(|seen| matches!(seen.what, What::Reported { .. }));
    let Some(Seen { what: What::Reported { state, size_mib, configured_mts, serial, .. }, .. }) = last else {
        return "-".to_owned();
    };
    let mut parts = vec![seen::state_word(*state).to_owned()];
    parts.extend(size_mib.filter(|mib| *mib > 0).map(|mib| Size::from_mib(mib).to_string()));
    parts.extend(configured_mts.filter(|mts| *mts > 0).map(|mts| format!("{mts} MT/s")));
    match (serial, &slot.serial) {
        (Some(own), Some(due)) if serials_equal(own, due) => parts.push("serial agrees".to_owned()),
        (Some(own), Some(_)) => parts.push(format!("OTHER serial {own}")),
        (Some(own), None) => parts.push(format!("serial {own}")),
        (None, _) => {}
    }
    parts.join(", ")
}

fn cards(lines: &mut Lines, story: &Story) {
    lines.head("Done, card by card");
    let rows: Vec<Vec<String>> = story
        .cards
        .iter()
        .map(|card| {
            vec![
                card.name.clone(),
                card.began.as_deref().map_or_else(|| "-".to_owned(), hour),
                duration(card.took_ms),
                format!("{}/{}", card.count(ItemStand::Answered), card.items.len()),
                card.remarks(),
            ]
        })
        .collect();
    let heads = [
        ("card", Align::Left),
        ("began", Align::Left),
        ("took", Align::Right),
        ("items", Align::Right),
        ("", Align::Left),
    ];
    lines.append(table(&heads, &rows, lines.look));
}

fn measured(lines: &mut Lines, story: &Story) {
    if story.measured.is_empty() {
        return;
    }
    lines.head("Measured and counted");
    let rows: Vec<Vec<String>> = story
        .measured
        .iter()
        .map(|value| {
            vec![
                format!("{} {}", value.value, value.unit).trim().to_owned(),
                value.wanted.clone().unwrap_or_else(|| NOT_JUDGED.to_owned()),
                value.line.to_string(),
                format!("{}: {}", value.card, value.text),
            ]
        })
        .collect();
    let heads = [("value", Align::Left), ("wanted", Align::Left), ("line", Align::Right), ("item", Align::Left)];
    lines.append(table(&heads, &rows, lines.look));
}

/// What is said of a value that nothing judged.
pub(super) const NOT_JUDGED: &str = "not judged";

fn reports(lines: &mut Lines, story: &Story) {
    lines.head("What the machine reported");
    if story.reports.is_empty() {
        lines.put(2, 2, "No report is on record.", Tone::Plain);
    }
    for report in &story.reports {
        lines.put(2, 2, &format!("line {}, {}", report.line, moment(&report.at)), Tone::Strong);
        for (name, value) in report_facts(report) {
            lines.pair(4, name, &value);
        }
        for text in on_purpose(report) {
            lines.put(4, 2, &text, Tone::Plain);
        }
        for finding in report.faults() {
            for (n, line) in finding.lines().iter().enumerate() {
                let (indent, tone) = if n == 0 { (4, Tone::Attention) } else { (7, Tone::Plain) };
                let line = if n == 0 { format!("{} {line}", sign(finding.grave)) } else { line.clone() };
                lines.put(indent, 2, &line, tone);
            }
        }
    }
}

/// What a search changed, so that no fault is there: why, and which slots.
pub(super) fn on_purpose(report: &Report) -> Vec<String> {
    let mut told: Vec<(&str, Vec<&str>)> = Vec::new();
    for one in &report.on_purpose {
        match told.iter_mut().find(|(why, _)| *why == one.why) {
            Some((_, slots)) => slots.push(&one.slot),
            None => told.push((&one.why, vec![&one.slot])),
        }
    }
    told.into_iter().map(|(why, slots)| format!("no fault: {}: {why}", list(&slots))).collect()
}

/// A report in short.
pub(super) fn report_facts(report: &Report) -> Vec<(&'static str, String)> {
    let mut told = Vec::new();
    told.extend(report.host.as_ref().map(|host| ("host", host.clone())));
    told.extend(report.firmware.as_ref().map(|firmware| ("firmware", firmware.clone())));
    let mut memory = vec![format!("{} fitted", counted(report.fitted as usize, "slot"))];
    memory.extend(report.firmware_mib.map(|mib| format!("{} by the firmware", Size::from_mib(mib))));
    memory.extend(report.os_kib.map(|kib| format!("{} MiB by the system", kib / 1024)));
    told.push(("memory", memory.join(", ")));
    let all = || format!("counted for all of {}", counted(report.watched.of, "module"));
    told.push(("errors", report.watched.unknown().unwrap_or_else(all)));
    told.extend(report.gaps.iter().map(|gap| ("not read", gap.clone())));
    let compared = match (report.compared_line, report.findings.len()) {
        (None, _) => "not compared with the plan".to_owned(),
        (Some(line), 0) => format!("as planned (line {line})"),
        (Some(line), _) => {
            let empty = match report.on_purpose.len() {
                0 => String::new(),
                n => format!(", and {} changed on purpose", counted(n, "slot")),
            };
            format!("{}{empty} (line {line})", counted(report.faults().count(), "finding"))
        }
    };
    told.push(("compared", compared));
    told
}

fn tried(lines: &mut Lines, story: &Story) {
    if story.rounds.is_empty() && story.trials.is_empty() {
        return;
    }
    lines.head("Tried");
    for round in &story.rounds {
        lines.put(2, 4, &tried_round(round), Tone::Plain);
        amended(lines, 4, &round.amended);
    }
    for trial in &story.trials {
        lines.put(2, 4, &tried_change(trial), Tone::Plain);
        amended(lines, 4, &trial.amended);
    }
}

pub(super) fn tried_round(round: &RoundTold) -> String {
    format!(
        "{} line {}: opened again (round {}) for {}, because of the report of line {}: {}",
        moment(&round.at),
        round.line,
        round.round,
        list(&round.slots),
        round.snapshot_line,
        round.outcome
    )
}

pub(super) fn tried_change(trial: &Trial) -> String {
    format!("{} line {}, {}: {}: {}", moment(&trial.at), trial.line, trial.by, trial.change, trial.outcome)
}

fn concluded(lines: &mut Lines, story: &Story) {
    lines.head("Concluded");
    for verdict in &story.verdicts {
        lines.put(2, 4, &verdict_words(verdict), Tone::Strong);
        for reason in &verdict.why {
            lines.put(4, 2, reason, Tone::Plain);
        }
        if let Some(text) = verdict.changed() {
            lines.put(4, 2, &text, Tone::Attention);
        }
        amended(lines, 4, &verdict.amended);
    }
    lines.put(2, 4, &headline(story), Tone::Plain);
    for declared in &story.declarations {
        lines.put(2, 4, &declared_words(declared), Tone::Plain);
    }
}

pub(super) fn verdict_words(verdict: &Verdict) -> String {
    let mut text = format!("{} line {}: {}", moment(&verdict.at), verdict.line, verdict.kind);
    text.extend(verdict.slot.as_ref().map(|slot| format!(" at {slot}")));
    text.extend(verdict.serial.as_ref().map(|serial| format!(", module {serial}")));
    text.extend(verdict.ppm.map(|ppm| format!(", probability {}", super::words::probability(ppm))));
    text
}

pub(super) fn declared_words(declared: &Declared) -> String {
    let role = match declared.role {
        Role::Technician => "technician",
        Role::Supervisor => "supervisor",
    };
    let mut text = format!(
        "{} line {}: {} as {role} states: \"{}\"",
        moment(&declared.at),
        declared.line,
        declared.name,
        declared.statement
    );
    text.extend(declared.reason.as_ref().map(|reason| format!(" Reason: \"{reason}\".")));
    text += &match (&declared.key, declared.signed) {
        (None, _) => " By typed name only, which is weaker.".to_owned(),
        (Some(key), Some(line)) => format!(" Signed in line {line} with key {key}; `slotwise audit` checks it."),
        (Some(key), None) => format!(" The signature with key {key} is missing."),
    };
    if let Some(line) = declared.reopened_by {
        text += &format!(" No longer stands: opened again by line {line}.");
    } else if let Some(line) = declared.replaced_by {
        text += &format!(" Line {line} took its place.");
    }
    text
}

fn items(lines: &mut Lines, story: &Story) {
    lines.head("Every item");
    for card in &story.cards {
        lines.gap();
        lines.put(0, 2, &format!("{} ({})", card.name, duration(card.took_ms)), Tone::Strong);
        for item in &card.items {
            let text = if item.text.is_empty() { &item.step } else { &item.text };
            let open = if item.stand == ItemStand::Open { "  OPEN" } else { "" };
            lines.put(2, 2, &format!("{text}{open}"), Tone::Quiet);
            for entry in &item.entries {
                let tone = match entry.did {
                    Did::Answered { corrected_by: None, .. } | Did::Reported | Did::Resumed { .. } => Tone::Plain,
                    _ => Tone::Attention,
                };
                let text = format!("{} line {}, {}: {}", hour(&entry.at), entry.line, entry.by, entry_words(entry));
                lines.put(4, 4, &text, tone);
                amended(lines, 6, &entry.amended);
            }
        }
    }
}

/// What was amended of the line before; a verdict has that of the lines it rests on, too.
pub(super) fn amended(lines: &mut Lines, indent: usize, told: &[Amended]) {
    for one in told {
        lines.put(indent, 2, &one.beside(), Tone::Attention);
    }
}

/// What was entered, in words.
pub(super) fn entry_words(entry: &Entry) -> String {
    let back = |line: &Option<u64>| line.map_or_else(String::new, |line| format!("; taken back in line {line}"));
    match &entry.did {
        Did::Answered { value, how, took_ms, serial, corrected_by } => {
            let serial = serial.as_ref().filter(|serial| *serial != value);
            let serial = serial.map_or_else(String::new, |serial| format!(", serial {serial}"));
            format!("{value}{serial} ({}, {}){}", how.words(), duration(*took_ms), back(corrected_by))
        }
        Did::Refused { value, how, why } => format!("REFUSED {value} ({}): {why}", how.words()),
        Did::Corrected { corrects, why } => format!("CORRECTED: line {corrects} no longer stands: {why}"),
        Did::Skipped { as_what, why, name, corrected_by } => {
            format!("SKIPPED, {}: {why} ({name}){}", as_what.words(), back(corrected_by))
        }
        Did::LeftOpen { why, name, corrected_by } => {
            format!("FINDINGS LEFT OPEN: {why} ({name}){}", back(corrected_by))
        }
        Did::Problem { slot, text, put_right } => {
            let slot = slot.as_ref().map_or_else(String::new, |slot| format!(" at {slot}"));
            let right = put_right.as_ref().map_or_else(String::new, |how| format!(" - put right: {how}"));
            format!("PROBLEM{slot}: {text}{right}")
        }
        Did::Noted { text } => format!("NOTE: {text}"),
        Did::Paused { why } => format!("paused: {why}"),
        Did::Resumed { away_ms } => {
            away_ms.map_or_else(|| "resumed".to_owned(), |ms| format!("resumed after {}", duration(ms)))
        }
        Did::Reported => "the machine's report was taken".to_owned(),
    }
}
