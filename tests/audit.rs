//! A signed record shows every change, and an audit says what it can and cannot show.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod sealed;

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use sealed::{at, declared, done, key, opened, public, seal, sealed as sealed_journal, sealed_bytes, signers};
use slotwise::commands::audit::{Against, Grave, Report, State, Verdict, audit};
use slotwise::record::sign::{Hash, Revoked};
use slotwise::record::{Event, How, Journal, JournalError, Role, RuleFault};

/// The whole of it must hold, a supervisor's countersignature included.
fn strict() -> Against {
    Against { signers: Some(signers()), countersigned: true, now: Some(at(60)), ..Against::default() }
}

/// As `audit` without `--countersigned`.
fn usual() -> Against {
    Against { countersigned: false, ..strict() }
}

fn audited(bytes: &[u8], against: &Against) -> Report {
    audit(Path::new("job.jsonl"), bytes, against)
}

fn of(journal: &Journal, against: &Against) -> Report {
    audited(&fs::read(journal.path()).unwrap(), against)
}

/// Where each line begins, and the end of the last.
fn edges(bytes: &[u8]) -> Vec<usize> {
    std::iter::once(0)
        .chain(bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1))
        .collect()
}

fn lines(bytes: &[u8]) -> Vec<Vec<u8>> {
    edges(bytes).windows(2).map(|edge| bytes[edge[0]..edge[1]].to_vec()).collect()
}

#[track_caller]
fn says(report: &Report, grave: Grave, line: Option<u64>, words: &str) {
    let found = report.troubles.iter().any(|t| t.grave == grave && t.line == line && t.what.contains(words));
    assert!(found, "nothing of {grave:?} at {line:?} says {words:?} in {:#?}", report.troubles);
}

#[test]
fn a_signed_and_countersigned_record_is_proven() {
    let report = audited(&sealed_bytes(), &strict());
    assert_eq!((report.verdict, report.state), (Verdict::Proven, State::Countersigned), "{:#?}", report.troubles);
    assert_eq!((report.items, report.answered, report.lines), (2, 2, 7));
    assert_eq!(
        report.signatures.iter().map(|s| (s.fits, s.allowed_by)).collect::<Vec<_>>(),
        [(Some(true), Some(2)), (Some(true), Some(3))]
    );
    // Nothing wrong, nothing left open; that no report of the machine was compared is worth a note.
    assert!(report.troubles.iter().all(|trouble| trouble.grave == Grave::Note), "{:#?}", report.troubles);
}

/// `ssh-keygen -Y sign` hashes with SHA-512 unless told otherwise, `slotwise sign` with SHA-256: either may come first, and again.
#[test]
fn signatures_with_either_hash_stand_side_by_side() {
    for hashes in 0..16_u8 {
        let hash = |nth: u8| if (hashes >> nth).is_multiple_of(2) { Hash::Sha256 } else { Hash::Sha512 };
        let folder = tempfile::tempdir().unwrap();
        let mut journal = done(folder.path());
        seal(&mut journal, 10, "ada", Role::Technician, &key(1), hash(0));
        seal(&mut journal, 20, "sam", Role::Supervisor, &key(2), hash(1));
        let amended = Event::Amended { amends: 2, was: None, now: "x".to_owned(), why: "a photo".to_owned() };
        journal.append("sam", at(30), amended).unwrap();
        seal(&mut journal, 40, "ada", Role::Technician, &key(1), hash(2));
        seal(&mut journal, 50, "sam", Role::Supervisor, &key(2), hash(3));
        let report = of(&journal, &strict());
        assert_eq!(report.verdict, Verdict::Proven, "{hashes:04b}: {:#?}", report.troubles);
        assert!(report.signatures.iter().all(|signature| signature.fits == Some(true)), "{hashes:04b}");
    }
}

