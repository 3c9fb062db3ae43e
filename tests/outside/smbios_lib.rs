//! Types 16, 17, 19 and 20 of real tables against the crate smbios-lib 0.9 (MIT), an independent decoder, and the same
//! over tables with bytes changed at random, where no listing exists.

use proptest::prelude::*;
use slotwise::snapshot::smbios::{MemoryArray, MemoryDevice, Reported, Table};
use smbioslib::{
    Handle, MaximumMemoryCapacity, MemoryIndicatedSize, MemorySize, MemorySizeExtended, MemorySpeed,
    MemorySpeedExtended, SMBiosData, SMBiosMemoryArrayMappedAddress, SMBiosMemoryDevice,
    SMBiosMemoryDeviceMappedAddress, SMBiosPhysicalMemoryArray, SMBiosString, SMBiosStringError,
};

use crate::machine_tables::tables;

fn handle(theirs: Option<Handle>) -> Option<u16> {
    theirs.map(|handle| handle.0)
}

fn known(theirs: Option<u16>) -> Option<u16> {
    theirs.filter(|value| *value != 0)
}

/// Their string as ours: a number that leads nowhere is no string, bytes that are no UTF-8 are read one by one, number 0
/// is an empty string there and none here.
fn string(theirs: SMBiosString) -> Option<String> {
    if theirs.is_ok() {
        return theirs.ok();
    }
    match theirs.err()? {
        SMBiosStringError::Utf8(error) => Some(error.as_bytes().iter().map(|byte| char::from(*byte)).collect()),
        _ => None,
    }
}

fn same_text(ours: &Option<String>, theirs: SMBiosString) -> bool {
    ours.as_deref().unwrap_or("") == string(theirs).as_deref().unwrap_or("")
}

fn speed(theirs: Option<MemorySpeed>, extended: Option<MemorySpeedExtended>) -> Option<u32> {
    match theirs? {
        MemorySpeed::Unknown => None,
        MemorySpeed::MTs(mts) => Some(u32::from(mts)),
        MemorySpeed::SeeExtendedSpeed => match extended? {
            MemorySpeedExtended::MTs(mts) => Some(mts),
            MemorySpeedExtended::SeeSpeed => None,
        },
    }
}

fn size(theirs: &SMBiosMemoryDevice<'_>) -> Option<Reported> {
    Some(match theirs.size()? {
        MemorySize::NotInstalled | MemorySize::Kilobytes(0) => Reported::Nothing,
        MemorySize::Unknown => Reported::Unknown,
        MemorySize::Kilobytes(kib) => Reported::Kib(u64::from(kib)),
        MemorySize::Megabytes(mib) => Reported::Kib(u64::from(mib) * 1024),
        MemorySize::SeeExtendedSize => match theirs.extended_size() {
            Some(MemorySizeExtended::Megabytes(mib)) => Reported::Kib(u64::from(mib) * 1024),
            Some(MemorySizeExtended::SeeSize) => Reported::Unknown,
            None => Reported::Kib(0x7FFF * 1024),
        },
    })
}

fn bytes(theirs: Option<MemoryIndicatedSize>) -> Option<u64> {
    match theirs? {
        MemoryIndicatedSize::Unknown => None,
        MemoryIndicatedSize::Bytes(bytes) => Some(bytes),
    }
}

