//! The slip in a terminal.

use super::Slip;
use crate::draw::{Drawing, Look, Tone};
use crate::record::chain::fingerprint_line;
use crate::report::review::amended;
use crate::report::seen;
use crate::report::text::Lines;
use crate::report::words::{moment, offset};

/// The slip as lines.
pub fn slip_text(slip: &Slip, look: Look) -> Drawing {
    let mut lines = Lines::new(look);
    lines.put(0, 2, &format!("Slip for module {}", slip.serial), Tone::Strong);
    if let Some(fault) = &slip.record.practice {
        let text = format!("PRACTICE JOB, fault \"{fault}\": machine and module are invented.");
        lines.put(0, 2, &text, Tone::Attention);
    }
    lines.gap();
    lines.put(0, 2, &slip.conclusion.sentence(), Tone::Strong);
    amended(&mut lines, 0, &slip.conclusion.amended);
    for reason in &slip.conclusion.because {
        lines.put(0, 2, &format!("- {reason}"), Tone::Plain);
    }
    lines.head("The module");
    for (name, value) in identity(slip) {
        lines.pair(2, name, &value);
    }
    lines.head("Where it was and what was seen");
    for stay in &slip.stays {
        let now = if stay.there_now { ", there now" } else { "" };
        let planned = if stay.planned { "planned here" } else { "not planned here" };
        let head = format!(
            "slot {} (socket {}, channel {}, position {}): {planned}{now}",
            stay.slot, stay.socket, stay.channel, stay.position
        );
        lines.put(2, 4, &head, Tone::Strong);
        for entry in &stay.seen {
            let tone = if seen::is_bad(entry) { Tone::Attention } else { Tone::Plain };
            let text = format!("{} line {}, {}: {}", moment(&entry.at), entry.line, entry.by, seen::words(entry));
            lines.put(4, 4, &text, tone);
            amended(&mut lines, 6, &entry.amended);
        }
        if stay.seen.is_empty() {
            lines.put(4, 4, "nothing is on record: it was never scanned nor reported here", Tone::Plain);
        }
    }
    if slip.stays.is_empty() {
        lines.put(2, 2, "in no slot of this machine", Tone::Plain);
    }
    if !slip.also_amended.is_empty() {
        lines.head("Also amended in this record");
        amended(&mut lines, 2, &slip.also_amended);
    }
    lines.head("The record");
    for (name, value) in record(slip) {
        lines.pair(2, name, &value);
    }
    // On a line of its own, which is whole where a terminal has its 80 columns: so it can be copied.
    lines.pair(2, "to check it", "this prints the digits:");
    lines.put(4, 4, &check(slip), Tone::Plain);
    lines.drawing
}

/// What the module is, value by value; what is not known is said so.
pub(in crate::report) fn identity(slip: &Slip) -> Vec<(&'static str, String)> {
    let known = |value: &Option<String>| value.clone().unwrap_or_else(|| "not known".to_owned());
    vec![
        ("serial", slip.serial.clone()),
        ("part", known(&slip.part)),
        ("maker", known(&slip.maker)),
        ("what it is", known(&slip.spec)),
        ("made", known(&slip.date)),
        ("lot", known(&slip.lot)),
        ("known from", slip.known_from.join("; ")),
    ]
}

/// Which record says so.
pub(in crate::report) fn record(slip: &Slip) -> Vec<(&'static str, String)> {
    let record = &slip.record;
    vec![
        ("job", record.job.clone()),
        ("machine", record.unit.clone()),
        ("opened", format!("{} {} by {}", moment(&record.opened_at), offset(&record.opened_at), record.technician)),
        ("stand", record.stand()),
        ("lines", record.lines.to_string()),
        ("fingerprint", record.fingerprint.clone()),
        ("signatures", record.signatures()),
        ("head", record.head.clone()),
    ]
}

/// What prints the digits of the record's fingerprint.
pub(in crate::report) fn check(slip: &Slip) -> String {
    fingerprint_line("RECORD", slip.record.lines)
}
