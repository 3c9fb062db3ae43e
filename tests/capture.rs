//! Capture: reading a machine below one folder, saying what could not be read, and the command that writes it down.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a check that cannot go on has failed"
)]

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::Write;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::time::Duration;

use chrono::{DateTime, FixedOffset};
use slotwise::commands::Exit;
use slotwise::commands::capture::{CaptureArgs, run};
use slotwise::env::{Clock, Env, Terminal};
use slotwise::snapshot::smbios::write::{Draft, table};
use slotwise::snapshot::{Capture, Snapshot, capture, merge, read_json};

const DMI: &str = "sys/firmware/dmi/tables/DMI";

fn now() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-11-25T10:00:00+01:00").unwrap()
}

fn module(handle: u16, locator: &[u8], serial: &[u8], part: &[u8], maker: &[u8]) -> Draft {
    Draft::new(17, 0x54, handle)
        .word(0x04, 0x1000)
        .word(0x06, 0xFFFE)
        .word(0x08, 72)
        .word(0x0A, 64)
        .word(0x0C, 0x4000)
        .byte(0x0E, 9)
        .string(0x10, locator)
        .byte(0x12, 0x1A)
        .word(0x13, 0x2080)
        .word(0x15, 2666)
        .string(0x17, maker)
        .string(0x18, serial)
        .string(0x1A, part)
        .word(0x20, 2400)
        .word(0x26, 1200)
}

/// Two fitted slots, an empty one and one that is shut off, of a made-up machine.
fn heron() -> Vec<u8> {
    table([
        Draft::new(0, 0x18, 0).string(0x04, b"Larkfield").string(0x05, b"1.2"),
        Draft::new(1, 0x1B, 1).string(0x04, b"Larkfield").string(0x05, b"Heron").string(0x07, b"LF-0001"),
        Draft::new(4, 0x30, 4).string(0x04, b"CPU 0").byte(0x05, 3).byte(0x18, 0x41),
        Draft::new(4, 0x30, 5).string(0x04, b"CPU 1").byte(0x05, 3).byte(0x18, 0),
        Draft::new(16, 0x17, 0x1000).byte(0x04, 3).byte(0x05, 3).word(0x0D, 4),
        module(0x1100, b"A1", b"0A01", b"OM4R16-1R4-2666   ", b"Osprey Memory"),
        module(0x1101, b"A2", b"0A02", b"OM4R16-1R4-2666   ", b"Osprey Memory"),
        Draft::new(17, 0x54, 0x1102).word(0x04, 0x1000).string(0x10, b"A3"),
        module(0x1103, b"A4", b"0A04", b"OM4R16-1R4-2666   ", b"Osprey Memory").word(0x0C, 0),
    ])
}

fn put(root: &Path, path: &str, bytes: impl AsRef<[u8]>) {
    let path = root.join(path);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, bytes).unwrap();
}

/// A whole machine: everything a capture looks for.
fn machine() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    put(root, DMI, heron());
    put(root, "proc/meminfo", "MemTotal:       32700000 kB\nMemFree:        1 kB\n");
    put(root, "proc/sys/kernel/random/boot_id", "4b4f6f3a-0000-4000-8000-000000000001\n");
    put(root, "proc/sys/kernel/hostname", "n1.estuary\n");
    put(root, "sys/class/dmi/id/product_name", "not this one\n");
    put(root, "sys/class/dmi/id/board_name", "Heron board\n");
    put(root, "sys/devices/system/memory/block_size_bytes", "40000000\n");
    for block in 0..32 {
        put(root, &format!("sys/devices/system/memory/memory{block}/state"), "online\n");
    }
    put(root, "sys/devices/system/memory/memory32/state", "offline\n");
    put(root, "sys/devices/system/node/node0/meminfo", "Node 0 MemTotal:       16350000 kB\n");
    put(root, "sys/devices/system/node/node1/meminfo", "Node 1 MemTotal:       16350000 kB\n");
    put(root, "sys/devices/system/node/possible", "0-1\n");
    let module = "sys/devices/system/edac/mc/mc0/dimm0";
    put(root, &format!("{module}/dimm_label"), "A2\n");
    put(root, &format!("{module}/dimm_ce_count"), "3\n");
    put(root, &format!("{module}/dimm_ue_count"), "0\n");
    put(root, "sys/devices/system/edac/mc/mc0/ce_noinfo_count", "2\n");
    folder
}

