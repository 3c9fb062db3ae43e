//! `/proc/meminfo`.

/// `MemTotal` in KiB. The file writes "kB" and means KiB.
pub(super) fn total_kib(raw: &[u8]) -> Option<u64> {
    String::from_utf8_lossy(raw).lines().find_map(|line| kib_of(line.trim_start(), "MemTotal"))
}

/// The number in `KEY:  123 kB`.
pub(super) fn kib_of(line: &str, key: &str) -> Option<u64> {
    let value = line.strip_prefix(key)?.trim_start().strip_prefix(':')?;
    let mut words = value.split_whitespace();
    let number = words.next()?.parse().ok()?;
    // The kernel writes no other unit; a file that does is none of its.
    words.next().is_none_or(|unit| unit.eq_ignore_ascii_case("kB")).then_some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_total_is_found_and_nothing_else_is_taken_for_it() {
        assert_eq!(total_kib(b"MemTotal:       131072000 kB\nMemFree: 1 kB\n"), Some(131_072_000));
        assert_eq!(total_kib(b"MemFree: 1 kB\r\nMemTotal: 7 kB\r\n"), Some(7));
        for text in ["", "MemTotal: kB", "MemTotal: -1 kB", "MemTotalX: 3 kB", "MemTotal: 3 MB"] {
            assert_eq!(total_kib(text.as_bytes()), None, "{text}");
        }
    }
}
