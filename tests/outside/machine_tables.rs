//! The collected SMBIOS tables and their manifests.

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::collected::collected;

/// At least this many tables have to be found, so that an empty folder is no success.
const TABLES: usize = 81;

/// The collected SMBIOS tables with their names (`data/smbios/tables`, origins in the manifest beside them).
pub fn tables() -> Vec<(String, Vec<u8>)> {
    let Some(folder) = collected("data/smbios/tables", "tables of real machines") else { return Vec::new() };
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    assert!(paths.len() >= TABLES, "{} tables", paths.len());
    let stem = |path: &PathBuf| path.file_stem().unwrap().to_string_lossy().into_owned();
    paths.iter().map(|path| (stem(path), std::fs::read(path).unwrap())).collect()
}

/// The rows of a manifest by the name in their first column, each by the name of its columns. Empty where the data is not
/// there.
pub fn manifest(below: &str) -> BTreeMap<String, BTreeMap<String, String>> {
    let Some(path) = collected(below, "the manifest of the tables") else { return BTreeMap::new() };
    let text = std::fs::read_to_string(path).unwrap();
    let mut lines = text.lines().map(|line| line.split('\t').map(str::to_owned).collect::<Vec<_>>());
    let names = lines.next().unwrap();
    lines.map(|fields| (fields[0].clone(), names.iter().cloned().zip(fields).collect())).collect()
}
