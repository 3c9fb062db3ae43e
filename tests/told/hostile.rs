//! The collected hostile strings.
#![allow(dead_code, clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::io::Write as _;
use std::path::PathBuf;

/// Where the collection is.
pub fn folder() -> PathBuf {
    let root = std::env::var_os("SLOTWISE_SHARED")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared")), PathBuf::from);
    root.join("data/record/hostile")
}

/// Every value with its name; `None` where the collection is not there, which is said.
pub fn strings(check: &str) -> Option<Vec<(String, String)>> {
    let path = folder().join("strings.jsonl");
    let Ok(text) = std::fs::read_to_string(&path) else {
        let why = format!("{} is not there; SLOTWISE_SHARED names its folder", path.display());
        let _ = writeln!(std::io::stderr(), "SKIPPED {check}: {why}");
        return None;
    };
    let strings = text.lines().filter_map(|line| {
        let entry: serde_json::Value = serde_json::from_str(line).unwrap();
        let field = |key: &str| entry.get(key).and_then(serde_json::Value::as_str).map(str::to_owned);
        Some((field("id")?, field("value")?))
    });
    let strings: Vec<(String, String)> = strings.collect();
    assert!(strings.len() > 100, "only {} strings were found", strings.len());
    Some(strings)
}
