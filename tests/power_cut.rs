//! The power goes while the real program works on a file system of its own: everything it said was saved is there when the
//! power is back, the record opens by itself, and the job comes to its end.
//!
//! The rehearsal needs root, a loop device and `mkfs.ext4`. The writer is stopped before the cut: the kernel's way to cut
//! can race with a sync that runs, which a real cut cannot.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod disk;
mod program;

use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use disk::{Talk, built, kept, saved, skipped, told};
use program::{Bench, joined, rest, whole};
use rustix::process::{Pid, Signal, kill_process};
use slotwise::machine::Fault;
use slotwise::record::read;

/// How often the power goes on each file system.
const CUTS: usize = 25;

/// A file system in a file, mounted; unmounted with the value.
struct Disk {
    image: PathBuf,
    at: PathBuf,
}

fn run(program: &str, args: &[&str]) -> Result<(), String> {
    match Command::new(program).args(args).output() {
        Ok(output) if output.status.success() => Ok(()),
        Ok(output) => Err(format!("{program}: {}", String::from_utf8_lossy(&output.stderr).trim())),
        Err(error) => Err(format!("{program}: {error}")),
    }
}

impl Disk {
    fn make(folder: &Path, kind: &str, megabytes: u64) -> Result<Self, String> {
        let disk = Self { image: folder.join(format!("{kind}.image")), at: folder.join(kind) };
        fs::create_dir(&disk.at).unwrap();
        fs::File::create(&disk.image).unwrap().set_len(megabytes << 20).unwrap();
        run(&format!("mkfs.{kind}"), &["-q", disk.image.to_str().unwrap()])?;
        disk.mount()?;
        Ok(disk)
    }

    fn mount(&self) -> Result<(), String> {
        run("mount", &["-o", "loop", self.image.to_str().unwrap(), self.at.to_str().unwrap()])
    }

    fn unmount(&self) -> Result<(), String> {
        // The killed process may hold it a moment longer.
        let mut last = Ok(());
        for _ in 0..100 {
            last = run("umount", &[self.at.to_str().unwrap()]);
            if last.is_ok() {
                break;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        last
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        let _ = self.unmount();
    }
}

/// The only record in the folder, when there is one.
fn record(folder: &Path) -> Option<PathBuf> {
    let mut found = fs::read_dir(folder).ok()?.map(|entry| entry.unwrap().path());
    found.find(|path| path.extension().is_some_and(|extension| extension == "jsonl"))
}

/// Works until the power goes, `CUTS` times; gives how many answers were confirmed, all of which were kept.
fn rehearse(disk: &Disk, cut: &Path, seed: u64, test: &str) -> usize {
    let mut random = fastrand::Rng::with_seed(seed);
    let bench = Bench::new();
    bench.machine("tree", Fault::None, 1);
    let records = disk.at.join("records");
    let (mut confirmed, mut torn, mut unsynced_lost) = (0, 0, 0);
    for _ in 0..CUTS {
        // A job that is done makes room for the next one.
        if let Some(done) = record(&records).filter(|record| read::job(record).unwrap().job.is_done()) {
            fs::remove_file(done).unwrap();
        }
        let begun = record(&records);
        let before = kept(begun.as_deref()).0;
        let (args, lines): (Vec<String>, Vec<String>) = match &begun {
            Some(record) => (
                vec!["resume".to_owned(), record.to_str().unwrap().to_owned(), "--plain".to_owned()],
                rest(&read::job(record).unwrap().job, "tree"),
            ),
            None => {
                let args = Bench::install_args().map(str::to_owned).into_iter();
                let args = args.chain(["--records".to_owned(), records.to_str().unwrap().to_owned()]).collect();
                (args, whole(&bench.steps(), "tree"))
            }
        };
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        // Something that nobody syncs: it must not all be there afterwards, or no power was cut at all.
        let unsynced = disk.at.join("unsynced");
        let _ = fs::remove_file(&unsynced);
        run("sync", &["-f", disk.at.to_str().unwrap()]).unwrap();
        let mut child = bench.start(&args, joined(&lines).as_bytes());
        let talk = Talk::of(child.stderr.take().unwrap());
        // Amid the answers, mostly; the beginning of a job is met as well.
        if random.u8(..4) > 0 {
            talk.wait_for_an_answer();
        }
        std::thread::sleep(Duration::from_micros(random.u64(1_000..80_000)));
        kill_process(Pid::from_child(&child), Signal::STOP).unwrap();
        // A sync that runs comes to its end before the cut.
        std::thread::sleep(Duration::from_millis(100));
        fs::write(&unsynced, [b'x'; 100_000]).unwrap();
        let output = Command::new(cut).arg(&disk.at).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        child.kill().unwrap();
        let _ = child.wait().unwrap();
        let said = talk.all();
        disk.unmount().unwrap();
        disk.mount().unwrap();

        let these = saved(&said);
        let record = record(&records);
        let (after, job) = kept(record.as_deref());
        let what = format!("seed {seed}: {before} before, {these} confirmed, {after} there: {said}");
        assert!(after >= before + these && after <= before + these + 1, "{what}");
        confirmed += these;
        let length = |path: &Path| fs::metadata(path).map_or(0, |found| found.blocks() * 512);
        unsynced_lost += usize::from(length(&unsynced) < 100_000 || fs::read(&unsynced).unwrap() != [b'x'; 100_000]);
        if let (Some(record), Some(job)) = (&record, job) {
            torn += usize::from(read::job(record).unwrap().torn.is_some());
            // By itself, and a second time without a change.
            let resume = ["resume", record.to_str().unwrap(), "--plain"];
            if !job.is_done() {
                bench.run(&resume, b"").ends(3);
            }
            assert!(kept(Some(record)).0 >= after, "{what}");
            let audited = bench.run(&["audit", record.to_str().unwrap(), "--json"], b"");
            audited.ends(1);
        }
    }
    assert!(unsynced_lost > CUTS / 2, "{unsynced_lost} of {CUTS} cuts took what nobody synced: nothing was proven");
    let left = record(&records).filter(|record| !read::job(record).unwrap().job.is_done());
    if let Some(record) = left {
        let lines = rest(&read::job(&record).unwrap().job, "tree");
        bench.run(&["resume", record.to_str().unwrap(), "--plain"], joined(&lines).as_bytes()).ends(0);
        let job = read::job(&record).unwrap().job;
        assert!(job.is_done() && job.answers().len() == bench.steps().iter().count(), "seed {seed}");
    }
    told(&format!("{test}, {torn} torn tails"), CUTS, confirmed);
    confirmed
}

fn cut_on(kind: &str, megabytes: u64, test: &str) {
    let folder = tempfile::tempdir().unwrap();
    let Some(cut) = built("cut", &[], folder.path(), test) else { return };
    let disk = match Disk::make(folder.path(), kind, megabytes) {
        Ok(disk) => disk,
        Err(why) => return skipped(test, &format!("no file system of its own: {why}")),
    };
    let seed = std::env::var("SLOTWISE_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(fastrand::u64(..));
    let confirmed = rehearse(&disk, &cut, seed, test);
    assert!(confirmed > CUTS, "only {confirmed} answers were given before the cuts");
}

#[test]
fn a_power_cut_on_ext4_loses_nothing_that_was_confirmed() {
    cut_on("ext4", 32, "a_power_cut_on_ext4_loses_nothing_that_was_confirmed");
}

#[test]
fn a_power_cut_on_xfs_loses_nothing_that_was_confirmed() {
    cut_on("xfs", 320, "a_power_cut_on_xfs_loses_nothing_that_was_confirmed");
}
