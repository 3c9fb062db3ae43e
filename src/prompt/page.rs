//! A question as a page of a terminal: picture above, place, caution, slot, task, what is wanted, keys. Redrawn whole for
//! each question, so a window of another size is right again at the next one. ASCII only but for the picture, where the
//! locale takes more.

use super::ask::{Message, Place, Question, Status};
use super::lines;
use crate::draw::row_in_hand;
use crate::text::{Shown, shown};

/// Smaller windows get lines instead of pages.
pub(super) const LEAST: (u16, u16) = (60, 16);

/// Messages kept in view on the next page, however little room there is; more where there is room.
const MESSAGES: usize = 2;

/// What a terminal can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// SGR codes may be used.
    pub colour: bool,
    /// More than ASCII may be shown (in pictures only).
    pub unicode: bool,
}

const CLEAR: &str = "\x1b[2J\x1b[H";
const PLAIN: &str = "\x1b[0m";
const BOLD: &str = "\x1b[1m";
const REVERSED: &str = "\x1b[1;7m";

impl Look {
    fn with(self, sgr: &str, text: &str) -> String {
        if self.colour { format!("{sgr}{text}{PLAIN}") } else { text.to_owned() }
    }
}

/// The whole page, ready to be written; the cursor ends on the input line's first column.
pub(super) fn page(question: &Question, said: &[Message], look: Look, size: (u16, u16)) -> String {
    let (columns, rows) = (usize::from(size.0), usize::from(size.1));
    // As many messages as there is room for, and air between the parts where there is room for it, the picture included;
    // one row is for the input, one is spare.
    let fits = |below: &Vec<String>| below.len() + question.picture.len() + 2 <= rows;
    let mut kept = said.len();
    let below = loop {
        let below = Some(below_picture(question, said, kept, look, columns, true)).filter(fits);
        let below = below.unwrap_or_else(|| below_picture(question, said, kept, look, columns, false));
        if kept <= MESSAGES || fits(&below) {
            break below;
        }
        kept -= 1;
    };
    let room = rows.saturating_sub(below.len() + 2);
    let mut out = String::from(CLEAR);
    for line in within(&question.picture, look, columns, room) {
        out.push_str(&line);
        out.push('\n');
    }
    for line in below {
        out.push_str(&line);
        out.push('\n');
    }
    out
}

/// The picture in so many columns and rows; cut around the row of the slot in hand, and left out where that row is too wide.
fn within(picture: &[String], look: Look, columns: usize, room: usize) -> Vec<String> {
    let here = row_in_hand(picture);
    let wide = here.and_then(|row| picture.get(row)).is_some_and(|row| plain_columns(row) >= columns);
    if wide {
        return std::iter::once("(the picture needs a wider window)".to_owned()).take(room).collect();
    }
    let cut = picture.len() > room;
    let rows = if cut { room.saturating_sub(1) } else { picture.len() };
    let from = here.unwrap_or_default().saturating_sub(rows / 2).min(picture.len() - rows);
    let lines = picture.iter().skip(from).take(rows).map(|line| picture_line(line, look, columns));
    lines.chain((cut && room > 0).then(|| "(the picture needs a taller window)".to_owned())).collect()
}

/// Columns a line of a picture takes.
fn plain_columns(line: &str) -> usize {
    let (mut width, mut rest) = (0, line);
    while let Some(c) = rest.chars().next() {
        rest = match sgr(rest) {
            Some((_, after)) => after,
            None => {
                width += 1;
                rest.get(c.len_utf8()..).unwrap_or_default()
            }
        };
    }
    width
}

/// The place and the card's name in one row. What does not fit is left out by whole parts: half a number is a wrong one.
fn place_line(place: &Place, columns: usize) -> String {
    let name = shown(&place.card_name);
    let (card, item) = (place.card_text(), place.item_text());
    let rows = [
        format!("{place}   {name}"),
        format!("{card} - {item}   {name}"),
        format!("{card}   {name}"),
        format!("{card} - {item}"),
    ];
    rows.into_iter().find(|row| row.chars().count() < columns).unwrap_or_default()
}

