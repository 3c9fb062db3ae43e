//! Whether a record gives reason to send a module back.
//!
//! Only a verdict does: it weighs what else would look the same. Without one the slip says that the evidence does not
//! support a return, and which evidence is missing. A module is never sent back on a finding alone: seating, slot, channel
//! and processor contacts look the same in one slot.

use std::collections::BTreeMap;

use serde::Serialize;

use super::Stay;
use crate::report::story::{self, Amended, AtStart, Came, Seen, Since, Story, Verdict, What};
use crate::report::words::{counted, list, probability};
use crate::text::HANDS;
use crate::verify::{Finding, FindingKind, Grave, serials_equal};

/// What the record allows to conclude of a module.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Conclusion {
    /// Whether the evidence supports sending it back.
    pub supports_return: bool,
    /// The verdict that concerns it, if there is one.
    pub verdict: Option<Verdict>,
    pub because: Vec<String>,
    /// Starts after the verdict that speak against it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Since>,
    /// What was amended after a sign-off: of the verdict, of what it rests on, of what this slip shows.
    pub amended: Vec<Amended>,
}

impl Conclusion {
    /// The one sentence to read.
    pub fn sentence(&self) -> String {
        if !self.amended.is_empty() {
            return self.shaken();
        }
        match (&self.verdict, self.supports_return) {
            (Some(verdict), supports) => {
                let sure = verdict.ppm.map_or_else(
                    || "no probability was computed".to_owned(),
                    |ppm| format!("probability {}", probability(ppm)),
                );
                if let Some(since) = &self.since {
                    let seen = since.words("the module");
                    return format!(
                        "EVIDENCE CHANGED since the verdict ({}, {sure}): {seen}. The evidence does not support a return. {}",
                        verdict.kind,
                        Since::NEXT
                    );
                }
                let end = if supports {
                    "The evidence supports a return."
                } else {
                    "The evidence does not support a return."
                };
                format!("Verdict: {}, {sure}. {end}", verdict.kind)
            }
            (None, _) => "The evidence does not support a return.".to_owned(),
        }
    }

    /// The sentence where something was amended. What an amendment means a person has to say: until then it supports nothing.
    fn shaken(&self) -> String {
        let mut lines: Vec<u64> = self.amended.iter().map(|one| one.amends).collect();
        lines.sort_unstable();
        lines.dedup();
        let word = if lines.len() == 1 { "line" } else { "lines" };
        let lines: Vec<String> = lines.iter().map(u64::to_string).collect();
        let (lines, was) = (list(&lines), if lines.len() == 1 { "was" } else { "were" });
        let what = match &self.verdict {
            Some(verdict) => {
                let sure = verdict.ppm.map_or_else(String::new, |ppm| format!(", probability {}", probability(ppm)));
                let named = format!("the verdict ({}{sure})", verdict.kind);
                if self.amended.iter().any(|one| one.amends == verdict.line) {
                    format!("{named} was amended after the sign-off ({word} {lines})")
                } else if !verdict.amended.is_empty() {
                    format!("{word} {lines}, which {named} rests on, {was} amended after the sign-off")
                } else {
                    format!("{word} {lines} {was} amended after the sign-off; {named} is older")
                }
            }
            None => format!("{word} {lines} {was} amended after the sign-off"),
        };
        format!("AMENDED: {what}. By itself the evidence does not support a return: read first what was amended.")
    }
}

const COUNT_ALONE: &str = "A count of corrected errors alone convicts no module.";

/// What a working module never shows: it is not there, disabled, smaller than it is, or has uncorrected errors.
fn is_fault(finding: &Finding) -> bool {
    finding.fails() || finding.kind == FindingKind::WrongSize
}

/// Whether every failure of this module on record is a count of corrected errors.
fn only_counted(stays: &[Stay], serial: &str) -> bool {
    let all = || stays.iter().flat_map(|stay| &stay.seen);
    let found = |wanted: fn(&Finding) -> bool| {
        all().filter(|seen| matches!(&seen.what, What::Found { finding } if wanted(finding))).count()
    };
    let failed = |seen: &&Seen| matches!(&seen.what, What::Started { serial: own, came, .. } if *came != Came::Worked && serials_equal(own, serial));
    let counts = found(|finding| finding.counted_note().is_some());
    counts > 0 && counts >= all().filter(failed).count() && found(is_fault) == 0
}

