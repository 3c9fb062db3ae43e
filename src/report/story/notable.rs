//! What stands out: everything a supervisor must not miss, the gravest first.

use super::fold::Input;
use super::pace::{Paced, fast_runs};
use super::types::*;
use crate::isolate::{sure_words, trial_words};
use crate::record::time;
use crate::report::words::{counted, duration, hour, list};
use crate::verify::Grave;

/// What the fold has gathered.
pub(super) struct Noted<'a> {
    pub input: &'a Input<'a>,
    pub cards: &'a [CardTold],
    pub reports: &'a [Report],
    pub other: &'a [Other],
    pub people: &'a [String],
    pub paced: &'a [Option<Paced>],
    pub scripted: usize,
}

/// Everything that stands out.
pub(super) fn all(noted: &Noted<'_>) -> Vec<Notable> {
    let mut found = Vec::new();
    tails(noted, &mut found);
    findings(noted, &mut found);
    verdicts(noted, &mut found);
    signed(noted, &mut found);
    items(noted, &mut found);
    clock(noted, &mut found);
    found.extend(fast_runs(noted.paced));
    people(noted, &mut found);
    found.sort_by_key(|notable| (notable.grave, notable.kind, notable.line));
    found
}

fn fact(name: &'static str, value: impl Into<String>) -> Fact {
    Fact { name, value: value.into() }
}

fn notable(kind: NotableKind, grave: Grave, title: impl Into<String>, facts: Vec<Fact>, line: Option<u64>) -> Notable {
    Notable { kind, grave, title: title.into(), facts, line }
}

/// Who wrote a line and when.
fn signature(noted: &Noted<'_>, line: u64) -> Fact {
    // Lines are numbered from 1 without gaps, which reading has checked.
    let found = usize::try_from(line).ok().and_then(|n| noted.input.lines.get(n.checked_sub(1)?));
    fact("by", found.map_or_else(String::new, |l| format!("{} at {}", l.by, hour(&time::text(&l.at)))))
}

fn tails(noted: &Noted<'_>, found: &mut Vec<Notable>) {
    if let Some(torn) = noted.input.torn {
        found.push(notable(
            NotableKind::Tail,
            Grave::Look,
            "Something stands behind the last whole line and was confirmed to nobody",
            vec![fact("why", torn.kind.words()), fact("bytes", torn.bytes.to_string())],
            None,
        ));
    }
    for tail in noted.input.job.tails() {
        found.push(notable(
            NotableKind::Tail,
            Grave::Look,
            "A damaged end of the record was set aside",
            vec![
                fact("why", tail.why.clone()),
                fact("bytes", tail.bytes.to_string()),
                fact("kept in", tail.file.clone()),
                signature(noted, tail.line),
            ],
            Some(tail.line),
        ));
    }
}

fn findings(noted: &Noted<'_>, found: &mut Vec<Notable>) {
    let Some(last) = noted.reports.last() else { return };
    // A start without a report came after it: the problem reported then is how the machine stands.
    if noted.input.job.comparison().is_none() && last.compared_line.is_some() {
        return;
    }
    if last.compared_line.is_none() {
        found.push(notable(
            NotableKind::NotCompared,
            Grave::Look,
            "The last report of the machine was never compared with the plan",
            vec![signature(noted, last.line)],
            Some(last.line),
        ));
    }
    for finding in &last.findings {
        let mut facts = Vec::new();
        facts.extend(finding.slot.as_ref().map(|slot| fact("slot", slot.0.clone())));
        facts.extend(finding.module.as_ref().map(|module| fact("module", module.clone())));
        facts.extend(finding.planned.as_ref().map(|planned| fact("planned", planned.clone())));
        facts.extend(finding.reported.as_ref().map(|reported| fact("reported", reported.clone())));
        facts.push(fact("source", finding.source.clone()));
        facts.push(fact("next", finding.next.clone()));
        let title = format!("The last report differs from the plan: {}", finding.kind.name());
        found.push(notable(NotableKind::FindingOpen, finding.grave, title, facts, last.compared_line));
    }
}

