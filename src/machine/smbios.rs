//! An SMBIOS encoder, from DSP0134 3.7.0 alone (sections named beside each structure). It writes version 3.3.

use crate::module::{Generation, Kind};

/// One slot's structure, ready to be written.
pub(super) struct Device {
    pub locator: String,
    pub bank: Option<String>,
    /// What stands in it as the firmware shows it; `None` is an empty slot.
    pub shown: Option<Shown>,
}

/// A module as the firmware shows it.
pub(super) struct Shown {
    pub size: ShownSize,
    pub generation: Option<Generation>,
    pub kind: Option<Kind>,
    pub ranks: Option<u8>,
    pub rated_mts: Option<u32>,
    /// 0 is written for "unknown".
    pub configured_mts: u32,
    pub millivolts: u16,
    pub maker: Option<String>,
    pub part: Option<String>,
    pub serial: Option<String>,
    /// The MiB mapped to it; none when the firmware does not use it.
    pub mapped_mib: Option<u64>,
}

/// The size field.
pub(super) enum ShownSize {
    Mib(u64),
    Zero,
    Unknown,
}

/// A processor socket.
pub(super) struct CpuSocket {
    pub label: String,
    pub version: Option<String>,
    pub populated: bool,
}

/// Everything one table says.
pub(super) struct Table {
    pub maker: String,
    pub product: String,
    pub board_product: String,
    pub serial: String,
    pub chassis: String,
    pub uuid: [u8; 16],
    pub cpus: Vec<CpuSocket>,
    pub devices: Vec<Device>,
}

/// One structure: formatted part and strings (6.1.2, 6.1.3).
struct Structure {
    bytes: Vec<u8>,
    strings: Vec<Vec<u8>>,
}

impl Structure {
    fn new(kind: u8, handle: u16) -> Self {
        let [low, high] = handle.to_le_bytes();
        Self { bytes: vec![kind, 0, low, high], strings: Vec::new() }
    }

    fn u8(mut self, value: u8) -> Self {
        self.bytes.push(value);
        self
    }

    fn u16(mut self, value: u16) -> Self {
        self.bytes.extend(value.to_le_bytes());
        self
    }

    fn u32(mut self, value: u32) -> Self {
        self.bytes.extend(value.to_le_bytes());
        self
    }

    fn u64(mut self, value: u64) -> Self {
        self.bytes.extend(value.to_le_bytes());
        self
    }

    /// A string's number; 0 when there is none. An empty string would end the set, and a NUL would cut it.
    fn text(mut self, value: Option<&str>) -> Self {
        let value: Vec<u8> = value.unwrap_or_default().bytes().filter(|byte| *byte != 0).collect();
        let number = if value.is_empty() || self.strings.len() >= 255 {
            0
        } else {
            self.strings.push(value);
            self.strings.len() as u8
        };
        self.u8(number)
    }

    fn end(mut self, table: &mut Vec<u8>) {
        self.bytes[1] = self.bytes.len() as u8;
        table.append(&mut self.bytes);
        if self.strings.is_empty() {
            table.push(0);
        }
        for string in self.strings {
            table.extend(string);
            table.push(0);
        }
        table.push(0);
    }
}

const ARRAY: u16 = 0x1000;
const FIRST_DEVICE: u16 = 0x1100;
const FIRST_RANGE: u16 = 0x1300;
const FIRST_DEVICE_RANGE: u16 = 0x1400;
/// "Not provided" of an error information handle (7.17, 7.18).
const NO_ERROR_INFO: u16 = 0xFFFE;

/// The structure table.
pub(super) fn table(table: &Table) -> Vec<u8> {
    let mut out = Vec::new();
    // Type 0, 7.1: vendor, version, segment, date, ROM size, characteristics, extension, releases, extended ROM size.
    let firmware = Structure::new(0, 0x0000).text(Some(&table.maker)).text(Some("1.4.2")).u16(0);
    let firmware = firmware.text(Some("02/12/2024")).u8(0xFF).u64(0x0008_0000).u8(0).u8(0x0C);
    firmware.u8(1).u8(4).u8(0xFF).u8(0xFF).u16(16).end(&mut out);
    // Type 1, 7.2: maker, product, version, serial, UUID, wake-up type 6 (power switch), SKU, family.
    let mut system = Structure::new(1, 0x0001).text(Some(&table.maker)).text(Some(&table.product)).text(None);
    system = system.text(Some(&table.serial));
    for byte in table.uuid {
        system = system.u8(byte);
    }
    system.u8(6).text(None).text(None).end(&mut out);
    // Type 2, 7.3: maker, product, version, serial, asset tag, feature flags, location, chassis handle, type, no children.
    let board = Structure::new(2, 0x0002).text(Some(&table.maker)).text(Some(&table.board_product)).text(None);
    board.text(Some(&table.serial)).text(None).u8(9).text(None).u16(3).u8(0x0A).u8(0).end(&mut out);
    // Type 3, 7.4: type 17h (rack mount), states 3 (safe), no contained elements.
    let chassis = Structure::new(3, 0x0003).text(Some(&table.maker)).u8(0x17).text(None);
    let chassis = chassis.text(Some(&table.chassis)).text(Some(&table.chassis)).u8(3).u8(3).u8(3).u8(3).u32(0);
    chassis.u8(1).u8(1).u8(0).u8(3).text(None).end(&mut out);
    for (n, cpu) in table.cpus.iter().enumerate() {
        processor(cpu, 0x0400 + n as u16).end(&mut out);
    }
    devices(table, &mut out);
    Structure::new(127, 0x7F00).end(&mut out);
    out
}