pub(super) fn of(story: &Story, serial: &str, stays: &[Stay]) -> Conclusion {
    let verdict = story
        .verdicts
        .iter()
        .rev()
        .find(|verdict| verdict.serial.as_deref().is_some_and(|own| serials_equal(own, serial)))
        .cloned();
    let own = verdict.is_some();
    let counted = only_counted(stays, serial);
    let (verdict, mut because) = match verdict.or_else(|| elsewhere(story, serial, stays)) {
        Some(verdict) => {
            let mut because = verdict.why.clone();
            because.extend((own && counted).then(|| {
                format!("Wherever it failed, the record holds only a count of corrected errors. {COUNT_ALONE}")
            }));
            because.extend((!own).then(|| match verdict.kind.as_str() {
                "undecided" => "The search ended without a verdict, on this module or any other.".to_owned(),
                kind => format!("The verdict is on {kind}, not on this module."),
            }));
            (Some(verdict), because)
        }
        None => (None, missing(story, serial, stays)),
    };
    because.extend(verdict.as_ref().filter(|_| !own).and_then(|verdict| unexplained(story, serial, verdict)));
    let since = verdict
        .as_ref()
        .and_then(|verdict| if own { verdict.since.clone() } else { failed_since(story, serial, verdict) });
    // A verdict without a probability is an opinion.
    let supports = |verdict: &Verdict| own && verdict.kind == "module" && verdict.ppm.is_some();
    let supports_return = since.is_none() && !counted && verdict.as_ref().is_some_and(supports);
    let mut concluded = Conclusion { supports_return, verdict, because, since, amended: Vec::new() };
    concluded.because.extend(starts(story, serial));
    let of_verdict = concluded.verdict.iter().flat_map(|verdict| &verdict.amended);
    for one in of_verdict.chain(stays.iter().flat_map(|stay| &stay.seen).flat_map(|seen| &seen.amended)) {
        if !concluded.amended.contains(one) {
            concluded.amended.push(one.clone());
        }
    }
    concluded.amended.sort_by_key(|one| one.line);
    concluded.supports_return &= concluded.amended.is_empty();
    concluded
}

/// The starts after a verdict on something else at which this module failed, in a slot that the verdict does not call bad.
fn failed_since(story: &Story, serial: &str, verdict: &Verdict) -> Option<Since> {
    let starts = elsewhere_than(story, serial, verdict).filter(|start| start.line > verdict.line);
    Since::of(&starts.collect::<Vec<_>>(), true).filter(|_| verdict.kind != "undecided")
}

/// That this module failed in a slot which a verdict on a slot, a channel or a socket does not name.
fn unexplained(story: &Story, serial: &str, verdict: &Verdict) -> Option<String> {
    let failed = elsewhere_than(story, serial, verdict).filter(|start| start.came == Came::Failed);
    let mut slots: Vec<&str> = failed.map(|start| start.slot).collect();
    slots.sort_unstable();
    slots.dedup();
    (verdict.slot.is_some() && !slots.is_empty())
        .then(|| format!("It also failed in {}, which this verdict does not explain.", list(&slots)))
        .filter(|_| matches!(verdict.kind.as_str(), "slot" | "channel" | "socket"))
}

/// The starts with this module in a slot that a verdict does not call bad, where the machine started.
fn elsewhere_than<'a>(story: &'a Story, serial: &str, verdict: &Verdict) -> impl Iterator<Item = AtStart<'a>> {
    let bad = matches!(verdict.kind.as_str(), "slot" | "channel" | "socket");
    let slots: Vec<&str> = verdict.slot.iter().filter(|_| bad).flat_map(|slots| slots.split(' ')).collect();
    let counts = |start: &AtStart<'a>| {
        serials_equal(start.serial, serial) && start.came != Came::Dark && !slots.contains(&start.slot)
    };
    story::starts(&story.slots).into_iter().filter(counts).collect::<Vec<_>>().into_iter()
}

/// What all starts on record showed with this module in the machine, and without it: the desk counts for itself.
fn starts(story: &Story, serial: &str) -> Option<String> {
    /// Whether the machine did not start, and this module's slot with what was shown there.
    type Start<'a> = (bool, Option<(&'a str, Came)>);
    let all = story::starts(&story.slots);
    let mut by_line: BTreeMap<u64, Start<'_>> = BTreeMap::new();
    for one in &all {
        let start = by_line.entry(one.line).or_insert((one.came == Came::Dark, None));
        if serials_equal(one.serial, serial) {
            start.1 = Some((one.slot, one.came));
        }
    }
    let with: Vec<(&str, Came)> = by_line.values().filter_map(|(_, own)| *own).collect();
    if with.is_empty() {
        return None;
    }
    let number = |n: usize, of: usize| format!("{n} of {}", counted(of, "start"));
    if by_line.values().any(|(dark, _)| *dark) {
        let dark = with.iter().filter(|(_, came)| *came == Came::Dark).count();
        let without: Vec<bool> = by_line.values().filter(|(_, own)| own.is_none()).map(|(dark, _)| *dark).collect();
        let dark_without = without.iter().filter(|dark| **dark).count();
        return Some(format!(
            "The machine did not start at {} with it in, and at {} without it.",
            number(dark, with.len()),
            number(dark_without, without.len())
        ));
    }
    let mut failed: Vec<&str> = with.iter().filter(|(_, came)| *came == Came::Failed).map(|(slot, _)| *slot).collect();
    let times = failed.len();
    failed.sort_unstable();
    failed.dedup();
    let places = if failed.is_empty() { String::new() } else { format!(", in {}", list(&failed)) };
    Some(format!("It failed at {}{places}.", number(times, with.len())))
}

