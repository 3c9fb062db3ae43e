//! Records packed into one archive and taken out again: the same bytes, audited, nothing overwritten, nothing let in that does
//! not belong there; and many benches that write into one folder at the same time.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod program;
mod sealed;

use std::fs;
use std::path::Path;
use std::process::Command;

use program::{Bench, Ran, joined, whole};
use slotwise::machine::Fault;
use slotwise::record::{chain, read};
use tar::{Builder, EntryType, Header};

/// Two signed records, one with a torn tail beside it, and whose keys count.
fn shop() -> Bench {
    let bench = Bench::new();
    fs::create_dir(bench.path("records")).unwrap();
    let good = sealed::sealed_bytes();
    bench.file("records/2026-11-25-lf-wren-0007-0a1b2c.jsonl", &good);
    bench.file("records/2026-11-26-lf-wren-0008-0a1b2d.jsonl", &good);
    bench.file("records/2026-11-26-lf-wren-0008-0a1b2d.jsonl.torn-1", b"{\"n\":");
    bench.file(
        "signers",
        format!("ada {}\nsam {}\n", sealed::public(&sealed::key(1)).text(), { sealed::public(&sealed::key(2)).text() }),
    );
    bench
}

fn pack(bench: &Bench) -> Ran {
    bench.run(&["archive", "pack", "records", "-o", "all.tar", "--signers", "signers"], b"")
}

fn unpack(bench: &Bench, archive: &str) -> Ran {
    bench.run(&["archive", "unpack", archive, "--into", "taken", "--signers", "signers"], b"")
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .map(|entries| entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect())
        .unwrap_or_default();
    names.sort();
    names
}

#[test]
fn what_is_packed_comes_out_byte_for_byte_and_audited() {
    let bench = shop();
    let ran = pack(&bench);
    ran.ends(0);
    assert!(ran.stdout.contains("PACKED 2 records into all.tar: 2 proven, 0 not proven, 0 wrong"), "{}", ran.stdout);
    let ran = unpack(&bench, "all.tar");
    ran.ends(0);
    assert!(ran.stdout.contains("UNPACKED 2 records into taken\n"), "{}", ran.stdout);
    assert_eq!(names(&bench.path("taken")), names(&bench.path("records")));
    for name in names(&bench.path("taken")) {
        let read = |folder: &str| fs::read(bench.path(folder).join(&name)).unwrap();
        assert_eq!(read("taken"), read("records"), "{name}");
    }
    // Again: all of it is there, and nothing is touched.
    let ran = unpack(&bench, "all.tar");
    ran.ends(0);
    assert!(ran.stdout.contains("UNPACKED 0 records into taken; 2 there already, the same"), "{}", ran.stdout);
    // The archive is not made anew over one that is there, and the same records make the same archive.
    let before = fs::read(bench.path("all.tar")).unwrap();
    pack(&bench).ends(73);
    fs::rename(bench.path("all.tar"), bench.path("old.tar")).unwrap();
    pack(&bench).ends(0);
    assert_eq!(fs::read(bench.path("all.tar")).unwrap(), before);
    // JSON of both.
    let ran = bench.run(&["archive", "unpack", "all.tar", "--into", "other", "--json"], b"");
    ran.ends(1);
    let told: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!((told["unpacked"].as_array().unwrap().len(), told["reports"].as_array().unwrap().len()), (3, 2));
    assert_eq!(told["reports"][0]["verdict"], "not-proven");
}

/// tar, sha256sum: nothing else is needed to open one.
#[test]
fn stock_tools_open_and_check_an_archive() {
    let bench = shop();
    pack(&bench).ends(0);
    let script = "mkdir by-hand && cd by-hand && tar -xf ../all.tar && sha256sum -c --quiet SHA256SUMS && ls";
    let output = Command::new("sh").args(["-c", script]).current_dir(bench.path(".")).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let audit: serde_json::Value =
        serde_json::from_slice(&fs::read(bench.path("by-hand/audit.json")).unwrap()).unwrap();
    assert_eq!((audit.as_array().unwrap().len(), audit[0]["verdict"].as_str()), (2, Some("proven")));
    // And one that they packed is taken.
    let script = "cd by-hand && tar --format=ustar -cf ../theirs.tar ./*.jsonl ./*.torn-1 ./SHA256SUMS ./audit.json";
    assert!(Command::new("sh").args(["-c", script]).current_dir(bench.path(".")).status().unwrap().success());
    unpack(&bench, "theirs.tar").ends(0);
}