/// Every single bit of a signed record, its last line included, which no later line binds.
#[test]
fn every_flipped_bit_shows() {
    let good = sealed_bytes();
    let against = strict();
    let next = AtomicUsize::new(0);
    let flipped = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                let mut bytes = good.clone();
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    if at >= good.len() {
                        break;
                    }
                    for bit in 0..8 {
                        bytes[at] ^= 1 << bit;
                        let report = audited(&bytes, &against);
                        assert_ne!(report.verdict, Verdict::Proven, "bit {bit} of byte {at}");
                        flipped.fetch_add(1, Ordering::Relaxed);
                        bytes[at] = good[at];
                    }
                }
            });
        }
    });
    assert_eq!(flipped.into_inner(), good.len() * 8);
}

/// A flip in the middle is not only seen: its line, or the one behind that no longer follows from it, is named.
#[test]
fn a_changed_line_is_named() {
    let good = sealed_bytes();
    let edges = edges(&good);
    for (n, edge) in (1..).zip(edges.windows(2)) {
        for at in (edge[0]..edge[1] - 1).step_by(7) {
            let mut bytes = good.clone();
            bytes[at] ^= 1;
            let report = audited(&bytes, &usual());
            let wrong = report.troubles.iter().find(|trouble| trouble.grave == Grave::Wrong);
            let line = wrong.unwrap_or_else(|| panic!("byte {at}: {:#?}", report.troubles)).line.unwrap();
            assert!(line == n || line == n + 1, "byte {at} of line {n} is laid to line {line}");
        }
    }
}

#[test]
fn a_record_cut_at_any_byte_is_not_proven() {
    let good = sealed_bytes();
    for end in 0..good.len() {
        let report = audited(&good[..end], &strict());
        assert_ne!(report.verdict, Verdict::Proven, "cut behind byte {end}");
        assert!(report.troubles.iter().any(|trouble| trouble.grave != Grave::Note), "cut behind byte {end}");
    }
    // Bytes behind the end show as well.
    for more in [&b"\n"[..], b"x", b"\0", b"\0\0\0", b"{}\n"] {
        assert_ne!(audited(&[&good[..], more].concat(), &strict()).verdict, Verdict::Proven, "{more:?}");
    }
}

#[test]
fn what_a_cut_at_a_line_leaves_is_explained_as_what_it_is() {
    let good = sealed_bytes();
    let edges = edges(&good);
    let cut = |lines: usize| audited(&good[..edges[lines]], &usual());

    // 3 lines: opened, two answers. 4: Ada's statement. 5: her signature. 6 and 7: Sam's.
    let open = cut(3);
    assert_eq!((open.verdict, open.state), (Verdict::NotProven, State::Open));
    says(&open, Grave::NotProven, None, "an unsigned record cannot show");
    let stated = cut(4);
    assert_eq!((stated.verdict, stated.state), (Verdict::NotProven, State::Stated));
    says(&stated, Grave::NotProven, Some(4), "no signature follows");
    let signed = cut(5);
    assert_eq!((signed.verdict, signed.state), (Verdict::Proven, State::Signed));
    says(&signed, Grave::Note, None, "no supervisor has countersigned. A copy cut right behind");
    let half = cut(6);
    assert_eq!((half.verdict, half.state), (Verdict::NotProven, State::Signed));
    says(&half, Grave::NotProven, Some(6), "no signature follows");
    // Half a line behind a signature.
    let torn = audited(&good[..edges[5] + 9], &usual());
    assert_eq!(torn.verdict, Verdict::NotProven);
    says(&torn, Grave::NotProven, Some(6), "9 bytes");

    // The fingerprint from a slip tells the cut copy from the whole one.
    let expected = audited(&good, &usual()).fingerprint;
    let against = Against { fingerprint: Some(expected), ..usual() };
    assert_eq!(audited(&good, &against).verdict, Verdict::Proven);
    assert_eq!(audited(&good[..edges[5]], &against).verdict, Verdict::Wrong);
    let against = Against { fingerprint: Some(String::new()), ..usual() };
    assert_eq!(audited(&good, &against).verdict, Verdict::Wrong, "an empty fingerprint is no fingerprint");
}

