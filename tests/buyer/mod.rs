//! The program as a buyer calls it.
#![allow(dead_code, clippy::unwrap_used, reason = "each test file takes what it needs")]

use std::path::Path;
use std::process::Command;

/// Runs `slotwise plan` in a folder; gives the exit code and both streams.
pub fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_slotwise"))
        .current_dir(folder)
        .env_clear()
        .arg("plan")
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (out.status.code().unwrap(), text(out.stdout), text(out.stderr))
}

/// A folder with these files in it.
pub fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}
