use super::*;
use crate::record::{How, Passed, Role, chain, time};

fn opened() -> Opened {
    serde_json::from_str(include_str!("../../../tests/record/opened.json")).unwrap()
}

/// Lines at minutes after half past nine; the chain is not looked at here.
fn lines(events: Vec<(i64, Event)>) -> Vec<Line> {
    let start = time::parse("2026-11-25T09:30:00+01:00").unwrap();
    let first = (0, Event::Opened(Box::new(opened())));
    std::iter::once(first)
        .chain(events)
        .zip(1..)
        .map(|((minute, event), n)| Line {
            n,
            at: start + chrono::TimeDelta::minutes(minute),
            by: "ada".to_owned(),
            event,
            prev: chain::LineHash::FIRST,
        })
        .collect()
}

fn replay(events: Vec<(i64, Event)>) -> Result<Job, (u64, RuleFault)> {
    Job::replay(lines(events))
}

fn step(name: &str) -> StepId {
    StepId(name.to_owned())
}

fn answered(name: &str, value: &str) -> Event {
    Event::Answered { step: step(name), value: value.to_owned(), how: How::Typed, took_ms: 900, serial: None }
}

fn corrected(name: &str, corrects: u64, why: &str) -> Event {
    Event::Corrected { step: step(name), corrects, why: why.to_owned() }
}

fn declared(role: Role) -> Event {
    let name = if role == Role::Technician { "Ada" } else { "Sam" }.to_owned();
    Event::Declared { name, role, statement: "all done as planned".to_owned(), reason: None, key: None }
}

fn paused() -> Event {
    Event::Paused { step: None, why: "lunch".to_owned() }
}

fn resumed() -> Event {
    Event::Resumed { step: None, away_ms: None, clock_note: None }
}

fn note() -> Event {
    Event::Noted { step: None, text: "a note".to_owned() }
}

#[test]
fn the_latest_answer_stands_until_it_is_corrected() {
    let job = replay(vec![(1, answered("a", "1")), (2, answered("a", "2"))]).unwrap();
    let standing = job.answer(&step("a")).unwrap();
    assert_eq!(standing.line, 3);
    assert!(matches!(&standing.answer, Answer::Given { value, .. } if value == "2"));

    // Correcting the latest leaves the step open: the answer before it was already replaced and does not come back.
    let job =
        replay(vec![(1, answered("a", "1")), (2, answered("a", "2")), (3, corrected("a", 3, "misread"))]).unwrap();
    assert_eq!(job.answer(&step("a")), None);
    assert_eq!(job.corrections().len(), 1);
}

#[test]
fn a_correction_names_the_standing_answer_of_its_step_and_says_why() {
    let fault = |events| replay(events).unwrap_err();
    let nothing = |corrects| RuleFault::NothingToCorrect { step: step("a"), corrects };
    let two = || vec![(1, answered("a", "1")), (2, answered("a", "2"))];
    let with = |event| [two(), vec![(3, event)]].concat();
    assert_eq!(fault(with(corrected("a", 2, "x"))), (4, nothing(2)), "replaced");
    assert_eq!(fault(with(corrected("a", 1, "x"))), (4, nothing(1)), "not an answer");
    assert_eq!(fault(with(corrected("a", 9, "x"))), (4, nothing(9)), "not there");
    assert_eq!(
        fault(with(corrected("b", 3, "x"))),
        (4, RuleFault::NothingToCorrect { step: step("b"), corrects: 3 }),
        "another step"
    );
    assert_eq!(fault(with(corrected("a", 3, " "))), (4, RuleFault::NoReason));
    let twice = [with(corrected("a", 3, "x")), vec![(4, corrected("a", 3, "x"))]].concat();
    assert_eq!(fault(twice), (5, nothing(3)), "twice");
}

#[test]
fn overrides_stand_like_answers_and_can_be_taken_back() {
    let passed = || Event::Overridden {
        step: step("a"),
        as_what: Passed::CouldNot,
        why: "no reader".to_owned(),
        name: "Ada".to_owned(),
    };
    let job = replay(vec![(1, passed())]).unwrap();
    assert_eq!(job.overrides().iter().map(|(id, s)| ((*id).clone(), s.line)).collect::<Vec<_>>(), [(step("a"), 2)]);
    let job = replay(vec![(1, passed()), (2, corrected("a", 2, "reader found"))]).unwrap();
    assert!(job.overrides().is_empty());
    let job = replay(vec![(1, passed()), (2, answered("a", "ok"))]).unwrap();
    assert!(job.overrides().is_empty());
}

