//! A small job at Larkfield's bench in which everything happens that can happen, with any text in every free field.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "each test binary uses its own part of it, and a check that cannot go on has failed"
)]

use chrono::{DateTime, FixedOffset, TimeDelta};
use slotwise::board::{Board, SlotLabel};
use slotwise::checklist::{Card, Each, Evidence, Expected, ScanOf, Step, StepId, Steps};
use slotwise::record::chain::{Head, encode};
use slotwise::record::{Event, How, Job, Line, Opened, Passed, Role, Torn, TornKind, time};
use slotwise::report::{Input, Story, story};
use slotwise::snapshot::{ErrorCount, Gap, SlotReport, SlotState, Snapshot};
use slotwise::verify::{Finding, FindingKind, Grave};

/// Minutes after half past nine.
pub fn at(minute: i64) -> DateTime<FixedOffset> {
    time::parse("2026-11-25T09:30:00.000+01:00").unwrap() + TimeDelta::minutes(minute)
}

/// What is written into the free fields, by the name of the field.
pub type Fill<'a> = &'a dyn Fn(&str) -> String;

/// Each field holds its own name.
pub fn harmless(field: &str) -> String {
    field.to_owned()
}

/// The job's first line.
pub fn opened(fill: Fill<'_>) -> Opened {
    let mut opened: Opened = serde_json::from_str(include_str!("../record/opened.json")).unwrap();
    opened.technician = fill("technician");
    opened.unit = fill("unit");
    opened.job = "2026-11-25-lf-wren-0007-0a1b2c".to_owned();
    opened.version = fill("version");
    let plan = &mut opened.plan;
    plan.name = fill("plan");
    plan.reasons = vec![fill("reason")];
    plan.order.name = fill("order");
    let unit = &mut plan.order.unit[0];
    unit.chassis.clone_from(&opened.unit);
    unit.enclosure = Some(fill("enclosure"));
    unit.bay = Some(fill("bay"));
    for (n, planned) in plan.slot.iter_mut().enumerate() {
        planned.slot = slot(fill, n);
        planned.lot = Some(fill("lot"));
        let identity = &mut planned.module.identity;
        identity.maker = Some(fill("maker"));
        identity.part = Some(fill("part"));
        identity.serial = Some(if n == 0 { fill("serial") } else { "00B1".to_owned() });
        identity.date = Some(fill("date"));
    }
    for board in [&mut opened.plan.board, &mut opened.board] {
        name(board, fill);
    }
    opened
}

fn name(board: &mut Board, fill: Fill<'_>) {
    board.name = fill("board");
    board.about = Some(fill("about"));
    board.source = Some(fill("source"));
    let mut planned = 0;
    for socket in &mut board.socket {
        socket.label = fill("socket");
        for channel in &mut socket.channel {
            channel.label = fill("channel");
            for at in channel.slot.iter_mut().filter(|at| at.position == 1) {
                at.label = slot(fill, planned);
                at.tab = Some(fill("tab"));
                planned += 1;
            }
        }
    }
}

/// The labels of the two slots that get a module; they must differ.
fn slot(fill: Fill<'_>, n: usize) -> SlotLabel {
    SlotLabel(if n == 0 { fill("slot") } else { "B1".to_owned() })
}

fn id(name: &str) -> StepId {
    StepId(name.to_owned())
}

fn step(name: &str, slot: Option<SlotLabel>, evidence: Evidence, fill: Fill<'_>) -> Step {
    Step {
        id: id(name),
        text: fill("text"),
        caution: Some(fill("caution")),
        help: Some(fill("help")),
        slot,
        place: None,
        from: None,
        evidence,
        critical: false,
        recheck: false,
        warns: false,
        each: Some(Each::Insert),
    }
}

