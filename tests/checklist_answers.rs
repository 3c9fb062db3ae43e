//! Which answers do, and what is said of those that do not.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod made_up;

use std::sync::LazyLock;

use made_up::{UNIT, board, plan, steps};
use proptest::prelude::*;
use slotwise::checklist::{
    Because, Evidence, Expected, JobContext, Judged, PartRead, ScanOf, Step, StepId, Steps, judge,
};
use slotwise::plan::Plan;

/// Four slots: serial known, another serial known, only the part known, nothing known; and one module that leaves.
fn job() -> Plan {
    let board = board(1, 3, 2);
    let slots = [
        ("P1-A1", "do = 'insert'\npart = 'OM4R32-2R4-2666'\nserial = '5A0B0O01'"),
        ("P1-A2", "do = 'insert'\npart = 'OM4R32-2R4-2666'\nserial = '5A0B0002'"),
        ("P1-B1", "do = 'insert'\npart = 'OM4R32-2R4-2666'"),
        ("P1-B2", "do = 'insert'"),
    ];
    let mut plan = plan(&board, &slots, &["P1-C1"]);
    let mut other = plan.order.unit[0].clone();
    other.chassis = "LF-0418".into();
    other.bay = Some("N4".into());
    plan.order.unit.push(other);
    plan
}

/// Made once: the properties ask it often.
static JOB: LazyLock<Plan> = LazyLock::new(job);

struct Desk<'a> {
    steps: Steps,
    context: JobContext<'a>,
}

impl<'a> Desk<'a> {
    fn new(plan: &'a Plan) -> Self {
        Self { steps: steps(plan), context: JobContext::new(plan, UNIT).unwrap() }
    }

    fn step(&self, id: &str) -> Step {
        let (card, step) = self.steps.find(&StepId(id.into())).unwrap_or_else(|| panic!("{id}"));
        self.steps.cards[card].steps[step].clone()
    }

    /// Answers, and takes in what was accepted.
    fn answer(&mut self, id: &str, answer: &str) -> Judged {
        let step = self.step(id);
        let judged = judge(&step, answer, &self.context);
        match &judged {
            Judged::Accept { value, serial, .. } => self.context.took(&step, value, serial.as_deref()),
            Judged::Partly { part, .. } => self.context.part_read = Some(part.clone()),
            Judged::Refuse { .. } => {}
        }
        judged
    }

    fn accepts(&mut self, id: &str, answer: &str) -> (String, Option<String>) {
        match self.answer(id, answer) {
            Judged::Accept { value, serial, .. } => (value, serial),
            other => panic!("{id} {answer:?}: {other:?}"),
        }
    }

    fn refuses(&mut self, id: &str, answer: &str, wanted: Because) -> String {
        match self.answer(id, answer) {
            Judged::Refuse { because, why } if because == wanted => why,
            other => panic!("{id} {answer:?}: wanted {wanted:?}, got {other:?}"),
        }
    }
}

const A1: &str = "fill-a-slot/p1-a1/module";
const A2: &str = "fill-a-slot/p1-a2/module";
const B1: &str = "fill-a-slot/p1-b1/module";
const B2: &str = "fill-a-slot/p1-b2/module";

#[test]
fn the_planned_module_is_taken_and_bound_however_the_scanner_sends_it() {
    let plan = job();
    for scan in
        ["5A0B0002", "]C05A0B0002", "S5A0B0002", "[)>\u{1e}06\u{1d}S5A0B0002\u{1d}1POM4R32\u{1e}\u{4}", " 5A0B0002 "]
    {
        let (_, serial) = Desk::new(&plan).accepts(A2, scan);
        assert_eq!(serial.as_deref(), Some("5A0B0002"), "{scan:?}");
    }
}

