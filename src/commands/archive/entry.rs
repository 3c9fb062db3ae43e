//! What an archive may hold, by name, kind and size. Everything else is refused by name before anything is written.

use std::collections::BTreeMap;
use std::io::Read;

use crate::record::{LARGEST_FILE, is_job_id};
use crate::text::shown_bytes;

/// The sums of all other entries; the last but one, so that an archive that was cut lacks it.
pub const SUMS: &str = "SHA256SUMS";
/// What `audit` found when the archive was packed.
pub const AUDIT: &str = "audit.json";
/// More records than this are several archives.
pub const MOST: usize = 100_000;
/// The largest sum of sizes that is unpacked, in bytes.
pub const LARGEST: u64 = 64 << 30;
/// The largest `SHA256SUMS` or `audit.json`, in bytes.
const LARGEST_LIST: u64 = 512 << 20;

/// Why an archive is refused.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("not a tar archive, or cut: {0}")]
    NotOne(String),
    #[error("it holds {0}, which is no ordinary file")]
    Kind(String),
    #[error(
        "it holds {0}: only records (a-z, 0-9 and `-`, ending in .jsonl), what was torn off them, {SUMS} and {AUDIT} are taken"
    )]
    Name(String),
    #[error("it holds {0} twice")]
    Twice(String),
    #[error("it holds {name} of {size} bytes, which is larger than any")]
    TooLarge { name: String, size: u64 },
    #[error("it holds more than {MOST} files, or more than {LARGEST} bytes")]
    TooMany,
    #[error("it was changed while it was read")]
    Changed,
    #[error("it holds no record")]
    NoRecord,
    #[error("it has no {SUMS}: it was cut, or not made by `slotwise archive pack`")]
    NoSums,
    #[error("line {0} of its {SUMS} is no sum")]
    BadSum(usize),
    #[error("{0} is not among its {SUMS}, or what it holds is not what was packed")]
    OtherSum(String),
    #[error("{0} is among its {SUMS} and is missing")]
    Missing(String),
}

/// What an entry is, by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Record,
    /// A tail that a crash left.
    Torn,
    Sums,
    Audit,
}

/// The kind of a name that may stand in an archive and as a file anywhere: one part, no dot in front, nothing but
/// lower-case ASCII, so that no two of them are one file where capitals do not count.
pub fn kind(name: &str) -> Option<Kind> {
    match name {
        SUMS => return Some(Kind::Sums),
        AUDIT => return Some(Kind::Audit),
        _ => {}
    }
    let (job, rest) = name.split_once(".jsonl")?;
    if !is_job_id(job) || is_device(job) {
        return None;
    }
    let number = rest.strip_prefix(".torn-");
    match number {
        None if rest.is_empty() => Some(Kind::Record),
        Some(number) if (1..=4).contains(&number.len()) && number.bytes().all(|byte| byte.is_ascii_digit()) => {
            Some(Kind::Torn)
        }
        _ => None,
    }
}

/// Names that some systems keep for devices, whatever follows behind a dot (Windows' file naming rules; from memory).
fn is_device(job: &str) -> bool {
    let numbered = |name: &str| {
        job.strip_prefix(name).is_some_and(|rest| rest.len() == 1 && rest.bytes().all(|byte| byte.is_ascii_digit()))
    };
    matches!(job, "con" | "prn" | "aux" | "nul") || numbered("com") || numbered("lpt")
}

/// One entry, its name and size taken.
pub struct Taken<'a, R: Read> {
    pub name: String,
    pub kind: Kind,
    pub content: std::io::Take<tar::Entry<'a, R>>,
}

/// Walks an archive; every entry passes all checks before `each` sees it.
///
/// # Errors
/// What does not belong into such an archive; what `each` says.
pub fn walk<R: Read, E: From<Refused>>(input: R, mut each: impl FnMut(Taken<'_, R>) -> Result<(), E>) -> Result<(), E> {
    let not_one = |error: std::io::Error| Refused::NotOne(error.to_string());
    let mut archive = tar::Archive::new(input);
    // Raw: no entry changes the name, kind or size of the one behind it.
    let entries = archive.entries().map_err(not_one)?.raw(true);
    let mut seen = BTreeMap::new();
    let mut sum = 0_u64;
    for entry in entries {
        let entry = entry.map_err(not_one)?;
        let raw = entry.path_bytes().into_owned();
        let told = shown_bytes(&raw).to_string();
        if entry.header().entry_type() != tar::EntryType::Regular {
            return Err(Refused::Kind(told).into());
        }
        let name = std::str::from_utf8(&raw).ok().map(|name| name.strip_prefix("./").unwrap_or(name));
        let Some((name, kind)) = name.and_then(|name| Some((name, kind(name)?))) else {
            return Err(Refused::Name(told).into());
        };
        let size = entry.size();
        let most = if matches!(kind, Kind::Sums | Kind::Audit) { LARGEST_LIST } else { LARGEST_FILE };
        if size > most {
            return Err(Refused::TooLarge { name: name.to_owned(), size }.into());
        }
        sum += size;
        if seen.insert(name.to_owned(), ()).is_some() {
            return Err(Refused::Twice(name.to_owned()).into());
        }
        if seen.len() > MOST || sum > LARGEST {
            return Err(Refused::TooMany.into());
        }
        each(Taken { name: name.to_owned(), kind, content: entry.take(size) })?;
    }
    Ok(())
}

/// Reads the sums: name to hash, as `sha256sum` writes them.
///
/// # Errors
/// The first line that is none.
pub fn sums(text: &str) -> Result<BTreeMap<String, String>, Refused> {
    let mut sums = BTreeMap::new();
    for (n, line) in text.lines().enumerate() {
        let hex = |hash: &str| hash.len() == 64 && hash.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
        match line.split_once("  ") {
            Some((hash, name)) if hex(hash) && sums.insert(name.to_owned(), hash.to_owned()).is_none() => {}
            _ => return Err(Refused::BadSum(n + 1)),
        }
    }
    Ok(sums)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_that_are_safe_anywhere_are_taken() {
        assert_eq!(kind("2026-11-25-lf-hrn-0137-ntah0d.jsonl"), Some(Kind::Record));
        assert_eq!(kind("seating.jsonl.torn-2"), Some(Kind::Torn));
        assert_eq!((kind(SUMS), kind(AUDIT)), (Some(Kind::Sums), Some(Kind::Audit)));
        for name in [
            "",
            ".jsonl",
            "../a.jsonl",
            "/a.jsonl",
            "a/b.jsonl",
            "a\\b.jsonl",
            "-a.jsonl",
            "A.jsonl",
            "a.jsonl.torn-",
            "a.jsonl.torn-x",
            "a.jsonl.torn-12345",
            "a.jsonl/",
            "a.jsonl ",
            "con.jsonl",
            "com1.jsonl",
            "a.json",
            "a.jsonl.jsonl",
            "sha256sums",
            ".a.jsonl",
            "a\n.jsonl",
            "\u{202e}.jsonl",
        ] {
            assert_eq!(kind(name), None, "{name:?}");
        }
    }

    #[test]
    fn sums_are_those_of_sha256sum() {
        let hash = "0".repeat(64);
        assert_eq!(sums(&format!("{hash}  a.jsonl\n")).unwrap()["a.jsonl"], hash);
        for text in ["x", "0  a", &format!("{hash} a"), &format!("{hash}  a\n{hash}  a\n")] {
            assert!(sums(text).is_err(), "{text}");
        }
    }
}
