//! The one cleaner.

use std::fmt;

/// The most columns one value from outside may take before it is cut with a visible mark.
const WIDEST: usize = 80;

/// Text that is safe to print: printable ASCII only, everything else written as `\xNN` or `\u{N}`.
///
/// Escaping every character beyond ASCII settles wide, combining, zero-width, right-to-left and look-alike characters
/// in one rule: what is shown takes exactly one column a byte, on every terminal, and two values that differ in any
/// character that cannot be shown differ on the screen too. A backslash stays as it is, so that text that was cleaned
/// before is not changed by cleaning it again; a record keeps the raw value for whoever must tell the two apart.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Shown(String);

impl Shown {
    /// The cleaned text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// How many columns it takes.
    pub fn columns(&self) -> usize {
        self.0.len()
    }

    /// The text broken into lines of at most `columns` columns, between words where there is one.
    pub fn wrapped(&self, columns: usize) -> Vec<&str> {
        let columns = columns.max(1);
        let mut lines = Vec::new();
        let mut rest = self.0.as_str();
        while rest.len() > columns {
            // All of it is ASCII, so every byte index is a character boundary.
            let space = rest.get(..=columns).and_then(|head| head.rfind(' ')).filter(|at| *at > 0);
            let (line, next) = rest.split_at(space.unwrap_or(columns));
            lines.push(line.trim_end());
            rest = next.trim_start_matches(' ');
        }
        if !rest.is_empty() || lines.is_empty() {
            lines.push(rest);
        }
        lines
    }
}

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// Cleans `text` for showing, cut at 80 columns.
pub fn shown(text: &str) -> Shown {
    shown_within(text, WIDEST)
}

/// Cleans `text` for showing. Longer than `columns`, it is cut, and the mark `... (N characters)` with the true length
/// stands at the end; the mark counts as columns too unless `columns` has no room for it. No escape is cut in two.
pub fn shown_within(text: &str, columns: usize) -> Shown {
    // Most values are clean and short: nothing of them is counted.
    if text.len() <= columns && text.bytes().all(|byte| matches!(byte, b' '..=b'~')) {
        return Shown(text.to_owned());
    }
    cut(text.chars().map(Piece::Char), columns)
}

/// Cleans bytes that need not be UTF-8, cut at 80 columns; a byte that is no UTF-8 becomes `\xNN`.
pub fn shown_bytes(bytes: &[u8]) -> Shown {
    cut(
        bytes.utf8_chunks().flat_map(|chunk| {
            let valid = chunk.valid().chars().map(Piece::Char);
            valid.chain(chunk.invalid().iter().copied().map(Piece::Byte))
        }),
        WIDEST,
    )
}

/// One unit of the text: never cut in two.
#[derive(Clone, Copy)]
enum Piece {
    Char(char),
    Byte(u8),
}

impl Piece {
    fn write(self, out: &mut String) {
        match self {
            Self::Char(c @ ' '..='~') => out.push(c),
            Self::Char(c @ '\0'..='\u{7f}') => out.push_str(&format!("\\x{:02X}", u32::from(c))),
            Self::Char(c) => out.push_str(&format!("\\u{{{:X}}}", u32::from(c))),
            Self::Byte(byte) => out.push_str(&format!("\\x{byte:02X}")),
        }
    }
}

/// Writes pieces until `columns` are full; the rest is only counted.
fn cut(pieces: impl Iterator<Item = Piece>, columns: usize) -> Shown {
    let mut out = String::new();
    // Where each piece began, so that a cut falls between two of them; only the last few matter for the mark.
    let mut starts = Vec::new();
    let mut total = 0_usize;
    let mut full = false;
    for piece in pieces {
        total += 1;
        if full {
            continue;
        }
        starts.push(out.len());
        piece.write(&mut out);
        full = out.len() > columns;
    }
    if full {
        let mark = format!("... ({total} characters)");
        let room = columns.saturating_sub(mark.len());
        let end = starts.iter().rev().copied().find(|start| *start <= room).unwrap_or(0);
        out.truncate(end);
        out.push_str(&mark);
    }
    Shown(out)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn only_printable_ascii_comes_out() {
        assert_eq!(shown("A1 ok").as_str(), "A1 ok");
        assert_eq!(shown("\x1b[2J").as_str(), "\\x1B[2J");
        assert_eq!(shown("\u{202e}x\u{9b}").as_str(), "\\u{202E}x\\u{9B}");
        assert_eq!(shown_bytes(b"a\xff").as_str(), "a\\xFF");
    }

    #[test]
    fn wide_combining_and_zero_width_characters_are_named() {
        assert_eq!(shown("\u{ff21}").as_str(), "\\u{FF21}", "full-width A");
        assert_eq!(shown("e\u{301}").as_str(), "e\\u{301}", "combining acute");
        assert_eq!(shown("S\u{200b}1\u{feff}").as_str(), "S\\u{200B}1\\u{FEFF}", "zero width");
        assert_eq!(shown("\u{3164}\u{2028}").as_str(), "\\u{3164}\\u{2028}", "blank filler, line separator");
        assert_eq!(shown("\u{410}1").as_str(), "\\u{410}1", "Cyrillic A");
    }

    #[test]
    fn a_byte_that_is_no_text_differs_from_the_character_of_its_number() {
        assert_ne!(shown_bytes(b"\x9b"), shown_bytes("\u{9b}".as_bytes()));
    }

    #[test]
    fn long_text_is_cut_with_its_length() {
        let cut = shown(&"x".repeat(10_000));
        assert_eq!(cut.columns(), 80);
        assert!(cut.as_str().ends_with("x... (10000 characters)"));
        assert_eq!(shown(&"x".repeat(80)).as_str(), "x".repeat(80));
    }

    #[test]
    fn a_cut_never_halves_an_escape() {
        let cut = shown_within(&"\u{202e}".repeat(50), 40);
        assert_eq!(cut.as_str(), "\\u{202E}\\u{202E}... (50 characters)");
    }

    #[test]
    fn text_is_broken_between_words() {
        assert_eq!(shown("press both latches down").wrapped(12), ["press both", "latches down"]);
        assert_eq!(shown("abcdefgh").wrapped(3), ["abc", "def", "gh"]);
        assert_eq!(shown("").wrapped(3), [""]);
    }

    proptest! {
        #[test]
        fn whatever_comes_in_only_printable_ascii_within_the_width_comes_out(
            bytes in proptest::collection::vec(any::<u8>(), 0..300),
            columns in 40_usize..120,
        ) {
            let text = String::from_utf8_lossy(&bytes);
            for out in [shown_bytes(&bytes), shown_within(&text, columns)] {
                prop_assert!(out.as_str().bytes().all(|b| (b' '..=b'~').contains(&b)));
            }
            prop_assert!(shown_within(&text, columns).columns() <= columns);
        }

        #[test]
        fn cleaning_twice_changes_nothing(text in any::<String>()) {
            let once = shown_within(&text, 4000);
            prop_assert_eq!(&shown_within(once.as_str(), 4000), &once);
        }

        #[test]
        fn breaking_into_lines_loses_only_spaces(text in "[ -~]{0,200}", columns in 1_usize..40) {
            let shown = shown_within(&text, 4000);
            let lines = shown.wrapped(columns);
            prop_assert!(lines.iter().all(|line| line.len() <= columns));
            let squeeze = |s: &str| s.replace(' ', "");
            prop_assert_eq!(squeeze(&lines.concat()), squeeze(&text));
        }
    }
}
