//! The record as a page, in the order a reader asks; heard, it comes in the same order.

use maud::{Markup, html};

use super::{amended, closing, document, facts, map, practice, said};
use crate::board::Board;
use crate::report::review::{self, entry_words};
use crate::report::seen;
use crate::report::story::*;
use crate::report::words::{counted, duration, hour, list, moment};
use crate::verify::Grave;

/// The record as a page.
pub fn page(story: &Story, board: &Board) -> String {
    let record = &story.record;
    let body = html! {
        header {
            p class="kicker" { "Record of one memory job" }
            h1 { (said(&record.unit)) }
            p class="lead" { (said(&review::headline(story))) }
            (practice(record))
            (pairs(&review::about(story)))
        }
        main {
            (section("stands-out", "What stands out", &stands_out(story)))
            (section("slots", "The slots", &slots(story, board)))
            (section("planned", "What was planned", &planned(story)))
            (section("done", "What was done", &done(story)))
            @if !story.measured.is_empty() { (section("measured", "What was measured and counted", &measured(story))) }
            (section("reported", "What the machine reported", &reported(story)))
            @if !story.rounds.is_empty() || !story.trials.is_empty() { (section("tried", "What was tried", &tried(story))) }
            (section("concluded", "What was concluded", &concluded(story)))
            @if !story.notes.is_empty() { (section("notes", "Notes", &notes(story))) }
            @if !story.other.is_empty() { (section("other", "Events without words", &other(story))) }
            // Ahead of the long list, which nobody reads to its end to learn this.
            (closing(record))
            (section("items", "Every item", &items(story)))
        }
    };
    document(&format!("{} {}", record.unit, record.job), record, &body)
}

fn section(id: &str, name: &str, body: &Markup) -> Markup {
    html! { section aria-labelledby=(id) { h2 id=(id) { (name) } (body) } }
}

fn pairs(pairs: &[(&'static str, String)]) -> Markup {
    facts(pairs.iter().map(|(name, value)| (*name, value.as_str())))
}

fn stands_out(story: &Story) -> Markup {
    html! {
        @if story.stands_out.is_empty() { p { (review::NOTHING) } }
        ol class="out" {
            @for notable in &story.stands_out {
                li class=(class(notable.grave)) {
                    (sign(notable.grave))
                    div {
                        h3 { span class="word" { (notable.kind.word()) } ": " (said(&notable.title)) }
                        (facts(notable.facts.iter().map(|fact| (fact.name, fact.value.as_str()))))
                        @if let Some(line) = notable.line { p class="kicker" { "line " (line) " of the record" } }
                    }
                }
            }
        }
    }
}

const fn class(grave: Grave) -> &'static str {
    match grave {
        Grave::Stop => "stop",
        Grave::Look => "look",
        Grave::Note => "note",
    }
}

/// How grave, as a shape with a word for those who hear it.
fn sign(grave: Grave) -> Markup {
    let (word, mark) = match grave {
        Grave::Stop => ("Stop", SlotMark::Finding),
        Grave::Look => ("Look", SlotMark::Skipped),
        Grave::Note => ("Note", SlotMark::Empty),
    };
    html! { svg class="sign" viewBox="0 0 28 28" role="img" aria-label=(word) { (map::shape(mark)) } }
}

fn slots(story: &Story, board: &Board) -> Markup {
    let with_story = || story.slots.iter().filter(|slot| slot.mark != SlotMark::Empty || !slot.history.is_empty());
    html! {
        figure {
            div class="scroll" { (map::slot_map(board, &story.slots)) }
            (map::legend(&story.slots))
        }
        table {
            caption { "Slots that hold, held or are to hold a module. Slots not listed are empty." }
            thead { tr {
                th scope="col" { "slot" } th scope="col" class="t" { "stand" } th scope="col" { "module" }
                th scope="col" { "last report" }
            } }
            tbody {
                @for slot in with_story() {
                    tr {
                        th scope="row" { (said(&slot.slot)) }
                        td class=(if matches!(slot.mark, SlotMark::Finding | SlotMark::Skipped) { "t bad" } else { "t" }) { (slot.mark.word()) }
                        td { @match &slot.serial { Some(serial) => (said(serial)), None => "none" } }
                        td { (said(&review::last_report(slot))) }
                    }
                }
            }
        }
        @for slot in with_story().filter(|slot| slot.history.iter().any(seen::is_bad)) {
            h3 { "History of " (said(&slot.slot)) }
            ul class="plain" {
                @for entry in &slot.history {
                    li class=(if seen::is_bad(entry) { "told bad" } else { "told" }) {
                        (hour(&entry.at)) ", line " (entry.line) ": " (said(&seen::words(entry)))
                        (amended(&entry.amended))
                    }
                }
            }
        }
    }
}

fn planned(story: &Story) -> Markup {
    let modules = || story.planned.modules.iter().chain(&story.planned.removed);
    html! {
        (pairs(&review::plan(story)))
        table {
            caption { (counted(modules().count(), "module")) " of the plan" }
            thead { tr {
                th scope="col" { "slot" } th scope="col" { "what" } th scope="col" { "module" }
                th scope="col" { "serial" } th scope="col" { "lot" }
            } }
            tbody {
                @for module in modules() {
                    tr {
                        th scope="row" { (said(&module.slot)) }
                        td {
                            (module.action)
                            @if let Some(from) = &module.from { " from " (said(from)) }
                        }
                        td { (said(&described(module))) }
                        td { @match &module.serial { Some(serial) => (said(serial)), None => "any" } }
                        td { @if let Some(lot) = &module.lot { (said(lot)) } }
                    }
                }
            }
        }
    }
}

fn described(module: &PlannedModule) -> String {
    let parts: Vec<&str> =
        [module.maker.as_deref(), module.part.as_deref(), Some(module.spec.as_str())].into_iter().flatten().collect();
    parts.join(", ")
}

fn done(story: &Story) -> Markup {
    html! {
        table {
            caption { "Cards in order. Time is what was worked on the card, absences left out." }
            thead { tr {
                th scope="col" { "card" } th scope="col" class="t" { "began" } th scope="col" class="t" { "ended" }
                th scope="col" class="n" { "took" } th scope="col" class="n" { "items" } th scope="col" { "remarks" }
            } }
            tbody {
                @for card in &story.cards {
                    tr {
                        th scope="row" { (said(&card.name)) }
                        td class="t" { (card.began.as_deref().map_or_else(|| "-".to_owned(), hour)) }
                        td class="t" { (card.ended.as_deref().map_or_else(|| "-".to_owned(), hour)) }
                        td class="n" { (duration(card.took_ms)) }
                        td class="n" { (card.count(ItemStand::Answered)) " of " (card.items.len()) }
                        td { (card.remarks()) }
                    }
                }
            }
        }
    }
}

fn measured(story: &Story) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "item" } th scope="col" { "value" } th scope="col" class="w40" { "wanted" } th scope="col" class="n" { "line" }
            } }
            tbody {
                @for value in &story.measured {
                    tr {
                        th scope="row" { (said(&format!("{}: {}", value.card, value.text))) }
                        td class="t" { (said(format!("{} {}", value.value, value.unit).trim())) }
                        td {
                            (said(value.wanted.as_deref().unwrap_or(review::NOT_JUDGED)))
                            @for source in &value.sources { br; small { (said(source)) } }
                        }
                        td class="n" { (value.line) }
                    }
                }
            }
        }
    }
}

