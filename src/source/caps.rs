//! What is refused before a parser sees it: too large, too deep, not text.
//!
//! The nesting of a TOML document is bounded here, on the raw characters, because a document nested some ten thousand
//! levels deep parses well and then overflows the stack when its tree is dropped.

use super::{Fault, Path};

/// Bounds on a file from outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caps {
    /// The most bytes in a file.
    pub file: usize,
    /// The most levels of nesting.
    pub depth: usize,
    /// The most bytes in one string or key.
    pub string: usize,
}

impl Caps {
    /// Bounds for files that people write.
    pub const WRITTEN: Self = Self { file: 16 << 20, depth: 16, string: 4 << 10 };
    /// Bounds for files that carry raw bytes as base64: as above, but a string may be as long as the file.
    pub const CARRYING_BYTES: Self = Self { file: 16 << 20, depth: 16, string: 16 << 20 };
}

/// The bytes as text, or the one reason why they are none.
pub(super) fn text<'a>(bytes: &'a [u8], caps: &Caps) -> Result<&'a str, Fault> {
    if bytes.len() > caps.file {
        return Err(plain(
            format!("the file is larger than the {} MiB allowed", caps.file >> 20),
            "is it the right file?",
        ));
    }
    if let Some(at) = bytes.iter().position(|byte| *byte == 0) {
        return Err(plain(
            format!("this is no text file: byte {} ({}) is zero", at + 1, place(bytes, at)),
            "it may be a program, a picture, or text saved as UTF-16; save it as UTF-8",
        ));
    }
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let at = error.valid_up_to();
        let byte = bytes.get(at).copied().unwrap_or_default();
        plain(format!("not UTF-8: byte {} (0x{byte:02X}, {})", at + 1, place(bytes, at)), "save the file as UTF-8")
    })?;
    if text.trim_start_matches('\u{feff}').trim().is_empty() {
        return Err(plain("the file is empty".to_owned(), "its first line names its format"));
    }
    Ok(text)
}

fn plain(what: String, help: &str) -> Fault {
    Fault { path: Path::default(), span: None, what, help: Some(help.to_owned()) }
}

/// `line 3, column 7`, counted in bytes since what is before may be no text either.
fn place(bytes: &[u8], at: usize) -> String {
    let before = bytes.get(..at).unwrap_or_default();
    let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
    let column = before.iter().rev().take_while(|byte| **byte != b'\n').count() + 1;
    format!("line {line}, column {column}")
}

/// Where a TOML text nests deeper than `depth`, by brackets or by dots in one key; `None` when it does not.
///
/// Strings, comments and bare words are skipped the way the TOML lexer does it, in text that is no TOML too (a quote
/// amid a bare word opens no string). What is left over-counts at most, never under-counts.
pub(super) fn too_deep(text: &str, depth: usize) -> Option<usize> {
    let bytes = text.as_bytes();
    let (mut brackets, mut dots) = (0usize, 0usize);
    let mut at = if text.starts_with('\u{feff}') { 3 } else { 0 };
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'"' | b'\'' => {
                at = after_string(bytes, at);
                continue;
            }
            b'#' => {
                at = after(bytes, at, b"\r\n");
                continue;
            }
            b'[' | b'{' => {
                brackets += 1;
                dots = 0;
            }
            b']' | b'}' => {
                brackets = brackets.saturating_sub(1);
                dots = 0;
            }
            b'\n' | b'=' | b',' => dots = 0,
            b'.' => dots += 1,
            b' ' | b'\t' | b'\r' => {}
            _ => {
                at = after(bytes, at, b".=,[]{} \t#\r\n");
                continue;
            }
        }
        if brackets > depth || dots > depth {
            return Some(at);
        }
        at += 1;
    }
    None
}

/// The index of the next of these bytes, or the end.
fn after(bytes: &[u8], at: usize, ends: &[u8]) -> usize {
    let rest = bytes.get(at..).unwrap_or_default();
    at + rest.iter().position(|byte| ends.contains(byte)).unwrap_or(rest.len())
}

