//! A snapshot as a page of text. Everything from the machine passes `shown`.

use std::fmt::Write as _;

use crate::snapshot::{SlotReport, SlotState, Snapshot};
use crate::text::{shown, shown_within};
use crate::units::Size;

/// The widest a column may get, in characters.
const WIDEST: usize = 28;

/// The summary: the machine, its slots, totals, errors, and what could not be read.
pub(super) fn text(snapshot: &Snapshot) -> String {
    let mut out = String::new();
    machine(&mut out, snapshot);
    slots(&mut out, &snapshot.slots);
    totals(&mut out, snapshot);
    errors(&mut out, snapshot);
    oddities(&mut out, snapshot);
    gaps(&mut out, snapshot);
    out
}

fn machine(out: &mut String, snapshot: &Snapshot) {
    let host = &snapshot.host;
    let model = [host.maker.as_deref(), host.product.as_deref()].into_iter().flatten().collect::<Vec<_>>().join(" ");
    let facts = [
        ("machine", (!model.is_empty()).then_some(model)),
        ("serial", host.serial.clone()),
        ("chassis", host.chassis_tag.clone().or_else(|| host.chassis_serial.clone())),
        ("name", host.name.clone()),
        ("taken", Some(snapshot.taken.to_rfc3339())),
    ];
    for (name, value) in facts {
        if let Some(value) = value {
            line(out, &format!("{name:<9}{}", shown(&value)));
        }
    }
    let sockets = host.cpus.len();
    if sockets > 0 {
        let populated = host.cpus.iter().filter(|cpu| cpu.populated == Some(true)).count();
        line(out, &format!("{:<9}{populated} of {sockets} populated", "sockets"));
    }
}

fn slots(out: &mut String, slots: &[SlotReport]) {
    line(out, "");
    if slots.is_empty() {
        line(out, "No slot is known.");
        return;
    }
    let count = |state| slots.iter().filter(|slot| slot.state == state).count();
    let mut counts = vec![format!("{} fitted", count(SlotState::Fitted)), format!("{} empty", count(SlotState::Empty))];
    for (state, words) in [(SlotState::ShutOff, "shut off"), (SlotState::Unknown, "unknown")] {
        if count(state) > 0 {
            counts.push(format!("{} {words}", count(state)));
        }
    }
    line(out, &format!("{} {}: {}", slots.len(), if slots.len() == 1 { "slot" } else { "slots" }, counts.join(", ")));
    line(out, "");
    let mut rows = vec![["slot", "state", "size", "MT/s", "part", "serial"].map(str::to_owned)];
    rows.extend(slots.iter().map(|slot| {
        [
            name(slot, slots),
            state(slot.state).to_owned(),
            slot.size_mib.map_or_else(|| blank(slot), |mib| Size::from_mib(mib).to_string()),
            speed(slot),
            value(slot, slot.part.as_deref()),
            value(slot, slot.serial.as_deref()),
        ]
    }));
    table(out, &rows);
    for slot in slots {
        if let Some(because) = &slot.because {
            line(out, "");
            line(out, &format!("{}: {}", name(slot, slots), shown_within(because, 300)));
        }
    }
}

/// The locator; where it repeats, with the bank, and where both repeat, with the handle.
fn name(slot: &SlotReport, slots: &[SlotReport]) -> String {
    let locator = slot.locator.as_deref();
    let handle = slot.handle.map_or_else(String::new, |handle| format!("{handle:#06x}"));
    let Some(text) = locator else { return handle };
    let text = shown_within(text, WIDEST);
    let same = || slots.iter().filter(|other| other.locator.as_deref() == locator);
    if same().count() < 2 {
        text.to_string()
    } else if let (Some(bank), 1) = (&slot.bank, same().filter(|other| other.bank == slot.bank).count()) {
        format!("{text} / {}", shown_within(bank, WIDEST))
    } else {
        format!("{text} ({handle})")
    }
}

fn state(state: SlotState) -> &'static str {
    match state {
        SlotState::Fitted => "fitted",
        SlotState::Empty => "empty",
        SlotState::ShutOff => "SHUT OFF",
        SlotState::Unknown => "unknown",
    }
}