/// The steps of the job: on one card the readings, on one the modules, on one the report.
pub fn steps(fill: Fill<'_>) -> Steps {
    let confirm = || Evidence::Confirm { state: fill("state") };
    let scan = || Evidence::Scan { of: ScanOf::Module, expected: Expected::AnyModule };
    let bound = || slotwise::checklist::Bound { value: "1".parse().unwrap(), source: fill("limit") };
    let reading = Evidence::Reading { unit: fill("unit of a reading"), lowest: Some(bound()), highest: Some(bound()) };
    let a = || Some(slot(fill, 0));
    let b = || Some(slot(fill, 1));
    let card = |steps: Vec<Step>| Card { name: fill("card"), steps };
    Steps {
        cards: vec![
            card(vec![
                step("ready/one", None, confirm(), fill),
                step("ready/two", None, confirm(), fill),
                step("ready/three", None, confirm(), fill),
                step("ready/wrist", None, reading, fill),
            ]),
            card(vec![
                step("fill/a/module", a(), scan(), fill),
                step("fill/a/press", a(), confirm(), fill),
                step("fill/b/module", b(), scan(), fill),
                step("fill/b/press", b(), confirm(), fill),
            ]),
            card(vec![
                step("power/report", None, Evidence::Snapshot, fill),
                step("power/words", None, Evidence::Text { optional: true }, fill),
            ]),
        ],
    }
}

fn answered(step: &str, value: String, how: How, took_ms: u64) -> Event {
    Event::Answered { step: id(step), value, how, took_ms, serial: None }
}

fn report(fill: Fill<'_>, n: usize, fitted: bool) -> SlotReport {
    let label = slot(fill, n);
    SlotReport {
        locator: Some(label.0),
        bank: Some(fill("bank")),
        state: if fitted { SlotState::Fitted } else { SlotState::ShutOff },
        size_mib: Some(16_384),
        generation: None,
        kind: None,
        ranks: Some(1),
        rated_mts: Some(5600),
        configured_mts: Some(5600),
        maker: Some(fill("reported maker")),
        part: Some(fill("reported part")),
        serial: Some(if n == 0 { fill("serial") } else { "00B1".to_owned() }),
        handle: None,
        mapped: None,
        sources: [("serial".to_owned(), fill("where from"))].into(),
        because: Some(fill("because")),
    }
}

fn snapshot(fill: Fill<'_>, fitted: bool) -> Event {
    let mut snapshot: Snapshot = serde_json::from_str(include_str!("../record/snapshot.json")).unwrap();
    snapshot.host.name = Some(fill("host"));
    snapshot.host.firmware = Some(fill("firmware"));
    snapshot.host.boot_id = Some(fill("boot"));
    snapshot.slots = vec![report(fill, 0, fitted), report(fill, 1, true)];
    snapshot.gaps = vec![Gap { what: fill("gap"), costs: fill("costs"), remedy: fill("remedy") }];
    let locator = slot(fill, 0).0;
    snapshot.counts = vec![ErrorCount { locator, corrected: Some(3), uncorrected: Some(0), source: fill("counter") }];
    Event::SnapshotTaken { step: Some(id("power/report")), snapshot: Box::new(snapshot) }
}

fn finding(fill: Fill<'_>) -> Finding {
    Finding {
        kind: FindingKind::ShutOff,
        slot: Some(slot(fill, 0)),
        module: Some(fill("finding's module")),
        planned: Some(fill("finding's plan")),
        reported: Some(fill("finding's report")),
        source: fill("finding's source"),
        grave: Grave::Stop,
        next: fill("next"),
    }
}

