//! The rate the model's firmware sets.

use std::collections::BTreeMap;

use crate::board::{Board, SlotRef};
use crate::module::Module;

/// The configured rate in MT/s: one for the whole machine, the lowest that the board's speed table, the processors and
/// the modules allow (common practice: the firmware trains all channels at one rate). A limit that is not in the board
/// file does not limit.
pub(super) fn configured(board: &Board, cpus: &[Option<&str>], working: &[(SlotRef<'_>, &Module)]) -> Option<u32> {
    let mut per_channel: BTreeMap<(usize, usize), u8> = BTreeMap::new();
    for (at, _) in working {
        *per_channel.entry((at.socket_index, at.channel_index)).or_default() += 1;
    }
    let by_board = working.iter().filter_map(|(at, module)| {
        let count = per_channel.get(&(at.socket_index, at.channel_index)).copied().unwrap_or(1);
        let fits = |row: &&crate::board::SpeedRow| {
            Some(row.kind) == module.spec.kind
                && row.per_channel == count
                && (row.ranks.is_none() || row.ranks == module.spec.ranks)
        };
        // A row for the module's own ranks says more than a row for any.
        board.speed.iter().filter(fits).max_by_key(|row| row.ranks.is_some()).map(|row| row.mts.0)
    });
    let by_module = working.iter().filter_map(|(_, module)| module.spec.mts.map(|mts| mts.0));
    let by_cpu = cpus
        .iter()
        .flatten()
        .filter_map(|name| board.cpu.iter().find(|cpu| cpu.name == **name).and_then(|cpu| cpu.mts).map(|mts| mts.0));
    by_board.chain(by_module).chain(by_cpu).min()
}