/// Everything below the picture, one row each: the last `kept` messages first; `airy` sets the parts apart.
fn below_picture(
    question: &Question,
    said: &[Message],
    kept: usize,
    look: Look,
    columns: usize,
    airy: bool,
) -> Vec<String> {
    let mut rows = Vec::new();
    let gap = |rows: &mut Vec<String>| {
        if airy && rows.last().is_some_and(|row| !row.is_empty()) {
            rows.push(String::new());
        }
    };
    let (before, recent) = said.split_at(said.len().saturating_sub(kept));
    if !before.is_empty() {
        rows.push(fit(&format!("(and {} more before these)", before.len()), columns));
    }
    for message in recent {
        for text in lines::message(message) {
            let sgr = if matches!(message.status, Status::Refused | Status::Attention) { REVERSED } else { BOLD };
            rows.extend(wrapped(&shown_long(&text), columns).iter().map(|row| marked(look, sgr, row)));
        }
    }
    gap(&mut rows);
    if let Some(place) = &question.place {
        rows.push(look.with(BOLD, &place_line(place, columns)));
        gap(&mut rows);
    }
    if question.warns {
        rows.push(look.with(REVERSED, &fit(" !!! WARNING !!! something differs here ", columns)));
    }
    for text in question.caution.iter().flat_map(|text| lines::cleaned(text)) {
        let text = shown_long(&format!("!! CAUTION: {text}"));
        rows.extend(wrapped(&text, columns).iter().map(|row| look.with(REVERSED, row)));
    }
    if let Some(slot) = &question.slot {
        if rows.last().is_some_and(|row| !row.is_empty()) {
            rows.push(String::new());
        }
        rows.push(look.with(BOLD, &fit(&format!("    SLOT   {}", shown(slot)), columns)));
        rows.push(String::new());
    }
    for text in lines::cleaned(&question.text) {
        rows.extend(wrapped(&text, columns));
    }
    gap(&mut rows);
    for text in lines::wants(question) {
        rows.extend(wrapped(&shown_long(&text), columns).iter().map(|row| look.with(BOLD, row)));
    }
    gap(&mut rows);
    rows.push(fit(lines::keys(question, true), columns));
    rows
}

/// The status word set off, the rest plain: colour only repeats the word.
fn marked(look: Look, sgr: &str, row: &str) -> String {
    match row.split_once(' ') {
        Some((word, rest)) if word.bytes().all(|b| b.is_ascii_uppercase()) && !word.is_empty() => {
            format!("{} {rest}", look.with(sgr, word))
        }
        _ => row.to_owned(),
    }
}

fn shown_long(text: &str) -> Shown {
    crate::text::shown_within(text, 2000)
}

fn wrapped(text: &Shown, columns: usize) -> Vec<String> {
    // The last column stays free: some terminals move on when it is written.
    text.wrapped(columns.saturating_sub(1)).into_iter().map(str::to_owned).collect()
}

fn fit(line: &str, columns: usize) -> String {
    line.chars().take(columns.saturating_sub(1)).collect()
}

/// A line of a picture. Pictures are made by us, with our own SGR codes; this is the last guard before the terminal:
/// other control characters, and what the terminal cannot show, become `?`.
fn picture_line(line: &str, look: Look, columns: usize) -> String {
    let mut out = String::new();
    let mut width = 0;
    let mut rest = line;
    while let Some(c) = rest.chars().next() {
        if let Some((sgr, after)) = sgr(rest) {
            if look.colour {
                out.push_str(sgr);
            }
            rest = after;
            continue;
        }
        rest = rest.get(c.len_utf8()..).unwrap_or_default();
        width += 1;
        if width >= columns {
            break;
        }
        // Box drawing, block elements and geometric shapes: one column each in the fonts of terminals.
        let shown = c.is_ascii_graphic() || c == ' ' || (look.unicode && ('\u{2500}'..='\u{25ff}').contains(&c));
        out.push(if shown { c } else { '?' });
    }
    if look.colour && out.contains('\x1b') {
        out.push_str(PLAIN);
    }
    out
}

