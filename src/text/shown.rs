//! The one cleaner.

use std::fmt;

/// The most columns one value from outside may take before it is cut with a visible mark.
const WIDEST: usize = 80;

/// Text that is safe to print: printable ASCII only, everything else written as `\xNN` or `\u{N}`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Shown(String);

impl Shown {
    /// The cleaned text.
    pub fn as_str(&self) -> &str {
        &self.0
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

/// Cleans `text` for showing, cut at `columns` with the true length in characters behind it.
pub fn shown_within(text: &str, columns: usize) -> Shown {
    let mut out = String::with_capacity(text.len().min(columns));
    for (index, c) in text.chars().enumerate() {
        let before = out.len();
        match c {
            ' '..='~' => out.push(c),
            '\0'..='\u{7f}' => out.push_str(&format!("\\x{:02X}", c as u32)),
            _ => out.push_str(&format!("\\u{{{:X}}}", c as u32)),
        }
        if out.len() > columns && index > 0 {
            out.truncate(before);
            out.push_str(&format!("... ({} characters)", text.chars().count()));
            break;
        }
    }
    Shown(out)
}

/// Cleans bytes that need not be UTF-8; a byte that is not becomes `\xNN`.
pub fn shown_bytes(bytes: &[u8]) -> Shown {
    let mut out = String::new();
    for chunk in bytes.utf8_chunks() {
        for c in chunk.valid().chars() {
            out.push(c);
        }
        for byte in chunk.invalid() {
            // A private-use stand-in would be ambiguous, so the escape is written straight into the text.
            out.push_str(&format!("\\x{byte:02X}"));
        }
    }
    shown(&out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_printable_ascii_comes_out() {
        assert_eq!(shown("A1 ok").as_str(), "A1 ok");
        assert_eq!(shown("\x1b[2J").as_str(), "\\x1B[2J");
        assert_eq!(shown("\u{202e}x\u{9b}").as_str(), "\\u{202E}x\\u{9B}");
        assert_eq!(shown_bytes(b"a\xff").as_str(), "a\\xFF");
    }

    #[test]
    fn long_text_is_cut_with_its_length() {
        let cut = shown(&"x".repeat(10_000));
        assert!(cut.as_str().len() < 120);
        assert!(cut.as_str().ends_with("... (10000 characters)"));
    }
}