fn gaps(snapshot: &Snapshot) -> Vec<&str> {
    snapshot.gaps.iter().map(|gap| gap.what.as_str()).collect()
}

#[test]
fn everything_is_read_below_the_root() {
    let folder = machine();
    let snapshot = capture(folder.path(), now(), false);
    assert_eq!(gaps(&snapshot), <[&str; 0]>::default());
    assert_eq!(snapshot.taken, now());
    let host = &snapshot.host;
    assert_eq!((host.maker.as_deref(), host.product.as_deref()), (Some("Larkfield"), Some("Heron")));
    assert_eq!((host.serial.as_deref(), host.board_product.as_deref()), (Some("LF-0001"), Some("Heron board")));
    assert_eq!((host.name.as_deref(), host.firmware.as_deref()), (Some("n1.estuary"), Some("Larkfield 1.2")));
    assert_eq!(host.boot_id.as_deref(), Some("4b4f6f3a-0000-4000-8000-000000000001"));
    assert_eq!(host.cpus.iter().map(|cpu| cpu.populated).collect::<Vec<_>>(), [Some(true), Some(false)]);
    let totals = &snapshot.totals;
    assert_eq!((totals.os_kib, totals.firmware_mib, totals.mapped_mib), (Some(32_700_000), Some(32 * 1024), None));
    assert_eq!(totals.blocks_mib, Some(32 * 1024));
    assert_eq!(totals.nodes_kib, BTreeMap::from([(0, 16_350_000), (1, 16_350_000)]));
    assert_eq!(snapshot.slots.len(), 4);
    let [count] = &snapshot.counts[..] else { panic!("{:?}", snapshot.counts) };
    assert_eq!((count.locator.as_str(), count.corrected, count.uncorrected), ("A2", Some(3), Some(0)));
    assert_eq!(count.source, "edac");
    let notes: Vec<&String> = snapshot.sources.iter().flat_map(|source| &source.notes).collect();
    assert!(notes.iter().any(|note| note.contains("2 corrected errors of no known module")), "{notes:?}");
    assert!(notes.iter().any(|note| note.contains("1 block of 1024 MiB not online")), "{notes:?}");
}

#[test]
fn the_raw_bytes_are_kept_and_give_the_table_again() {
    let folder = machine();
    let snapshot = capture(folder.path(), now(), false);
    let raw = snapshot.sources.iter().find(|source| source.name == "smbios").unwrap().bytes().unwrap();
    assert_eq!(raw, heron());
    let again = merge(&snapshot.sources).into_snapshot(now(), snapshot.gaps.clone());
    assert_eq!(again, snapshot);
}

#[test]
fn what_is_not_there_is_named_with_its_cost_and_the_way_to_it() {
    let folder = tempfile::tempdir().unwrap();
    let taken = Capture::take(folder.path(), now(), false);
    assert!(taken.snapshot.slots.is_empty() && taken.snapshot.sources.is_empty());
    assert!(!taken.table_refused && !taken.no_root);
    for path in [DMI, "proc/meminfo", "proc/sys/kernel/random/boot_id", "block_size_bytes", "edac/mc"] {
        let gap = taken.snapshot.gaps.iter().find(|gap| gap.what.contains(path)).unwrap();
        assert!(gap.what.ends_with("it is not there") && !gap.costs.is_empty() && !gap.remedy.is_empty(), "{gap:?}");
    }
    assert!(Capture::take(&folder.path().join("no such"), now(), false).no_root);
}

