//! What the model's kernel shows of its memory.

use super::tree::Tree;

/// Memory of the running model.
pub(super) struct Memory<'a> {
    /// Usable memory in MiB.
    pub mib: u64,
    /// The share of each node (one a processor) in MiB.
    pub nodes: &'a [u64],
    /// Varies the loss a little from machine to machine.
    pub salt: u64,
}

/// Usable memory in KiB of `mib` MiB: one 64-byte page structure per 4 KiB page, a fixed share for firmware and kernel
/// and a small one that grows with the size. Between 1.6 % and 1.85 % on large machines, as most of the measured pairs
/// of fitted and shown memory have it.
fn shown_kib(mib: u64, fixed_mib: u64, salt: u64) -> u64 {
    let kib = mib * 1024;
    let pages = kib / 64;
    let growing = kib / 1024 * (salt % 3 + 1) / 2;
    kib.saturating_sub(pages + growing + fixed_mib * 1024 + salt % 997)
}

/// Adds `/proc/meminfo`, the memory blocks and the nodes.
pub(super) fn add(tree: &mut Tree, memory: &Memory<'_>) {
    let total = shown_kib(memory.mib, 96, memory.salt);
    tree.add(
        "/proc/meminfo",
        format!(
            "MemTotal:       {total:>8} kB\nMemFree:        {:>8} kB\nMemAvailable:   {:>8} kB\nBuffers:            4096 kB\nCached:           182340 kB\nSwapCached:            0 kB\nHugePages_Total:       0\nHugepagesize:       2048 kB\n",
            total - total / 64,
            total - total / 80,
        ),
    );
    for (node, mib) in memory.nodes.iter().enumerate() {
        let share = shown_kib(*mib, 96 / memory.nodes.len().max(1) as u64, memory.salt);
        tree.add(
            format!("/sys/devices/system/node/node{node}/meminfo"),
            format!(
                "Node {node} MemTotal:       {share:>8} kB\nNode {node} MemFree:        {:>8} kB\n",
                share - share / 64
            ),
        );
    }
    add_blocks(tree, memory.mib);
}

/// Blocks are 128 MiB below 64 GiB and 2 GiB above (linux 6.1, arch/x86/mm/init_64.c). The window for devices below
/// 4 GiB is remapped above, so block numbers have a gap and none is lost.
fn add_blocks(tree: &mut Tree, mib: u64) {
    let block_mib: u64 = if mib < 64 * 1024 { 128 } else { 2048 };
    tree.add("/sys/devices/system/memory/block_size_bytes", format!("{:x}\n", block_mib << 20));
    let low = 2048 / block_mib;
    for n in 0..mib / block_mib {
        let index = if n < low { n } else { n + low };
        let folder = format!("/sys/devices/system/memory/memory{index}");
        tree.add(format!("{folder}/state"), "online\n");
        tree.add(format!("{folder}/phys_index"), format!("{index:08x}\n"));
    }
}