/// The index behind the string that opens at `open`. A string on one line ends at its line's end at the latest.
fn after_string(bytes: &[u8], open: usize) -> usize {
    let quote = bytes[open];
    let escapes = quote == b'"';
    let many = bytes.get(open..open + 3).is_some_and(|three| three.iter().all(|b| *b == quote));
    let mut at = open + if many { 3 } else { 1 };
    while let Some(byte) = bytes.get(at) {
        match *byte {
            b'\\' if escapes => at += if matches!(bytes.get(at + 1), Some(b'\\' | b'"')) { 2 } else { 1 },
            b'\n' if !many => return at,
            b if b == quote && !many => return at + 1,
            b if b == quote && bytes.get(at..at + 3).is_some_and(|three| three.iter().all(|b| *b == quote)) => {
                at += 3;
                // Up to two quotes may stand right before the closing three.
                for _ in 0..2 {
                    at += usize::from(bytes.get(at) == Some(&quote));
                }
                return at;
            }
            _ => at += 1,
        }
    }
    bytes.len()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::{collection, sample};

    use super::*;

    #[test]
    fn what_is_no_text_is_refused_with_the_byte() {
        let what = |bytes: &[u8]| text(bytes, &Caps::WRITTEN).unwrap_err().what;
        assert_eq!(what(b"a\nb\xffc"), "not UTF-8: byte 4 (0xFF, line 2, column 2)");
        assert_eq!(what(b"\x7fELF\0"), "this is no text file: byte 5 (line 1, column 5) is zero");
        assert_eq!(what(b" \n\t"), "the file is empty");
        assert_eq!(what(&vec![b'a'; (16 << 20) + 1]), "the file is larger than the 16 MiB allowed");
        assert_eq!(text(b"a = 1", &Caps::WRITTEN), Ok("a = 1"));
    }

    #[test]
    fn nesting_is_counted_outside_strings_and_comments() {
        let dots = ".a".repeat(17);
        for deep in [
            format!("a{dots} = 1"),
            format!("x\"{dots}"),
            format!("# \"\r{dots}"),
            format!("[a{dots}]"),
            format!("a = {}", "[".repeat(17)),
            "{".repeat(40),
        ] {
            assert!(too_deep(&deep, 16).is_some(), "{deep}");
        }
        for flat in [
            format!("a = \"{dots}\""),
            format!("a = '{dots}'"),
            format!("a = \"\"\"\n{dots}\n\"\"\" # {dots}"),
            format!("a = \"\\\"{dots}\""),
            format!("a = '''{dots}'{dots}'''"),
            format!("a = 1 # \"\n# '{dots}"),
            "a.b = 1\n".repeat(40),
            "[[a]]\n".repeat(40),
        ] {
            assert_eq!(too_deep(&flat, 16), None, "{flat}");
        }
    }

    /// Text of the tokens that decide where a string or a comment begins and ends.
    fn tokens() -> impl Strategy<Value = String> {
        let tokens =
            ["a", ".", "=", "\"", "'", "\"\"\"", "'''", "\\", "#", "\n", "\r\n", "[", "]", "{", "}", ",", " ", "1"];
        collection::vec(sample::select(tokens.to_vec()), 0..40).prop_map(|tokens| tokens.concat())
    }

    /// How many levels of tables and lists with something in them lie below a value.
    fn levels(value: &toml::de::DeValue<'_>) -> usize {
        let inner = match value {
            toml::de::DeValue::Table(table) => table.values().map(|value| 1 + levels(value.get_ref())).max(),
            toml::de::DeValue::Array(items) => items.iter().map(|value| 1 + levels(value.get_ref())).max(),
            _ => None,
        };
        inner.unwrap_or_default()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]

        /// Text that passes this scan makes no deep tree, be it TOML or not: with neither a bracket nor a dot it is flat,
        /// and in each of two brackets and around them a key has two dots at most.
        #[test]
        fn no_nesting_hides_from_the_scan(text in tokens()) {
            for (depth, most) in [(0, 0), (2, 3 * 3 + 2)] {
                if too_deep(&text, depth).is_none() {
                    let (tree, _) = toml::de::DeTable::parse_recoverable(&text);
                    let found = tree.get_ref().values().map(|value| levels(value.get_ref())).max();
                    prop_assert!(found.unwrap_or_default() <= most, "{text:?}");
                }
            }
        }
    }
}
