//! A disk that fails at the Nth operation, for every N until a whole job goes through: what was confirmed is there
//! afterwards, after a power cut too, and nothing is claimed that is not.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::{self, Read};
use std::path::PathBuf;
use std::rc::Rc;

use slotwise::record::{Event, Journal, JournalError, Scan, Stand, Storage, Whereabouts};

use crate::sample::{at, events, opened};

/// How an operation fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Refused, and nothing done.
    Refused,
    /// A write takes half of its bytes; anything else is refused.
    Half,
    /// A write takes half of its bytes and reports an error; anything else is refused.
    HalfAndError,
    /// The machine stops before the operation; every one after it fails until power is back.
    PowerCut,
}

/// Bytes as the program sees them, and as the disk has them.
#[derive(Debug, Default)]
struct Disk {
    cached: Vec<u8>,
    /// Which bytes of `cached` the kernel still means to write.
    dirty: Vec<bool>,
    durable: Vec<u8>,
    asides: BTreeMap<String, Vec<u8>>,
    operations: u32,
    log: Vec<&'static str>,
    fault: Option<(u32, Kind, bool)>,
    dead: bool,
}

impl Disk {
    /// Counts one operation and says whether and how it fails.
    fn next(&mut self, name: &'static str) -> Option<Kind> {
        self.operations += 1;
        self.log.push(name);
        if self.dead {
            return Some(Kind::Refused);
        }
        let (n, kind, for_ever) = self.fault?;
        let fails = self.operations == n || (for_ever && self.operations > n);
        if fails && kind == Kind::PowerCut {
            self.dead = true;
        }
        fails.then_some(kind)
    }

    fn write(&mut self, bytes: &[u8]) {
        self.cached.extend_from_slice(bytes);
        self.dirty.resize(self.cached.len(), true);
    }

    /// What a power cut leaves: bytes that never reached the disk are zero, or missing at the end.
    fn power_cut(&mut self) {
        self.cached = self.durable.clone();
        self.dirty = vec![false; self.cached.len()];
        self.dead = false;
    }
}

#[derive(Debug, Clone)]
struct Fake(Rc<RefCell<Disk>>);

fn failure() -> io::Error {
    io::ErrorKind::StorageFull.into()
}

impl Storage for Fake {
    fn stand(&mut self) -> io::Result<Stand> {
        let mut disk = self.0.borrow_mut();
        match disk.next("stand") {
            Some(_) => Err(failure()),
            None => Ok(Stand { length: disk.cached.len() as u64, named: true }),
        }
    }

    fn whereabouts(&mut self) -> Whereabouts {
        unreachable!("it stays where it is")
    }

    fn read(&mut self) -> io::Result<Box<dyn Read + '_>> {
        let mut disk = self.0.borrow_mut();
        match disk.next("read") {
            Some(_) => Err(failure()),
            None => Ok(Box::new(io::Cursor::new(disk.cached.clone()))),
        }
    }

    fn append(&mut self, line: &[u8]) -> io::Result<usize> {
        let mut disk = self.0.borrow_mut();
        let half = line.len() / 2;
        match disk.next("append") {
            None => {
                disk.write(line);
                Ok(line.len())
            }
            Some(Kind::Refused | Kind::PowerCut) => Err(failure()),
            Some(Kind::Half) => {
                disk.write(&line[..half]);
                Ok(half)
            }
            Some(Kind::HalfAndError) => {
                disk.write(&line[..half]);
                Err(failure())
            }
        }
    }

    fn sync(&mut self) -> io::Result<()> {
        let mut disk = self.0.borrow_mut();
        let fails = disk.next("sync");
        if disk.dead {
            return Err(failure());
        }
        let length = disk.cached.len();
        disk.durable.resize(length, 0);
        for place in 0..length {
            // A failed sync leaves the pages clean: nobody will write them again (fsync(2), vfs.rst).
            if std::mem::take(&mut disk.dirty[place]) && fails.is_none() {
                disk.durable[place] = disk.cached[place];
            }
        }
        fails.map_or(Ok(()), |_| Err(failure()))
    }

    fn settle(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        let mut disk = self.0.borrow_mut();
        if disk.next("settle").is_some() {
            return Err(failure());
        }
        let range = offset as usize..offset as usize + bytes.len();
        assert_eq!(&disk.cached[range.clone()], bytes, "only what stands there may be written again");
        disk.dirty[range].fill(true);
        Ok(())
    }

    fn keep_aside(&mut self, name: &str, offset: u64) -> io::Result<()> {
        let mut disk = self.0.borrow_mut();
        if disk.next("keep aside").is_some() {
            return Err(failure());
        }
        if disk.asides.contains_key(name) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let tail = disk.cached[offset as usize..].to_vec();
        disk.asides.insert(name.to_owned(), tail);
        Ok(())
    }

    fn aside(&mut self, name: &str) -> io::Result<Option<u64>> {
        let mut disk = self.0.borrow_mut();
        match disk.next("aside") {
            Some(_) => Err(failure()),
            None => Ok(disk.asides.get(name).map(|bytes| bytes.len() as u64)),
        }
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        let mut disk = self.0.borrow_mut();
        if disk.next("cut").is_some() {
            return Err(failure());
        }
        disk.cached.truncate(length as usize);
        disk.dirty.truncate(length as usize);
        Ok(())
    }

    fn sync_folder(&mut self) -> io::Result<()> {
        self.0.borrow_mut().next("sync folder").map_or(Ok(()), |_| Err(failure()))
    }
}

