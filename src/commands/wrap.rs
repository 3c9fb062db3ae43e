//! Lines of talk that keep whole words together on a narrow terminal; elsewhere a line stays one line.

use crate::env::Env;

/// The width to keep to: that of a terminal, and none in a pipe or file.
pub fn columns(env: &Env, is_terminal: bool) -> Option<usize> {
    let (columns, _) = env.terminal.size.filter(|_| is_terminal)?;
    Some(usize::from(columns).max(20))
}

/// Breaks each line between words; what goes on is set in by `indent`.
pub fn wrapped(text: &str, columns: Option<usize>, indent: usize) -> String {
    let Some(columns) = columns else { return text.to_owned() };
    let mut out = String::with_capacity(text.len() + 16);
    for line in text.split_inclusive('\n') {
        let mut used = 0;
        for word in line.split_inclusive(' ') {
            let width = word.trim_end().chars().count();
            if used > indent && used + width > columns {
                out.truncate(out.trim_end_matches(' ').len());
                out.push('\n');
                out.push_str(&" ".repeat(indent));
                used = indent;
            }
            out.push_str(word);
            used += word.chars().count();
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stay_whole_and_nothing_is_lost() {
        let text = "slotwise: the record is not signed because its last report differs\n  next line\n";
        let out = wrapped(text, Some(20), 4);
        assert!(out.lines().all(|line| line.len() <= 20), "{out}");
        assert_eq!(out.split_whitespace().collect::<Vec<_>>(), text.split_whitespace().collect::<Vec<_>>());
        assert!(out.ends_with("  next line\n"));
        assert_eq!(wrapped(text, None, 4), text);
        // A word as wide as the line stands alone on it.
        assert_eq!(wrapped(&"x".repeat(50), Some(20), 4), "x".repeat(50));
    }
}