#[test]
fn lines_taken_out_doubled_or_swapped_show_with_their_number() {
    let good = sealed_bytes();
    let lines = lines(&good);
    for n in 0..lines.len() {
        let mut without = lines.clone();
        without.remove(n);
        let report = audited(&without.concat(), &strict());
        assert_ne!(report.verdict, Verdict::Proven, "without line {}", n + 1);
        if n + 1 < lines.len() {
            assert_eq!(report.troubles[0].line, Some(n as u64 + 1), "without line {}", n + 1);
        }
        let mut doubled = lines.clone();
        doubled.insert(n, lines[n].clone());
        let report = audited(&doubled.concat(), &strict());
        assert_eq!((report.verdict, report.troubles[0].line), (Verdict::Wrong, Some(n as u64 + 2)));
        for m in 0..n {
            let mut swapped = lines.clone();
            swapped.swap(n, m);
            let report = audited(&swapped.concat(), &strict());
            assert_eq!((report.verdict, report.troubles[0].line), (Verdict::Wrong, Some(m as u64 + 1)), "{m} and {n}");
        }
    }
}

/// Someone who has the program, but not the keys, and writes the whole chain anew.
#[test]
fn a_record_written_anew_is_not_signed_by_who_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = done(folder.path());
    seal(&mut journal, 10, "ada", Role::Technician, &key(9), Hash::Sha256);
    let report = of(&journal, &usual());
    assert_eq!(report.verdict, Verdict::Wrong);
    says(&report, Grave::Wrong, Some(5), "hold other keys");

    // Without a signers file nobody can know.
    let unknown = of(&journal, &Against { signers: None, ..usual() });
    assert_eq!(unknown.verdict, Verdict::NotProven);
    says(&unknown, Grave::NotProven, Some(5), "whose key that is nobody said");

    // A revoked key counts no more, whatever the signers file says.
    let good = sealed_bytes();
    let revoked = Revoked::read(public(&key(2)).text().as_bytes()).unwrap();
    let report = audited(&good, &Against { revoked, ..usual() });
    says(&report, Grave::Wrong, Some(7), "revoked");
}

/// A signature of one record does not count in another, and a signature exchanged for a good one of the same key shows.
#[test]
fn a_signature_cannot_be_moved() {
    let good = lines(&sealed_bytes());
    let folder = tempfile::tempdir().unwrap();
    let mut other = Journal::create(
        folder.path(),
        "ada",
        at(0),
        slotwise::record::Opened { unit: "LF-WREN-0007".to_owned(), job: "another".to_owned(), ..opened() },
    )
    .unwrap();
    let steps = slotwise::runner::all_steps(other.job()).unwrap();
    for (_, _, step) in steps.iter() {
        let value = "both latches closed".to_owned();
        let event = Event::Answered { step: step.id.clone(), value, how: How::Typed, took_ms: 900, serial: None };
        other.append("ada", at(1), event).unwrap();
    }
    seal(&mut other, 10, "ada", Role::Technician, &key(1), Hash::Sha256);
    let other = lines(&fs::read(other.path()).unwrap());
    let taken = |line: &[u8]| -> String {
        let value: serde_json::Value = serde_json::from_slice(line).unwrap();
        value["signature"].as_str().unwrap().to_owned()
    };
    let line = String::from_utf8(good[4].clone()).unwrap().replace(&taken(&good[4]), &taken(&other[4]));
    let bytes = [good[..4].concat(), line.into_bytes()].concat();
    let report = audited(&bytes, &usual());
    assert_eq!(report.verdict, Verdict::Wrong);
    says(&report, Grave::Wrong, Some(5), "does not fit these bytes");
    // Nor does one by somebody else's key, whatever key the line names.
    let line = String::from_utf8(good[4].clone()).unwrap().replace(&taken(&good[4]), &taken(&good[6]));
    let report = audited(&[good[..4].concat(), line.into_bytes()].concat(), &usual());
    assert_eq!(report.verdict, Verdict::Wrong);
    says(&report, Grave::Wrong, Some(5), "by another key than the line says");
}

