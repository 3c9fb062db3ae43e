//! Laws of the fold, over jobs made at random.

use proptest::prelude::*;
use slotwise::record::{Answer, Event, Job, Journal, Line, Passed, Role, Scan, chain};
use tempfile::TempDir;

use crate::sample::{answered, at, note, opened, snapshot, step};

/// One thing that might happen; whether it may is the job's to say.
fn event() -> impl Strategy<Value = Event> {
    let name = prop::sample::select(vec!["a", "b", "c"]);
    let said = "\\PC{0,12}|[\\x00-\\x1f\\x7f-\\u{9f}\\u{202e}\u{1f600}]{1,4}";
    prop_oneof![
        6 => (name.clone(), said).prop_map(|(name, value)| answered(name, &value)),
        3 => (name.clone(), 1u64..30).prop_map(|(name, corrects)| Event::Corrected {
            step: step(name), corrects, why: "misread".to_owned()
        }),
        1 => name.prop_map(|name| Event::Overridden {
            step: step(name), as_what: Passed::NotDone, why: "no time".to_owned(), name: "Ada".to_owned()
        }),
        2 => said.prop_map(|text| note(&text)),
        1 => Just(Event::Paused { step: None, why: "away".to_owned() }),
        2 => (0u64..1_000_000).prop_map(|ms| Event::Resumed { step: None, away_ms: Some(ms), clock_note: None }),
        1 => Just(snapshot()),
        1 => Just(Event::Declared {
            name: "Ada".to_owned(),
            role: Role::Technician,
            statement: "done".to_owned(),
            reason: None,
            key: None,
        }),
    ]
}

/// A record of everything that may happen of what was proposed, with a clock that may jump back.
fn lines() -> impl Strategy<Value = Vec<Line>> {
    prop::collection::vec((event(), -5i64..60), 0..40).prop_map(|proposed| {
        let mut head = chain::Head::default();
        let mut now = 0;
        let mut lines: Vec<Line> = Vec::new();
        let first = (Event::Opened(Box::new(opened())), 0);
        let mut job: Option<Job> = None;
        for (event, minutes) in std::iter::once(first).chain(proposed) {
            // A correction by line number at random would hardly ever hit; aim it at the standing answer half the time.
            let event = match (event, &job) {
                (Event::Corrected { step, corrects, why }, Some(job)) if corrects % 2 == 0 => {
                    let corrects = job.answer(&step).map_or(corrects, |standing| standing.line);
                    Event::Corrected { step, corrects, why }
                }
                (event, _) => event,
            };
            let line =
                Line { n: lines.len() as u64 + 1, at: at(now + minutes), by: "ada".to_owned(), event, prev: head.hash };
            let fits = match &mut job {
                None => Job::open(line.clone()).map(|opened| job = Some(opened)),
                Some(job) => job.apply(line.clone()),
            };
            if fits.is_ok() {
                now += minutes;
                head.advance(&chain::encode(&line).unwrap());
                lines.push(line);
            }
        }
        lines
    })
}

/// The standing answer found the slow way: the last line that answers or corrects the step.
fn stands(lines: &[Line], name: &str) -> Option<u64> {
    let step = step(name);
    lines.iter().rev().find_map(|line| match &line.event {
        Event::Answered { step: s, .. } | Event::Overridden { step: s, .. } if *s == step => Some(Some(line.n)),
        Event::Corrected { step: s, .. } if *s == step => Some(None),
        _ => None,
    })?
}

/// The worked minutes found the slow way: none while there was a pause or a sign-off, until the job was resumed.
fn worked(lines: &[Line]) -> i64 {
    let mut away = false;
    let mut sum = 0;
    for pair in lines.windows(2) {
        away = match pair[0].event {
            Event::Paused { .. } | Event::Declared { .. } => true,
            Event::Resumed { .. } => false,
            _ => away,
        };
        if !away && !matches!(pair[1].event, Event::Resumed { .. }) {
            sum += (pair[1].at - pair[0].at).num_minutes().max(0);
        }
    }
    sum
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]

    #[test]
    fn any_prefix_of_a_record_tells_the_state_at_that_line(lines in lines()) {
        let mut job = Job::open(lines[0].clone()).unwrap();
        let mut worked_before = job.worked();
        for n in 1..=lines.len() {
            if n > 1 {
                job.apply(lines[n - 1].clone()).unwrap();
            }
            let prefix = &lines[..n];
            prop_assert_eq!(&Job::replay(prefix.to_vec()).unwrap(), &job);
            for name in ["a", "b", "c"] {
                prop_assert_eq!(job.answer(&step(name)).map(|standing| standing.line), stands(prefix, name));
            }
            prop_assert_eq!(job.worked().as_secs() as i64, worked(prefix) * 60);
            prop_assert!(job.worked() >= worked_before);
            worked_before = job.worked();
            let back = prefix.windows(2).filter(|pair| pair[1].at < pair[0].at).count();
            prop_assert_eq!(job.clock_notes().len(), back);
            for (_, standing) in job.overrides() {
                let passed = matches!(standing.answer, Answer::Passed { .. });
                prop_assert!(passed);
            }
        }
    }

    #[test]
    fn lines_read_back_as_they_were_written(lines in lines()) {
        let bytes: Vec<u8> =
            lines.iter().flat_map(|line| [chain::encode(line).unwrap(), b"\n".to_vec()].concat()).collect();
        prop_assert!(bytes.iter().all(|byte| matches!(byte, b' '..=b'~' | b'\n')));
        let read: Vec<Line> = Scan::new(bytes.as_slice()).map(|scanned| scanned.unwrap().line).collect();
        prop_assert_eq!(read, lines);
    }

    #[test]
    fn one_changed_byte_never_passes_unseen_before_the_last_line(lines in lines(), place: prop::sample::Index, to: u8) {
        prop_assume!(lines.len() > 1);
        let encoded: Vec<Vec<u8>> =
            lines.iter().map(|line| [chain::encode(line).unwrap(), b"\n".to_vec()].concat()).collect();
        let mut bytes = encoded.concat();
        let before_last = bytes.len() - encoded.last().map_or(0, Vec::len);
        let place = place.index(before_last);
        prop_assume!(bytes[place] != to);
        bytes[place] = to;
        let result: Result<Vec<_>, _> = Scan::new(bytes.as_slice()).collect();
        prop_assert!(result.is_err(), "byte {} of {} set to {:#04x}", place, before_last, to);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn a_journal_writes_what_a_replay_tells(lines in lines()) {
        let folder = TempDir::new().unwrap();
        let mut journal = Journal::create(folder.path(), "ada", lines[0].at, opened()).unwrap();
        for line in &lines[1..] {
            prop_assert_eq!(journal.append(&line.by, line.at, line.event.clone()).unwrap(), line.n);
        }
        let job = Job::replay(lines).unwrap();
        prop_assert_eq!(journal.job(), &job);
        let file = journal.path().to_owned();
        drop(journal);
        let again = Journal::open(&file, at(9999)).unwrap();
        prop_assert_eq!(again.job(), &job);
    }
}