/// Type 4, 7.5, up to processor characteristics (26h) and the second set of counts (2.6).
fn processor(cpu: &CpuSocket, handle: u16) -> Structure {
    // Status: bit 6 populated, low bits 1 enabled (7.5.4).
    let status = if cpu.populated { 0x41 } else { 0x00 };
    let cores = if cpu.populated { 24 } else { 0 };
    let made = Structure::new(4, handle).text(Some(&cpu.label)).u8(3).u8(if cpu.populated { 0xB3 } else { 2 });
    let made = made.text(cpu.populated.then_some("Larkfield")).u64(0).text(cpu.version.as_deref());
    let made = made.u8(0).u16(100).u16(0).u16(0).u8(status).u8(1).u16(0xFFFF).u16(0xFFFF).u16(0xFFFF);
    made.text(None).text(None).text(None).u8(cores).u8(cores).u8(cores).u16(0x00FC).u16(0xB3)
}

/// Types 16, 17, 19 and 20.
fn devices(table: &Table, out: &mut Vec<u8>) {
    // 7.17: location 3 board, use 3 system memory, error correction 5 (single-bit) or 6 (multi-bit); capacity in the QWORD.
    let count = table.devices.len() as u16;
    let array = Structure::new(16, ARRAY).u8(3).u8(3).u8(6).u32(0x8000_0000).u16(NO_ERROR_INFO).u16(count);
    array.u64(table.devices.len() as u64 * (256 << 30)).end(out);
    for (n, device) in table.devices.iter().enumerate() {
        memory_device(device, FIRST_DEVICE + n as u16).end(out);
    }
    let mapped: u64 = table.devices.iter().filter_map(|device| device.shown.as_ref()?.mapped_mib).sum();
    if mapped > 0 {
        // 7.20: one range from 0; the gap for devices below 4 GiB is not shown, as real firmware mostly does not.
        let range = addresses(Structure::new(19, FIRST_RANGE), 0, mapped);
        let widths = range.0.u16(ARRAY).u8(1);
        widths.u64(range.1).u64(range.2).end(out);
    }
    let mut start = 0;
    for (n, device) in table.devices.iter().enumerate() {
        let Some(mib) = device.shown.as_ref().and_then(|shown| shown.mapped_mib) else { continue };
        // 7.21: device, range, row position unknown, not interleaved.
        let (made, from, to) = addresses(Structure::new(20, FIRST_DEVICE_RANGE + n as u16), start, mib);
        let made = made.u16(FIRST_DEVICE + n as u16).u16(FIRST_RANGE).u8(0xFF).u8(0).u8(0);
        made.u64(from).u64(to).end(out);
        start += mib;
    }
}

/// Start and last KiB as DWORDs; both all ones, and the bytes in the QWORDs, where they do not fit.
fn addresses(made: Structure, start_mib: u64, mib: u64) -> (Structure, u64, u64) {
    let first = start_mib * 1024;
    let last = (start_mib + mib) * 1024 - 1;
    match (u32::try_from(first), u32::try_from(last)) {
        (Ok(first), Ok(last)) if last < u32::MAX => (made.u32(first).u32(last), 0, 0),
        _ => (made.u32(u32::MAX).u32(u32::MAX), first * 1024, (last + 1) * 1024 - 1),
    }
}

