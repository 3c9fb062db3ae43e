//! How long a capture takes: decoding firmware tables, merging them into slots, and reading a whole machine below a folder.
//!
//! Decoding is held against the crate smbios-lib over the same tables in the same run, both collecting types 16, 17, 19
//! and 20 and reading the same fields; the ratio is printed at the end. The tables are those of real machines where the
//! collected data lies beside the package (or in `SLOTWISE_SHARED`), else one made here.

#![allow(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a bench that cannot go on says why; its figures are what it is for"
)]

use std::hint::black_box;
use std::path::PathBuf;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

use divan::Bencher;
use divan::counter::ItemsCount;
use slotwise::snapshot::smbios::Table;
use slotwise::snapshot::smbios::write::{Draft, table};
use slotwise::snapshot::{capture, from_table, read_json, write_json};
use slotwise::verify::{Input, ShutOffModules, compare_all, plan_from_snapshot};
use smbioslib::{
    SMBiosData, SMBiosMemoryArrayMappedAddress, SMBiosMemoryDevice, SMBiosMemoryDeviceMappedAddress,
    SMBiosPhysicalMemoryArray,
};

static TABLES: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    let shared = std::env::var_os("SLOTWISE_SHARED")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared")), PathBuf::from);
    let mut paths: Vec<PathBuf> = std::fs::read_dir(shared.join("data/smbios/tables"))
        .map(|entries| entries.filter_map(|entry| Some(entry.ok()?.path())).collect())
        .unwrap_or_default();
    paths.sort();
    let tables: Vec<Vec<u8>> = paths.iter().filter_map(|path| std::fs::read(path).ok()).collect();
    if tables.is_empty() { vec![made_up()] } else { tables }
});

/// Two sockets, eight channels, two slots each, half of them fitted.
fn made_up() -> Vec<u8> {
    let array = Draft::new(16, 0x17, 0x1000).byte(0x04, 3).byte(0x05, 3).word(0x0D, 32);
    let slots = (0..32u16).map(|n| {
        let slot = Draft::new(17, 0x54, 0x1100 + n)
            .word(0x04, 0x1000)
            .byte(0x0E, 9)
            .string(0x10, format!("P{}_{}{}", n / 16, char::from(b'A' + (n % 16 / 2) as u8), n % 2 + 1).as_bytes());
        if n % 2 == 1 {
            return slot.string(0x17, b"NO DIMM");
        }
        slot.word(0x0C, 0x7FFF)
            .dword(0x1C, 0x8000)
            .byte(0x12, 0x22)
            .word(0x13, 0x2080)
            .word(0x15, 4800)
            .word(0x20, 4800)
            .word(0x26, 1100)
            .string(0x17, b"Osprey Memory")
            .string(0x18, format!("{n:08X}").as_bytes())
            .string(0x1A, b"OM5R32-2R8-4800")
    });
    table(std::iter::once(array).chain(slots))
}

fn ours(tables: &[Vec<u8>]) -> usize {
    tables.iter().map(|bytes| black_box(Table::decode(black_box(bytes))).devices.len()).sum()
}

fn reference(tables: &[Vec<u8>]) -> usize {
    let mut devices = 0;
    for bytes in tables {
        let data = SMBiosData::from_vec_and_version(black_box(bytes).clone(), None);
        for device in data.collect::<SMBiosMemoryDevice<'_>>() {
            devices += 1;
            black_box((device.physical_memory_array_handle(), device.memory_error_information_handle()));
            black_box((device.total_width(), device.data_width(), device.size(), device.extended_size()));
            black_box((device.form_factor().map(|form| form.raw), device.memory_type().map(|kind| kind.raw)));
            black_box((device.device_locator().ok(), device.bank_locator().ok(), device.manufacturer().ok()));
            black_box((device.serial_number().ok(), device.asset_tag().ok(), device.part_number().ok()));
            black_box((device.speed(), device.configured_memory_speed(), device.attributes()));
            black_box((device.minimum_voltage(), device.maximum_voltage(), device.configured_voltage()));
            black_box((device.firmware_version().ok(), device.module_manufacturer_id(), device.volatile_size()));
        }
        for array in data.collect::<SMBiosPhysicalMemoryArray<'_>>() {
            black_box((array.usage().map(|usage| usage.raw), array.number_of_memory_devices()));
        }
        for range in data.collect::<SMBiosMemoryArrayMappedAddress<'_>>() {
            black_box((range.starting_address(), range.ending_address(), range.extended_ending_address()));
        }
        for range in data.collect::<SMBiosMemoryDeviceMappedAddress<'_>>() {
            black_box((range.starting_address(), range.ending_address(), range.memory_device_handle()));
        }
    }
    devices
}