/// What the searches for a fault came to.
fn verdicts(noted: &Noted<'_>, found: &mut Vec<Notable>) {
    for search in noted.input.job.isolations() {
        if let Some(run) = search.open_trial() {
            let what = if run.puts_back { "Modules were to be put back" } else { "A trial was begun" };
            let facts = vec![fact("change", trial_words(&run.changes)), signature(noted, run.line)];
            let title = format!("{what}, and no start after it was looked at");
            found.push(notable(NotableKind::TrialOpen, Grave::Look, title, facts, Some(run.line)));
        }
        let Some(reached) = &search.verdict else { continue };
        let verdict = &reached.verdict;
        let mut facts = Vec::new();
        if !verdict.which.is_empty() {
            facts.push(fact("which", verdict.which.clone()));
        }
        facts.extend(sure_words(&verdict.what, &verdict.probability).map(|sure| fact("probability", sure)));
        facts.push(fact("because", verdict.because.clone()));
        let trials = search.trials.iter().filter(|run| run.done.is_some() && !run.puts_back).count();
        facts.push(fact("trials", trials.to_string()));
        facts.push(signature(noted, reached.line));
        let title = format!("The search for the fault ended: {}", verdict.what);
        found.push(notable(NotableKind::Verdict, Grave::Look, title, facts, Some(reached.line)));
    }
}

/// Says at a verdict that stands out what starts after it show, and what was amended of it or of what it rests on.
pub(super) fn mark_verdicts(found: &mut [Notable], verdicts: &[Verdict]) {
    for notable in found.iter_mut().filter(|notable| notable.kind == NotableKind::Verdict) {
        let of_line = || verdicts.iter().filter(|verdict| Some(verdict.line) == notable.line);
        let changed: Vec<Fact> = of_line().filter_map(Verdict::changed).map(|text| fact("since", text)).collect();
        let amended = of_line().next().map(|verdict| verdict.amended.as_slice()).unwrap_or_default();
        let told = |one: &Amended| fact("amended", format!("line {} by {} in line {}", one.amends, one.by, one.line));
        let amended: Vec<Fact> = amended.iter().map(told).collect();
        if !changed.is_empty() {
            notable.title += "; the evidence has changed since";
        }
        if !amended.is_empty() {
            notable.title += "; amended after the sign-off";
        }
        notable.facts.extend(changed.into_iter().chain(amended));
    }
}

fn signed(noted: &Noted<'_>, found: &mut Vec<Notable>) {
    let job = noted.input.job;
    let open: usize = noted.cards.iter().map(|card| card.count(ItemStand::Open)).sum();
    if !job.is_done() {
        let reopened = job.declarations().iter().any(|declared| declared.reopened_by.is_some());
        let (how, title) = match (job.is_paused(), open, reopened) {
            (true, _, _) => ("it is paused", "The job is not signed off"),
            (false, 0, true) => ("a new signature is needed", "The job was changed after its sign-off"),
            (false, 0, false) => ("the sign-off is missing", "The job is not signed off"),
            (false, _, _) => ("it is still open", "The job is not signed off"),
        };
        let facts = vec![fact("stand", how), fact("open", counted(open, "item"))];
        found.push(notable(NotableKind::NotSigned, Grave::Look, title, facts, None));
    }
    for declared in job.declarations() {
        let Some(by) = declared.reopened_by else { continue };
        found.push(notable(
            NotableKind::Reopened,
            Grave::Look,
            "A sign-off no longer stands: the job was opened again after it",
            vec![
                fact("signed by", declared.name.clone()),
                fact("signed in", format!("line {}", declared.line)),
                signature(noted, by),
            ],
            Some(by),
        ));
    }
    for amendment in job.amendments() {
        let mut facts = vec![fact("amends", format!("line {}", amendment.amends))];
        facts.extend(amendment.was.as_ref().map(|was| fact("said", was.clone())));
        facts.extend([
            fact("is", amendment.now.clone()),
            fact("because", amendment.why.clone()),
            signature(noted, amendment.line),
        ]);
        let title = "After a sign-off something turned out to be otherwise";
        found.push(notable(NotableKind::Amended, Grave::Look, title, facts, Some(amendment.line)));
    }
}