#[test]
fn a_wrong_record_is_packed_as_evidence_and_left_out_when_unpacked() {
    let bench = shop();
    let name = "2026-11-26-lf-wren-0008-0a1b2d.jsonl";
    let mut changed = fs::read(bench.path("records").join(name)).unwrap();
    let middle = changed.len() / 2;
    changed[middle] ^= 1;
    bench.file(&format!("records/{name}"), changed);
    let ran = pack(&bench);
    ran.ends(65);
    assert!(ran.stdout.contains(&format!("WRONG {name}: ")), "{}", ran.stdout);
    let ran = unpack(&bench, "all.tar");
    ran.ends(65);
    assert!(ran.stdout.contains(&format!("LEFT OUT, because it is wrong: {name}")), "{}", ran.stdout);
    assert_eq!(names(&bench.path("taken")), ["2026-11-25-lf-wren-0007-0a1b2c.jsonl"]);
}

#[test]
fn nothing_that_is_there_is_overwritten() {
    let bench = shop();
    pack(&bench).ends(0);
    fs::create_dir(bench.path("taken")).unwrap();
    let taken = "taken/2026-11-26-lf-wren-0008-0a1b2d.jsonl";
    for put in [true, false] {
        if put {
            bench.file(taken, "mine");
        } else {
            fs::remove_file(bench.path(taken)).unwrap();
            std::os::unix::fs::symlink("/nowhere", bench.path(taken)).unwrap();
        }
        let ran = unpack(&bench, "all.tar");
        ran.ends(73);
        ran.says(&["is there already and is not the same", "way out"]);
        assert_eq!(names(&bench.path("taken")).len(), 1, "nothing at all is unpacked then");
    }
    assert!(bench.path(taken).symlink_metadata().unwrap().is_symlink());
}

/// One entry as it comes, whatever its name.
fn entry(archive: &mut Builder<Vec<u8>>, name: &[u8], kind: EntryType, size: u64, bytes: &[u8]) {
    let mut header = Header::new_ustar();
    let field = &mut header.as_old_mut().name;
    field[..name.len()].copy_from_slice(name);
    header.set_size(size);
    header.set_mode(0o644);
    header.set_entry_type(kind);
    if matches!(kind, EntryType::Symlink | EntryType::Link) {
        header.set_link_name("/etc/passwd").unwrap();
    }
    header.set_cksum();
    archive.append(&header, bytes).unwrap();
}

/// An archive with sums that fit, and one entry more.
fn with(name: &[u8], kind: EntryType, bytes: &[u8]) -> Vec<u8> {
    let mut archive = Builder::new(Vec::new());
    let good = sealed::sealed_bytes();
    let mut sums = format!("{}  good.jsonl\n", chain::hash(&good));
    if let Ok(name) = std::str::from_utf8(name) {
        sums += &format!("{}  {name}\n", chain::hash(bytes));
    }
    entry(&mut archive, b"good.jsonl", EntryType::Regular, good.len() as u64, &good);
    entry(&mut archive, name, kind, bytes.len() as u64, bytes);
    entry(&mut archive, b"SHA256SUMS", EntryType::Regular, sums.len() as u64, sums.as_bytes());
    archive.into_inner().unwrap()
}

