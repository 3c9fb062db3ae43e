//! The slip of one module as a page.

use maud::{Markup, html};

use super::{amended, barcode, closing, document, facts, practice, said};
use crate::report::seen;
use crate::report::slip::{Slip, Stay, check, identity, record};
use crate::report::words::moment;

/// The slip as a page.
pub fn slip_page(slip: &Slip) -> String {
    let body = html! {
        div class="slip" {
            (head(slip))
            main {
                section class="verdict" aria-labelledby="conclusion" {
                    h2 id="conclusion" hidden { "Conclusion" }
                    p class="lead" { (said(&slip.conclusion.sentence())) }
                    (amended(&slip.conclusion.amended))
                    ul { @for reason in &slip.conclusion.because { li { (said(reason)) } } }
                }
                div class="two" {
                    section aria-labelledby="module" {
                        h2 id="module" { "The module" }
                        (pairs(&identity(slip)))
                    }
                    section aria-labelledby="record" {
                        h2 id="record" { "The record" }
                        (pairs(&[record(slip), vec![("to check it", format!("this prints the digits: {}", check(slip)))]].concat()))
                    }
                }
                section aria-labelledby="where" {
                    h2 id="where" { "Where it was and what was seen" }
                    @for stay in &slip.stays { (at_slot(stay)) }
                    @if slip.stays.is_empty() { p { "In no slot of this machine." } }
                }
                @if !slip.also_amended.is_empty() {
                    section aria-labelledby="amended" {
                        h2 id="amended" { "Also amended in this record" }
                        (amended(&slip.also_amended))
                    }
                }
                // Lines to write on, for the desk that takes the slip.
                div class="fields" aria-hidden="true" {
                    div { "date" } div { "name" } div { "signature" }
                }
            }
            (closing(&slip.record))
        }
    };
    document(&format!("Module {}", slip.serial), &slip.record, &body)
}

fn head(slip: &Slip) -> Markup {
    html! {
        header {
            p class="kicker" { "Slip for one memory module" }
            h1 { "Module " (said(&slip.serial)) }
            (practice(&slip.record))
            div class="label" {
                (barcode::bars(&slip.serial))
                span class="serial" { (said(&slip.serial)) }
            }
        }
    }
}

fn pairs(pairs: &[(&'static str, String)]) -> Markup {
    facts(pairs.iter().map(|(name, value)| (*name, value.as_str())))
}

fn at_slot(stay: &Stay) -> Markup {
    html! {
        h3 {
            "Slot " (said(&stay.slot)) ": " (if stay.planned { "planned here" } else { "not planned here" })
            @if stay.there_now { ", there now" }
        }
        p class="kicker" {
            "socket " (said(&stay.socket)) ", channel " (said(&stay.channel)) ", position " (stay.position)
        }
        @if stay.seen.is_empty() {
            p { "Nothing is on record: it was never scanned nor reported here." }
        } @else {
            table {
                thead { tr { th scope="col" class="t" { "when" } th scope="col" class="n" { "line" } th scope="col" class="by" { "by" } th scope="col" { "what" } } }
                tbody {
                    @for entry in &stay.seen {
                        tr class=[seen::is_bad(entry).then_some("bad")] {
                            td class="t" { (moment(&entry.at)) }
                            td class="n" { (entry.line) }
                            td class="by" { (said(&entry.by)) }
                            td { (said(&seen::words(entry))) (amended(&entry.amended)) }
                        }
                    }
                }
            }
        }
    }
}
