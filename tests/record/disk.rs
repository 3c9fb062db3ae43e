//! Real files: two writers, files that vanish or change, full and read-only disks, and what the system is asked to do.

use std::fs;
use std::io::Write as _;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use slotwise::record::{Failure, Journal, JournalError, RecordError, read};
use tempfile::TempDir;

use crate::sample::{at, note, opened};

/// Where a test that runs inside another process finds its folder.
const FOLDER: &str = "SLOTWISE_TEST_FOLDER";

fn folder() -> PathBuf {
    PathBuf::from(std::env::var_os(FOLDER).expect("runs only inside another test"))
}

fn create(folder: &Path) -> Journal {
    Journal::create(folder, "ada", at(0), opened()).unwrap()
}

fn record(folder: &Path) -> PathBuf {
    folder.join(format!("{}.jsonl", opened().job))
}

/// Runs one ignored test of this binary behind `program` with `arguments`.
fn inside(program: &str, arguments: &[&str], test: &str, folder: &Path) -> std::io::Result<Output> {
    Command::new(program)
        .args(arguments)
        .arg(std::env::current_exe().unwrap())
        .args(["--ignored", "--exact", "--nocapture", "--test-threads=1", test])
        .env(FOLDER, folder)
        .output()
}

/// Says so past the test runner, which keeps the output of tests that pass to itself.
fn skipped(test: &str, why: &str) {
    let _ = writeln!(std::io::stderr(), "SKIPPED {test}: {why}");
}

fn assert_passed(output: &Output) {
    let text = String::from_utf8_lossy(&output.stdout);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && text.contains("1 passed"), "{text}\n{errors}");
}

/// Runs an ignored test with a small file system of its own at `folder`; only the child sees the mount.
fn on_small_disk(test: &str, folder: &Path) {
    let script = "mount -t tmpfs -o size=64k none \"$SLOTWISE_TEST_FOLDER\" || exit 99; exec \"$@\"";
    let arguments = ["--user", "--map-root-user", "--mount", "sh", "-c", script, "sh"];
    match inside("unshare", &arguments, test, folder) {
        Ok(output) if output.status.code() == Some(99) || !output.stderr.is_empty() && output.stdout.is_empty() => {
            skipped(test, &format!("no mount of its own: {}", String::from_utf8_lossy(&output.stderr)));
        }
        Ok(output) => assert_passed(&output),
        Err(error) => skipped(test, &format!("no `unshare` here: {error}")),
    }
}

#[test]
fn a_second_writer_is_refused_and_told_who_has_it() {
    let folder = TempDir::new().unwrap();
    let mut first = create(folder.path());
    first.append("ada", at(1), note("mine")).unwrap();
    let error = Journal::open(first.path(), at(2)).unwrap_err();
    let JournalError::InUse { holder, .. } = &error else { panic!("{error}") };
    assert_eq!(holder.last, Some(("ada".to_owned(), "2026-11-25T09:31:00.000+01:00".to_owned())));
    // Some file systems show another device in /proc/locks than to stat(2); then the process is not known.
    if let Some(process) = holder.process {
        assert_eq!(process, std::process::id());
    }
    assert!(error.to_string().contains("last line by ada"), "{error}");

    assert_passed(&inside("env", &[], "disk::inside_a_second_process_cannot_open", folder.path()).unwrap());
    first.append("ada", at(3), note("still mine")).unwrap();
    let file = first.path().to_owned();
    drop(first);
    assert_eq!(Journal::open(&file, at(4)).unwrap().job().lines(), 3);
}

#[test]
#[ignore = "runs inside another test"]
fn inside_a_second_process_cannot_open() {
    let error = Journal::open(&record(&folder()), at(2)).unwrap_err();
    assert!(matches!(error, JournalError::InUse { .. }), "{error}");
    assert_eq!(read::job(&record(&folder())).unwrap().job.lines(), 2, "reading needs no lock");
}

