//! Lines of pieces, and the one place where colour is made.

/// What a piece of text says, for the layer that colours. Blue and yellow rather than green and red, which many people
/// cannot tell apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Tone {
    #[default]
    Plain,
    /// Less important: what is as it was.
    Quiet,
    /// Headings.
    Strong,
    /// Where the hands are.
    Here,
    /// Done and good.
    Good,
    /// To be looked at.
    Attention,
    /// Wrong.
    Wrong,
}

impl Tone {
    /// The SGR parameters.
    const fn sgr(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::Quiet => "2",
            Self::Strong => "1",
            Self::Here => "1;7",
            Self::Good => "34",
            Self::Attention => "1;33",
            Self::Wrong => "1;7;33",
        }
    }
}

/// Text in one tone. Holds nothing a terminal would obey: it is made by this room from cleaned text and own symbols.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    pub text: String,
    pub tone: Tone,
}

/// Lines of a picture.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Drawing {
    pub lines: Vec<Vec<Piece>>,
}

impl Drawing {
    /// The lines without colour.
    pub fn plain(&self) -> Vec<String> {
        self.lines.iter().map(|line| trimmed(line.iter().map(|piece| piece.text.as_str()).collect())).collect()
    }

    /// The lines with colour as SGR codes.
    pub fn coloured(&self) -> Vec<String> {
        let coloured = |piece: &Piece| match piece.tone.sgr() {
            "" => piece.text.clone(),
            sgr => format!("\x1b[{sgr}m{}\x1b[0m", piece.text),
        };
        self.lines.iter().map(|line| trimmed(line.iter().map(coloured).collect())).collect()
    }

    /// The lines, coloured or not.
    pub fn shown(&self, colour: bool) -> Vec<String> {
        if colour { self.coloured() } else { self.plain() }
    }

    /// Adds the lines of another picture below.
    pub fn append(&mut self, mut other: Self) {
        self.lines.append(&mut other.lines);
    }

    pub(super) fn start_line(&mut self) {
        self.lines.push(Vec::new());
    }

    /// Adds text to the last line.
    pub(super) fn put(&mut self, text: impl Into<String>, tone: Tone) {
        let piece = Piece { text: text.into(), tone };
        match self.lines.last_mut() {
            Some(line) => line.push(piece),
            None => self.lines.push(vec![piece]),
        }
    }
}

fn trimmed(line: String) -> String {
    line.trim_end().to_owned()
}

/// Columns a text takes: it is ASCII, or symbols of ours that take one column each.
pub(super) fn columns(text: &str) -> usize {
    text.chars().count()
}

/// The text, cut with a mark to at most `width` columns.
pub(super) fn cut(text: &str, width: usize) -> String {
    if columns(text) <= width {
        return text.to_owned();
    }
    let kept: String = text.chars().take(width.saturating_sub(2)).collect();
    if width < 2 { ".".repeat(width) } else { kept + ".." }
}
