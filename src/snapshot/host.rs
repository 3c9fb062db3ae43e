//! Which machine this is: from the firmware's table, and from what Linux shows of it to everyone.

use super::folder::unpack;
use super::identity::{identity, text};
use super::smbios::{Baseboard, Processor, Table, as_text};
use super::{CpuReport, Host};

/// Where Linux shows single values of the firmware's table.
pub(super) const DMI_FOLDER: &str = "/sys/class/dmi/id";
/// A new value each boot.
pub(super) const BOOT_ID: &str = "/proc/sys/kernel/random/boot_id";
/// The host name as it is now, and as it is set up.
pub(super) const HOST_NAMES: [&str; 2] = ["/proc/sys/kernel/hostname", "/etc/hostname"];

/// What boards carry whose maker never set a UUID, in both byte orders. Seen on four of 81 machines of different makers.
const DEFAULT_UUIDS: [&str; 2] = ["03000200-0400-0500-0006-000700080009", "00020003-0004-0005-0006-000700080009"];

/// Takes what one of the host files says; what is known already stays.
pub(super) fn take(host: &mut Host, path: &str, raw: &[u8]) -> Vec<String> {
    let line = String::from_utf8_lossy(raw).lines().next().map(str::to_owned);
    match path {
        BOOT_ID => fill(&mut host.boot_id, text(line.as_deref())),
        DMI_FOLDER => take_folder(host, raw),
        _ if HOST_NAMES.contains(&path) => fill(&mut host.name, text(line.as_deref()).filter(|name| name != "(none)")),
        _ => {}
    }
    Vec::new()
}

fn take_folder(host: &mut Host, raw: &[u8]) {
    let files = unpack(raw);
    let value = |name: &str| {
        let text = as_text(files.get(name)?);
        identity(Some(text.trim_end_matches('\n')))
    };
    fill(&mut host.maker, value("sys_vendor"));
    fill(&mut host.product, value("product_name"));
    fill(&mut host.serial, value("product_serial"));
    let uuid = value("product_uuid").map(|uuid| uuid.to_ascii_lowercase());
    fill(&mut host.uuid, uuid.filter(|uuid| !DEFAULT_UUIDS.contains(&uuid.as_str())));
    fill(&mut host.board_product, value("board_name"));
    fill(&mut host.board_serial, value("board_serial"));
    fill(&mut host.chassis_serial, value("chassis_serial"));
    fill(&mut host.chassis_tag, value("chassis_asset_tag"));
    fill(&mut host.firmware, joined([value("bios_vendor"), value("bios_version"), value("bios_date")]));
}

/// Takes what the table says: it is the source of the single values, so it goes before them. The
/// version is the entry point's.
pub(super) fn take_table(host: &mut Host, table: &Table, version: Option<(u8, u8)>) {
    let value = |raw: &Option<String>| identity(raw.as_deref());
    if let Some(system) = &table.system {
        put(&mut host.maker, value(&system.maker));
        put(&mut host.product, value(&system.product));
        put(&mut host.serial, value(&system.serial));
        put(&mut host.uuid, system.uuid_text(version).filter(|uuid| !DEFAULT_UUIDS.contains(&uuid.as_str())));
    }
    let board = table.boards.iter().find(|board| board.kind == Some(Baseboard::MOTHERBOARD)).or(table.boards.first());
    if let Some(board) = board {
        put(&mut host.board_product, value(&board.product));
        put(&mut host.board_serial, value(&board.serial));
    }
    if let Some(chassis) = table.chassis.first() {
        put(&mut host.chassis_serial, value(&chassis.serial));
        put(&mut host.chassis_tag, value(&chassis.asset));
    }
    if let Some(firmware) = &table.firmware {
        put(&mut host.firmware, joined([value(&firmware.vendor), value(&firmware.version), value(&firmware.date)]));
    }
    host.cpus = table
        .processors
        .iter()
        .filter(|processor| processor.kind.is_none_or(|kind| kind == Processor::CENTRAL))
        .map(|processor| CpuReport {
            socket: text(processor.socket.as_deref()),
            maker: value(&processor.maker),
            version: value(&processor.version),
            populated: processor.populated(),
        })
        .collect();
}

/// `vendor version date`, of what is known.
fn joined(parts: [Option<String>; 3]) -> Option<String> {
    let text = parts.into_iter().flatten().collect::<Vec<_>>().join(" ");
    (!text.is_empty()).then_some(text)
}

fn fill(field: &mut Option<String>, value: Option<String>) {
    if field.is_none() {
        *field = value;
    }
}

fn put(field: &mut Option<String>, value: Option<String>) {
    if value.is_some() {
        *field = value;
    }
}
