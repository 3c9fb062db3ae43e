//! Names of jobs and their files: built from nothing but `[a-z0-9-]`, whatever is on the chassis tag.

use chrono::{DateTime, FixedOffset};

/// A job's id: the date, the unit and a short id, so that a folder of records sorts by day and then by unit.
pub fn job_id(at: DateTime<FixedOffset>, unit: &str, seed: u64) -> String {
    const MOST: usize = 24;
    let mut slug = String::new();
    for c in unit.chars() {
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
        if slug.len() >= MOST {
            break;
        }
    }
    let slug = match slug.trim_end_matches('-') {
        "" => "unit",
        slug => slug,
    };
    format!("{}-{slug}-{}", at.format("%Y-%m-%d"), short_id(seed))
}

/// Six characters without `i`, `l`, `o` and `u`, so that they can be read out over a noisy bench (after RFC 4648 base 32
/// and the usual care for look-alikes; common practice).
fn short_id(seed: u64) -> String {
    const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
    (0..6).map(|place| char::from(LETTERS[((seed >> (5 * place)) & 31) as usize])).collect()
}

/// The name of a job's record.
pub fn file_name(job: &str) -> String {
    format!("{job}.jsonl")
}

/// Whether `job` can name a file anywhere.
pub fn is_job_id(job: &str) -> bool {
    (1..=80).contains(&job.len())
        && job.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
        && !job.starts_with('-')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_sort_by_day_and_carry_only_safe_characters() {
        let at = crate::record::time::parse("2026-11-25T09:30:00+01:00").unwrap();
        assert_eq!(job_id(at, "LF-Heron 0042", 0), "2026-11-25-lf-heron-0042-000000");
        for unit in ["", "../../etc/passwd", "\u{202e}x", "A\nB", "-", &"x".repeat(1000), "CON"] {
            for seed in [0, 1, u64::MAX, 0x1234_5678_9abc] {
                let id = job_id(at, unit, seed);
                assert!(is_job_id(&id), "{id}");
                assert!(id.starts_with("2026-11-25-"), "{id}");
            }
        }
    }

    #[test]
    fn other_names_are_no_job_ids() {
        for name in ["", "-x", "A", "a/b", "a.b", "a b", &"x".repeat(81)] {
            assert!(!is_job_id(name), "{name}");
        }
    }
}
