//! Lines for a terminal: wrapped, cleaned, with tones. Nothing reaches a line that did not pass the cleaner here.

use super::words::clean;
use crate::draw::{Drawing, Look, Piece, Tone};
use crate::text::shown;

/// A text that grows downwards.
pub(super) struct Lines {
    pub drawing: Drawing,
    pub look: Look,
}

impl Lines {
    pub fn new(look: Look) -> Self {
        Self { drawing: Drawing::default(), look }
    }

    /// An empty line.
    pub fn gap(&mut self) {
        self.drawing.lines.push(Vec::new());
    }

    /// A heading with an empty line above it.
    pub fn head(&mut self, text: &str) {
        if !self.drawing.lines.is_empty() {
            self.gap();
        }
        self.put(0, 0, text, Tone::Strong);
    }

    /// A text over as many lines as it needs, the first indented by `indent`, the others by `hang` columns more.
    pub fn put(&mut self, indent: usize, hang: usize, text: &str, tone: Tone) {
        let cleaned = clean(text);
        let width = self.look.width.saturating_sub(indent + hang).max(20);
        let mut wrapped = cleaned.wrapped(width + hang).into_iter();
        let first = wrapped.next().unwrap_or_default().to_owned();
        let rest = cleaned.as_str().get(first.len()..).unwrap_or_default().trim_start_matches(' ').to_owned();
        self.line(indent, first, tone);
        if !rest.is_empty() {
            for line in shown_again(&rest, width) {
                self.line(indent + hang, line, tone);
            }
        }
    }

    /// A name and its value, the values below each other.
    pub fn pair(&mut self, indent: usize, name: &str, value: &str) {
        const NAME: usize = 12;
        let column = indent + NAME;
        let width = self.look.width.saturating_sub(column).max(20);
        let cleaned = clean(value);
        for (n, line) in cleaned.wrapped(width).into_iter().enumerate() {
            let name = if n == 0 { shown(name).to_string() } else { String::new() };
            self.drawing.lines.push(vec![
                Piece { text: format!("{:indent$}{name:NAME$}", ""), tone: Tone::Quiet },
                Piece { text: line.to_owned(), tone: Tone::Plain },
            ]);
        }
    }

    fn line(&mut self, indent: usize, text: String, tone: Tone) {
        self.drawing.lines.push(vec![Piece { text: " ".repeat(indent), tone: Tone::Plain }, Piece { text, tone }]);
    }

    pub fn append(&mut self, drawing: Drawing) {
        self.drawing.append(drawing);
    }
}

/// Cleaned text broken anew: cleaning cleaned text changes nothing.
fn shown_again(text: &str, width: usize) -> Vec<String> {
    crate::text::shown_within(text, text.len()).wrapped(width).into_iter().map(str::to_owned).collect()
}
