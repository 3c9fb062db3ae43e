//! Where the collected data lies that is not part of the repository.

use std::path::PathBuf;

/// A path below the collected data: `SLOTWISE_SHARED`, or the folder `shared` beside the package. `None`, with a word on
/// the error stream, where it is not there, so that a plain clone can be tested too.
pub fn shared(below: &str) -> Option<PathBuf> {
    let root = std::env::var_os("SLOTWISE_SHARED")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared")), PathBuf::from);
    let path = root.join(below);
    if path.exists() {
        return Some(path);
    }
    eprintln!(
        "SKIPPED: {} is not there; set SLOTWISE_SHARED to the folder that holds the collected data",
        path.display()
    );
    None
}