/// Skipped, refused and corrected items, and problems: all that is told at a step.
fn items(noted: &Noted<'_>, found: &mut Vec<Notable>) {
    for (card, item) in noted.cards.iter().flat_map(|card| card.items.iter().map(move |item| (card, item))) {
        let place = |mut facts: Vec<Fact>| {
            facts.insert(0, fact("item", if item.text.is_empty() { item.step.clone() } else { item.text.clone() }));
            facts.insert(1, fact("on card", card.name.clone()));
            if let Some(slot) = &item.slot {
                facts.insert(2, fact("slot", slot.clone()));
            }
            facts
        };
        for entry in &item.entries {
            let by = fact("by", format!("{} at {}", entry.by, hour(&entry.at)));
            let (kind, grave, title, facts) = match &entry.did {
                Did::Skipped { as_what, why, name, corrected_by: None } => (
                    NotableKind::Skipped,
                    Grave::Look,
                    format!("An item was passed without its evidence: {}", as_what.words()),
                    vec![fact("why", why.clone()), fact("name", name.clone()), by],
                ),
                Did::LeftOpen { why, name, corrected_by: None } => (
                    NotableKind::LeftOpen,
                    Grave::Look,
                    "The findings of the last report were left open, by name".to_owned(),
                    vec![fact("why", why.clone()), fact("name", name.clone()), by],
                ),
                Did::Problem { slot, text, put_right } => {
                    let mut facts = vec![fact("said", text.clone()), by];
                    facts.extend(put_right.as_ref().map(|how| fact("put right", how.clone())));
                    facts.extend(
                        slot.as_ref()
                            .filter(|slot| item.slot.as_ref() != Some(slot))
                            .map(|slot| fact("at", slot.clone())),
                    );
                    let (grave, title) = match put_right {
                        Some(_) => (Grave::Note, "A problem was reported and put right"),
                        None => (Grave::Look, "A problem was reported; nothing says that it was put right"),
                    };
                    (NotableKind::Problem, grave, title.to_owned(), facts)
                }
                Did::Corrected { corrects, why } => {
                    let mut facts = vec![fact("was", taken_back(item, *corrects))];
                    facts.push(fact("is now", standing(item).unwrap_or_else(|| "open".to_owned())));
                    facts.extend([fact("why", why.clone()), by]);
                    (NotableKind::Corrected, Grave::Note, "An answer was taken back".to_owned(), facts)
                }
                _ => continue,
            };
            found.push(notable(kind, grave, title, place(facts), Some(entry.line)));
        }
        refused(item, found, place);
    }
}

fn refused(item: &Item, found: &mut Vec<Notable>, place: impl Fn(Vec<Fact>) -> Vec<Fact>) {
    let refused: Vec<(&Entry, &str, &str)> = item
        .entries
        .iter()
        .filter_map(|entry| match &entry.did {
            Did::Refused { value, why, .. } => Some((entry, value.as_str(), why.as_str())),
            _ => None,
        })
        .collect();
    let Some((first, _, _)) = refused.first() else { return };
    let title = match refused.len() {
        1 => "An answer was refused".to_owned(),
        n => format!("{n} answers were refused at one item"),
    };
    const MOST: usize = 5;
    let mut facts: Vec<Fact> = Vec::new();
    for (_, value, why) in refused.iter().take(MOST) {
        facts.extend([fact("given", *value), fact("why", *why)]);
    }
    if refused.len() > MOST {
        facts.push(fact("and", format!("{} more, listed with the item", refused.len() - MOST)));
    }
    facts.push(fact("by", format!("{} at {}", first.by, hour(&first.at))));
    found.push(notable(NotableKind::Refused, Grave::Note, title, place(facts), Some(first.line)));
}