fn reported(story: &Story) -> Markup {
    html! {
        @if story.reports.is_empty() { p { "No report is on record." } }
        @for report in &story.reports {
            div class="keep" {
                h3 { "Line " (report.line) ", " (moment(&report.at)) }
                (pairs(&review::report_facts(report)))
            }
            @for text in review::on_purpose(report) { p { (said(&text)) } }
            @for finding in report.faults() {
                div class={ "keep " (class(finding.grave)) } {
                    @for (n, line) in finding.lines().iter().enumerate() {
                        @if n == 0 { p { strong { (said(line)) } } } @else { p { (said(line)) } }
                    }
                    p class="kicker" { "from: " (said(&finding.source)) }
                }
            }
        }
    }
}

fn tried(story: &Story) -> Markup {
    html! {
        ul {
            @for round in &story.rounds { li { (said(&review::tried_round(round))) (amended(&round.amended)) } }
            @for trial in &story.trials { li { (said(&review::tried_change(trial))) (amended(&trial.amended)) } }
        }
    }
}

fn concluded(story: &Story) -> Markup {
    html! {
        @for verdict in &story.verdicts {
            div class="verdict" {
                p class="lead" { (said(&review::verdict_words(verdict))) }
                ul { @for reason in &verdict.why { li { (said(reason)) } } }
                @if let Some(text) = verdict.changed() { p class="amended" { (said(&text)) } }
                (amended(&verdict.amended))
            }
        }
        @if story.verdicts.is_empty() && story.has_open_findings() {
            p { "No verdict is on record for what was found." }
        }
        @for declared in &story.declarations {
            p { (said(&review::declared_words(declared))) }
        }
        @if story.declarations.is_empty() { p { "Nobody has signed off." } }
        p { "Written by " (said(&list(&story.record.people))) "." }
    }
}

fn notes(story: &Story) -> Markup {
    html! {
        @for note in &story.notes {
            blockquote { p { (said(&note.text)) } p class="kicker" { (said(&note.by)) ", " (moment(&note.at)) ", line " (note.line) } }
        }
    }
}

fn other(story: &Story) -> Markup {
    html! {
        ul {
            @for other in &story.other {
                li { "line " (other.line) ", " (said(&other.event)) " by " (said(&other.by)) ": " code { (said(&other.fields)) } }
            }
        }
    }
}

fn items(story: &Story) -> Markup {
    html! {
        table class="items" {
            caption { "Every line of the record that belongs to an item, with the time from question to answer." }
            thead { tr {
                th scope="col" class="w1" { "item" } th scope="col" class="w2" { "what was entered" }
                th scope="col" class="w3" { "by" } th scope="col" class="w4" { "when" } th scope="col" class="w5 n" { "line" }
            } }
            @for card in &story.cards {
                tbody {
                    tr class="card" { th scope="rowgroup" colspan="5" { (said(&card.name)) } }
                    @for item in &card.items {
                        @if item.entries.is_empty() {
                            tr { th scope="row" { (item_name(item)) } td class="bad" { "open" } td {} td {} td {} }
                        }
                        @for (n, entry) in item.entries.iter().enumerate() {
                            tr {
                                @if n == 0 { th scope="row" rowspan=(item.entries.len()) { (item_name(item)) } }
                                td class=[is_odd(entry).then_some("bad")] { (said(&entry_words(entry))) (amended(&entry.amended)) }
                                td { (said(&entry.by)) }
                                td class="t" { (hour(&entry.at)) }
                                td class="n" { (entry.line) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Whether an entry is more than an answer that stands.
const fn is_odd(entry: &Entry) -> bool {
    !entry.amended.is_empty()
        || !matches!(
            entry.did,
            Did::Answered { corrected_by: None, .. }
                | Did::Reported
                | Did::Noted { .. }
                | Did::Paused { .. }
                | Did::Resumed { .. }
        )
}

fn item_name(item: &Item) -> Markup {
    html! {
        @if let Some(slot) = &item.slot { (said(slot)) ": " }
        (said(if item.text.is_empty() { &item.step } else { &item.text }))
    }
}