#[divan::bench]
fn decode_all_tables(bencher: Bencher<'_, '_>) {
    bencher.counter(ItemsCount::new(TABLES.len())).bench(|| ours(&TABLES));
}

#[divan::bench]
fn decode_all_tables_with_the_reference(bencher: Bencher<'_, '_>) {
    bencher.counter(ItemsCount::new(TABLES.len())).bench(|| reference(&TABLES));
}

#[divan::bench]
fn merge_all_tables_into_slots(bencher: Bencher<'_, '_>) {
    bencher
        .counter(ItemsCount::new(TABLES.len()))
        .bench(|| TABLES.iter().map(|bytes| from_table(black_box(bytes)).slots.len()).sum::<usize>());
}

/// The largest of the tables as a machine below a folder, with 512 memory blocks and two nodes.
fn machine() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder for the machine");
    let put = |path: &str, bytes: &[u8]| {
        let path = folder.path().join(path);
        path.parent().map(std::fs::create_dir_all).transpose().expect("a folder in the machine");
        std::fs::write(path, bytes).expect("a file of the machine");
    };
    put("sys/firmware/dmi/tables/DMI", TABLES.iter().max_by_key(|bytes| bytes.len()).expect("a table"));
    put("proc/meminfo", b"MemTotal:       131072000 kB\n");
    put("proc/sys/kernel/random/boot_id", b"4b4f6f3a-0000-4000-8000-000000000001\n");
    put("proc/sys/kernel/hostname", b"n1.estuary\n");
    put("sys/devices/system/memory/block_size_bytes", b"10000000\n");
    for block in 0..512 {
        put(&format!("sys/devices/system/memory/memory{block}/state"), b"online\n");
    }
    for node in 0..2 {
        put(
            &format!("sys/devices/system/node/node{node}/meminfo"),
            format!("Node {node} MemTotal: 65536000 kB\n").as_bytes(),
        );
    }
    folder
}

#[divan::bench]
fn capture_a_machine(bencher: Bencher<'_, '_>) {
    let folder = machine();
    let now = chrono::DateTime::UNIX_EPOCH.fixed_offset();
    bencher.bench(|| capture(folder.path(), now, false));
}

/// What a technician waits for: a machine captured and held against its plan.
#[divan::bench]
fn capture_a_machine_and_verify_it(bencher: Bencher<'_, '_>) {
    let folder = machine();
    let now = chrono::DateTime::UNIX_EPOCH.fixed_offset();
    let plan = plan_from_snapshot(&capture(folder.path(), now, false), ShutOffModules::Planned);
    bencher.bench(|| {
        let snapshot = capture(folder.path(), now, false);
        compare_all(&Input::new(&plan, &snapshot)).findings.len()
    });
}

#[divan::bench]
fn write_and_read_a_snapshot(bencher: Bencher<'_, '_>) {
    let folder = machine();
    let snapshot = capture(folder.path(), chrono::DateTime::UNIX_EPOCH.fixed_offset(), false);
    bencher.bench(|| read_json(&write_json(&snapshot).expect("JSON")).expect("a snapshot"));
}

/// The shortest of many rounds, taken in turns so that a busy moment hits both.
fn shortest(rounds: usize, mut one: impl FnMut() -> usize, mut other: impl FnMut() -> usize) -> (Duration, Duration) {
    let time = |run: &mut dyn FnMut() -> usize| {
        let start = Instant::now();
        black_box(run());
        start.elapsed()
    };
    (0..rounds).fold((Duration::MAX, Duration::MAX), |(first, second), _| {
        (first.min(time(&mut one)), second.min(time(&mut other)))
    })
}

fn main() {
    divan::main();
    let only_listed_or_tested = std::env::args().any(|argument| matches!(argument.as_str(), "--list" | "--test"));
    if only_listed_or_tested || !std::env::args().any(|argument| argument == "--bench") {
        return;
    }
    assert_eq!(ours(&TABLES), reference(&TABLES), "both count the same devices");
    let (ours, reference) = shortest(200, || ours(&TABLES), || reference(&TABLES));
    let ratio = ours.as_secs_f64() / reference.as_secs_f64();
    println!("decoding {} tables: {ours:?} here, {reference:?} with smbios-lib, ratio {ratio:.2}", TABLES.len());
}