/// The last verdict on something else, where this module was in it: in its slot, its channel, its socket; or, where it names no
/// slot, where this module failed or the machine did not start with it in.
fn elsewhere(story: &Story, serial: &str, stays: &[Stay]) -> Option<Verdict> {
    let was_in = |stay: &Stay| {
        stay.seen.iter().any(|seen| match &seen.what {
            What::Started { serial: own, .. } => serials_equal(own, serial),
            What::Found { .. } | What::Reported { .. } => true,
            _ => false,
        })
    };
    let failed = |stay: &Stay| {
        stay.seen.iter().any(|seen| match &seen.what {
            What::Started { serial: own, came, .. } => *came != Came::Worked && serials_equal(own, serial),
            What::Found { finding } => is_fault(finding) && finding.grave != Grave::Note,
            _ => false,
        })
    };
    let touched = |slots: &Option<String>| match slots {
        Some(slots) => stays.iter().any(|stay| slots.split(' ').any(|slot| slot == stay.slot) && was_in(stay)),
        None => stays.iter().any(failed),
    };
    let others = story.verdicts.iter().rev().filter(|verdict| verdict.serial.is_none() && verdict.kind != "none");
    others.into_iter().find(|verdict| touched(&verdict.slot)).cloned()
}

/// Which evidence is missing, or what speaks for the module.
fn missing(story: &Story, serial: &str, stays: &[Stay]) -> Vec<String> {
    let mut because = Vec::new();
    let watched = |seen: &Seen| match &seen.what {
        What::Reported { corrected, uncorrected, .. } => Some(corrected.is_some() && uncorrected.is_some()),
        _ => None,
    };
    let reports: Vec<bool> = stays.iter().flat_map(|stay| &stay.seen).filter_map(watched).collect();
    let found = |wanted: fn(&Finding) -> bool| -> Vec<(&str, u64, &'static str)> {
        let mut all = Vec::new();
        for stay in stays {
            for seen in &stay.seen {
                if let What::Found { finding } = &seen.what
                    && finding.grave != Grave::Note
                    && wanted(finding)
                {
                    all.push((stay.slot.as_str(), seen.line, finding.kind.name()));
                }
            }
        }
        all
    };
    let faults = found(is_fault);
    let counts = found(|finding| finding.counted_note().is_some());
    let mix_ups = found(|finding| !is_fault(finding) && finding.counted_note().is_none());
    let last_compared = story.reports.iter().rev().find_map(|report| report.compared_line);
    let failed = |seen: &Seen| match &seen.what {
        What::Started { serial: own, came, .. } => *came == Came::Failed && serials_equal(own, serial),
        _ => false,
    };
    if faults.is_empty() {
        if stays.iter().flat_map(|stay| &stay.seen).any(failed) {
            because.push(
                "No finding names it, and yet it failed in the search. That may be the module, the slot, the channel or the \
                 seating: no verdict weighs them."
                    .to_owned(),
            );
        } else if reports.is_empty() {
            because.push("The machine never reported on it: no report was taken while it was in a slot.".to_owned());
        } else {
            let of = counted(reports.len(), "report");
            let errors = match reports.iter().filter(|watched| !**watched).count() {
                0 => ", and no errors counted.".to_owned(),
                n if n == reports.len() => ". Whether there were errors is not known: no error counter of it could be \
                                            read."
                    .to_owned(),
                n => format!(
                    ", and no errors counted. In {n} of {of} no error counter of it could be read, so errors then are not \
                     known."
                ),
            };
            because.push(format!("No fault was found where it was: {of}, it was neither missing nor shut off{errors}"));
        }
    } else {
        let mut slots: Vec<&str> = faults.iter().map(|(slot, _, _)| *slot).collect();
        slots.dedup();
        let still = faults.iter().any(|(_, line, _)| Some(*line) == last_compared);
        let kinds: Vec<String> =
            faults.iter().map(|(slot, line, kind)| format!("{kind} at {slot} in line {line}")).collect();
        because.push(format!("Found where it was: {}.", kinds.join("; ")));
        because.push(match (still, slots.as_slice()) {
            (false, _) => "The last report shows no fault where it is now. What goes away when a module is seated anew or \
                           moved is no fault of the module by itself: this is what a seating error looks like."
                .to_owned(),
            (true, [only]) => format!(
                "It was tried in one slot only. A bad module, a bad seating, a bad slot {only} and a bad channel look the \
                 same there. Try a good module in {only}, or this one elsewhere. {HANDS}"
            ),
            (true, several) => format!(
                "The fault showed in {}. That points to the module, but no verdict weighs it against the rest.",
                list(several)
            ),
        });
    }
    if !counts.is_empty() {
        let places: Vec<String> = counts.iter().map(|(slot, line, _)| format!("at {slot} in line {line}")).collect();
        because.push(format!("Corrected errors were counted {}. {COUNT_ALONE}", list(&places)));
    }
    if !mix_ups.is_empty() {
        let kinds: Vec<String> = mix_ups.iter().map(|(slot, _, kind)| format!("{kind} at {slot}")).collect();
        because.push(format!("Also found: {}. A mix-up is no fault of a module.", kinds.join("; ")));
    }
    because.push("The record holds no verdict on it.".to_owned());
    because
}