#[test]
fn who_signs_what_follows_rules() {
    let refused = |journal: &mut Journal, by: &str, event| match journal.append(by, at(30), event) {
        Err(JournalError::Rule { fault, .. }) => fault,
        other => panic!("{other:?}"),
    };
    let folder = tempfile::tempdir().unwrap();
    let mut journal = done(folder.path());
    let supervisor = |name: &str, key| declared(name, Role::Supervisor, key);
    assert_eq!(refused(&mut journal, "sam", supervisor("sam", None)), RuleFault::NothingToCountersign);
    // Announced, not yet there: that is not signed either.
    journal.append("ada", at(10), declared("ada", Role::Technician, Some(&public(&key(1))))).unwrap();
    assert_eq!(refused(&mut journal, "sam", supervisor("sam", None)), RuleFault::NothingToCountersign);
    let by_other = Event::Signed { declared: 4, key: public(&key(2)).text(), signature: String::new() };
    let fingerprint = public(&key(2)).fingerprint();
    assert_eq!(
        journal.append("ada", at(10), by_other).map_err(|error| error.to_string()).unwrap_err(),
        format!(
            "{}: not recorded, because it does not follow: {}",
            journal.path().display(),
            RuleFault::OtherKey { declared: 4, found: fingerprint }
        )
    );
    drop(journal);

    let folder = tempfile::tempdir().unwrap();
    let mut journal = done(folder.path());
    seal(&mut journal, 10, "ada", Role::Technician, &key(1), Hash::Sha256);
    for name in ["ada", " Ada ", "ADA"] {
        assert_eq!(
            refused(&mut journal, name, supervisor(name, None)),
            RuleFault::OwnJob { name: name.to_owned() },
            "nobody countersigns their own job"
        );
    }
    assert_eq!(refused(&mut journal, "sam", supervisor("sam", Some(&public(&key(1))))), RuleFault::SameKey);
    seal(&mut journal, 20, "sam", Role::Supervisor, &key(2), Hash::Sha256);
    assert_eq!(
        refused(&mut journal, "ada", declared("ada", Role::Technician, None)),
        RuleFault::AfterCountersigned { line: 6 }
    );
}

#[test]
fn a_typed_name_is_weaker_and_said_to_be() {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = done(folder.path());
    journal.append("ada", at(10), declared("ada", Role::Technician, None)).unwrap();
    let report = of(&journal, &usual());
    assert_eq!((report.verdict, report.state), (Verdict::NotProven, State::Stated));
    says(&report, Grave::NotProven, Some(4), "typed name only: weaker");
    // A key after it takes its place.
    seal(&mut journal, 11, "ada", Role::Technician, &key(1), Hash::Sha256);
    let report = of(&journal, &usual());
    assert_eq!((report.verdict, report.state), (Verdict::Proven, State::Signed), "{:#?}", report.troubles);
    assert_eq!(report.signatures.iter().map(|s| s.stands).collect::<Vec<_>>(), [false, true]);
}

#[test]
fn an_amendment_keeps_the_old_and_needs_new_signatures() {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = sealed_journal(folder.path());
    let amended = Event::Amended {
        amends: 2,
        was: Some("both latches closed".to_owned()),
        now: "the rear latch was closed later".to_owned(),
        why: "seen on the photo".to_owned(),
    };
    journal.append("sam", at(30), amended).unwrap();
    let report = of(&journal, &strict());
    assert_eq!((report.verdict, report.state), (Verdict::NotProven, State::Open));
    says(&report, Grave::NotProven, None, "line 8 opened the job again after it was signed");
    says(&report, Grave::Note, Some(8), "amends line 2");
    seal(&mut journal, 40, "ada", Role::Technician, &key(1), Hash::Sha256);
    seal(&mut journal, 41, "sam", Role::Supervisor, &key(2), Hash::Sha256);
    let report = of(&journal, &strict());
    assert_eq!((report.verdict, report.state), (Verdict::Proven, State::Countersigned), "{:#?}", report.troubles);
    // The old signatures are still there, and still hold for what they covered.
    assert_eq!(
        report.signatures.iter().map(|s| (s.stands, s.fits)).collect::<Vec<_>>(),
        [(false, Some(true)), (false, Some(true)), (true, Some(true)), (true, Some(true))]
    );
    assert_eq!(report.amendments.len(), 1);
}