/// An SGR code at the beginning of `text`, and what follows it.
fn sgr(text: &str) -> Option<(&str, &str)> {
    let rest = text.strip_prefix("\x1b[")?;
    let end = rest.find(|c: char| !c.is_ascii_digit() && c != ';')?;
    rest.get(end..)?.starts_with('m').then(|| text.split_at(end + 3))
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use proptest::prelude::*;

    use super::super::ask::Wants;
    use super::super::meaning::tests::question as ask;
    use super::*;

    fn full() -> Question {
        Question {
            place: Some(Place { card: (3, 9), card_name: "Insert".into(), item: (2, 7), elapsed: Duration::ZERO }),
            slot: Some("P1-D3".into()),
            caution: Some("Hold the module by its edges and keep the wrist strap on while you do".into()),
            text: "Press both ends down until the latches close by themselves.".into(),
            picture: (0..12).map(|n| format!("\x1b[1m+--{n}--+\x1b[0m \u{2588}")).collect(),
            ..ask(Wants::Confirm { state: "both latches closed, module flush".into() })
        }
    }

    /// Rows and the widest row, escapes left out.
    fn measure(page: &str) -> (usize, usize) {
        let mut widest = 0;
        let rows = page.split("\n").map(|row| {
            let mut row = row.trim_start_matches(CLEAR).to_owned();
            for code in [PLAIN, BOLD, REVERSED] {
                row = row.replace(code, "");
            }
            widest = widest.max(row.chars().count());
            assert!(!row.contains('\x1b'), "{row:?}");
        });
        (rows.count(), widest)
    }

    #[test]
    fn a_page_fits_its_window_at_every_size_it_is_used_for() {
        for rows in [16, 24, 40] {
            for columns in [60, 80, 132] {
                let (used, widest) =
                    measure(&page(&full(), &[], Look { colour: true, unicode: true }, (columns, rows)));
                assert!(used <= usize::from(rows), "{used} rows at {columns}x{rows}");
                assert!(widest < usize::from(columns), "{widest} columns at {columns}x{rows}");
            }
        }
    }

    #[test]
    fn a_picture_too_tall_is_cut_around_the_slot_in_hand() {
        for colour in [false, true] {
            for here in 0..12 {
                for sign in [">*<", ">\u{25c6}<"] {
                    let mut q = full();
                    let row = if colour { format!("\x1b[1;7m{sign}\x1b[0m") } else { sign.to_owned() };
                    q.picture = (0..12).map(|n| format!("row {n}")).collect();
                    q.picture[here].push_str(&row);
                    q.picture.push(format!("{sign} HERE"));
                    for rows in [18, 20, 24] {
                        let page = page(&q, &[], Look { colour, unicode: true }, (80, rows));
                        assert!(page.contains(&format!("row {here}")), "{here} at {rows} rows:\n{page}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_picture_too_wide_is_left_out_and_not_cut() {
        let mut q = full();
        q.picture = vec![format!("{}>*<", " ".repeat(70))];
        let page = page(&q, &[], Look { colour: false, unicode: false }, (60, 24));
        assert!(page.contains("(the picture needs a wider window)"), "{page}");
    }

    #[test]
    fn a_place_line_loses_whole_parts_and_no_number_is_cut() {
        let elapsed = Duration::from_secs(761);
        let place = Place { card: (16, 23), card_name: "Again 1: Fill a slot 6 of 16".into(), item: (10, 12), elapsed };
        let mut rows = Vec::new();
        for columns in (20..=90).rev() {
            let row = place_line(&place, columns);
            assert!(row.chars().count() < columns);
            if rows.last() != Some(&row) {
                rows.push(row);
            }
        }
        assert_eq!(
            rows,
            [
                "card 16 of 23 - item 10 of 12 - 00:12:41   Again 1: Fill a slot 6 of 16",
                "card 16 of 23 - item 10 of 12   Again 1: Fill a slot 6 of 16",
                "card 16 of 23   Again 1: Fill a slot 6 of 16",
                "card 16 of 23 - item 10 of 12",
                "",
            ]
        );
    }

    #[test]
    fn without_colour_and_unicode_only_ascii_is_left_and_the_caution_is_still_loud() {
        let page = page(&full(), &[], Look { colour: false, unicode: false }, (80, 24));
        let body = page.strip_prefix(CLEAR).unwrap();
        assert!(body.bytes().all(|b| matches!(b, b' '..=b'~' | b'\n')), "{body:?}");
        assert!(body.contains("!! CAUTION: Hold"));
        assert!(body.contains("    SLOT   P1-D3"));
    }

    /// What a terminal would do beside printing, our own clearing at the top and colours aside.
    #[derive(Default)]
    struct Deeds(Vec<String>);

    impl vte::Perform for Deeds {
        fn execute(&mut self, byte: u8) {
            if byte != b'\n' {
                self.0.push(format!("control {byte:02X}"));
            }
        }
        fn csi_dispatch(&mut self, _: &vte::Params, _: &[u8], _: bool, action: char) {
            if action != 'm' {
                self.0.push(format!("CSI {action}"));
            }
        }
        fn esc_dispatch(&mut self, _: &[u8], _: bool, byte: u8) {
            self.0.push(format!("ESC {byte:02X}"));
        }
        fn osc_dispatch(&mut self, _: &[&[u8]], _: bool) {
            self.0.push("OSC".into());
        }
        fn hook(&mut self, _: &vte::Params, _: &[u8], _: bool, _: char) {
            self.0.push("DCS".into());
        }
    }

    proptest! {
        /// Text from outside in every field: the terminal (as the vte parser sees it) clears once and then only prints.
        #[test]
        fn no_text_makes_the_terminal_do_anything(
            text in "(\\PC|\x1b\\[|\x1b\\]|\x1bP|[\x00-\x1f\x7f-\u{9f}]|\u{202e}){0,40}",
        ) {
            let mut q = Question {
                slot: Some(text.clone()),
                caution: Some(text.clone()),
                text: text.clone(),
                picture: vec![text.clone()],
                ..ask(Wants::Choice { options: vec![text.clone()] })
            };
            q.place = Some(Place { card: (1, 1), card_name: text.clone(), item: (1, 1), elapsed: Duration::ZERO });
            let said = [Message { status: Status::Attention, text }];
            let page = page(&q, &said, Look { colour: true, unicode: true }, (80, 24));
            let mut deeds = Deeds::default();
            vte::Parser::new().advance(&mut deeds, page.as_bytes());
            prop_assert_eq!(deeds.0, ["CSI J", "CSI H"]);
        }
    }

    #[test]
    fn a_picture_cannot_move_the_cursor() {
        let look = Look { colour: true, unicode: true };
        assert_eq!(picture_line("a\x1b[2Jb", look, 80), "a?[2Jb");
        assert_eq!(picture_line("\x1b[7mX\x1b[0m", look, 80), "\x1b[7mX\x1b[0m\x1b[0m");
        assert_eq!(picture_line("\u{202e}\u{2588}", look, 80), "?\u{2588}");
        assert_eq!(picture_line("abcdef", look, 4), "abc");
    }
}