/// Type 17, 7.18, to 5Ch (3.3).
fn memory_device(device: &Device, handle: u16) -> Structure {
    let shown = device.shown.as_ref();
    let kind = shown.and_then(|shown| shown.kind);
    let generation = shown.and_then(|shown| shown.generation);
    let (total, data) = widths(shown.is_some(), generation, kind);
    let (size, extended) = match shown.map(|shown| &shown.size) {
        None | Some(ShownSize::Zero) => (0, 0),
        Some(ShownSize::Unknown) => (0xFFFF, 0),
        Some(ShownSize::Mib(mib)) if *mib < 0x7FFF => (*mib as u16, 0),
        Some(ShownSize::Mib(mib)) => (0x7FFF, *mib as u32),
    };
    let form = match kind {
        Some(Kind::SODIMM | Kind::EccSodimm) => 0x0D,
        Some(Kind::FbDimm) => 0x0F,
        _ => 0x09,
    };
    let (rated, configured) = match shown {
        None => (0, 0),
        Some(shown) => (shown.rated_mts.unwrap_or(0), shown.configured_mts),
    };
    let word = |mts: u32| u16::try_from(mts).ok().filter(|mts| *mts < 0xFFFF).unwrap_or(0xFFFF);
    let long = |mts: u32| if mts < 0xFFFF { 0 } else { mts };
    let millivolts = shown.map_or(0, |shown| shown.millivolts);
    let rail = if shown.is_some() { nominal_millivolts(generation) } else { 0 };
    let text = |pick: fn(&Shown) -> Option<&str>| shown.and_then(pick);

    let made = Structure::new(17, handle).u16(ARRAY).u16(NO_ERROR_INFO).u16(total).u16(data).u16(size).u8(form).u8(0);
    let made = made.text(Some(&device.locator)).text(device.bank.as_deref());
    let made = made.u8(if shown.is_some() { type_code(generation) } else { 2 }).u16(detail(shown.is_some(), kind));
    let made = made.u16(word(rated)).text(text(|s| s.maker.as_deref())).text(text(|s| s.serial.as_deref()));
    let made = made.text(None).text(text(|s| s.part.as_deref()));
    let made = made.u8(shown.and_then(|shown| shown.ranks).unwrap_or(0) & 0x0F).u32(extended).u16(word(configured));
    let made = made.u16(rail).u16(rail).u16(millivolts);
    // 28h technology 3 (DRAM), 29h operating mode bit 3 (volatile), 2Bh firmware version, four ids unknown.
    let made = made.u8(if shown.is_some() { 3 } else { 2 }).u16(if shown.is_some() { 8 } else { 4 }).text(None);
    let made = made.u16(0).u16(0).u16(0).u16(0);
    let volatile = match shown.map(|shown| &shown.size) {
        Some(ShownSize::Mib(mib)) => mib << 20,
        Some(ShownSize::Unknown) => u64::MAX,
        None | Some(ShownSize::Zero) => 0,
    };
    made.u64(0).u64(volatile).u64(0).u64(0).u32(long(rated)).u32(long(configured))
}

/// Supply in mV by generation (JEDEC: 1.5, 1.2 and 1.1 V; from memory).
pub(super) fn nominal_millivolts(generation: Option<Generation>) -> u16 {
    match generation {
        Some(Generation::DDR3) => 1500,
        Some(Generation::DDR4) => 1200,
        Some(Generation::DDR5) => 1100,
        _ => 0,
    }
}

/// Total and data width in bits: ECC adds 8 bits to one 64-bit channel, or to each of the two 32-bit ones of DDR5
/// (4 or 8 each; 8 here).
fn widths(fitted: bool, generation: Option<Generation>, kind: Option<Kind>) -> (u16, u16) {
    match (fitted, generation, kind) {
        (false, ..) => (0xFFFF, 0xFFFF),
        (_, _, Some(Kind::UDIMM | Kind::SODIMM)) => (64, 64),
        (_, Some(Generation::DDR5), _) => (80, 64),
        _ => (72, 64),
    }
}

/// 7.18.2, table 77.
fn type_code(generation: Option<Generation>) -> u8 {
    match generation {
        None => 0x02,
        Some(Generation::SDRAM) => 0x0F,
        Some(Generation::DDR) => 0x12,
        Some(Generation::DDR2) => 0x13,
        Some(Generation::DDR3) => 0x18,
        Some(Generation::DDR4) => 0x1A,
        Some(Generation::LPDDR3) => 0x1D,
        Some(Generation::LPDDR4) => 0x1E,
        Some(Generation::DDR5) => 0x22,
        Some(Generation::LPDDR5) => 0x23,
    }
}

/// Type detail: bit 7 synchronous, 12 non-volatile, 13 registered, 14 unbuffered, 15 LRDIMM (7.18.3). Nothing in it tells
/// a 3DS module.
fn detail(fitted: bool, kind: Option<Kind>) -> u16 {
    let kind = match kind {
        _ if !fitted => return 1 << 2,
        Some(Kind::UDIMM | Kind::EccUdimm | Kind::SODIMM | Kind::EccSodimm) => 1 << 14,
        Some(Kind::RDIMM | Kind::Rdimm3ds | Kind::MRDIMM) => 1 << 13,
        Some(Kind::LRDIMM | Kind::Lrdimm3ds) => 1 << 15,
        Some(Kind::NVDIMM) => (1 << 12) | (1 << 13),
        Some(Kind::FbDimm) | None => 0,
    };
    kind | (1 << 7)
}

/// The 64-bit entry point (5.2.2): anchor, checksum, length, version 3.3, revision 1, greatest size, address.
pub(super) fn entry_point(table: &[u8]) -> Vec<u8> {
    let mut out = b"_SM3_".to_vec();
    out.extend([0, 24, 3, 3, 0, 1, 0]);
    out.extend((table.len() as u32).to_le_bytes());
    out.extend(0x7A5C_0000_u64.to_le_bytes());
    let sum = out.iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte));
    out[5] = sum.wrapping_neg();
    out
}