#[test]
fn values_shown_to_everyone_name_the_machine_where_the_table_cannot_be_read() {
    let folder = machine();
    std::fs::remove_file(folder.path().join(DMI)).unwrap();
    let snapshot = capture(folder.path(), now(), false);
    assert_eq!(snapshot.host.product.as_deref(), Some("not this one"));
    assert_eq!((snapshot.totals.firmware_mib, snapshot.totals.os_kib), (None, Some(32_700_000)));
}

#[test]
fn links_inside_a_copy_are_followed_and_links_out_of_it_are_not() {
    let folder = machine();
    let root = folder.path();
    std::fs::rename(root.join("sys/class/dmi/id"), root.join("sys/real")).unwrap();
    symlink("../../real", root.join("sys/class/dmi/id")).unwrap();
    let elsewhere = tempfile::tempdir().unwrap();
    put(elsewhere.path(), "DMI", heron());
    std::fs::remove_file(root.join(DMI)).unwrap();
    symlink(elsewhere.path().join("DMI"), root.join(DMI)).unwrap();
    let snapshot = capture(root, now(), false);
    assert_eq!(snapshot.host.product.as_deref(), Some("not this one"));
    // The bench's own table would be taken for the machine's.
    assert!(snapshot.slots.is_empty());
    assert!(gaps(&snapshot)[0].contains("a link out of the folder"), "{:?}", snapshot.gaps);
}

#[test]
fn devices_pipes_and_endless_files_are_left_alone() {
    let folder = machine();
    let root = folder.path();
    std::fs::remove_file(root.join(DMI)).unwrap();
    rustix::fs::mknodat(rustix::fs::CWD, root.join(DMI), rustix::fs::FileType::Fifo, 0o644.into(), 0).unwrap();
    let large = std::fs::File::create(root.join("proc/meminfo")).unwrap();
    large.set_len((16 << 20) + 1).unwrap();
    std::fs::remove_file(root.join("proc/sys/kernel/random/boot_id")).unwrap();
    std::fs::create_dir(root.join("proc/sys/kernel/random/boot_id")).unwrap();
    let snapshot = capture(root, now(), false);
    let gaps = gaps(&snapshot).join("\n");
    assert!(gaps.contains("DMI: it is not a plain file"), "{gaps}");
    assert!(gaps.contains("meminfo: it is larger than 16 MiB"), "{gaps}");
    assert!(gaps.contains("boot_id: it is not a plain file"), "{gaps}");
}

#[test]
fn a_table_without_a_memory_device_is_a_gap_of_its_own() {
    let folder = machine();
    put(folder.path(), DMI, [1, 2]);
    let snapshot = capture(folder.path(), now(), false);
    assert!(gaps(&snapshot)[0].contains("no memory device"), "{:?}", snapshot.gaps);
    assert!(snapshot.sources[0].notes[0].contains("2 of the 4 bytes of a header"), "{:?}", snapshot.sources[0].notes);
}

#[test]
fn labels_of_the_error_counters_find_their_slot_only_when_it_is_one() {
    let folder = machine();
    let root = folder.path();
    let banked = |handle, bank: &[u8]| module(handle, b"DIMM 0", b"", b"", b"").string(0x11, bank);
    put(
        root,
        DMI,
        table([banked(1, b"NODE 0"), banked(2, b"NODE 1"), module(3, b"X", b"", b"", b"").string(0x11, b"B")]),
    );
    for (n, label) in ["NODE 1 DIMM 0", "B X", "CPU_SrcID#0_MC#0_Chan#1_DIMM#0", "DIMM 0\u{1b}[2J"].iter().enumerate() {
        let module = format!("sys/devices/system/edac/mc/mc0/dimm{n}");
        put(root, &format!("{module}/dimm_label"), label);
        put(root, &format!("{module}/dimm_ce_count"), "1\n");
    }
    let snapshot = capture(root, now(), false);
    let locators: Vec<&str> = snapshot.counts.iter().map(|count| count.locator.as_str()).collect();
    assert_eq!(locators, ["NODE 1 DIMM 0", "X", "CPU_SrcID#0_MC#0_Chan#1_DIMM#0", "DIMM 0\u{1b}[2J"]);
}

