//! Faults as a person reads them: one block each, the source line drawn with the place marked.

use std::ops::Range;

use annotate_snippets::{AnnotationKind, Element, Group, Level, Renderer, Snippet};

use super::words::counted;
use super::{Fault, Faults, MOST_FAULTS};
use crate::text::shown_within;

/// The most faults drawn; a file with more than these is another kind of file.
const MOST: usize = 100;

/// Columns of a source line that are drawn; of a longer line the part around the fault.
const COLUMNS: usize = 96;

/// All faults, drawn, and a closing line with their number.
pub(super) fn drawn(faults: &Faults, colour: bool) -> String {
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
    let renderer = renderer.decor_style(annotate_snippets::renderer::DecorStyle::Ascii);
    let mut out = String::new();
    for fault in faults.faults.iter().take(MOST) {
        for line in renderer.render(&[group(faults, fault)]).lines() {
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out.push('\n');
    }
    if let Some(more) = faults.faults.len().checked_sub(MOST).filter(|more| *more > 0) {
        out.push_str(&format!("and {more} more\n"));
    }
    let many = if faults.faults.len() < MOST_FAULTS { "" } else { " or more" };
    out.push_str(&format!("{}: {}{many}", clean(&faults.file), counted(faults.faults.len(), "fault")));
    out
}

fn group<'a>(faults: &Faults, fault: &Fault) -> Group<'a> {
    let mut place = clean(&faults.file);
    let mut parts: Vec<Element<'a>> = Vec::new();
    if let (Some(span), Some((line, column))) = (&fault.span, faults.position(fault)) {
        // The renderer would count columns in the cleaned line; an editor wants those of the file.
        place.push_str(&format!(":{line}:{column}"));
        let (source, mark) = line_around(&faults.text, span);
        parts.push(Snippet::source(source).line_start(line).annotation(AnnotationKind::Primary.span(mark)).into());
    }
    if fault.path.0.len() > 1 {
        parts.push(Level::NOTE.with_name("at").message(clean(&fault.path.to_string())).into());
    }
    if let Some(help) = &fault.help {
        parts.push(Level::HELP.message(clean(help)).into());
    }
    Level::ERROR.with_name(format!("{place}: fault")).primary_title(clean(&fault.what)).elements(parts)
}

/// A message made of safe words and values cleaned before; cleaned once more, since it costs nothing.
fn clean(text: &str) -> String {
    shown_within(text, 2000).to_string()
}

/// The line a span starts on, cleaned and cut to what fits, and the span within it.
fn line_around(text: &str, span: &Range<usize>) -> (String, Range<usize>) {
    let start = floor(text, span.start);
    let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
    let line_end = text[start..].find(['\n', '\r']).map_or(text.len(), |at| start + at);
    let end = floor(text, span.end).clamp(start, line_end);
    // Each character is at least one column, so a window in characters is one in columns for plain text.
    let window_start =
        text[line_start..start].char_indices().rev().nth(COLUMNS / 2).map_or(line_start, |(at, _)| line_start + at);
    let mut out = String::new();
    if window_start > line_start {
        out.push_str("...");
    }
    let mut mark = None;
    let mut mark_end = 0;
    for (offset, c) in text[window_start..line_end].char_indices() {
        let at = window_start + offset;
        if at == start {
            mark = Some(out.len());
        }
        if out.len() > COLUMNS {
            out.push_str("...");
            break;
        }
        match c {
            '\t' => out.push_str("    "),
            _ => out.push_str(shown_within(c.encode_utf8(&mut [0; 4]), 16).as_str()),
        }
        if at < end {
            mark_end = out.len();
        }
    }
    let mark = mark.unwrap_or(out.len());
    if mark >= out.len() {
        out.push(' ');
    }
    (out, mark..mark_end.max(mark + 1))
}

fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}