#[test]
fn what_is_scanned_at_a_module_prompt_by_mistake_is_named() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    assert!(desk.refuses(A1, "P1-B1", Because::SlotLabel).contains("label of slot P1-B1"));
    assert!(desk.refuses(A1, "LF-0417", Because::Tag).contains("tag of the machine"));
    assert!(desk.refuses(A1, "LF-E07", Because::Tag).contains("tag of the enclosure"));
    assert!(desk.refuses(A1, "OM4R32-2R4-2666", Because::PartNumber).contains("serial"));
    let why = desk.refuses(A1, "5A0B0002", Because::OtherSlotsModule);
    assert!(why.contains("goes in slot P1-A2") && why.contains("Put it aside"), "{why}");
    assert!(desk.refuses(A1, "OUT00000", Because::OtherSlotsModule).contains("leaves slot P1-C1"));
    assert!(desk.refuses(A1, "XYZ99", Because::Unknown).contains("Read `XYZ99`"));
    desk.refuses(A1, "", Because::Empty);
    desk.refuses(A1, &"7".repeat(5_000), Because::TooLong);
}

#[test]
fn characters_that_look_alike_are_named_by_their_place_only() {
    let plan = job();
    let why = Desk::new(&plan).refuses(A1, "5A0B0001", Because::NearMiss);
    assert!(why.contains("place 6: digit 0 was read, letter O is expected"), "{why}");
    assert!(!why.contains("5A0B0O01"));
    let why = Desk::new(&plan).refuses(A1, "5a0b0o01", Because::NearMiss);
    assert!(why.contains("capital and small"), "{why}");
}

#[test]
fn one_module_is_in_one_slot() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    desk.accepts(A2, "5A0B0002");
    assert!(desk.refuses(A1, "5A0B0002", Because::AlreadyUsed).contains("in slot P1-A2 already"));
    assert!(desk.refuses(B2, "5A0B0002", Because::AlreadyUsed).contains("P1-A2"));
    // Scanned again at its own step, after a pause, it is the same module.
    desk.accepts(A2, "5A0B0002");
    // Once the first answer no longer stands, only the plan speaks against it.
    desk.context.withdrawn(&StepId(A2.into()));
    desk.refuses(A1, "5A0B0002", Because::OtherSlotsModule);
}

#[test]
fn a_serial_that_begins_like_an_identifier_is_not_taken_for_another() {
    let board = board(1, 1, 2);
    let slots = [("P1-A1", "do = 'insert'\nserial = '12345678'"), ("P1-A2", "do = 'insert'\nserial = 'S12345678'")];
    let plan = plan(&board, &slots, &[]);
    let mut desk = Desk::new(&plan);
    desk.accepts(A1, "12345678");
    assert_eq!(desk.accepts(A2, "S12345678").1.as_deref(), Some("S12345678"));
}

#[test]
fn a_module_taken_out_does_not_go_back_in() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    assert_eq!(desk.accepts("take-out/p1-c1/module", "OUT00000").1.as_deref(), Some("OUT00000"));
    let why = desk.refuses(B2, "OUT00000", Because::AlreadyUsed);
    assert!(why.contains("taken out of slot P1-C1"), "{why}");
}

#[test]
fn where_only_the_part_is_known_part_and_then_a_new_serial_are_scanned() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    desk.refuses(B1, "NEW00001", Because::Unknown);
    assert!(matches!(desk.answer(B1, "OM4R32-2R4-2666"), Judged::Partly { .. }));
    desk.refuses(B1, "OM4R32-2R4-2666", Because::PartNumber);
    desk.refuses(B1, "P1-B1", Because::SlotLabel);
    desk.refuses(B1, "5A0B0002", Because::OtherSlotsModule);
    assert_eq!(desk.accepts(B1, "NEW00001"), ("OM4R32-2R4-2666".into(), Some("NEW00001".into())));
    desk.refuses(B2, "NEW00001", Because::AlreadyUsed);
    // A part read for one slot counts for no other.
    let mut desk = Desk::new(&plan);
    desk.context.part_read = Some(PartRead { step: StepId(B2.into()), part: "OM4R32-2R4-2666".into() });
    desk.refuses(B1, "NEW00001", Because::Unknown);
}

