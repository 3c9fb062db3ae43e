//! Plain tables: columns two spaces apart, no boxes, so that they read well aloud and in a log.

use super::tone::{columns, cut};
use super::{Drawing, Look, Tone};
use crate::text::shown_within;

/// Where a column's text stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    Left,
    Right,
}

/// A table with a heading line. The widest column gives way first where `look.width` is too small.
pub fn table(heads: &[(&str, Align)], rows: &[Vec<String>], look: Look) -> Drawing {
    const WIDEST: usize = 200;
    let rows: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            let cell = |n| row.get(n).map_or_else(String::new, |text: &String| shown_within(text, WIDEST).to_string());
            (0..heads.len()).map(cell).collect()
        })
        .collect();
    let mut widths: Vec<usize> = heads
        .iter()
        .enumerate()
        .map(|(n, (head, _))| {
            rows.iter()
                .filter_map(|row| row.get(n))
                .map(|cell| columns(cell))
                .max()
                .unwrap_or_default()
                .max(columns(head))
        })
        .collect();
    while widths.iter().sum::<usize>() + 2 * widths.len().saturating_sub(1) > look.width {
        match widths.iter_mut().max() {
            Some(widest) if *widest > 1 => *widest -= 1,
            _ => break,
        }
    }
    let mut drawing = Drawing::default();
    line(
        &mut drawing,
        &heads.iter().map(|(head, _)| (*head).to_owned()).collect::<Vec<_>>(),
        heads,
        &widths,
        Tone::Strong,
    );
    for row in &rows {
        line(&mut drawing, row, heads, &widths, Tone::Plain);
    }
    drawing
}

fn line(drawing: &mut Drawing, cells: &[String], heads: &[(&str, Align)], widths: &[usize], tone: Tone) {
    drawing.start_line();
    for (n, ((cell, (_, align)), width)) in cells.iter().zip(heads).zip(widths).enumerate() {
        if n > 0 {
            drawing.put("  ", Tone::Plain);
        }
        let cell = cut(cell, *width);
        let text = match align {
            Align::Left => format!("{cell:width$}"),
            Align::Right => format!("{cell:>width$}"),
        };
        drawing.put(text, tone);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(width: usize) -> String {
        let rows = [vec!["F1-1".to_owned(), "32".to_owned(), "a\u{1b}[2J long note about this slot".to_owned()]];
        let heads = [("slot", Align::Left), ("GiB", Align::Right), ("note", Align::Left)];
        table(&heads, &rows, Look { width, unicode: false }).plain().join("\n")
    }

    #[test]
    fn columns_line_up_and_the_widest_gives_way() {
        insta::assert_snapshot!(drawn(80), @r"
        slot  GiB  note
        F1-1   32  a\x1B[2J long note about this slot
        ");
        insta::assert_snapshot!(drawn(30), @r"
        slot  GiB  note
        F1-1   32  a\x1B[2J long not..
        ");
    }
}