/// What an entry said before it was taken back.
fn taken_back(item: &Item, line: u64) -> String {
    let said = item.entries.iter().find(|entry| entry.line == line).and_then(|entry| said(&entry.did));
    said.unwrap_or_else(|| format!("line {line}"))
}

/// What stands at an item.
fn standing(item: &Item) -> Option<String> {
    item.entries.iter().rev().find_map(|entry| match &entry.did {
        Did::Answered { corrected_by: None, .. }
        | Did::Skipped { corrected_by: None, .. }
        | Did::LeftOpen { corrected_by: None, .. } => said(&entry.did),
        _ => None,
    })
}

fn said(did: &Did) -> Option<String> {
    match did {
        Did::Answered { value, .. } => Some(value.clone()),
        Did::Skipped { as_what, .. } => Some(format!("passed: {}", as_what.words())),
        Did::LeftOpen { .. } => Some("findings left open".to_owned()),
        _ => None,
    }
}

fn clock(noted: &Noted<'_>, found: &mut Vec<Notable>) {
    for note in noted.input.job.clock_notes() {
        found.push(notable(
            NotableKind::Clock,
            Grave::Look,
            "The clock was set back: the order of the lines holds, their times may not",
            vec![fact("by how much", duration(note.back_ms)), signature(noted, note.line)],
            Some(note.line),
        ));
    }
    for pause in noted.input.job.pauses() {
        if let (Some(text), Some(line)) = (&pause.clock_note, pause.resumed) {
            let facts = vec![fact("said", text.clone()), signature(noted, line)];
            found.push(notable(
                NotableKind::Clock,
                Grave::Look,
                "The clock after a pause is in doubt",
                facts,
                Some(line),
            ));
        }
        if let (None, Some(line)) = (pause.paused, pause.resumed) {
            let mut facts = Vec::new();
            facts.extend(pause.away_ms.map(|ms| fact("away", duration(ms))));
            facts.push(signature(noted, line));
            let title = "The program ended without a pause: a crash, a power cut or a closed window";
            found.push(notable(NotableKind::Stopped, Grave::Note, title, facts, Some(line)));
        }
    }
}

fn people(noted: &Noted<'_>, found: &mut Vec<Notable>) {
    let technician = &noted.input.job.opened().technician;
    // Who countersigned, amended or noted put no hand to it.
    let worked = |name: &&String| *name != technician && noted.input.job.worked_on_it(name);
    let others: Vec<&String> = noted.people.iter().filter(worked).collect();
    if !others.is_empty() {
        let facts = vec![fact("opened by", technician.clone()), fact("also", list(&others))];
        let title = "More than one person worked on this job";
        found.push(notable(NotableKind::OtherHands, Grave::Note, title, facts, None));
    }
    if noted.scripted > 0 {
        let title = format!("{} came from an answers file and from no hand", counted(noted.scripted, "answer"));
        found.push(notable(NotableKind::Scripted, Grave::Look, title, Vec::new(), None));
    }
    for round in noted.input.job.rounds() {
        let slots: Vec<&str> = round.slots.iter().map(|slot| slot.as_str()).collect();
        let facts = vec![fact("slots", list(&slots)), signature(noted, round.line)];
        let title = format!("The machine was opened again after findings, round {}", round.round);
        found.push(notable(NotableKind::OpenedAgain, Grave::Note, title, facts, Some(round.line)));
    }
    for other in noted.other {
        let facts =
            vec![fact("event", other.event.clone()), fact("by", format!("{} at {}", other.by, hour(&other.at)))];
        let title = "This version has no words for an event; it is listed as it stands";
        found.push(notable(NotableKind::Unknown, Grave::Look, title, facts, Some(other.line)));
    }
}