#[test]
fn one_code_with_part_and_serial_is_enough_and_another_part_is_not() {
    let plan = job();
    let both = |part: &str| format!("[)>\u{1e}06\u{1d}SNEW00001\u{1d}1P{part}\u{1e}\u{4}");
    let (_, serial) = Desk::new(&plan).accepts(B1, &both("OM4R32-2R4-2666"));
    assert_eq!(serial.as_deref(), Some("NEW00001"));
    Desk::new(&plan).refuses(B1, &both("OM4R16"), Because::Unknown);
}

#[test]
fn where_nothing_is_known_any_new_serial_is_bound() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    assert_eq!(desk.accepts(B2, "NEW00002").1.as_deref(), Some("NEW00002"));
    desk.refuses(B2, "P1-A1", Because::SlotLabel);
    desk.refuses(B2, "caf\u{e9}", Because::Unknown);
    desk.refuses(B2, "[)>\u{1e}06\u{1d}1POM4R16\u{1e}\u{4}", Because::Unknown);
}

#[test]
fn a_slot_is_told_from_another_slot_and_from_a_module() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    let why = desk.refuses("fill-a-slot/p1-a1/slot", "P1-A2", Because::WrongSlot);
    assert!(why.contains("at slot P1-A2") && !why.contains("P1-A1"), "{why}");
    desk.refuses("fill-a-slot/p1-a1/slot", "5A0B0O01", Because::ModuleLabel);
    desk.accepts("fill-a-slot/p1-a1/slot", "P1-A1");
    assert!(desk.refuses("fill-a-slot/p1-a2/slot", "P1-A1", Because::ScannedTwice).contains("twice"));
    desk.refuses(B2, "P1-A1", Because::ScannedTwice);
}

#[test]
fn another_machine_of_the_order_is_called_out() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    assert!(desk.refuses("order-in-hand/chassis", "LF-0418", Because::WrongMachine).contains("another machine"));
    assert!(desk.refuses("order-in-hand/chassis", "LF-9999", Because::Unknown).contains("Stop"));
    desk.refuses("order-in-hand/chassis", "LF-E07", Because::Tag);
    desk.refuses("order-in-hand/bay", "N4", Because::WrongMachine);
    for (id, tag) in [("enclosure", "LF-E07"), ("bay", "N3"), ("chassis", "LF-0417")] {
        desk.accepts(&format!("order-in-hand/{id}"), tag);
    }
}

#[test]
fn readings_are_judged_against_their_limits() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    let wrist = "static/wrist";
    for (given, kept) in [("0.75", "0.75"), ("1,2 M\u{3a9}", "1.2"), ("35", "35"), ("10 MOhm", "10")] {
        assert_eq!(desk.accepts(wrist, given).0, kept);
    }
    for (given, because) in [
        ("0.749", Because::BelowLowest),
        ("35.1", Because::AboveHighest),
        ("0", Because::NotPositive),
        ("-5", Because::NotPositive),
        ("NaN", Because::NotUnderstood),
        ("inf", Because::NotUnderstood),
        ("1200k", Because::NotUnderstood),
        ("good", Because::NotUnderstood),
        ("1234567890123", Because::TooLong),
    ] {
        let why = desk.refuses(wrist, given, because);
        assert!(why.contains("MOhm"), "{why}");
        // The limit that was passed is named, and only that one.
        assert_eq!(why.contains("below 0.75"), because == Because::BelowLowest, "{why}");
        assert_eq!(why.contains("above 35"), because == Because::AboveHighest, "{why}");
    }
    // A limit nobody has set judges nothing.
    assert_eq!(desk.accepts("static/humidity", "5").0, "5");
}