/// Everything that can happen, with who did it and at which minute.
pub fn events(fill: Fill<'_>) -> Vec<(i64, String, Event)> {
    let own = fill("technician");
    // A record refuses a reason that says nothing.
    let reason = |field: &str| Some(fill(field)).filter(|why| !why.trim().is_empty()).unwrap_or("blank".to_owned());
    let mut told: Vec<(i64, String, Event)> = Vec::new();
    let mut push = |minute, event| told.push((minute, own.clone(), event));
    push(1, answered("ready/one", fill("value"), How::Typed, 10));
    push(1, answered("ready/two", fill("value"), How::Typed, 20));
    push(1, answered("ready/three", fill("value"), How::Typed, 999));
    push(2, answered("ready/wrist", "1.2".to_owned(), How::Typed, 9_000));
    let why = fill("why refused");
    push(3, Event::Refused { step: id("fill/a/module"), value: fill("refused"), how: How::Scanned, why });
    let serial = Some(fill("serial"));
    let value = fill("label");
    let step = id("fill/a/module");
    push(4, Event::Answered { step, value, how: How::Scanned, took_ms: 48, serial });
    push(5, answered("fill/a/press", fill("value"), How::Scripted, 2_000));
    push(6, Event::Corrected { step: id("fill/a/press"), corrects: 8, why: reason("why corrected") });
    push(7, answered("fill/a/press", fill("value"), How::Typed, 4_000));
    let (why, name) = (reason("why skipped"), fill("who skipped"));
    push(8, Event::Overridden { step: id("fill/b/module"), as_what: Passed::CouldNot, why, name });
    push(9, Event::ProblemReported { step: id("fill/b/press"), slot: Some(slot(fill, 1)), text: fill("problem") });
    push(10, Event::Paused { step: Some(id("fill/b/press")), why: fill("why paused") });
    let clock_note = Some(fill("clock note"));
    push(40, Event::Resumed { step: Some(id("fill/b/press")), away_ms: Some(1_800_000), clock_note });
    // The clock goes back by five minutes.
    push(35, answered("fill/b/press", fill("value"), How::Typed, 4_000));
    // The power goes, and a colleague comes back.
    told.push((
        36,
        fill("colleague"),
        Event::TailSetAside { file: fill("file"), bytes: 17, why: fill("why set aside") },
    ));
    let mut push = |minute, event| told.push((minute, fill("colleague"), event));
    push(37, Event::Resumed { step: None, away_ms: None, clock_note: None });
    push(38, snapshot(fill, false));
    push(38, Event::Compared { snapshot_line: 18, findings: vec![finding(fill)] });
    push(39, Event::RoundOpened { round: 1, slots: vec![slot(fill, 0)], snapshot_line: 18 });
    push(42, snapshot(fill, false));
    push(42, Event::Compared { snapshot_line: 21, findings: vec![finding(fill)] });
    push(43, answered("power/report", fill("path"), How::Typed, 400_000));
    push(44, answered("power/words", fill("words"), How::Typed, 5_000));
    push(45, Event::Noted { step: None, text: fill("note") });
    let statement = fill("statement");
    push(46, Event::Declared { name: fill("technician"), role: Role::Technician, statement, reason: None, key: None });
    push(47, Event::Corrected { step: id("power/words"), corrects: 24, why: reason("why corrected") });
    let (was, now, why) = (Some(fill("was")), reason("now"), reason("why amended"));
    told.push((48, fill("colleague"), Event::Amended { amends: 7, was, now, why }));
    told
}

/// Lines as a record has them, each bound to the one before.
pub fn lines(opened: Opened, events: Vec<(i64, String, Event)>) -> (Vec<Line>, Head, Vec<u8>) {
    let mut head = Head::default();
    let mut bytes = Vec::new();
    let mut lines = Vec::new();
    let first = (0, opened.technician.clone(), Event::Opened(Box::new(opened)));
    for (minute, by, event) in std::iter::once(first).chain(events) {
        let line = Line { n: head.lines + 1, at: at(minute), by, event, prev: head.hash };
        let encoded = encode(&line).unwrap();
        head.advance(&encoded);
        bytes.extend_from_slice(&encoded);
        bytes.push(b'\n');
        lines.push(line);
    }
    (lines, head, bytes)
}

/// The story of the job in which everything happens.
pub fn everything(fill: Fill<'_>) -> (Story, Board) {
    let (lines, head, _) = lines(opened(fill), events(fill));
    let torn = Some(Torn { offset: 0, bytes: 5, kind: TornKind::Cut });
    tell(&lines, &head, &steps(fill), torn)
}

/// A story of any lines.
pub fn tell(lines: &[Line], head: &Head, steps: &Steps, torn: Option<Torn>) -> (Story, Board) {
    let job = Job::replay(lines.to_vec()).unwrap();
    let story = story(&Input { lines, job: &job, steps, head, torn });
    (story, job.opened().board.clone())
}

pub mod hostile;
pub mod screen;

/// The lines of the job in which everything happens, without what stands after its sign-off, and what comes then.
pub fn signed_and_then(more: Vec<(&str, Event)>) -> (Story, Board) {
    let fill = &harmless;
    let mut all = events(fill);
    all.truncate(25);
    all.extend(more.into_iter().map(|(by, event)| (60, by.to_owned(), event)));
    let (lines, head, _) = lines(opened(fill), all);
    tell(&lines, &head, &steps(fill), None)
}
