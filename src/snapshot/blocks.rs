//! `/sys/devices/system/memory`: the blocks in which the kernel manages memory.

use super::folder::unpack;

/// What the blocks add up to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Blocks {
    /// Blocks that are online × block size, in MiB.
    pub online_mib: Option<u64>,
    pub notes: Vec<String>,
}

/// Reads the packed folder: `block_size_bytes` (hexadecimal, without 0x) and `memoryN/state`.
pub(super) fn read(raw: &[u8]) -> Blocks {
    let files = unpack(raw);
    let block = files
        .get("block_size_bytes")
        .and_then(|bytes| std::str::from_utf8(bytes).ok())
        .map(|text| text.trim().trim_start_matches("0x"))
        .and_then(|text| u64::from_str_radix(text, 16).ok())
        .filter(|bytes| *bytes > 0);
    let Some(block) = block else {
        return Blocks { online_mib: None, notes: vec!["the block size was not found".to_owned()] };
    };
    let states = || files.iter().filter(|(path, _)| path.starts_with("memory") && path.ends_with("/state"));
    let online = states().filter(|(_, state)| state.trim_ascii() == b"online").count() as u64;
    let other = states().count() as u64 - online;
    let mut notes = Vec::new();
    if other > 0 {
        let words = if other == 1 { "block" } else { "blocks" };
        notes.push(format!("{other} {words} of {} MiB not online", block >> 20));
    }
    let online_mib = (online + other > 0).then(|| online.saturating_mul(block) >> 20);
    if online_mib.is_none() {
        notes.push("no blocks are listed".to_owned());
    }
    Blocks { online_mib, notes }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_online_times_their_size() {
        let raw = b"block_size_bytes\t8000000\\n\nmemory0/state\tonline\\n\nmemory1/state\toffline\\n\nmemory9/state\tonline\\n\n";
        let blocks = read(raw);
        assert_eq!(blocks.online_mib, Some(256));
        assert_eq!(blocks.notes, ["1 block of 128 MiB not online"]);
    }

    #[test]
    fn without_a_size_or_blocks_nothing_is_known() {
        for raw in [&b""[..], b"block_size_bytes\tzz\nmemory0/state\tonline", b"block_size_bytes\t8000000\n"] {
            assert_eq!(read(raw).online_mib, None);
        }
    }
}