fn file() -> PathBuf {
    PathBuf::from("job.jsonl")
}

/// The event with the line numbers it names as they are in this job, where set-aside tails may have shifted them.
fn due(event: &Event, journal: &Journal) -> Event {
    let job = journal.job();
    match event.clone() {
        Event::Corrected { step, why, .. } => {
            let corrects = job.answer(&step).unwrap().line;
            Event::Corrected { step, corrects, why }
        }
        Event::Compared { findings, .. } => Event::Compared { snapshot_line: job.snapshot().unwrap().0, findings },
        Event::RoundOpened { round, slots, .. } => {
            Event::RoundOpened { round, slots, snapshot_line: job.snapshot().unwrap().0 }
        }
        event => event,
    }
}

/// The event without the line numbers it names.
fn unnumbered(event: Event) -> Event {
    match event {
        Event::Corrected { step, why, .. } => Event::Corrected { step, corrects: 0, why },
        Event::Compared { findings, .. } => Event::Compared { snapshot_line: 0, findings },
        Event::RoundOpened { round, slots, .. } => Event::RoundOpened { round, slots, snapshot_line: 0 },
        event => event,
    }
}

/// The events of the record, those of set-aside tails left out: the job as the technician knows it.
fn told(bytes: &[u8]) -> Vec<Event> {
    Scan::new(bytes)
        .map(|scanned| scanned.expect("whole lines").line.event)
        .filter(|event| !matches!(event, Event::TailSetAside { .. }))
        .skip(1)
        .map(unnumbered)
        .collect()
}

/// Works through the job, opening again after each failure; the power goes at each of them if `cut`.
/// Gives the disk, or nothing when no failure happened any more.
fn work(fault: (u32, Kind, bool), cut: bool) -> Option<Fake> {
    let what = format!("{fault:?}, power cut: {cut}");
    let fake = Fake(Rc::new(RefCell::new(Disk { fault: Some(fault), ..Disk::default() })));
    let events: Vec<Event> = events().into_iter().map(unnumbered).collect();
    let mut confirmed = 0;
    let mut journal: Option<Journal> = None;
    let mut created = false;
    let mut failures = 0;
    let mut tries = 0;
    loop {
        tries += 1;
        assert!(tries < 100, "{what}: the job never ends");
        let opened = match journal.take() {
            Some(journal) => Ok(journal),
            None if created => Journal::open_on(Box::new(fake.clone()), file(), at(tries)),
            None => Journal::create_on(Box::new(fake.clone()), file(), "ada", at(0), opened()),
        };
        let result = match opened {
            Err(error) => Err(error),
            Ok(mut open) => {
                created = true;
                let done = told(&fake.0.borrow().cached);
                assert!(done.len() >= confirmed, "{what}: {confirmed} confirmed, {} there", done.len());
                assert!(done.len() <= confirmed + 1, "{what}: more there than was ever written");
                assert_eq!(done, events[..done.len()], "{what}");
                // What the opened job shows as recorded counts as confirmed from now on.
                confirmed = done.len();
                match events.get(confirmed) {
                    None => break,
                    Some(event) => {
                        let event = due(event, &open);
                        let result = open.append("ada", at(confirmed as i64), event.clone()).map(|_| ());
                        if let Err(error) = &result {
                            assert!(error.is_final(), "{what}: {error}");
                            let text = error.to_string();
                            assert!(text.contains("NOT recorded"), "{what}: {text}");
                            let before = fake.0.borrow().operations;
                            let again = open.append("ada", at(9), event.clone()).unwrap_err();
                            assert!(matches!(again, JournalError::Stopped { .. }), "{what}: {again}");
                            assert_eq!(fake.0.borrow().operations, before, "{what}: a stopped journal touches nothing");
                        } else {
                            confirmed += 1;
                            journal = Some(open);
                        }
                        result
                    }
                }
            }
        };
        if result.is_err() {
            failures += 1;
            let mut disk = fake.0.borrow_mut();
            if !created {
                // Nothing was ever confirmed; the real thing removes the file.
                *disk =
                    Disk { operations: disk.operations, fault: disk.fault, log: disk.log.clone(), ..Disk::default() };
            } else if cut || disk.dead {
                disk.power_cut();
                assert!(Scan::new(disk.cached.as_slice()).map_while(Result::ok).count() > confirmed, "{what}");
            }
            if fault.2 {
                // Someone freed space, or put the cable back.
                disk.fault = None;
            }
        }
    }
    // The last word: the power goes after the end, and all of it is there.
    let mut disk = fake.0.borrow_mut();
    disk.power_cut();
    assert_eq!(told(&disk.cached), events, "{what}");
    drop(disk);
    (failures > 0).then_some(fake)
}

