//! The real program on a disk that fails, is full or turns read-only: nothing it said was saved is lost, what is not saved it
//! says, and it stops there.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod disk;
mod program;

use std::fs;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};

use disk::{built, kept, saved, skipped, told};
use program::{Bench, Ran, joined, rest, whole};
use slotwise::machine::Fault;
use slotwise::record::read;

/// EIO, ENOSPC and EDQUOT as errno(3) lists them for Linux.
const EIO: u32 = 5;
const ENOSPC: u32 = 28;
const EDQUOT: u32 = 122;

fn bench() -> Bench {
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    bench
}

/// The only record, when it got its name.
fn record(bench: &Bench) -> Option<PathBuf> {
    let entries = fs::read_dir(bench.path("records")).ok()?;
    let mut found = entries.map(|entry| entry.unwrap().path());
    found.find(|path| path.extension().is_some_and(|extension| extension == "jsonl"))
}

fn ran(mut command: Command, input: &[u8]) -> Ran {
    let mut child = command.spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    std::thread::spawn(move || {
        // A program that ends early closes the pipe; that is its right.
        let _ = std::io::Write::write_all(&mut stdin, &input);
    });
    let output = child.wait_with_output().unwrap();
    Ran {
        code: output.status.code().unwrap_or(-1),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// What was found of one failing call.
#[derive(Debug, PartialEq, Eq)]
enum Met {
    /// The call never came: the job went through.
    None,
    /// Answers confirmed and there afterwards.
    Failed { confirmed: usize },
}

/// A whole job of which one call on the record fails: it stops, says so, and a later run finishes it.
fn stopped_by(shim: &std::path::Path, fault: &str, number: u32) -> Met {
    let bench = bench();
    let lines = whole(&bench.steps(), "tree");
    let mut command = bench.command(&Bench::install_args());
    command.env("LD_PRELOAD", shim).env("SLOTWISE_FAULT", fault);
    let failed = ran(command, joined(&lines).as_bytes());
    if failed.code == 0 {
        return Met::None;
    }
    let said = &failed.stderr;
    failed.ends(74);
    let confirmed = saved(said);
    // It does not go on: the last thing that is said is that this answer is not recorded, with the place it stands at above.
    let (before, last) = said.rsplit_once("slotwise: ").unwrap_or_else(|| panic!("{fault}: {said}"));
    assert!(last.contains("NOT recorded (line ") && last.contains("leave the machine as it is"), "{fault}: {last}");
    assert!(!last.contains("SAVED"), "{fault}: {last}");
    let why = match (number, fault.contains("half")) {
        (_, true) => "bytes were taken",
        (ENOSPC, _) => "the disk is full; free some space",
        (EDQUOT, _) => "the disk quota of this user is used up",
        _ => "Input/output error",
    };
    assert!(last.contains(why), "{fault}: {last}");
    assert!(!failed.stdout.contains("DONE") && !failed.stdout.contains("PAUSED"), "{fault}: {}", failed.stdout);
    let record = record(&bench);
    let (kept, job) = kept(record.as_deref());
    // The line in question may be in the file all the same; it was not confirmed.
    assert!(kept >= confirmed && kept <= confirmed + 1, "{fault}: {confirmed} confirmed, {kept} kept\n{said}");
    let Some(job) = job else {
        assert_eq!((confirmed, before.contains("card 1 of")), (0, false), "{fault}: asked before there is a record");
        assert_eq!(fs::read_dir(bench.path("records")).unwrap().count(), 0, "{fault}: something was left lying about");
        return Met::Failed { confirmed };
    };
    assert!(before.contains("\ncard ") || confirmed == 0, "{fault}: the place is not shown: {before}");
    if !job.is_done() {
        bench.resume(&rest(&job, "tree")).ends(0);
    }
    let job = bench.job();
    assert!(job.is_done() && job.answers().len() == bench.steps().iter().count(), "{fault}");
    Met::Failed { confirmed }
}

/// Every write and every sync of a whole job fails once; from then on the disk stays bad until the program has ended.
#[test]
fn whichever_write_or_sync_fails_the_program_stops_says_so_and_loses_nothing() {
    const TEST: &str = "whichever_write_or_sync_fails_the_program_stops_says_so_and_loses_nothing";
    let folder = tempfile::tempdir().unwrap();
    let Some(shim) = built("fail", &["-shared", "-fPIC"], folder.path(), TEST) else { return };
    let lines = {
        let bench = bench();
        bench.install(&whole(&bench.steps(), "tree")).ends(0);
        read::Lines::open(&bench.record()).unwrap().count()
    };
    let mut faults = Vec::new();
    for n in 1..=lines {
        faults.push((format!("sync:{n}:{EIO}"), EIO));
        faults.push(match n % 4 {
            0 => (format!("write:{n}:{ENOSPC}"), ENOSPC),
            1 => (format!("write:{n}:{ENOSPC}:half"), ENOSPC),
            2 => (format!("write:{n}:{EDQUOT}"), EDQUOT),
            _ => (format!("write:{n}:{EIO}"), EIO),
        });
    }
    let (next, confirmed) = (AtomicUsize::new(0), AtomicUsize::new(0));
    std::thread::scope(|scope| {
        for _ in 0..3 {
            scope.spawn(|| {
                while let Some((fault, number)) = faults.get(next.fetch_add(1, Ordering::Relaxed)) {
                    match stopped_by(&shim, fault, *number) {
                        Met::Failed { confirmed: these } => confirmed.fetch_add(these, Ordering::Relaxed),
                        Met::None => panic!("{fault}: the fault was not met"),
                    };
                }
            });
        }
    });
    // The one behind the last line is never met.
    assert_eq!(stopped_by(&shim, &format!("write:{}:{EIO}", lines + 1), EIO), Met::None);
    assert_eq!(stopped_by(&shim, &format!("sync:{}:{EIO}", lines + 1), EIO), Met::None);
    told(TEST, faults.len(), confirmed.into_inner());
}

/// Runs a shell script with a small file system of its own at `records`; only the script sees the mount. `$1` is the program.
fn on_small_disk(bench: &Bench, size: &str, script: &str, test: &str) -> Option<Ran> {
    fs::create_dir(bench.path("records")).unwrap();
    let mount = format!("mount -t tmpfs -o size={size} none records || exit 99\n{script}");
    let mut command = Command::new("unshare");
    command.args(["--user", "--map-root-user", "--mount", "sh", "-c", &mount, "sh", env!("CARGO_BIN_EXE_slotwise")]);
    command.current_dir(bench.path(".")).env("LANG", "C");
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    match command.output() {
        Err(error) => skipped(test, &format!("no `unshare` here: {error}")),
        Ok(output) => {
            let ran = Ran {
                code: output.status.code().unwrap_or(-1),
                stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
                stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
            };
            if ran.code != 99 && !ran.stderr.starts_with("unshare:") {
                return Some(ran);
            }
            skipped(test, &format!("no mount of its own: {}", ran.stderr));
        }
    }
    None
}

/// `install` on the practice plan as a shell calls it.
const INSTALL: &str = "\"$1\" install practice/plan.toml --site site.toml --technician kim --plain";

#[test]
fn a_disk_that_fills_up_stops_the_job_and_freed_space_lets_it_go_on() {
    const TEST: &str = "a_disk_that_fills_up_stops_the_job_and_freed_space_lets_it_go_on";
    let (mut runs, mut confirmed) = (0, 0);
    let mut pages = Vec::new();
    // From a disk that holds not even the first line to one that takes the whole job.
    for ballast in [0, 8, 11, 12, 13, 15, 17, 18, 19, 20, 21, 22] {
        let bench = bench();
        let steps = bench.steps();
        bench.file("input", joined(&whole(&steps, "tree")));
        // 4 KiB pages: the ballast leaves some of 24.
        let script = format!(
            "head -c $(({ballast} * 4096)) /dev/zero > records/ballast\n\
             {INSTALL} < input > out 2> err; echo $? > code\n\
             mkdir full && cp records/*.jsonl full/ 2> /dev/null; rm records/ballast\n\
             ls -A records > left\n\
             for job in records/*.jsonl; do [ -e \"$job\" ] && \"$1\" audit \"$job\" --json > audit 2>&1\n\
               [ -e \"$job\" ] && \"$1\" resume \"$job\" --plain < /dev/null > out2 2> err2\n\
               cp records/* . 2> /dev/null; done; true"
        );
        let Some(_) = on_small_disk(&bench, "96k", &script, TEST) else { return };
        let read = |name: &str| fs::read_to_string(bench.path(name)).unwrap_or_default();
        let (code, said) = (read("code"), read("err"));
        let full = fs::read_dir(bench.path("full")).unwrap().next().map(|entry| entry.unwrap().path());
        let (there, job) = kept(full.as_deref());
        let saved = saved(&said);
        assert!(there >= saved && there <= saved + 1, "{ballast}: {saved} confirmed, {there} kept");
        runs += 1;
        confirmed += saved;
        match code.trim() {
            "0" => assert!(job.is_some_and(|job| job.is_done()), "{ballast}"),
            "74" => {
                let last = said.rsplit_once("slotwise: ").map_or("", |(_, last)| last);
                assert!(last.contains("NOT recorded") && last.contains("free some space"), "{ballast}: {said}");
                pages.push(saved);
                let Some(job) = job else {
                    assert_eq!(read("left"), "", "{ballast}: nothing begun is left lying about");
                    continue;
                };
                // With the space back it goes on where it was: everything confirmed is there.
                let again = read("err2");
                assert!(again.contains(&format!("{} of ", job.answers().len())), "{ballast}: {again}");
                let record = bench.path(full.unwrap().file_name().unwrap().to_str().unwrap());
                assert!(self::kept(Some(&record)).0 >= saved, "{ballast}");
            }
            other => panic!("{ballast}: exit {other}: {said}"),
        }
    }
    pages.sort_unstable();
    pages.dedup();
    assert!(pages.len() > 3 && pages[0] == 0, "the disk filled up at the same place each time: {pages:?}");
    told(TEST, runs, confirmed);
}

#[test]
fn a_disk_that_turns_read_only_can_still_be_read_and_is_not_written_to() {
    const TEST: &str = "a_disk_that_turns_read_only_can_still_be_read_and_is_not_written_to";
    let bench = bench();
    let steps = bench.steps();
    let lines = whole(&steps, "tree");
    bench.file("first", joined(&lines[..20]));
    bench.file("second", joined(&lines[20..]));
    bench.file("again", joined(&lines[..3]));
    let script = format!(
        "{INSTALL} < first > out1 2> err1; echo $? > code1\n\
         set -- \"$1\" records/*.jsonl; cp \"$2\" before\n\
         mount -o remount,ro records || exit 99\n\
         \"$1\" resume \"$2\" --plain < second > out2 2> err2; echo $? > code2\n\
         {INSTALL} < first > out3 2> err3; echo $? > code3\n\
         \"$1\" amend \"$2\" --line 2 --now x --why y --name sam > out4 2> err4; echo $? > code4\n\
         \"$1\" review \"$2\" > out5 2> err5; echo $? > code5\n\
         \"$1\" audit \"$2\" > out6 2> err6; echo $? > code6\n\
         cp \"$2\" after; mount -o remount,rw records\n\
         mkfifo slow; \"$1\" resume \"$2\" --plain < slow > out7 2> err7 & running=$!; exec 3> slow\n\
         while ! grep -q '^card' err7 2> /dev/null; do sleep 0.02; done; cp \"$2\" opened\n\
         mount -o remount,ro records 2> /dev/null || echo busy > remount7\n\
         cat again >&3; exec 3>&-; wait $running; echo $? > code7; cp \"$2\" end"
    );
    let Some(ran) = on_small_disk(&bench, "1m", &script, TEST) else { return };
    let read = |name: &str| fs::read_to_string(bench.path(name)).unwrap_or_default();
    assert_eq!(read("code1").trim(), "3", "{}{}", ran.stderr, read("err1"));
    let confirmed = saved(&read("err1"));
    assert_eq!(kept(Some(&bench.path("before"))).0, confirmed);
    for n in [2, 3, 4] {
        let said = read(&format!("err{n}"));
        assert!(["73", "74"].contains(&read(&format!("code{n}")).trim()), "{n}: {said}");
        assert!(said.contains("Read-only file system") && saved(&said) == 0, "{n}: {said}");
    }
    assert_eq!((read("code5").trim(), read("code6").trim()), ("0", "1"), "{}{}", read("err5"), read("err6"));
    assert_eq!(read("after"), read("before"));
    // A file that is open for writing keeps the kernel from the remount, so a running job is not cut off by one.
    assert_eq!(read("remount7").trim(), "busy");
    assert!(kept(Some(&bench.path("end"))).0 >= kept(Some(&bench.path("opened"))).0);
    told(TEST, 7, confirmed);
}

/// A new record gets its name where renaming in one step is not known (NFS), and where there are no links either; and never
/// over another file. strace plays the file system.
#[test]
fn a_record_gets_its_name_on_file_systems_that_can_do_less() {
    const TEST: &str = "a_record_gets_its_name_on_file_systems_that_can_do_less";
    for (ways, taken) in [
        (&["renameat2:error=EINVAL"][..], "hard link"),
        (&["renameat2:error=EINVAL", "link,linkat:error=EPERM"], "renamed over its own place"),
        (&["renameat2:error=EIO"], ""),
    ] {
        let bench = bench();
        let lines = whole(&bench.steps(), "tree");
        let mut command = Command::new("strace");
        command.args(["-f", "-o", "trace", "-e", "trace=renameat2,rename,renameat,link,linkat"]);
        for way in ways {
            command.args(["-e", &format!("inject={way}")]);
        }
        command.arg(env!("CARGO_BIN_EXE_slotwise")).args(Bench::install_args());
        command.current_dir(bench.path(".")).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        if let Err(error) = Command::new("strace").arg("-V").output() {
            return skipped(TEST, &format!("no strace here: {error}"));
        }
        let ran = ran(command, joined(&lines[..5]).as_bytes());
        if ran.stderr.contains("PTRACE") {
            return skipped(TEST, "tracing is not permitted here");
        }
        let names: Vec<_> =
            fs::read_dir(bench.path("records")).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        if taken.is_empty() {
            ran.ends(74);
            ran.says(&["giving the record its name", "Input/output error"]);
            assert!(names.is_empty(), "{names:?}");
        } else {
            ran.ends(3);
            assert_eq!(names.len(), 1, "{taken}: {names:?}");
            assert_eq!(kept(record(&bench).as_deref()).0, saved(&ran.stderr), "{taken}");
        }
    }
}

/// A sign-off and an amendment that did not get onto the disk are called what they are, with a way out; the same command, given
/// again once there is room, does it.
#[test]
fn what_is_signed_or_amended_on_a_full_disk_says_so_in_its_own_words() {
    const TEST: &str = "what_is_signed_or_amended_on_a_full_disk_says_so_in_its_own_words";
    let folder = tempfile::tempdir().unwrap();
    let Some(shim) = built("fail", &["-shared", "-fPIC"], folder.path(), TEST) else { return };
    let bench = bench();
    bench.install(&whole(&bench.steps(), "tree")).ends(0);
    let made = Command::new("ssh-keygen")
        .args(["-q", "-t", "ed25519", "-N", "", "-f", "key"])
        .current_dir(bench.path("."))
        .status();
    if !made.is_ok_and(|status| status.success()) {
        return skipped(TEST, "no ssh-keygen here");
    }
    let record = format!("records/{}", bench.record().file_name().unwrap().to_str().unwrap());
    let sign = ["sign", &record, "--role", "technician", "--key", "key"];
    let amend = ["amend", &record, "--line", "2", "--now", "x", "--why", "y", "--name", "sam"];
    let take_back = [
        "amend",
        &record,
        "--step",
        &bench.steps().iter().next().unwrap().2.id.0.clone(),
        "--why",
        "y",
        "--name",
        "sam",
    ];
    for (args, fault, wanted) in [
        (&sign[..], format!("write:1:{ENOSPC}"), "the sign-off is NOT recorded"),
        (&sign[..], format!("write:2:{ENOSPC}"), "the signature is NOT recorded"),
        (&amend[..], format!("write:1:{ENOSPC}"), "the amendment is NOT recorded"),
        (&amend[..], format!("write:1:{EDQUOT}"), "the amendment is NOT recorded"),
        (&take_back[..], format!("write:1:{ENOSPC}"), "that the answer is taken back is NOT recorded"),
        (&take_back[..], format!("sync:2:{EIO}"), "that the answer is taken back is NOT recorded"),
    ] {
        let before = fs::read(bench.record()).unwrap();
        let mut command = bench.command(args);
        command.env("LD_PRELOAD", &shim).env("SLOTWISE_FAULT", &fault);
        let failed = ran(command, b"");
        failed.ends(74);
        let said = &failed.stderr;
        assert!(said.contains(&format!("slotwise: {record}: {wanted} (line ")), "{fault}: {said}");
        assert!(said.contains("way out: ") && said.contains("the same command") || fault.starts_with("sync"), "{said}");
        assert!(!said.contains("this answer") && !said.contains("resume") && failed.stdout.is_empty(), "{said}");
        assert!(fs::read(bench.record()).unwrap().starts_with(&before), "{fault}");
        if fault.starts_with("write:2") {
            // With room again the same command finishes it.
            bench.run(args, b"").ends(0);
        }
    }
}
