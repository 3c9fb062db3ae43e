//! The model's SMBIOS table, read by an independent decoder: the crate `smbios-lib` (0.9), which follows DSP0134.

use slotwise::machine::{Boot, Fault, Machine, Pattern, Reporting};
use smbioslib::*;

use crate::support;

fn table_of(machine: &mut Machine) -> SMBiosData {
    let Boot::Up(tree) = machine.power_on() else { panic!("the model starts") };
    let entry = tree.file("/sys/firmware/dmi/tables/smbios_entry_point").unwrap();
    let point = SMBiosEntryPoint64::try_from(entry.to_vec()).expect("a sound entry point");
    let bytes = tree.file("/sys/firmware/dmi/tables/DMI").unwrap().to_vec();
    assert_eq!((point.major_version(), point.minor_version()), (3, 3));
    assert_eq!(point.structure_table_maximum_size(), bytes.len() as u32);
    SMBiosData::from_vec_and_version(bytes, Some(SMBiosVersion::new(3, 3, 0)))
}

fn sizes(table: &SMBiosData) -> Vec<Option<u64>> {
    table
        .collect::<SMBiosMemoryDevice<'_>>()
        .iter()
        .map(|device| match device.size()? {
            MemorySize::NotInstalled => Some(0),
            MemorySize::Unknown => None,
            MemorySize::Kilobytes(kib) => Some(u64::from(kib) / 1024),
            MemorySize::Megabytes(mib) => Some(u64::from(mib)),
            MemorySize::SeeExtendedSize => match device.extended_size()? {
                MemorySizeExtended::Megabytes(mib) => Some(u64::from(mib)),
                MemorySizeExtended::SeeSize => None,
            },
        })
        .collect()
}

#[test]
fn every_field_of_a_sound_machine_reads_back() {
    for (board, gib) in [(support::heron(), 64), (support::curlew(), 32), (support::wren(), 16), (support::alike(), 8)]
    {
        let plan = support::plan(board, gib, 1);
        let table = table_of(&mut Machine::as_planned(&plan, 7));
        let devices = table.collect::<SMBiosMemoryDevice<'_>>();
        assert_eq!(devices.len(), plan.board.slots().count());
        for (at, device) in plan.board.slots().zip(&devices) {
            let named = at.slot.reports_as.first().unwrap();
            assert_eq!(device.device_locator().to_string(), named.locator());
            let Some(planned) = plan.module_at(at.slot.label.as_str()) else { continue };
            let identity = &planned.module.identity;
            assert_eq!(Some(device.serial_number().to_string()), identity.serial);
            assert_eq!(Some(device.part_number().to_string()), identity.part);
            assert_eq!(Some(device.manufacturer().to_string()), identity.maker);
            assert_eq!(device.attributes().map(|ranks| ranks & 0x0F), planned.module.spec.ranks);
            let mts = plan.mts.map(|mts| mts.0);
            assert!(
                matches!(device.configured_memory_speed(), Some(MemorySpeed::MTs(v)) if Some(u32::from(v)) == mts),
                "{:?} is not {mts:?}",
                device.configured_memory_speed()
            );
            let ranges = table.collect::<SMBiosMemoryDeviceMappedAddress<'_>>();
            assert!(ranges.iter().any(|range| range.memory_device_handle() == Some(device.parts().header.handle())));
        }
        let planned: u64 = plan.slot.iter().map(|slot| slot.module.spec.gib.mib()).sum();
        assert_eq!(sizes(&table).iter().flatten().sum::<u64>(), planned);
        let arrays = table.collect::<SMBiosMemoryArrayMappedAddress<'_>>();
        let [array] = arrays.as_slice() else { panic!("one mapped range") };
        assert_eq!(array.ending_address(), Some((planned * 1024 - 1) as u32));
        let chassis = table.collect::<SMBiosSystemChassisInformation<'_>>();
        assert_eq!(chassis[0].asset_tag_number().to_string(), "LF-0042");
    }
}

#[test]
fn mapped_addresses_beyond_four_tib_go_to_the_quad_words() {
    let plan = support::plan(support::curlew(), 256, 2);
    let table = table_of(&mut Machine::as_planned(&plan, 7));
    let arrays = table.collect::<SMBiosMemoryArrayMappedAddress<'_>>();
    assert_eq!(arrays[0].ending_address(), Some(u32::MAX));
    assert_eq!(arrays[0].extended_ending_address(), Some(32 * 256 * (1 << 30) - 1));
}

#[test]
fn the_five_patterns_show_the_slot_as_the_real_tables_do() {
    for pattern in Pattern::ALL {
        let plan = support::plan(support::heron(), 16, 2);
        let failed = plan.slot[3].slot.clone();
        let index = plan.board.slot(failed.as_str()).unwrap().index;
        let mut machine = Machine::as_planned(&plan, 1)
            .with_fault(Fault::Slot { slot: failed })
            .with_reporting(Reporting::BySlot(pattern));
        let table = table_of(&mut machine);
        let device = &table.collect::<SMBiosMemoryDevice<'_>>()[index];
        let named = !device.part_number().to_string().is_empty();
        let running = matches!(device.configured_memory_speed(), Some(MemorySpeed::MTs(v)) if v > 0);
        let size = sizes(&table)[index];
        let expected = match pattern {
            Pattern::A => (Some(0), true, false),
            Pattern::B => (Some(16384), true, false),
            Pattern::C => (Some(16384), true, true),
            Pattern::D => (None, true, true),
            Pattern::E => (Some(0), false, false),
        };
        assert_eq!((size, named, running), expected, "{pattern:?}");
        let ranges = table.collect::<SMBiosMemoryDeviceMappedAddress<'_>>();
        assert!(ranges.iter().all(|range| range.memory_device_handle() != Some(device.parts().header.handle())));
        let mapped = table.collect::<SMBiosMemoryArrayMappedAddress<'_>>();
        assert_eq!(mapped[0].ending_address(), Some(15 * 16 * 1024 * 1024 - 1), "{pattern:?}");
    }
}