#[test]
fn what_stands_behind_the_last_signature_is_covered_by_none() {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = sealed_journal(folder.path());
    journal.append("kim", at(30), Event::Noted { step: None, text: "moved to the rack".to_owned() }).unwrap();
    let report = of(&journal, &strict());
    assert_eq!(report.verdict, Verdict::NotProven);
    says(&report, Grave::NotProven, Some(8), "no signature covers it");
}

#[test]
fn clocks_and_answers_that_nobody_asked_for_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = done(folder.path());
    journal.append("ada", at(-5), Event::Noted { step: None, text: "the clock is wrong".to_owned() }).unwrap();
    seal(&mut journal, 10, "ada", Role::Technician, &key(1), Hash::Sha256);
    says(&of(&journal, &usual()), Grave::NotProven, Some(4), "the clock was set back");
    let early = Against { now: Some(at(0)), ..usual() };
    says(&of(&journal, &early), Grave::NotProven, Some(5), "still to come");

    let folder = tempfile::tempdir().unwrap();
    let mut journal = done(folder.path());
    let step = slotwise::checklist::StepId("nobody/asked".to_owned());
    let event = Event::Answered { step, value: "x".to_owned(), how: How::Typed, took_ms: 1, serial: None };
    journal.append("ada", at(5), event).unwrap();
    seal(&mut journal, 10, "ada", Role::Technician, &key(1), Hash::Sha256);
    says(&of(&journal, &usual()), Grave::Wrong, Some(4), "nobody asked");

    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::create(folder.path(), "ada", at(0), opened()).unwrap();
    seal(&mut journal, 10, "ada", Role::Technician, &key(1), Hash::Sha256);
    says(&of(&journal, &usual()), Grave::Wrong, Some(2), "2 items of 2 open");
}

/// Who signs writes the line; one that someone else wrote is not this program's, and is told.
/// `ssh-keygen -O verify-time` takes no time before the first second of 1970, so nobody else could check it.
#[test]
fn a_clock_before_1970_proves_nothing() {
    let first_of_1970 = -(at(0).timestamp() / 60);
    for (minute, verdict) in [
        (first_of_1970 - 1, Verdict::NotProven),
        (first_of_1970, Verdict::NotProven),
        (first_of_1970 + 1, Verdict::Proven),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = sealed::done_from(folder.path(), minute - 10);
        seal(&mut journal, minute, "ada", Role::Technician, &key(1), Hash::Sha256);
        let report = of(&journal, &usual());
        assert_eq!(report.verdict, verdict, "{:#?}", report.troubles);
        if verdict == Verdict::NotProven {
            says(&report, Grave::NotProven, Some(journal.head().lines), "before 1970");
            assert_eq!(report.signatures[0].allowed_by, None);
        }
    }
}

#[test]
fn a_sign_off_written_by_another_hand_is_told() {
    for other in [false, true] {
        let folder = tempfile::tempdir().unwrap();
        let mut journal = done(folder.path());
        let by = if other { "kim" } else { "ada" };
        journal.append(by, at(10), declared("ada", Role::Technician, None)).unwrap();
        let report = of(&journal, &usual());
        let told: Vec<&str> = report
            .troubles
            .iter()
            .map(|trouble| trouble.what.as_str())
            .filter(|what| what.contains("written by"))
            .collect();
        if other {
            let line = journal.head().lines;
            says(&report, Grave::NotProven, Some(line), "states that ada signs, and was written by kim");
        } else {
            assert_eq!(told, [""; 0]);
        }
    }
}