#[test]
fn counts_must_agree_and_a_refusal_says_how_many_are_missing_or_too_many() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    let why = desk.refuses("cover-off/1.air-duct/loose", "3", Because::OtherCount);
    assert!(why.contains("Counted 3, wanted 4: 1 missing"), "{why}");
    let why = desk.refuses("cover-off/1.air-duct/loose", "6", Because::OtherCount);
    assert!(why.contains("Counted 6, wanted 4: 2 too many"), "{why}");
    desk.refuses("cover-off/1.air-duct/loose", "3.5", Because::NotUnderstood);
    desk.accepts("cover-off/1.air-duct/loose", "4");
    assert!(desk.refuses("close-up/tools", "6", Because::NothingToCompare).contains("reason"));
    desk.accepts("order-in-hand/tools", "6");
    desk.refuses("close-up/tools", "5", Because::OtherCount);
    desk.accepts("close-up/tools", "6");
}

#[test]
fn choices_states_and_words_are_answered_in_words() {
    let plan = job();
    let mut desk = Desk::new(&plan);
    let lights = "power-off/lights";
    assert_eq!(desk.accepts(lights, "1").0, "all lights out");
    assert_eq!(desk.accepts(lights, "All lights OUT").0, "all lights out");
    desk.refuses(lights, "2", Because::NotGood);
    for other in ["0", "3", "yes", "99999999"] {
        desk.refuses(lights, other, Because::NotUnderstood);
    }
    assert_eq!(
        desk.accepts("static/strap", "Strap on bare skin,  cord clipped on").0,
        "strap on bare skin, cord clipped on"
    );
    for other in ["y", "ok", "strap on"] {
        desk.refuses("static/strap", other, Because::NotUnderstood);
    }
    desk.refuses("power-on/power", "y", Because::NotUnderstood);
    desk.refuses("power-on/power", "", Because::Empty);
    desk.accepts("power-on/power", "power");
    desk.accepts("sign-off/note", "");
    desk.refuses("power-off/wait", "skip", Because::NotUnderstood);
    desk.accepts("power-off/wait", "done");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    /// No refusal says what was expected, unless the answer itself said it; and nothing panics.
    #[test]
    fn a_refusal_never_gives_the_answer_away(
        answer in prop_oneof![any::<String>(), "[0-9A-FPSO\\-]{1,12}", "P1-[ABC][12]", "5[aA]0[bB]0[0O]0[12]", "LF-041[78]|LF-E07|N[34]"],
        before in "P1-[ABC][12]|5A0B0002|",
    ) {
        let mut desk = Desk::new(&JOB);
        if !before.is_empty() {
            desk.answer("fill-a-slot/p1-b1/slot", &before);
            desk.answer(A2, &before);
        }
        let all: Vec<Step> = desk.steps.iter().map(|(_, _, step)| step.clone()).collect();
        for step in all {
            let Judged::Refuse { why, .. } = judge(&step, &answer, &desk.context) else { continue };
            prop_assert!(why.is_ascii() && !why.contains(|c: char| c.is_control()), "{why}");
            let Evidence::Scan { of, expected: Expected::Exactly(wanted) | Expected::Part { part: wanted } } = &step.evidence
            else { continue };
            // The slot of a used module may be told at any prompt but the one that asks for a slot.
            if !answer.contains(wanted.as_str()) && (*of == ScanOf::Slot || !wanted.starts_with("P1")) {
                prop_assert!(!why.contains(wanted.as_str()), "{why}");
            }
        }
    }

    /// A serial is bound only when the scan carries it.
    #[test]
    fn what_is_bound_was_read(answer in prop_oneof![any::<String>(), "S?5A0B000[0-9]", "[\\]CdS0-9A-Z\u{1d}\u{1e}]{1,20}"]) {
        let desk = Desk::new(&JOB);
        for id in [A1, A2, B1, B2] {
            if let Judged::Accept { serial: Some(serial), .. } = judge(&desk.step(id), &answer, &desk.context) {
                prop_assert!(answer.contains(&serial));
            }
        }
    }
}