#[test]
fn what_does_not_belong_in_an_archive_makes_it_refused_whole() {
    let bench = shop();
    let good = sealed::sealed_bytes();
    let mut cases: Vec<(String, Vec<u8>, &str)> = Vec::new();
    for name in [
        &b"../escape.jsonl"[..],
        b"/tmp/escape.jsonl",
        b"a/../../escape.jsonl",
        b"sub/escape.jsonl",
        b"..",
        b".",
        b"escape.sh",
        b"-rf.jsonl",
        b"ESCAPE.jsonl",
        b"nul.jsonl",
        b"a\\b.jsonl",
        b"\x1b[2J.jsonl",
        b"\xff.jsonl",
        b".hidden.jsonl",
        b"a b.jsonl",
    ] {
        let told = String::from_utf8_lossy(name).into_owned();
        cases.push((told, with(name, EntryType::Regular, &good), "only records"));
    }
    for (told, kind) in [
        ("a symbolic link", EntryType::Symlink),
        ("a hard link", EntryType::Link),
        ("a folder", EntryType::Directory),
        ("a device", EntryType::Block),
        ("a pipe", EntryType::Fifo),
        ("a long name for the next", EntryType::GNULongName),
        ("a long link for the next", EntryType::GNULongLink),
        ("extended headers for the next", EntryType::XHeader),
        ("extended headers for all", EntryType::XGlobalHeader),
        ("a sparse file", EntryType::GNUSparse),
    ] {
        cases.push((told.to_owned(), with(b"escape.jsonl", kind, b""), "no ordinary file"));
    }
    cases.push(("the same name twice".to_owned(), with(b"good.jsonl", EntryType::Regular, &good), "twice"));
    let mut archive = Builder::new(Vec::new());
    entry(&mut archive, b"good.jsonl", EntryType::Regular, (1 << 30) + 1, b"x");
    cases.push(("a giant".to_owned(), archive.into_inner().unwrap(), "larger than any"));
    let mut archive = Builder::new(Vec::new());
    for _ in 0..2 {
        entry(&mut archive, b"good.jsonl", EntryType::Regular, good.len() as u64, &good);
    }
    cases.push(("twice without sums".to_owned(), archive.into_inner().unwrap(), "twice"));
    // Sums that fit, over no record at all.
    for others in [&[][..], &[("audit.json", &b"[]\n"[..])], &[("good.jsonl.torn-1", &b"{"[..])]] {
        let mut archive = Builder::new(Vec::new());
        let mut sums = String::new();
        for (name, bytes) in others {
            sums += &format!("{}  {name}\n", chain::hash(bytes));
            entry(&mut archive, name.as_bytes(), EntryType::Regular, bytes.len() as u64, bytes);
        }
        entry(&mut archive, b"SHA256SUMS", EntryType::Regular, sums.len() as u64, sums.as_bytes());
        cases.push((format!("no record, {} beside it", others.len()), archive.into_inner().unwrap(), "no record"));
    }
    for (told, bytes) in [("empty", Vec::new()), ("text", b"not an archive\n".repeat(100)), ("zeros", vec![0; 4096])] {
        cases.push((told.to_owned(), bytes, ""));
    }
    for (what, bytes, says) in cases {
        bench.file("bad.tar", bytes);
        let ran = unpack(&bench, "bad.tar");
        assert_eq!(ran.code, 65, "{what:?}: {}{}", ran.stdout, ran.stderr);
        assert!(ran.stderr.contains("bad.tar is refused") && ran.stderr.contains(says), "{what:?}: {}", ran.stderr);
        assert!(ran.stderr.bytes().all(|byte| matches!(byte, b' '..=b'~' | b'\n')), "{what:?}");
        assert_eq!(names(&bench.path("taken")), [""; 0], "{what:?}");
    }
    assert!(!Path::new("/tmp/escape.jsonl").exists() && !bench.path("escape.jsonl").exists());
}

#[test]
fn an_archive_cut_or_changed_anywhere_is_refused_or_says_what_is_wrong() {
    let bench = shop();
    pack(&bench).ends(0);
    let whole = fs::read(bench.path("all.tar")).unwrap();
    let content = whole.len() - whole.iter().rev().take_while(|byte| **byte == 0).count();
    for end in (0..content).step_by(509) {
        bench.file("bad.tar", &whole[..end]);
        let ran = unpack(&bench, "bad.tar");
        assert_eq!(
            (ran.code, names(&bench.path("taken")).len()),
            (65, 0),
            "cut at {end}: {}{}",
            ran.stdout,
            ran.stderr
        );
    }
    let mut unseen = 0;
    for at in (0..content).step_by(211) {
        let mut bytes = whole.clone();
        bytes[at] ^= 0x04;
        bench.file("bad.tar", bytes);
        let _ = fs::remove_dir_all(bench.path("taken"));
        let ran = unpack(&bench, "bad.tar");
        if ran.code == 0 {
            // Only padding between entries is free: what came out is what went in.
            unseen += 1;
            for name in names(&bench.path("taken")) {
                let read = |folder: &str| fs::read(bench.path(folder).join(&name)).unwrap();
                assert_eq!(read("taken"), read("records"), "byte {at}, {name}");
            }
        } else {
            assert_eq!(ran.code, 65, "byte {at}: {}", ran.stderr);
            assert_eq!(names(&bench.path("taken")), [""; 0], "byte {at}");
        }
    }
    assert!(unseen < 40, "{unseen} changes were not seen");
}

