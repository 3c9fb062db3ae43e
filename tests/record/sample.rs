//! One small job at Larkfield's bench.

use chrono::{DateTime, FixedOffset, TimeDelta};
use slotwise::board::SlotLabel;
use slotwise::checklist::StepId;
use slotwise::record::{Event, How, Opened, Passed, Role, time};

pub fn opened() -> Opened {
    serde_json::from_str(include_str!("opened.json")).unwrap()
}

/// Minutes after half past nine.
pub fn at(minute: i64) -> DateTime<FixedOffset> {
    time::parse("2026-11-25T09:30:00.000+01:00").unwrap() + TimeDelta::minutes(minute)
}

pub fn step(name: &str) -> StepId {
    StepId(name.to_owned())
}

pub fn answered(name: &str, value: &str) -> Event {
    Event::Answered { step: step(name), value: value.to_owned(), how: How::Scanned, took_ms: 1200, serial: None }
}

pub fn note(text: &str) -> Event {
    Event::Noted { step: None, text: text.to_owned() }
}

pub fn snapshot() -> Event {
    let snapshot = serde_json::from_str(include_str!("snapshot.json")).unwrap();
    Event::SnapshotTaken { step: Some(step("boot/report")), snapshot: Box::new(snapshot) }
}

/// What happens after the job was opened. No two events are equal, so a lost or doubled one shows.
pub fn events() -> Vec<Event> {
    vec![
        answered("insert/a1/slot", "A1"),
        Event::Refused {
            step: step("insert/a1/module"),
            value: "B1\u{9b}31m".to_owned(),
            how: How::Scanned,
            why: "a slot label, a module was due".to_owned(),
        },
        Event::Answered {
            step: step("insert/a1/module"),
            value: "OM5U48-1R8-5600".to_owned(),
            how: How::Scanned,
            took_ms: 48,
            serial: Some("00A1".to_owned()),
        },
        Event::Paused { step: Some(step("insert/b1/slot")), why: "lunch".to_owned() },
        Event::Resumed { step: Some(step("insert/b1/slot")), away_ms: Some(60_000), clock_note: None },
        Event::Corrected { step: step("insert/a1/slot"), corrects: 2, why: "wrong slot scanned".to_owned() },
        answered("insert/a1/slot", "A1 again"),
        Event::Overridden {
            step: step("insert/b1/module"),
            as_what: Passed::CouldNot,
            why: "label torn off".to_owned(),
            name: "Ada".to_owned(),
        },
        Event::ProblemReported {
            step: step("insert/b1/seat"),
            slot: Some(SlotLabel::from("B1")),
            text: "latch is stiff".to_owned(),
        },
        snapshot(),
        Event::Compared { snapshot_line: 11, findings: Vec::new() },
        Event::RoundOpened { round: 1, slots: vec![SlotLabel::from("B1")], snapshot_line: 11 },
        note("handed to the rack"),
        Event::Declared {
            name: "Ada".to_owned(),
            role: Role::Technician,
            statement: "as planned".to_owned(),
            reason: None,
            key: None,
        },
    ]
}