#[test]
fn a_name_that_is_taken_is_left_as_it_is() {
    let folder = TempDir::new().unwrap();
    drop(create(folder.path()));
    let before = fs::read(record(folder.path())).unwrap();
    let error = Journal::create(folder.path(), "eve", at(0), opened()).unwrap_err();
    assert!(matches!(error, JournalError::Exists { .. }), "{error}");
    assert_eq!(fs::read(record(folder.path())).unwrap(), before);

    let links = TempDir::new().unwrap();
    let target = links.path().join("target");
    symlink(&target, record(links.path())).unwrap();
    let error = Journal::create(links.path(), "eve", at(0), opened()).unwrap_err();
    assert!(matches!(error, JournalError::Exists { .. }), "{error}");
    assert!(!target.exists(), "a link to nowhere is not followed");

    let mut bad = opened();
    bad.job = "../escape".to_owned();
    let error = Journal::create(folder.path(), "eve", at(0), bad).unwrap_err();
    assert!(matches!(error, JournalError::BadName { .. }), "{error}");
}

#[test]
fn only_ordinary_files_are_opened() {
    let folder = TempDir::new().unwrap();
    let journal = create(folder.path());
    let link = folder.path().join("link.jsonl");
    symlink(journal.path(), &link).unwrap();
    drop(journal);
    let pipe = folder.path().join("pipe.jsonl");
    rustix::fs::mknodat(
        rustix::fs::CWD,
        &pipe,
        rustix::fs::FileType::Fifo,
        rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR,
        0,
    )
    .unwrap();
    for path in [link.as_path(), pipe.as_path(), folder.path()] {
        let error = Journal::open(path, at(0)).unwrap_err();
        assert!(matches!(error, JournalError::Unreadable(RecordError::NotAFile { .. })), "{path:?}: {error}");
    }
    for path in [pipe.as_path(), folder.path()] {
        let error = read::job(path).unwrap_err();
        assert!(matches!(error, RecordError::NotAFile { .. }), "{path:?}: {error}");
    }
    let error = Journal::open(&folder.path().join("none.jsonl"), at(0)).unwrap_err();
    assert!(error.to_string().contains("none.jsonl: opening the record: "), "{error}");
}

/// Does something to a file behind the journal's back.
type Way = fn(&Path);

fn edited_copy(file: &Path) {
    let copy = file.with_extension("new");
    fs::write(&copy, "x\n").unwrap();
    fs::rename(copy, file).unwrap();
}

fn to_name(file: &Path, name: &str) -> PathBuf {
    let to = file.with_file_name(name);
    fs::rename(file, &to).unwrap();
    to
}

#[test]
fn a_record_whose_length_changes_under_the_journal_stops_it() {
    let ways: [(&str, Way); 2] = [
        ("shortened", |file| fs::OpenOptions::new().write(true).open(file).unwrap().set_len(20).unwrap()),
        ("added to", |file| fs::write(file, [fs::read(file).unwrap(), b"x\n".to_vec()].concat()).unwrap()),
    ];
    for (how, spoil) in ways {
        let folder = TempDir::new().unwrap();
        let mut journal = create(folder.path());
        spoil(journal.path());
        let error = journal.append("ada", at(1), note("lost?")).unwrap_err();
        assert!(
            matches!(&error, JournalError::NotRecorded { n: 2, failure: Failure::Changed { .. }, .. }),
            "{how}: {error}"
        );
        let error = journal.append("ada", at(2), note("lost?")).unwrap_err();
        assert!(matches!(error, JournalError::Stopped { n: 2, .. }), "{how}: {error}");
    }
}