#[test]
fn whatever_operation_fails_confirmed_lines_stay_and_the_job_comes_to_its_end() {
    let mut runs = 0;
    for kind in [Kind::Refused, Kind::Half, Kind::HalfAndError, Kind::PowerCut] {
        for for_ever in [false, true] {
            for cut in [false, true] {
                let mut n = 1;
                while work((n, kind, for_ever), cut).is_some() {
                    n += 1;
                    runs += 1;
                }
                // Opening costs two operations more than the three of each line; fewer would mean faults were not met.
                assert!(n > 3 * events().len() as u32, "{kind:?}: only {n} operations");
            }
        }
    }
    assert!(runs > 500, "{runs}");
}

#[test]
fn faults_while_a_fault_is_repaired_lose_nothing_either() {
    // A line cut in half at operation 12, then the opening after it fails at each of its own operations.
    for second in 1..12 {
        let fake = Fake(Rc::new(RefCell::new(Disk { fault: Some((12, Kind::Half, false)), ..Disk::default() })));
        let mut journal = Journal::create_on(Box::new(fake.clone()), file(), "ada", at(0), opened()).unwrap();
        let mut confirmed = Vec::new();
        for event in events() {
            match journal.append("ada", at(1), event.clone()) {
                Ok(_) => confirmed.push(event),
                Err(_) => break,
            }
        }
        drop(journal);
        let before = fake.0.borrow().operations;
        fake.0.borrow_mut().fault = Some((before + second, Kind::HalfAndError, false));
        let first = Journal::open_on(Box::new(fake.clone()), file(), at(2)).map(drop);
        fake.0.borrow_mut().fault = None;
        let opened = Journal::open_on(Box::new(fake.clone()), file(), at(3)).unwrap();
        assert_eq!(told(&fake.0.borrow().cached), confirmed, "second fault at {second}");
        // Every file beside the record is told of in it, once.
        let mut told: Vec<_> = opened.job().tails().iter().map(|tail| tail.file.clone()).collect();
        told.sort();
        let kept: Vec<_> = fake.0.borrow().asides.keys().cloned().collect();
        assert_eq!(told, kept, "second fault at {second}, first opening {first:?}");
        assert!(!kept.is_empty());
    }
}

#[test]
fn a_line_costs_one_write_and_one_sync() {
    let fake = Fake(Rc::default());
    let mut journal = Journal::create_on(Box::new(fake.clone()), file(), "ada", at(0), opened()).unwrap();
    assert_eq!(fake.0.borrow().log, ["stand", "append", "sync", "sync folder"]);
    for event in events() {
        fake.0.borrow_mut().log.clear();
        journal.append("ada", at(1), event).unwrap();
        assert_eq!(fake.0.borrow().log, ["stand", "append", "sync"]);
    }
}

#[test]
fn an_event_that_may_not_follow_is_refused_before_anything_is_written() {
    let fake = Fake(Rc::default());
    let mut journal = Journal::create_on(Box::new(fake.clone()), file(), "ada", at(0), opened()).unwrap();
    let before = fake.0.borrow().operations;
    let wrong = Event::Corrected { step: crate::sample::step("x"), corrects: 7, why: "x".to_owned() };
    let error = journal.append("ada", at(1), wrong).unwrap_err();
    assert!(matches!(error, JournalError::Rule { .. }) && !error.is_final(), "{error}");
    let large = Event::TailSetAside { file: "x".to_owned(), bytes: u64::MAX, why: "x".to_owned() };
    let error = journal.append("ada", at(1), large).unwrap_err();
    assert!(matches!(error, JournalError::Unwritable { .. }) && !error.is_final(), "{error}");
    assert_eq!(fake.0.borrow().operations, before);
    assert_eq!(journal.append("ada", at(2), crate::sample::note("goes on")).unwrap(), 2);
}