/// Names of the fields in which a device differs.
fn device(ours: &MemoryDevice, theirs: &SMBiosMemoryDevice<'_>) -> Vec<&'static str> {
    let detail = |bit: u16| ours.detail.map(|bits| bits & 1 << bit != 0);
    let their_detail = theirs.type_detail();
    [
        ("array", ours.array == handle(theirs.physical_memory_array_handle())),
        ("error", ours.error == handle(theirs.memory_error_information_handle())),
        ("total width", ours.total_width == theirs.total_width().filter(|bits| *bits != 0xFFFF)),
        ("data width", ours.data_width == theirs.data_width().filter(|bits| *bits != 0xFFFF)),
        ("size", ours.size == size(theirs)),
        ("form factor", ours.form_factor == theirs.form_factor().map(|form| form.raw)),
        ("set", ours.set == theirs.device_set()),
        ("locator", same_text(&ours.locator, theirs.device_locator())),
        ("bank", same_text(&ours.bank, theirs.bank_locator())),
        ("type", ours.memory_type == theirs.memory_type().map(|kind| kind.raw)),
        ("synchronous", detail(7) == their_detail.as_ref().map(|detail| detail.synchronous())),
        ("non-volatile", detail(12) == their_detail.as_ref().map(|detail| detail.non_volatile())),
        ("registered", detail(13) == their_detail.as_ref().map(|detail| detail.registered())),
        ("unbuffered", detail(14) == their_detail.as_ref().map(|detail| detail.unbuffered())),
        ("load-reduced", detail(15) == their_detail.as_ref().map(|detail| detail.lrdimm())),
        ("speed", ours.rated_mts == speed(theirs.speed(), theirs.extended_speed())),
        (
            "configured speed",
            ours.configured_mts == speed(theirs.configured_memory_speed(), theirs.extended_configured_memory_speed()),
        ),
        ("maker", same_text(&ours.maker, theirs.manufacturer())),
        ("serial", same_text(&ours.serial, theirs.serial_number())),
        ("asset", same_text(&ours.asset, theirs.asset_tag())),
        ("part", same_text(&ours.part, theirs.part_number())),
        ("ranks", ours.ranks == theirs.attributes().map(|bits| bits & 0x0F).filter(|ranks| *ranks != 0)),
        ("minimum voltage", ours.min_millivolts == known(theirs.minimum_voltage())),
        ("maximum voltage", ours.max_millivolts == known(theirs.maximum_voltage())),
        ("configured voltage", ours.configured_millivolts == known(theirs.configured_voltage())),
        ("technology", ours.technology == theirs.memory_technology().map(|technology| technology.raw)),
        ("firmware version", same_text(&ours.firmware_version, theirs.firmware_version())),
        ("module maker", ours.module_maker == known(theirs.module_manufacturer_id())),
        ("module product", ours.module_product == known(theirs.module_product_id())),
        ("controller maker", ours.controller_maker == known(theirs.memory_subsystem_controller_manufacturer_id())),
        ("controller product", ours.controller_product == known(theirs.memory_subsystem_controller_product_id())),
        ("non-volatile size", ours.non_volatile_bytes == bytes(theirs.non_volatile_size())),
        ("volatile size", ours.volatile_bytes == bytes(theirs.volatile_size())),
        ("cache size", ours.cache_bytes == bytes(theirs.cache_size())),
        ("logical size", ours.logical_bytes == bytes(theirs.logical_size())),
        ("power chip", ours.pmic_maker == known(theirs.pmic0_manufacturer_id())),
        ("power chip revision", ours.pmic_revision == theirs.pmic0_revision_number().filter(|id| *id != 0xFF00)),
        ("clock driver", ours.rcd_maker == known(theirs.rcd_manufacturer_id())),
        ("clock driver revision", ours.rcd_revision == theirs.rcd_revision_number().filter(|id| *id != 0xFF00)),
    ]
    .into_iter()
    .filter(|(_, same)| !same)
    .map(|(field, _)| field)
    .collect()
}

fn array(ours: &MemoryArray, theirs: &SMBiosPhysicalMemoryArray<'_>) -> bool {
    let capacity = match theirs.maximum_capacity() {
        Some(MaximumMemoryCapacity::Kilobytes(kib)) => Some(u64::from(kib)),
        Some(MaximumMemoryCapacity::SeeExtendedMaximumCapacity) => {
            theirs.extended_maximum_capacity().map(|bytes| bytes / 1024)
        }
        None => None,
    };
    ours.usage == theirs.usage().map(|usage| usage.raw)
        && ours.location == theirs.location().map(|location| location.raw)
        && ours.correction == theirs.memory_error_correction().map(|correction| correction.raw)
        && ours.capacity_kib == capacity
        && ours.error == handle(theirs.memory_error_information_handle())
        && ours.devices == theirs.number_of_memory_devices()
}

fn addresses(start: Option<u32>, end: Option<u32>, long: (Option<u64>, Option<u64>)) -> (Option<u64>, Option<u64>) {
    if start == Some(u32::MAX) {
        return long;
    }
    (start.map(|kib| u64::from(kib) << 10), end.map(|kib| (u64::from(kib) << 10) + 1023))
}

/// What differs between the two decoders over one table.
fn differences(bytes: &[u8]) -> Vec<String> {
    let ours = Table::decode(bytes);
    let theirs = SMBiosData::from_vec_and_version(bytes.to_vec(), None);
    let mut wrong = Vec::new();
    let devices: Vec<_> = theirs.collect::<SMBiosMemoryDevice<'_>>();
    let arrays: Vec<_> = theirs.collect::<SMBiosPhysicalMemoryArray<'_>>();
    let ranges: Vec<_> = theirs.collect::<SMBiosMemoryArrayMappedAddress<'_>>();
    let device_ranges: Vec<_> = theirs.collect::<SMBiosMemoryDeviceMappedAddress<'_>>();
    let counts = [
        ("devices", ours.devices.len(), devices.len()),
        ("arrays", ours.arrays.len(), arrays.len()),
        ("ranges", ours.ranges.len(), ranges.len()),
        ("device ranges", ours.device_ranges.len(), device_ranges.len()),
    ];
    for (what, ours, theirs) in counts {
        if ours != theirs {
            wrong.push(format!("{ours} {what} here, {theirs} there"));
        }
    }
    for (ours, theirs) in ours.devices.iter().zip(&devices) {
        wrong.extend(device(ours, theirs).iter().map(|field| format!("device {:#06x}: {field}", ours.handle)));
    }
    for (ours, theirs) in ours.arrays.iter().zip(&arrays) {
        if !array(ours, theirs) {
            wrong.push(format!("array {:#06x}", ours.handle));
        }
    }
    for (ours, theirs) in ours.ranges.iter().zip(&ranges) {
        let long = (theirs.extended_starting_address(), theirs.extended_ending_address());
        if (ours.start, ours.end) != addresses(theirs.starting_address(), theirs.ending_address(), long)
            || ours.array != handle(theirs.physical_memory_array_handle())
            || ours.partition_width != theirs.partition_width()
        {
            wrong.push(format!("range {:#06x}", ours.handle));
        }
    }
    for (ours, theirs) in ours.device_ranges.iter().zip(&device_ranges) {
        let long = (theirs.extended_starting_address(), theirs.extended_ending_address());
        if (ours.start, ours.end) != addresses(theirs.starting_address(), theirs.ending_address(), long)
            || ours.device != handle(theirs.memory_device_handle())
            || ours.range != handle(theirs.memory_array_mapped_address_handle())
            || ours.row != theirs.partition_row_position()
            || ours.interleave != theirs.interleave_position()
            || ours.depth != theirs.interleaved_data_depth()
        {
            wrong.push(format!("device range {:#06x}", ours.handle));
        }
    }
    wrong
}

#[test]
fn real_tables_are_read_as_the_other_decoder_reads_them() {
    let mut devices = 0;
    for (file, bytes) in tables() {
        let wrong = differences(&bytes);
        assert!(wrong.is_empty(), "{file}:\n{}", wrong.join("\n"));
        devices += Table::decode(&bytes).devices.len();
    }
    eprintln!("{devices} devices read alike");
}

#[test]
fn changed_tables_are_read_alike_as_far_as_both_go() {
    let tables = tables();
    if tables.is_empty() {
        return;
    }
    let changes = prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12);
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        cases: 2000,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    runner
        .run(&(any::<prop::sample::Index>(), changes), |(table, changes)| {
            let mut bytes = table.get(&tables).1.clone();
            for (at, value) in changes {
                let at = at.index(bytes.len());
                bytes[at] = value;
            }
            let ours = Table::decode(&bytes);
            // Where a table breaks, the two stop at places of their own.
            if ours.broken.is_none() && ours.ended {
                prop_assert_eq!(differences(&bytes), Vec::<String>::new());
            }
            Ok(())
        })
        .unwrap();
}
