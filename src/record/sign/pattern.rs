//! OpenSSH's pattern lists (ssh_config(5), PATTERNS): `*`, `?`, a comma between patterns, `!` ahead of one that excludes.

/// The longest single pattern OpenSSH matches, in bytes (judged by `ssh-keygen` in the tests).
const LONGEST: usize = 1022;

/// Whether `text` is in the list. One excluding pattern that fits outweighs all others; a list of only such fits nothing.
pub fn fits_list(text: &str, list: &str) -> bool {
    let mut fits = false;
    for pattern in list.split(',') {
        let (excludes, pattern) = match pattern.strip_prefix('!') {
            Some(pattern) => (true, pattern),
            None => (false, pattern),
        };
        if pattern.len() > LONGEST {
            return false;
        }
        if fits_one(text.as_bytes(), pattern.as_bytes()) {
            if excludes {
                return false;
            }
            fits = true;
        }
    }
    fits
}

/// One pattern, over bytes as OpenSSH does, in time `text` × `pattern` at the most.
fn fits_one(text: &[u8], pattern: &[u8]) -> bool {
    let (mut t, mut p) = (0, 0);
    // Behind the last star, and how much of the text it takes so far.
    let mut star: Option<(usize, usize)> = None;
    while t < text.len() {
        match pattern.get(p) {
            Some(b'*') => {
                star = Some((p + 1, t));
                p += 1;
            }
            Some(byte) if *byte == b'?' || *byte == text[t] => {
                t += 1;
                p += 1;
            }
            _ => match star {
                Some((behind, taken)) => {
                    star = Some((behind, taken + 1));
                    (p, t) = (behind, taken + 1);
                }
                None => return false,
            },
        }
    }
    pattern[p..].iter().all(|byte| *byte == b'*')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stars_marks_commas_and_exclusions() {
        for (text, list, fits) in [
            ("kim", "kim", true),
            ("kim", "Kim", false),
            ("kim", "k*", true),
            ("kim", "k?m", true),
            ("kim", "k?", false),
            ("kim", "*", true),
            ("", "*", true),
            ("", "?", false),
            ("kim@larkfield", "*@larkfield,!sam@*", true),
            ("sam@larkfield", "*@larkfield,!sam@*", false),
            ("sam@larkfield", "!sam@*,*", false),
            ("kim", "!sam", false),
            ("abcabd", "*ab?", true),
            ("kim", "", false),
            ("kim", ",kim", true),
        ] {
            assert_eq!(fits_list(text, list), fits, "{text} in {list}");
        }
        assert!(!fits_list(&"a".repeat(4000), &"*a".repeat(500).replace("*a*a*a", "*a*b")));
    }
}
