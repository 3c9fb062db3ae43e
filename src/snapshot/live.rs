//! What the operating system answers on the machine itself, where nothing else could be read.

use super::{Host, Totals};

/// Asks the operating system. One `key=value` a line, so that it can be kept as a source's bytes.
pub(super) fn ask() -> Vec<u8> {
    use std::fmt::Write as _;
    let mut out = String::new();
    if let Ok(mut system) = sysinfo::System::new() {
        system.refresh_memory();
        if system.total_memory() > 0 {
            let _ = writeln!(out, "total_bytes={}", system.total_memory());
        }
    }
    if let Ok(name) = sysinfo::System::host_name() {
        let _ = writeln!(out, "host_name={}", name.escape_default());
    }
    out.into_bytes()
}

/// Takes the answers; what is known already stays.
pub(super) fn take(host: &mut Host, totals: &mut Totals, raw: &[u8]) {
    for (key, value) in String::from_utf8_lossy(raw).lines().filter_map(|line| line.split_once('=')) {
        match key {
            "total_bytes" => totals.os_kib = totals.os_kib.or(value.parse::<u64>().ok().map(|bytes| bytes / 1024)),
            "host_name" if host.name.is_none() => host.name = Some(value.to_owned()),
            _ => {}
        }
    }
}