/// Nothing for an empty slot, a question mark for what is not known of a module.
fn blank(slot: &SlotReport) -> String {
    if slot.state == SlotState::Empty { String::new() } else { "?".to_owned() }
}

fn value(slot: &SlotReport, value: Option<&str>) -> String {
    value.map_or_else(|| blank(slot), |value| shown_within(value, WIDEST).to_string())
}

/// What it runs at, of what it is rated for.
fn speed(slot: &SlotReport) -> String {
    match (slot.configured_mts, slot.rated_mts) {
        (Some(runs), Some(rated)) if runs == rated => runs.to_string(),
        (Some(runs), Some(rated)) => format!("{runs} of {rated}"),
        (Some(runs), None) => runs.to_string(),
        (None, Some(rated)) => format!("? of {rated}"),
        (None, None) => blank(slot),
    }
}

fn table(out: &mut String, rows: &[[String; 6]]) {
    let mut widths = [0; 6];
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = cell.len().max(*width);
        }
    }
    for row in rows {
        let cells: Vec<String> = row.iter().zip(widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
        line(out, cells.join("  ").trim_end());
    }
}

fn totals(out: &mut String, snapshot: &Snapshot) {
    let totals = &snapshot.totals;
    let mib = |mib: Option<u64>| mib.map_or_else(|| "unknown".to_owned(), gib);
    line(out, "");
    line(out, &format!("in the modules, as the firmware counts   {}", mib(totals.firmware_mib)));
    line(out, &format!("mapped to addresses by the firmware      {}", mib(totals.mapped_mib)));
    line(out, &format!("in the kernel's memory blocks            {}", mib(totals.blocks_mib)));
    line(out, &format!("left to the operating system             {}", mib(totals.os_kib.map(|kib| kib / 1024))));
    for (node, kib) in &totals.nodes_kib {
        line(out, &format!("{:<41}{}", format!("  of node {node}"), gib(kib / 1024)));
    }
}

/// A total: exact where it is whole, else to the tenth of a GiB, which is as far as anyone compares it.
fn gib(mib: u64) -> String {
    let size = Size::from_mib(mib);
    if mib < 1024 || size.whole_gib().is_some() {
        return size.to_string();
    }
    format!("{}.{} GiB", mib / 1024, mib % 1024 * 10 / 1024)
}

fn errors(out: &mut String, snapshot: &Snapshot) {
    let counted: Vec<_> = snapshot.counts.iter().filter(|count| count.any()).collect();
    let watched = snapshot.watched();
    line(out, "");
    if counted.is_empty() && watched.modules > 0 {
        line(out, &format!("No errors counted ({} of {} modules watched).", watched.modules, watched.of));
    } else if !counted.is_empty() {
        line(out, "Errors counted:");
    }
    for count in counted {
        line(out, &format!("  {}: {}", shown_within(&count.locator, WIDEST), count.words()));
    }
    if let Some(unknown) = watched.unknown() {
        line(out, &unknown);
    }
}

fn oddities(out: &mut String, snapshot: &Snapshot) {
    let notes: Vec<_> =
        snapshot.sources.iter().flat_map(|source| source.notes.iter().map(move |note| (source, note))).collect();
    if !notes.is_empty() {
        line(out, "");
        line(out, "Notes:");
    }
    for (source, note) in notes {
        line(out, &format!("  {}: {}", shown(&source.name), shown_within(note, 300)));
    }
}

fn gaps(out: &mut String, snapshot: &Snapshot) {
    if snapshot.gaps.is_empty() {
        return;
    }
    line(out, "");
    line(out, "Not read:");
    for gap in &snapshot.gaps {
        line(out, &format!("  {}", shown_within(&gap.what, 200)));
        line(out, &format!("    costs:   {}", shown_within(&gap.costs, 300)));
        line(out, &format!("    way out: {}", shown_within(&gap.remedy, 300)));
    }
}

fn line(out: &mut String, text: &str) {
    let _ = writeln!(out, "{text}");
}