/// Whatever happens to the name of a record: the next line is refused, and a job can be resumed with all confirmed lines
/// from the file that the refusal names.
#[test]
fn a_record_that_leaves_its_path_stops_the_journal_and_is_found_or_kept() {
    let ways: [(&str, &str, Way); 10] = [
        ("removed", "records/JOB.jsonl", |file| fs::remove_file(file).unwrap()),
        ("removed with its folder", "records/JOB.jsonl", |file| fs::remove_dir_all(file.parent().unwrap()).unwrap()),
        ("replaced", "records/JOB.rescued-1.jsonl", edited_copy),
        ("replaced, and the next name is taken", "records/JOB.rescued-2.jsonl", |file| {
            edited_copy(file);
            fs::write(file.with_extension("rescued-1.jsonl"), "not ours").unwrap();
        }),
        ("moved", "records/a b.jsonl", |file| drop(to_name(file, "a b.jsonl"))),
        ("moved to another folder", "JOB.jsonl", |file| {
            fs::rename(file, file.parent().unwrap().with_file_name(file.file_name().unwrap())).unwrap();
        }),
        ("its folder moved", "old/JOB.jsonl", |file| drop(to_name(file.parent().unwrap(), "old"))),
        ("moved, and a link at its path", "records/real.jsonl", |file| {
            symlink(to_name(file, "real.jsonl"), file).unwrap();
        }),
        ("edited by a copy after a hard link was made", "records/link.jsonl", |file| {
            fs::hard_link(file, file.with_file_name("link.jsonl")).unwrap();
            edited_copy(file);
        }),
        // What a network file system makes of a file that is removed while it is open.
        ("removed on NFS", "records/JOB.jsonl", |file| drop(to_name(file, ".nfs000000000022"))),
    ];
    for (how, now, spoil) in ways {
        let folder = TempDir::new().unwrap();
        fs::create_dir(folder.path().join("records")).unwrap();
        let mut journal = create(&folder.path().join("records"));
        journal.append("ada", at(1), note("confirmed")).unwrap();
        let file = journal.path().to_owned();
        let bytes = fs::read(&file).unwrap();
        spoil(&file);
        let at_path = fs::read(&file).ok();
        let error = journal.append("ada", at(2), note("not recorded")).unwrap_err();
        assert!(matches!(&error, JournalError::NotRecorded { n: 3, failure: Failure::Gone(_), .. }), "{how}: {error}");
        let now = folder.path().join(now.replace("JOB", &opened().job));
        assert_eq!(error.moved_to(), Some(now.as_path()), "{how}: {error}");
        assert!(error.to_string().contains(now.to_str().unwrap()), "{how}: {error}");
        assert_eq!(fs::read(&now).unwrap(), bytes, "{how}");
        if now != file {
            assert_eq!(fs::read(&file).ok(), at_path, "{how}: what took its place is left as it is");
        }
        let error = journal.append("ada", at(3), note("not recorded")).unwrap_err();
        assert!(matches!(error, JournalError::Stopped { n: 3, .. }), "{how}: {error}");
        drop(journal);
        let mut journal = Journal::open(&now, at(4)).unwrap();
        assert_eq!(journal.append("ada", at(5), note("goes on")).unwrap(), 3, "{how}");
    }
}

#[test]
fn a_record_that_is_opened_and_leaves_its_path_is_not_touched_at_its_new_one() {
    let folder = TempDir::new().unwrap();
    let file = create(folder.path()).path().to_owned();
    let torn = [fs::read(&file).unwrap(), b"{\"n\":2".to_vec()].concat();
    fs::write(&file, &torn).unwrap();
    let mut journal = Journal::look(&file).unwrap();
    let moved = to_name(&file, "moved.jsonl");
    let error = journal.mend(at(1)).unwrap_err();
    assert_eq!(error.moved_to(), Some(moved.as_path()), "{error}");
    assert_eq!(fs::read(&moved).unwrap(), torn);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing was set aside");
}

#[test]
fn a_second_name_for_a_record_stops_nothing() {
    let folder = TempDir::new().unwrap();
    let mut journal = create(folder.path());
    // As some backups do.
    fs::hard_link(journal.path(), folder.path().join("backup")).unwrap();
    assert_eq!(journal.append("ada", at(1), note("recorded")).unwrap(), 2);
    assert_eq!(read::job(journal.path()).unwrap().job.lines(), 2);
}

#[test]
fn what_cannot_be_kept_is_said_to_be_lost() {
    let folder = TempDir::new().unwrap();
    let records = folder.path().join("records");
    fs::create_dir(&records).unwrap();
    let mut journal = create(&records);
    fs::remove_dir_all(&records).unwrap();
    fs::write(&records, "a file").unwrap();
    let error = journal.append("ada", at(1), note("lost")).unwrap_err();
    assert_eq!(error.moved_to(), None);
    assert!(error.to_string().contains("and a copy could not be written to "), "{error}");
}

#[test]
fn a_full_disk_loses_nothing_that_was_confirmed() {
    let folder = TempDir::new().unwrap();
    on_small_disk("disk::inside_a_disk_that_fills_up", folder.path());
}