#[test]
fn after_a_declaration_only_a_correction_opens_the_job_again() {
    let done = || vec![(1, answered("a", "1")), (2, declared(Role::Technician))];
    let with = |more: Vec<(i64, Event)>| replay([done(), more].concat());
    for event in [answered("a", "2"), paused(), resumed()] {
        let name = event.name();
        let expected = RuleFault::AfterDeclared { event: name, declared: 3 };
        assert_eq!(with(vec![(3, event)]).unwrap_err(), (4, expected));
    }
    assert_eq!(
        with(vec![(3, declared(Role::Technician))]).unwrap_err(),
        (4, RuleFault::DeclaredTwice { role: Role::Technician, line: 3 })
    );
    let job = with(vec![(3, note()), (4, declared(Role::Supervisor))]).unwrap();
    assert_eq!(job.standing_declarations().count(), 2);

    let job = with(vec![(3, corrected("a", 2, "wrong slot"))]).unwrap();
    assert!(!job.is_done());
    assert_eq!(job.declarations()[0].reopened_by, Some(4));
    let again = vec![(3, corrected("a", 2, "wrong slot")), (4, answered("a", "2")), (5, declared(Role::Technician))];
    let job = with(again).unwrap();
    assert!(job.is_done());
    assert_eq!(job.declarations().len(), 2);
}

#[test]
fn time_away_is_not_worked_and_a_clock_set_back_takes_nothing_off() {
    let job =
        replay(vec![(10, answered("a", "1")), (12, paused()), (40, note()), (72, resumed()), (75, answered("b", "1"))])
            .unwrap();
    assert_eq!(job.worked(), Duration::from_secs(60 * 15));
    assert_eq!(job.pauses().len(), 1);
    assert_eq!((job.pauses()[0].paused, job.pauses()[0].resumed), (Some(3), Some(5)));

    // Killed without a word at minute 10, back the next day with a torn tail.
    let tail = Event::TailSetAside { file: "x.torn-1".to_owned(), bytes: 3, why: "cut".to_owned() };
    let job = replay(vec![(10, answered("a", "1")), (1450, tail), (1450, resumed()), (1451, note())]).unwrap();
    assert_eq!(job.worked(), Duration::from_secs(60 * 11));
    assert_eq!(job.last_resumed(), Some(4));

    // Countersigned the next day, opened again a month later and finished in three minutes.
    let later = 43_200;
    let job = replay(vec![
        (10, answered("a", "1")),
        (11, declared(Role::Technician)),
        (1440, declared(Role::Supervisor)),
        (later, corrected("a", 2, "wrong slot")),
        (later + 60, resumed()),
        (later + 62, answered("a", "2")),
        (later + 63, declared(Role::Technician)),
        (later + 1440, note()),
    ])
    .unwrap();
    assert_eq!(job.worked(), Duration::from_secs(60 * 14));

    let job = replay(vec![(10, answered("a", "1")), (4, answered("b", "1")), (6, note())]).unwrap();
    assert_eq!(job.worked(), Duration::from_secs(60 * 12));
    assert_eq!(job.clock_notes(), [ClockNote { line: 3, back_ms: 6 * 60_000 }]);
}

#[test]
fn a_paused_job_takes_no_answers() {
    let fault = replay(vec![(1, paused()), (2, answered("a", "1"))]).unwrap_err();
    assert_eq!(fault, (3, RuleFault::WhilePaused { event: "answered" }));
    assert!(replay(vec![(1, paused()), (2, note()), (3, resumed()), (4, answered("a", "1"))]).is_ok());
}

#[test]
fn a_comparison_names_a_snapshot() {
    let snapshot: Snapshot = serde_json::from_str(include_str!("../../../tests/record/snapshot.json")).unwrap();
    let taken = Event::SnapshotTaken { step: None, snapshot: Box::new(snapshot) };
    let compared = |snapshot_line| Event::Compared { snapshot_line, findings: Vec::new() };
    let job = replay(vec![(1, taken.clone()), (2, compared(2))]).unwrap();
    assert_eq!(job.snapshot().unwrap().0, 2);
    assert_eq!(job.comparison().unwrap().snapshot_line, 2);
    let fault = replay(vec![(1, taken), (2, compared(1))]).unwrap_err();
    assert_eq!(fault, (3, RuleFault::NoSuchSnapshot { snapshot_line: 1 }));
}

#[test]
fn a_round_follows_from_the_latest_snapshot_and_counts_up() {
    let snapshot: Snapshot = serde_json::from_str(include_str!("../../../tests/record/snapshot.json")).unwrap();
    let taken = || Event::SnapshotTaken { step: None, snapshot: Box::new(snapshot.clone()) };
    let round = |round, snapshot_line| Event::RoundOpened { round, slots: Vec::new(), snapshot_line };
    let job = replay(vec![(1, taken()), (2, round(1, 2)), (3, taken()), (4, round(2, 4))]).unwrap();
    assert_eq!(job.rounds().iter().map(|round| round.line).collect::<Vec<_>>(), [3, 5]);
    assert_eq!(job.rounds()[0].boot_id, snapshot.host.boot_id);
    let fault = replay(vec![(1, taken()), (2, taken()), (3, round(1, 2))]).unwrap_err();
    assert_eq!(fault, (4, RuleFault::NotTheLatestSnapshot { snapshot_line: 2 }));
    let fault = replay(vec![(1, round(1, 1))]).unwrap_err();
    assert_eq!(fault, (2, RuleFault::NotTheLatestSnapshot { snapshot_line: 1 }));
    let fault = replay(vec![(1, taken()), (2, round(2, 2))]).unwrap_err();
    assert_eq!(fault, (3, RuleFault::WrongRound { expected: 1, found: 2 }));
}

