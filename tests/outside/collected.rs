//! Published vectors that are collected beside the repository and no part of it.

use std::io::Write as _;
use std::path::PathBuf;

/// A path below the collected data: `SLOTWISE_SHARED`, or the folder `shared` beside the package. `None` where it is not
/// there, so that a plain clone can be tested too; `check` is then named as skipped.
pub fn collected(below: &str, check: &str) -> Option<PathBuf> {
    let root = std::env::var_os("SLOTWISE_SHARED")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared")), PathBuf::from);
    let path = root.join(below);
    if path.exists() {
        return Some(path);
    }
    skipped(check, &format!("{} is not there; SLOTWISE_SHARED names its folder", path.display()));
    None
}

/// Says so past the test runner, which keeps the output of tests that pass to itself.
pub fn skipped(check: &str, why: &str) {
    let _ = writeln!(std::io::stderr(), "SKIPPED {check}: {why}");
}
