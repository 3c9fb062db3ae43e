//! The slot map as a picture: every state has a shape and a word of its own, so that neither colour nor sight is needed; a
//! table with the same content stands below it.

use maud::{Markup, html};

use super::clean;
use crate::board::Board;
use crate::draw::places;
use crate::report::story::{SlotMark, SlotTold};
use crate::report::words::{counted, list};

/// The least width and the height of one slot, in the drawing's units; letters are 11 units high.
const CELL: usize = 46;
const HEIGHT: usize = 76;
const GAP: usize = 4;
const LETTER: usize = 11;

/// The map of a board.
pub(super) fn slot_map(board: &Board, slots: &[SlotTold]) -> Markup {
    let places = places(board);
    let longest = slots.iter().map(|slot| label(&slot.slot).len()).max().unwrap_or_default();
    // A bold digit of the fonts named in the style is at most 0.7 of its height wide.
    let cell = CELL.max(longest * LETTER * 7 / 10 + 8);
    let (width, height) = (places.columns * (cell + GAP), places.rows * (HEIGHT + GAP));
    let corner = |(row, column): (usize, usize)| (column * (cell + GAP), row * (HEIGHT + GAP));
    html! {
        svg class="map" role="img" aria-labelledby="map-title map-desc"
            viewBox=(format!("0 0 {width} {height}")) xmlns="http://www.w3.org/2000/svg" {
            title id="map-title" { "Slot map of the board, as the technician stands" }
            desc id="map-desc" { (in_words(slots)) }
            @for (place, name) in &places.sockets {
                @let (x, y) = corner(*place);
                text x=(x + cell / 2) y=(y + HEIGHT / 2 - 6) text-anchor="middle" font-size="10" fill="#555" { "socket" }
                text x=(x + cell / 2) y=(y + HEIGHT / 2 + 10) text-anchor="middle" font-size="14" font-weight="700" { (name) }
            }
            @for (index, place) in &places.slots {
                @if let Some(slot) = slots.get(*index) {
                    @let (x, y) = corner(*place);
                    g transform=(format!("translate({x} {y})")) {
                        (slot_cell(slot, cell))
                    }
                }
            }
        }
    }
}

fn slot_cell(slot: &SlotTold, cell: usize) -> Markup {
    let strong = matches!(slot.mark, SlotMark::Finding | SlotMark::Skipped);
    let (line, pen) = if strong { (2, "#111") } else { (1, "#888") };
    html! {
        rect x="1" y="1" width=(cell - 2) height=(HEIGHT - 2) rx="2"
            fill=(if strong { "#fff3d6" } else { "#fff" }) stroke=(pen) stroke-width=(line) {}
        text x=(cell / 2) y="15" text-anchor="middle" font-size=(LETTER) font-weight="700" { (label(&slot.slot)) }
        g transform=(format!("translate({} 22)", cell / 2 - 14)) { (shape(slot.mark)) }
        text x=(cell / 2) y="68" text-anchor="middle" font-size="10" { (slot.mark.word()) }
    }
}

fn label(label: &str) -> String {
    crate::text::shown_within(label, 16).to_string()
}

/// The sign of a state, 28 by 28.
pub(super) fn shape(mark: SlotMark) -> Markup {
    html! {
        @match mark {
            SlotMark::Finding => {
                path d="M14 1 27 14 14 27 1 14Z" fill="#111" {}
                path d="M9 9 19 19M19 9 9 19" stroke="#fff" stroke-width="3" fill="none" {}
            }
            SlotMark::Skipped => {
                path d="M14 2 27 26H1Z" fill="#fff" stroke="#111" stroke-width="2" {}
                path d="M14 10V18M14 20V23" stroke="#111" stroke-width="3" fill="none" {}
            }
            SlotMark::ToDo => {
                path d="M5 5H23V23H5Z" fill="none" stroke="#111" stroke-width="2" stroke-dasharray="4 3" {}
                path d="M14 9V19M9 14H19" stroke="#111" stroke-width="2" fill="none" {}
            }
            SlotMark::Cured => {
                path d="M14 2 26 14 14 26 2 14Z" fill="none" stroke="#111" stroke-width="2" {}
                path d="M8.5 14 12.5 18 20 10" stroke="#111" stroke-width="2.5" fill="none" {}
            }
            SlotMark::Done => {
                path d="M4 4H24V24H4Z" fill="#444" {}
                path d="M8 14 12.5 18.5 20.5 9.5" stroke="#fff" stroke-width="3" fill="none" {}
            }
            SlotMark::Kept => { circle cx="14" cy="14" r="10" fill="#444" {} }
            SlotMark::Removed => {
                path d="M4 4H24V24H4Z" fill="none" stroke="#111" stroke-width="2" {}
                path d="M8 14H20" stroke="#111" stroke-width="3" fill="none" {}
            }
            SlotMark::Empty => { circle cx="14" cy="14" r="4" fill="none" stroke="#888" stroke-width="1.5" {} }
        }
    }
}

/// What the shapes in use mean.
pub(super) fn legend(slots: &[SlotTold]) -> Markup {
    html! {
        ul class="legend" {
            @for mark in SlotMark::ALL.into_iter().filter(|mark| slots.iter().any(|slot| slot.mark == *mark)) {
                li {
                    svg viewBox="0 0 28 28" aria-hidden="true" { (shape(mark)) }
                    span { strong { (mark.word()) } ": " (mark.meaning()) }
                }
            }
        }
    }
}

/// The map in one sentence, for those who hear it.
fn in_words(slots: &[SlotTold]) -> String {
    let mut parts = Vec::new();
    for mark in SlotMark::ALL {
        let own: Vec<String> = slots.iter().filter(|s| s.mark == mark).map(|s| clean(&s.slot).to_string()).collect();
        match own.len() {
            0 => {}
            n if mark == SlotMark::Empty => parts.push(format!("{} empty", counted(n, "slot"))),
            _ => parts.push(format!("{}: {}", mark.word(), list(&own))),
        }
    }
    format!("{}. The table below says the same.", parts.join("; "))
}
