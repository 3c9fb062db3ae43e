//! `/sys/devices/system/node/nodeN/meminfo`: the memory of each NUMA node.

use super::meminfo::kib_of;

/// The node and its `MemTotal` in KiB. Lines read `Node 0 MemTotal:  65536000 kB`.
pub(super) fn total(path: &str, raw: &[u8]) -> Option<(u32, u64)> {
    let node = path.split('/').rev().find_map(|part| part.strip_prefix("node")?.parse().ok())?;
    let text = String::from_utf8_lossy(raw);
    let kib = text.lines().find_map(|line| {
        let rest = line.trim_start().strip_prefix("Node")?.trim_start();
        let rest = rest.trim_start_matches(|c: char| c.is_ascii_digit());
        kib_of(rest.trim_start(), "MemTotal")
    })?;
    Some((node, kib))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_node_and_its_total_are_read() {
        let text = b"Node 1 MemTotal:       65536000 kB\nNode 1 MemFree:        1 kB\n";
        assert_eq!(total("/sys/devices/system/node/node1/meminfo", text), Some((1, 65_536_000)));
        assert_eq!(total("/sys/devices/system/node/nodeX/meminfo", text), None);
        assert_eq!(total("/sys/devices/system/node/node0/meminfo", b"Node 0 MemFree: 3 kB"), None);
    }
}