#[test]
fn who_signed_already_is_said_by_what_the_role_does() {
    let said = |role| RuleFault::DeclaredTwice { role, line: 3 }.to_string();
    assert_eq!(said(Role::Technician), "the technician has signed off already, in line 3");
    assert_eq!(said(Role::Supervisor), "the supervisor has countersigned already, in line 3");
}

#[test]
fn findings_are_left_open_only_where_the_report_of_the_step_came_last() {
    let snapshot: Snapshot = serde_json::from_str(include_str!("../../../tests/record/snapshot.json")).unwrap();
    let taken = || Event::SnapshotTaken { step: Some(step("a")), snapshot: Box::new(snapshot.clone()) };
    let passed = |name: &str, as_what| Event::Overridden {
        step: step(name),
        as_what,
        why: "no spare".to_owned(),
        name: "Kim".to_owned(),
    };
    let dark = Event::ProblemReported { step: step("a"), slot: None, text: "it does not start".to_owned() };
    let again = Event::RoundOpened { round: 1, slots: Vec::new(), snapshot_line: 2 };
    let left = |events: Vec<Event>| {
        let last = events.len() as u64 + 1;
        replay(events.into_iter().map(|event| (1, event)).collect()).unwrap().leaves_findings_open(last)
    };
    assert!(left(vec![taken(), passed("a", Passed::CouldNot)]));
    assert!(!left(vec![passed("a", Passed::CouldNot)]), "no report");
    assert!(!left(vec![taken(), passed("b", Passed::CouldNot)]), "another step");
    assert!(!left(vec![taken(), passed("a", Passed::NotDone)]), "passed as what it is");
    assert!(!left(vec![taken(), dark, passed("a", Passed::CouldNot)]), "a start without a report came after it");
    assert!(!left(vec![taken(), again, passed("a", Passed::CouldNot)]), "the machine was opened after it");
}

#[test]
fn the_first_line_opens_and_no_other() {
    assert_eq!(Job::replay(Vec::new()).unwrap_err(), (1, RuleFault::NotOpened));
    assert_eq!(Job::replay(lines(vec![(1, note())]).split_off(1)).unwrap_err().0, 1);
    assert_eq!(replay(vec![(1, Event::Opened(Box::new(opened())))]).unwrap_err(), (2, RuleFault::OpenedTwice));
    let mut gap = lines(vec![(1, note()), (2, note())]);
    gap.remove(1);
    assert_eq!(Job::replay(gap).unwrap_err(), (2, RuleFault::OutOfOrder { last: 1, found: 3 }));
}

#[test]
fn refusals_are_counted_and_leave_the_step_open() {
    let refused =
        Event::Refused { step: step("a"), value: "x".to_owned(), how: How::Scanned, why: "another slot".to_owned() };
    let job = replay(vec![(1, refused.clone()), (2, refused)]).unwrap();
    assert_eq!((job.refused(&step("a")), job.refused_in_all(), job.refused(&step("b"))), (2, 2, 0));
    assert_eq!(job.answer(&step("a")), None);
}

#[test]
fn the_open_step_and_bound_serials_follow_the_steps() {
    use crate::checklist::{Card, Expected, Step};
    let scan = |id: &str, slot: &str| Step {
        id: step(id),
        text: String::new(),
        caution: None,
        help: None,
        slot: Some(SlotLabel::from(slot)),
        place: None,
        from: None,
        evidence: Evidence::Scan { of: ScanOf::Module, expected: Expected::AnyModule },
        critical: false,
        recheck: false,
        warns: false,
        each: None,
    };
    let steps = Steps {
        cards: vec![
            Card { name: "A1".to_owned(), steps: vec![scan("a", "A1")] },
            Card { name: "B1".to_owned(), steps: vec![scan("b", "B1")] },
        ],
    };
    let job = replay(vec![(1, answered("b", "S-2"))]).unwrap();
    assert_eq!(job.open_step(&steps), Some((0, 0)));
    let with_serial = Event::Answered {
        step: step("a"),
        value: "OM5U48-1R8-5600".to_owned(),
        how: How::Scanned,
        took_ms: 40,
        serial: Some("S-1".to_owned()),
    };
    let job = replay(vec![(1, answered("b", "S-2")), (2, with_serial)]).unwrap();
    assert_eq!(job.open_step(&steps), None);
    let bound: Vec<_> = job.bound(&steps).iter().map(|(slot, b)| (slot.as_str().to_owned(), b.serial)).collect();
    assert_eq!(bound, [("A1".to_owned(), "S-1"), ("B1".to_owned(), "S-2")]);
}

#[test]
fn a_refused_line_leaves_the_job_as_it_was() {
    let mut job = replay(vec![(1, answered("a", "1")), (2, declared(Role::Technician))]).unwrap();
    let before = job.clone();
    for line in lines(vec![(1, note()), (2, note()), (9, answered("a", "2"))]).split_off(3) {
        assert!(job.apply(line).is_err());
    }
    assert_eq!(job, before);
}