/// Killed at any moment, packing and unpacking leave nothing half done and nothing to clear away: an archive is there whole
/// or not at all, and so is each record; the same command again finishes it.
#[test]
fn what_is_killed_leaves_nothing_half_done_and_nothing_behind() {
    const RECORDS: usize = 300;
    let bench = Bench::new();
    fs::create_dir(bench.path("records")).unwrap();
    let good = sealed::sealed_bytes();
    for n in 0..RECORDS {
        bench.file(&format!("records/2026-11-25-lf-wren-{n:04}-0a1b2c.jsonl"), &good);
    }
    let before = names(&bench.path("."));
    let packs = ["archive", "pack", "records", "-o", "all.tar"];
    let unpacks = ["archive", "unpack", "all.tar", "--into", "taken"];
    let killed = |args: &[&str], after: std::time::Duration| {
        let mut child = bench.command(args).stderr(std::process::Stdio::null()).spawn().unwrap();
        std::thread::sleep(after);
        let amid = child.try_wait().unwrap().is_none();
        child.kill().unwrap();
        child.wait().unwrap();
        amid
    };
    let whole = std::time::Instant::now();
    bench.run(&packs, b"").ends(1);
    let whole = whole.elapsed();
    let archive = fs::read(bench.path("all.tar")).unwrap();
    fs::remove_file(bench.path("all.tar")).unwrap();
    let mut amid = 0;
    for part in 1..20 {
        amid += usize::from(killed(&packs, whole * part / 30));
        let after = names(&bench.path("."));
        assert!(after.iter().all(|name| !name.starts_with('.')), "{after:?}");
        if after != before {
            assert_eq!(fs::read(bench.path("all.tar")).unwrap(), archive, "{after:?}");
            fs::remove_file(bench.path("all.tar")).unwrap();
            assert_eq!(names(&bench.path(".")), before);
        }
    }
    assert!(amid > 2, "only {amid} were killed amid their work");
    bench.file("all.tar", &archive);
    let mut amid = 0;
    for part in 1..20 {
        amid += usize::from(killed(&unpacks, whole * part / 30));
        for name in names(&bench.path("taken")) {
            assert!(name.ends_with("-0a1b2c.jsonl"), "{name} was left behind");
            assert_eq!(fs::read(bench.path("taken").join(&name)).unwrap(), good, "{name}");
        }
    }
    assert!(amid > 2, "only {amid} were killed amid their work");
    bench.run(&unpacks, b"").ends(1);
    assert_eq!(names(&bench.path("taken")), names(&bench.path("records")));
}

/// Eight benches open jobs on the same unit in the same folder at the same moment: each has a record of its own, of a name
/// that sorts by day and unit.
#[test]
fn benches_that_share_a_folder_do_not_meet() {
    let bench = Bench::new();
    let lines = whole(&bench.steps(), "tree");
    bench.machine("tree", Fault::None, 1);
    let (half, all) = (joined(&lines[..30]), joined(&lines));
    let running: Vec<_> = (0..8)
        .map(|n| bench.start(&Bench::install_args(), if n % 2 == 0 { all.as_bytes() } else { half.as_bytes() }))
        .collect();
    let codes: Vec<_> = running.into_iter().map(|child| child.wait_with_output().unwrap().status.code()).collect();
    assert_eq!(codes, [Some(0), Some(3), Some(0), Some(3), Some(0), Some(3), Some(0), Some(3)]);
    let names = names(&bench.path("records"));
    assert_eq!(names.len(), 8, "{names:?}");
    let day = &names[0][..10];
    let mut jobs = std::collections::BTreeSet::new();
    for name in &names {
        // The date, the unit, a short id.
        assert!(name.starts_with(&format!("{day}-lf-hrn-0137-")) && name.len() == day.len() + 25, "{name}");
        let job = read::job(&bench.path("records").join(name)).unwrap().job;
        assert_eq!(format!("{}.jsonl", job.opened().job), *name);
        jobs.insert(job.opened().job.clone());
    }
    assert_eq!(jobs.len(), 8);
    // Eight that go on with one job: one does, and the others are told who has it.
    let open = names.iter().find(|name| !read::job(&bench.path("records").join(name)).unwrap().job.is_done()).unwrap();
    let open = bench.path("records").join(open);
    let args = ["resume", open.to_str().unwrap(), "--plain"];
    let mut first = bench.command(&args).spawn().unwrap();
    let mut talk = std::io::BufReader::new(first.stderr.take().unwrap());
    let mut said = String::new();
    while !said.contains("card ") {
        assert!(std::io::BufRead::read_line(&mut talk, &mut said).unwrap() > 0, "{said}");
    }
    for _ in 0..7 {
        let ran = bench.run(&args, b"");
        ran.ends(74);
        ran.says(&["this job is open in another slotwise", "last line by kim"]);
    }
    drop(first.stdin.take());
    assert_eq!(first.wait().unwrap().code(), Some(3));
    bench.run(&["audit", "records"], b"").ends(1);
}
