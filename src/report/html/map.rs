//! The slot map as a picture: every state has a shape and a word of its own, so that neither colour nor sight is needed; a
//! table with the same content stands below it.

use maud::{Markup, html};

use super::clean;
use crate::board::Board;
use crate::draw::{Places, places};
use crate::report::story::{SlotMark, SlotTold};
use crate::report::words::{counted, list};

/// Letters are this many units of the drawing high; a bold one of the fonts named in the style is at most 0.7 of that wide.
const LETTER: usize = 11;
const GAP: usize = 4;

/// How one slot is drawn: upright on boards whose slots lie in long rows, lying where they are stacked, so that a map is
/// never much higher than a page is wide.
#[derive(Clone, Copy)]
struct Cell {
    width: usize,
    height: usize,
    lies: bool,
}

impl Cell {
    fn of(places: &Places, slots: &[SlotTold]) -> Self {
        let letters = slots.iter().map(|slot| label(&slot.slot).len()).max().unwrap_or_default() * LETTER * 7 / 10;
        let lies = 2 * places.rows > places.columns;
        if lies {
            Self { width: (letters + 46).max(92), height: 36, lies }
        } else {
            Self { width: (letters + 8).max(52), height: 76, lies }
        }
    }

    fn corner(self, (row, column): (usize, usize)) -> (usize, usize) {
        (column * (self.width + GAP), row * (self.height + GAP))
    }
}

/// The map of a board.
pub(super) fn slot_map(board: &Board, slots: &[SlotTold]) -> Markup {
    let places = places(board);
    let cell = Cell::of(&places, slots);
    let (width, height) = cell.corner((places.rows, places.columns));
    html! {
        svg class="map" role="img" aria-labelledby="map-title map-desc"
            viewBox=(format!("0 0 {width} {height}")) width=(width * 8 / 5) preserveAspectRatio="xMinYMid"
            xmlns="http://www.w3.org/2000/svg" {
            title id="map-title" { "Slot map of the board, as the technician stands" }
            desc id="map-desc" { (in_words(slots)) }
            @for (place, name) in &places.sockets {
                @let (x, y) = cell.corner(*place);
                @let (x, y) = (x + cell.width / 2, y + cell.height / 2);
                text x=(x) y=(y - 5) text-anchor="middle" font-size="9" fill="#555" { "socket" }
                text x=(x) y=(y + 9) text-anchor="middle" font-size="13" font-weight="700" { (name) }
            }
            @for (index, place) in &places.slots {
                @if let Some(slot) = slots.get(*index) {
                    @let (x, y) = cell.corner(*place);
                    g transform=(format!("translate({x} {y})")) {
                        (slot_cell(slot, cell))
                    }
                }
            }
        }
    }
}

fn slot_cell(slot: &SlotTold, cell: Cell) -> Markup {
    let strong = matches!(slot.mark, SlotMark::Finding | SlotMark::Skipped);
    let (line, pen) = if strong { (2, "#111") } else { (1, "#888") };
    let middle = cell.width / 2;
    let (shape_at, anchor, label_at, word_at) = if cell.lies {
        ((5, 4), "start", (39, 16), (39, 29))
    } else {
        ((middle - 14, 22), "middle", (middle, 15), (middle, 68))
    };
    html! {
        rect x="1" y="1" width=(cell.width - 2) height=(cell.height - 2) rx="2"
            fill=(if strong { "#fff3d6" } else { "#fff" }) stroke=(pen) stroke-width=(line) {}
        text x=(label_at.0) y=(label_at.1) text-anchor=(anchor) font-size=(LETTER) font-weight="700" {
            (label(&slot.slot))
        }
        g transform=(format!("translate({} {})", shape_at.0, shape_at.1)) { (shape(slot.mark)) }
        text x=(word_at.0) y=(word_at.1) text-anchor=(anchor) font-size="10" { (slot.mark.word()) }
    }
}

/// A slot's label; a long one is cut with two points, and stands whole in the table.
fn label(label: &str) -> String {
    const LONGEST: usize = 16;
    let whole = clean(label).to_string();
    // What is cleaned is ASCII, so every byte is a character.
    match whole.get(..LONGEST - 2) {
        Some(head) if whole.len() > LONGEST => format!("{head}.."),
        _ => whole,
    }
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