#[test]
#[ignore = "runs inside another test"]
fn inside_a_disk_that_fills_up() {
    let folder = folder();
    let ballast = folder.join("ballast");
    fs::write(&ballast, vec![1; 30_000]).unwrap();
    let mut journal = create(&folder);
    let file = journal.path().to_owned();
    let mut confirmed = 1;
    let error = loop {
        match journal.append("ada", at(confirmed), note(&format!("{confirmed} {}", "x".repeat(1500)))) {
            Ok(n) => confirmed = n as i64,
            Err(error) => break error,
        }
    };
    assert!(confirmed > 5, "{confirmed}");
    let JournalError::NotRecorded { failure, .. } = &error else { panic!("{error}") };
    assert!(matches!(failure, Failure::Full | Failure::Short { .. }), "{error}");
    assert!(error.to_string().contains("the disk is full; free some space"), "{error}");
    drop(journal);

    assert_eq!(read::job(&file).unwrap().job.lines() as i64, confirmed, "readable while the disk is full");
    fs::remove_file(&ballast).unwrap();
    let mut journal = Journal::open(&file, at(500)).unwrap();
    let notes: Vec<_> = journal.job().notes().iter().map(|note| note.line).collect();
    assert_eq!(notes, (2..=confirmed as u64).collect::<Vec<_>>());
    journal.append("ada", at(501), note("goes on")).unwrap();
    drop(journal);

    // Nothing can be begun on a full disk, and nothing is left lying about.
    while fs::write(folder.join(format!("fill{confirmed}")), vec![1; 4096]).is_ok() {
        confirmed += 1;
    }
    let mut other = opened();
    other.job = "2026-11-25-other-0a1b2c".to_owned();
    let error = Journal::create(&folder, "ada", at(0), other).unwrap_err();
    assert!(error.to_string().contains("disk is full"), "{error}");
    assert!(!folder.join("2026-11-25-other-0a1b2c.jsonl").exists());
}

#[test]
fn a_read_only_disk_can_be_read_and_says_so_when_written_to() {
    let folder = TempDir::new().unwrap();
    on_small_disk("disk::inside_a_disk_made_read_only", folder.path());
}

#[test]
#[ignore = "runs inside another test"]
fn inside_a_disk_made_read_only() {
    let folder = folder();
    drop(create(&folder));
    let status = Command::new("mount").args(["-o", "remount,ro"]).arg(&folder).status().unwrap();
    assert!(status.success());
    let error = Journal::open(&record(&folder), at(1)).unwrap_err();
    assert!(error.to_string().contains("Read-only file system"), "{error}");
    let mut other = opened();
    other.job = "2026-11-25-other-0a1b2c".to_owned();
    let error = Journal::create(&folder, "ada", at(1), other).unwrap_err();
    assert!(error.to_string().contains("Read-only file system"), "{error}");
    assert_eq!(read::job(&record(&folder)).unwrap().job.lines(), 1);
}

/// The test whose system calls are counted.
const TRACED: &str = "disk::inside_a_trace_of_ten_lines";

#[test]
fn the_system_is_asked_for_one_write_and_one_sync_a_line() {
    let folder = TempDir::new().unwrap();
    let trace = folder.path().join("trace");
    let trace_text = trace.to_str().unwrap();
    let arguments = ["-f", "-s", "8", "-e", "trace=write,fsync,fdatasync", "-o", trace_text];
    match inside("strace", &arguments, TRACED, folder.path()) {
        Err(error) => skipped(TRACED, &format!("no strace here: {error}")),
        Ok(output) if String::from_utf8_lossy(&output.stderr).contains("PTRACE") => {
            skipped(TRACED, "tracing is not permitted here");
        }
        Ok(output) => {
            assert_passed(&output);
            let trace = fs::read_to_string(trace).unwrap();
            let calls: Vec<_> = trace
                .lines()
                .filter(|call| call.contains("\"{\\\"n\\\":") || call.contains("sync("))
                .map(|call| call.split_whitespace().nth(1).and_then(|call| call.split('(').next()).unwrap_or_default())
                .collect();
            let mut due = vec!["write", "fdatasync", "fsync"];
            due.extend(["write", "fdatasync"].repeat(10));
            assert_eq!(calls, due, "{trace}");
        }
    }
}

#[test]
#[ignore = "runs inside another test"]
fn inside_a_trace_of_ten_lines() {
    let mut journal = create(&folder());
    for minute in 1..=10 {
        journal.append("ada", at(minute), note("a line")).unwrap();
    }
}