// --- The command ---

#[derive(Clone, Default)]
struct Stream(Rc<RefCell<Vec<u8>>>);

impl Write for Stream {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

struct Fixed;

impl Clock for Fixed {
    fn now(&self) -> DateTime<FixedOffset> {
        now()
    }

    fn steady(&self) -> Duration {
        Duration::ZERO
    }
}

/// Runs the command on the machine in `root`; what it printed and how it ended.
fn capture_command(root: &Path, output: Option<&Path>, json: bool) -> (Result<Exit, String>, String) {
    let stdout = Stream::default();
    let mut env = Env {
        program: "slotwise".to_owned(),
        clock: std::rc::Rc::new(Fixed),
        seed: 0,
        root: PathBuf::from("/nowhere"),
        folder: PathBuf::from("/"),
        variables: BTreeMap::new(),
        terminal: Terminal::default(),
        stdin: Some(Box::new(std::io::empty())),
        stdout: Box::new(stdout.clone()),
        stderr: Box::new(std::io::sink()),
    };
    let args =
        CaptureArgs { root: Some(root.to_owned()), output: output.map(Path::to_owned), json, ..CaptureArgs::default() };
    let ended = run(&mut env, &args).map_err(|error| error.to_string());
    let printed = String::from_utf8(stdout.0.borrow().clone()).unwrap();
    (ended, printed)
}

#[test]
fn the_summary_shows_every_slot_the_totals_and_the_errors() {
    let folder = machine();
    let (ended, printed) = capture_command(folder.path(), None, false);
    assert_eq!(ended, Ok(Exit::Done));
    insta::assert_snapshot!(printed, @r"
    machine  Larkfield Heron
    serial   LF-0001
    name     n1.estuary
    taken    2026-11-25T10:00:00+01:00
    sockets  1 of 2 populated

    4 slots: 2 fitted, 1 empty, 1 shut off

    slot  state     size    MT/s          part             serial
    A1    fitted    16 GiB  2400 of 2666  OM4R16-1R4-2666  0A01
    A2    fitted    16 GiB  2400 of 2666  OM4R16-1R4-2666  0A02
    A3    empty
    A4    SHUT OFF  ?       2400 of 2666  OM4R16-1R4-2666  0A04

    A4: size 0, but the module's maker, part or serial can still be read: the firmware found a module and does not use it

    in the modules, as the firmware counts   32 GiB
    mapped to addresses by the firmware      unknown
    in the kernel's memory blocks            32 GiB
    left to the operating system             31.1 GiB
      of node 0                              15.5 GiB
      of node 1                              15.5 GiB

    Errors counted:
      A2: 3 corrected, 0 uncorrected
    errors are not known for 1 of 2 modules: their error counters could not be read

    Notes:
      blocks: 1 block of 1024 MiB not online
      edac: mc0: 2 corrected errors of no known module
    ");
}

/// No counter is "not known", never zero.
#[test]
fn errors_are_a_number_only_where_a_counter_was_read() {
    let folder = machine();
    let root = folder.path();
    let edac = |module: &str, file: &str, text: &str| {
        put(root, &format!("sys/devices/system/edac/mc/mc0/{module}/{file}"), text)
    };
    let seen = |snapshot: &Snapshot| -> Vec<(Option<u64>, Option<u64>)> {
        let counted = snapshot.slots.iter().take(2).map(|slot| snapshot.counted_at(slot));
        counted.map(|counted| (counted.corrected, counted.uncorrected)).collect()
    };
    let printed = || capture_command(root, None, false).1;
    // One module of two.
    edac("dimm0", "dimm_ce_count", "0\n");
    assert_eq!(seen(&capture(root, now(), false)), [(None, None), (Some(0), Some(0))]);
    let page = printed();
    assert!(
        page.contains("No errors counted (1 of 2 modules watched).\nerrors are not known for 1 of 2 modules"),
        "{page}"
    );
    // Both, and then one of the two counters of one.
    edac("dimm1", "dimm_label", "A1\n");
    edac("dimm1", "dimm_ce_count", "0\n");
    edac("dimm1", "dimm_ue_count", "0\n");
    assert!(printed().contains("No errors counted (2 of 2 modules watched).\n\n"), "{}", printed());
    std::fs::remove_file(root.join("sys/devices/system/edac/mc/mc0/dimm1/dimm_ce_count")).unwrap();
    let snapshot = capture(root, now(), false);
    assert_eq!(seen(&snapshot), [(None, Some(0)), (Some(0), Some(0))]);
    let json = String::from_utf8(slotwise::snapshot::write_json(&snapshot).unwrap()).unwrap();
    assert!(json.contains("\"corrected\": null"), "{json}");
    assert!(printed().contains("errors are not known for 1 of 2 modules"), "{}", printed());
    // None.
    std::fs::remove_dir_all(root.join("sys/devices/system/edac")).unwrap();
    assert_eq!(seen(&capture(root, now(), false)), [(None, None); 2]);
    let page = printed();
    assert!(!page.contains("No errors counted") && page.contains("no error counter could be read"), "{page}");
}

#[test]
fn the_file_and_json_hold_the_same_snapshot() {
    let folder = machine();
    let output = folder.path().join("snapshot.json");
    let (ended, printed) = capture_command(folder.path(), Some(&output), true);
    assert_eq!(ended, Ok(Exit::Done));
    let file = std::fs::read(&output).unwrap();
    assert_eq!(file, printed.as_bytes());
    assert_eq!(read_json(&file).unwrap(), capture(folder.path(), now(), false));
}

#[test]
fn no_root_no_file_and_nothing_to_read_are_told_apart() {
    let folder = machine();
    let missing = folder.path().join("missing");
    let (ended, _) = capture_command(&missing, None, false);
    assert!(ended.unwrap_err().contains("is no folder that can be entered"));
    let (ended, printed) = capture_command(folder.path(), Some(&missing.join("x.json")), false);
    assert!(ended.unwrap_err().contains("cannot write"));
    assert_eq!(printed, "");
    let empty = tempfile::tempdir().unwrap();
    let (ended, printed) = capture_command(empty.path(), None, false);
    assert_eq!(ended, Ok(Exit::NoInput));
    assert!(printed.contains("No slot is known.") && printed.contains("way out: "), "{printed}");
}

#[test]
fn a_refused_table_is_a_gap_that_asks_for_root() {
    let folder = machine();
    std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(0o755)).unwrap();
    std::fs::set_permissions(folder.path().join(DMI), std::fs::Permissions::from_mode(0o400)).unwrap();
    // Root may read everything, so the reading is done as someone else, by this same program.
    let mut child = std::process::Command::new(std::env::current_exe().unwrap());
    child.args(["--exact", "--ignored", "read_as_someone_else"]).env("REFUSED_ROOT", folder.path()).current_dir("/");
    if rustix::process::geteuid().is_root() {
        child.uid(65534).gid(65534);
    } else {
        std::fs::set_permissions(folder.path().join(DMI), std::fs::Permissions::from_mode(0o000)).unwrap();
    }
    let ended = child.output().unwrap();
    let printed = String::from_utf8_lossy(&ended.stdout);
    assert!(
        ended.status.success() && printed.contains("1 passed"),
        "{printed}{}",
        String::from_utf8_lossy(&ended.stderr)
    );
}

#[test]
#[ignore = "the second half of a_refused_table_is_a_gap_that_asks_for_root, which runs it"]
fn read_as_someone_else() {
    let Some(root) = std::env::var_os("REFUSED_ROOT").map(PathBuf::from) else {
        eprintln!("SKIPPED: run by its first half only");
        return;
    };
    let taken = Capture::take(&root, now(), false);
    assert!(taken.table_refused);
    assert!(gaps(&taken.snapshot)[0].ends_with("DMI: permission denied"), "{:?}", taken.snapshot.gaps);
    assert!(taken.snapshot.gaps[0].remedy.contains("root"));
    assert_eq!(taken.snapshot.totals.os_kib, Some(32_700_000));
    let (ended, printed) = capture_command(&root, None, false);
    assert_eq!(ended, Ok(Exit::NoPermission));
    assert!(printed.contains("No slot is known."));
}

#[test]
fn the_running_machine_gives_at_least_its_total() {
    let taken = Capture::take(Path::new("/"), now(), true);
    assert!(taken.snapshot.totals.os_kib.is_some_and(|kib| kib > 0), "{:?}", taken.snapshot.gaps);
    assert!(taken.snapshot.host.name.is_some());
    let again = merge(&taken.snapshot.sources).into_snapshot(now(), taken.snapshot.gaps.clone());
    assert_eq!(again, taken.snapshot);
}

// --- Hostile text ---

/// Values in many classes when the collected data is beside the package, a few of each worst kind when not.
fn hostile() -> Vec<String> {
    let root = std::env::var_os("SLOTWISE_SHARED")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared")), PathBuf::from);
    let mut values: Vec<String> = [
        "\u{1b}[2J",
        "\u{9b}31m",
        "\u{202e}1A",
        "A1\r\nB1 fitted",
        "\u{7f}\u{8}",
        "=1+1",
        "<b>",
        "\u{3164}",
        "../../etc",
    ]
    .map(str::to_owned)
    .to_vec();
    match std::fs::read_to_string(root.join("data/record/hostile/strings.jsonl")) {
        Ok(text) => values.extend(text.lines().map(|line| {
            let case: serde_json::Value = serde_json::from_str(line).unwrap();
            case["value"].as_str().map_or_else(|| case["value"].to_string(), str::to_owned)
        })),
        Err(_) => eprintln!("SKIPPED: the collected hostile strings are not there; a few of our own are tried"),
    }
    values.push("x".repeat(10_000));
    values
}

#[test]
fn hostile_text_is_kept_as_it_is_and_shown_as_plain_ascii() {
    let folder = machine();
    let root = folder.path();
    for value in hostile() {
        let text = value.as_bytes();
        put(
            root,
            DMI,
            table([
                Draft::new(1, 0x1B, 1).string(0x04, text).string(0x05, text).string(0x07, text),
                module(0x1100, text, text, text, text).string(0x11, text),
                module(0x1101, text, text, text, text).string(0x11, text),
                module(0x1102, text, b"S", text, text).word(0x0C, 0),
                module(0x1103, text, &[text, b"\xff\x80"].concat(), text, text),
            ]),
        );
        put(root, "proc/sys/kernel/hostname", text);
        put(root, "sys/devices/system/edac/mc/mc0/dimm0/dimm_label", text);
        let (ended, printed) = capture_command(root, None, false);
        assert_eq!(ended, Ok(Exit::Done), "{value:?}");
        assert!(printed.bytes().all(|byte| matches!(byte, b' '..=b'~' | b'\n')), "{value:?}: {printed:?}");
        let rows = printed.lines().count();
        let widest = printed.lines().map(str::len).max().unwrap();
        assert!(rows < 60 && widest < 400, "{value:?}: {rows} rows, {widest} columns");
        let (_, json) = capture_command(root, None, true);
        assert!(json.bytes().all(|byte| matches!(byte, b' '..=b'~' | b'\n')), "{value:?}");
        let snapshot = read_json(json.as_bytes()).unwrap();
        let kept = value.split('\0').next().unwrap().trim_matches(' ');
        assert_eq!(snapshot.slots[0].locator.as_deref().unwrap_or(""), kept);
    }
}
