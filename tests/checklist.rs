//! Checklist, plan and board give the steps of one job: the shipped procedure, its cards, their order.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a check that cannot go on has failed")]

mod made_up;

use std::collections::{BTreeMap, BTreeSet};

use made_up::{UNIT, all_in, board, plan, read, steps, stock};
use proptest::prelude::*;
use slotwise::board::{Board, SlotLabel};
use slotwise::checklist::route::{Cost, Hop, cost, fill_order, hops};
use slotwise::checklist::{
    Checklist, Each, Evidence, ExpandError, Expected, Limit, ScanOf, Site, Step, StepId, expand,
};
use slotwise::plan::Plan;
use slotwise::source::{Text, from_toml};

fn boards() -> [Board; 3] {
    [board(1, 2, 2), board(2, 4, 3), board(2, 8, 2)]
}

#[test]
fn the_stock_procedure_expands_on_every_shape_of_board() {
    for board in boards() {
        let steps = steps(&all_in(&board));
        let mut ids = BTreeSet::new();
        for card in &steps.cards {
            assert!((1..=10).contains(&card.steps.len()), "{} has {} steps", card.name, card.steps.len());
        }
        for (_, _, step) in steps.iter() {
            let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || "-/.".contains(c);
            assert!(step.id.0.chars().all(good), "{:?}", step.id);
            assert!(ids.insert(&step.id), "{:?} twice", step.id);
        }
        let filled =
            steps.iter().filter(|(_, _, step)| step.id.0.starts_with("fill-a-slot/") && step.id.0.ends_with("/press"));
        assert_eq!(filled.count(), board.slots().count());
    }
}

#[test]
fn a_step_never_shows_what_it_asks_for() {
    for board in boards() {
        for (_, _, step) in steps(&all_in(&board)).iter() {
            assert!(!gives_itself_away(step), "{step:?}");
        }
    }
}

/// The label to scan stands in what the step shows, the slot line included.
fn gives_itself_away(step: &Step) -> bool {
    let Evidence::Scan { expected: Expected::Exactly(wanted) | Expected::Part { part: wanted }, .. } = &step.evidence
    else {
        return false;
    };
    let shown_slot = step.shown_slot().map(|slot| slot.0.clone());
    let said = [Some(&step.text), step.caution.as_ref(), step.help.as_ref(), shown_slot.as_ref()];
    // Words are told apart in a way of its own here, so that the check is not checked with itself.
    said.into_iter().flatten().any(|said| {
        let padded = |text: &str| {
            let plain = text.to_lowercase().replace(|c: char| !c.is_alphanumeric(), " ");
            format!(" {} ", plain.split_whitespace().collect::<Vec<_>>().join(" "))
        };
        padded(said).contains(&padded(wanted))
    })
}

#[test]
fn the_prompt_of_a_slot_scan_does_not_name_the_slot_and_the_step_before_does() {
    let board = board(1, 2, 2);
    let steps = steps(&all_in(&board));
    for card in steps.cards.iter().filter(|card| card.name.starts_with("Fill a slot")) {
        let (find, scan) = (&card.steps[0], &card.steps[1]);
        let label = scan.slot.as_ref().unwrap().as_str();
        assert!(find.text.contains(label) && find.shown_slot().is_some());
        assert!(!scan.text.contains(label) && scan.shown_slot().is_none() && !card.name.contains(label));
    }
}

#[test]
fn a_turned_key_is_warned_about_and_typed() {
    let board = board(1, 2, 2);
    let steps = steps(&all_in(&board));
    let order: Vec<_> = steps
        .iter()
        .filter(|(_, _, step)| step.id.0.ends_with("/find"))
        .map(|(_, _, step)| step.slot.clone().unwrap())
        .collect();
    let warned: Vec<_> = steps.iter().filter(|(_, _, step)| step.warns).map(|(_, _, step)| step).collect();
    assert_eq!(cost(&board, &order).turns, 1);
    assert_eq!(warned.len(), 1);
    assert!(matches!(&warned[0].evidence, Evidence::Word { word, .. } if word == "rear"));
}

#[test]
fn every_job_ends_with_closing_power_and_report_and_needs_the_fasteners_before_power() {
    let steps = steps(&all_in(&board(2, 4, 3)));
    let at = |id: &str| steps.iter().position(|(_, _, step)| step.id.0 == id).unwrap_or_else(|| panic!("{id}"));
    let path = [
        "order-in-hand/chassis",
        "before-the-hands-go-in/weight",
        "power-off/lights",
        "power-off/wait",
        "static/wrist",
        "cover-off/1.air-duct/loose",
        "cover-off/2.riser/captive",
        "under-the-covers/heat",
        "fill-a-slot/p1-a1/slot",
        "before-covers-go-back/seated",
        "cover-on/2.riser/captive",
        "cover-on/1.air-duct/loose",
        "close-up/tools",
        "power-on/power",
        "report/report",
        "sign-off/note",
    ];
    assert!(path.windows(2).all(|pair| at(pair[0]) < at(pair[1])));
    assert_eq!(at("sign-off/note") + 1, steps.iter().count());
    let critical: Vec<_> = steps.iter().filter(|(_, _, s)| s.critical).map(|(_, _, s)| s.id.0.as_str()).collect();
    assert_eq!(critical, ["power-on/power"]);
}

#[test]
fn only_covers_over_touched_slots_come_off() {
    let board = board(2, 2, 1);
    let names = |slot: &str| -> Vec<String> {
        let plan = plan(&board, &[(slot, "do = 'insert'")], &[]);
        steps(&plan)
            .iter()
            .filter(|(_, _, step)| step.each == Some(Each::CoverOff) && step.id.0.ends_with("/off"))
            .map(|(_, _, step)| step.id.0.clone())
            .collect()
    };
    assert_eq!(names("P1-A1"), ["cover-off/1.air-duct/off", "cover-off/2.riser/off"]);
    assert_eq!(names("P2-A1"), ["cover-off/1.air-duct/off"]);
}

#[test]
fn limits_that_the_site_has_not_set_are_said_to_be_so_and_can_be_set() {
    let plan = all_in(&board(1, 1, 1));
    let humidity = StepId("static/humidity".into());
    let find = |site: Option<&Site>| {
        let steps = expand(&stock(), &plan, UNIT, site).unwrap();
        let (card, step) = steps.find(&humidity).unwrap();
        steps.cards[card].steps[step].clone()
    };
    let unset = find(None);
    assert!(unset.text.contains("not set by this site"), "{}", unset.text);
    assert!(matches!(unset.evidence, Evidence::Reading { lowest: None, highest: None, .. }));
    let limit = |name: &str, unit: &str| Site {
        format: "slotwise-site/1".into(),
        limit: vec![Limit { name: name.into(), value: Some("30".into()), unit: unit.into(), source: "site".into() }],
    };
    let set = find(Some(&limit("humidity-lowest", "%RH")));
    assert!(!set.text.contains("not set"), "{}", set.text);
    assert!(matches!(set.evidence, Evidence::Reading { lowest: Some(bound), .. } if bound.value.to_string() == "30"));
    let unknown = expand(&stock(), &plan, UNIT, Some(&limit("humidity-lowst", "%RH"))).unwrap_err();
    assert!(unknown.to_string().contains("nearest known: humidity-lowest"), "{unknown}");
    assert!(matches!(
        expand(&stock(), &plan, UNIT, Some(&limit("humidity-lowest", "g"))),
        Err(ExpandError::OtherUnit { .. })
    ));
}

#[test]
fn a_plan_that_cannot_be_carried_out_gives_no_steps() {
    let board = board(1, 2, 2);
    let fails = |slots: &[(&str, &str)], removals: &[&str]| {
        expand(&stock(), &plan(&board, slots, removals), UNIT, None).unwrap_err().to_string()
    };
    assert!(fails(&[("X9", "do = 'insert'")], &[]).contains("X9"));
    assert!(fails(&[("P1-A1", "do = 'move'")], &[]).contains("without naming"));
    assert!(fails(&[("P1-A1", "do = 'move'\nfrom = 'P1-A1'")], &[]).contains("without naming"));
    let twice = [("P1-A1", "do = 'move'\nfrom = 'P1-B1'"), ("P1-A2", "do = 'move'\nfrom = 'P1-B1'")];
    assert!(fails(&twice, &[]).contains("twice"));
    assert!(fails(&[("P1-A1", "do = 'keep'"), ("P1-A1", "do = 'insert'")], &[]).contains("not free"));
    assert!(fails(&[("P1-A1", "do = 'move'\nfrom = 'P1-B1'")], &["P1-B1"]).contains("twice"));
    let other = expand(&stock(), &all_in(&board), "LF-9999", None).unwrap_err();
    assert!(other.to_string().contains(UNIT), "{other}");
}

#[test]
fn slots_whose_labels_differ_in_case_or_signs_only_keep_ids_of_their_own() {
    let mut board = board(1, 1, 3);
    for (slot, label) in board.socket[0].channel[0].slot.iter_mut().zip(["a 1", "A-1", "?"]) {
        slot.label = SlotLabel::from(label);
    }
    let steps = steps(&all_in(&board));
    let ids: BTreeSet<_> =
        steps.iter().filter(|(_, _, s)| s.id.0.ends_with("/press")).map(|(_, _, s)| &s.id.0).collect();
    assert_eq!(
        ids.into_iter().collect::<Vec<_>>(),
        ["fill-a-slot/a-1.2/press", "fill-a-slot/a-1/press", "fill-a-slot/slot-3/press"]
    );
}

#[test]
fn a_ring_of_moves_goes_over_the_tray_card_by_card() {
    let board = board(1, 2, 2);
    let slots = [
        ("P1-A1", "do = 'move'\nfrom = 'P1-B1'\nserial = 'S1'"),
        ("P1-B1", "do = 'move'\nfrom = 'P1-A1'\nserial = 'S2'"),
        ("P1-A2", "do = 'insert'\nserial = 'S3'"),
    ];
    let steps = steps(&plan(&board, &slots, &["P1-B2"]));
    let cards: Vec<&str> = steps
        .cards
        .iter()
        .filter(|card| card.steps[0].slot.is_some())
        .map(|card| card.steps[0].id.0.trim_end_matches("/find"))
        .collect();
    assert_eq!(
        cards,
        [
            "take-out/p1-b2",
            "out-of-its-slot/p1-b1",
            "out-of-its-slot/p1-a1",
            "into-its-new-slot/p1-b1",
            "into-its-new-slot/p1-a1",
            "fill-a-slot/p1-a2"
        ]
    );
    let tray = |id: &str| steps.find(&StepId(id.into())).is_some();
    assert!(tray("out-of-its-slot/p1-b1/tray") && tray("into-its-new-slot/p1-a1/from-tray"));
    assert!(!tray("out-of-its-slot/p1-a1/tray") && !tray("into-its-new-slot/p1-b1/from-tray"));
    // In a ring each module is counted once out and once in, and each card says what is in the hand and where it goes.
    let named = |name: &str| steps.cards.iter().any(|card| card.name == name);
    assert!(named("Out of its slot 2 of 2") && named("Into its new slot 2 of 2") && !named("Out of its slot 1 of 3"));
    let text = |id: &str| {
        let (card, step) = steps.find(&StepId(id.into())).unwrap();
        steps.cards[card].steps[step].text.clone()
    };
    assert!(text("out-of-its-slot/p1-b1/find").contains("Its module goes to P1-A1."));
    assert!(text("out-of-its-slot/p1-b1/tray").starts_with("P1-A1 is still full: lay the module in the tray"));
    let (hand, tray) = (text("into-its-new-slot/p1-b1/find"), text("into-its-new-slot/p1-a1/find"));
    assert!(hand.contains("In your hand: the module out of P1-A1.") && !hand.contains("tray"), "{hand}");
    assert!(tray.contains("In the tray: the module out of P1-B1.") && !tray.contains("hand"), "{tray}");
}

/// All faults of a checklist made of one changed step on one card.
fn faults(card: &str, step: &str) -> String {
    let toml = format!(
        "format = 'slotwise-checklist/1'\nname = 'x'\n[[limit]]\nname = 'low'\nvalue = '5'\nunit = 'V'\nsource = 'site'\n[[card]]\nname = 'One'\n{card}\n[[card.step]]\nname = 'a'\n{step}\n"
    );
    match from_toml::<Checklist>(&Text { file: "x.toml", bytes: toml.as_bytes() }) {
        Ok(_) => String::new(),
        Err(faults) => faults.to_string(),
    }
}

#[test]
fn what_is_wrong_with_a_checklist_is_told_with_its_place() {
    let insert = "each = 'insert'";
    let confirm = "evidence = { kind = 'confirm', state = 'closed' }";
    assert_eq!(faults("", &format!("text = 'Close it.'\n{confirm}")), "");
    for (card, step, told) in [
        (insert, "text = '{slot.labl}'\nevidence = { kind = 'photo' }", "slot.labl"),
        ("", "text = '{slot.label}'\nevidence = { kind = 'photo' }", "slot.label"),
        (insert, "text = '{slot.key}'\nevidence = { kind = 'photo' }", "absent"),
        ("", "text = 'x'\nevidence = { kind = 'confirm', state = 'OK' }", "name the state"),
        ("", "text = 'x'\ncritical = true\nevidence = { kind = 'confirm', state = 'on' }", "confirm"),
        ("", "text = 'x'\nevidence = { kind = 'word', word = 'y', meaning = 'on' }", "without thought"),
        ("", "text = 'x'\nevidence = { kind = 'reading', unit = 'V', lowest = '2', highest = '1' }", "not below"),
        ("", "text = 'x'\nevidence = { kind = 'reading', unit = 'V', lowest = 'low', highest = '5' }", "not below"),
        ("", "text = 'x'\nevidence = { kind = 'reading', unit = 'V', lowest = 'lou' }", "lou"),
        ("", "text = 'x'\nevidence = { kind = 'reading', unit = 'A', lowest = 'low' }", "is in V"),
        ("", "text = '{limit.low}'\nevidence = { kind = 'reading', unit = 'V', lowest = 'low' }", "own limits"),
        ("", "text = 'There are 3.'\nevidence = { kind = 'count', expected = '3' }", "own count"),
        ("", "text = 'x'\nevidence = { kind = 'count', expected = 'few' }", "no count"),
        ("", "text = 'x'\nevidence = { kind = 'scan', of = 'slot' }", "which slot"),
        (insert, "text = '{slot.label}'\nevidence = { kind = 'scan', of = 'slot' }", "own answer"),
        (insert, "text = '[{module.part}]'\nevidence = { kind = 'scan', of = 'module' }", "own answer"),
        ("", "text = 'x'\nevidence = { kind = 'choice', options = ['a', 'b'], good = ['c'] }", "none of the options"),
        ("", "text = 'x'\nevidence = { kind = 'choice', options = ['a'], good = ['a'] }", "two to nine"),
        ("", "text = 'x'\nevidence = { kind = 'tally-back', first = 'one/b' }", "no earlier tally"),
        ("", "text = 'x'\nevidence = { kind = 'wait', wait_for = { seconds = '0' } }", "one second"),
        ("", "text = 'x'\nwhen = ['cables']\nevidence = { kind = 'photo' }", "never holds here"),
        (
            insert,
            "text = 'x'\nwhen = ['key-same', 'key-differs']\nevidence = { kind = 'photo' }",
            "never hold together",
        ),
        ("each = 'cover-off'", "text = 'x'\nevidence = { kind = 'photo' }", "without `cover-on`"),
        ("each = 'lift'", "text = 'x'\nevidence = { kind = 'photo' }", "without `move`"),
        ("", "text = \"x\\u001B[2J\"\nevidence = { kind = 'photo' }", "U+001B"),
    ] {
        let faults = faults(card, step);
        assert!(faults.contains(told) && faults.contains("card[0]"), "{step}: wanted `{told}` in: {faults}");
    }
    let eleven: String = (0..10).map(|n| format!("[[card.step]]\nname = 's{n}'\ntext = 'x'\n{confirm}\n")).collect();
    assert!(faults("", &format!("text = 'x'\n{confirm}\n{eleven}")).contains("11 steps"));
    let twice = format!("text = 'x'\n{confirm}\n[[card.step]]\nname = 'a'\ntext = 'x'\n{confirm}");
    assert!(faults("", &twice).contains("card[0].step[1].name"));
}

#[test]
fn how_a_module_stands_is_asked_with_the_three_answers_a_search_reads() {
    let card = |evidence: &str| {
        let one = "name = 'a'\ntext = 'Close it.'\nevidence = { kind = 'confirm', state = 'closed' }";
        let stood = format!("name = 'stood'\ntext = 'How does it stand?'\nevidence = {evidence}");
        (one.to_owned(), format!("[[again]]\nname = 'More'\neach = 'reseat'\n[[again.step]]\n{stood}"))
    };
    let told = |evidence: &str| {
        let (one, again) = card(evidence);
        let head = "format = 'slotwise-checklist/1'\nname = 'x'\n[[card]]\nname = 'One'\n[[card.step]]";
        let toml = format!("{head}\n{one}\n{again}\n");
        let read = from_toml::<Checklist>(&Text { file: "x.toml", bytes: toml.as_bytes() });
        read.err().map_or_else(String::new, |faults| faults.to_string())
    };
    assert_eq!(told("{ kind = 'choice', options = ['level', 'open', 'none'], good = ['level', 'open'] }"), "");
    for options in ["['level', 'open']", "['latches', 'edge', 'open', 'none']"] {
        let told = told(&format!("{{ kind = 'choice', options = {options}, good = ['open'] }}"));
        assert!(told.contains("again[0].step[0].evidence.options") && told.contains("three by their order"), "{told}");
        assert!(told.contains("all level, not level, nothing to see"), "{told}");
    }
    assert!(told("{ kind = 'photo' }").contains("has to be a choice"));
}

/// A board of one socket whose slots stand at these places with these keys.
fn placed(places: &[(u16, u16, u8)]) -> (Board, Vec<SlotLabel>) {
    let mut board = board(1, 1, places.len());
    for (slot, (column, row, key)) in board.socket[0].channel[0].slot.iter_mut().zip(places) {
        slot.at = Some([*column, *row]);
        slot.key = ["front", "rear", "left"].get(usize::from(*key)).map(|key| (*key).to_owned());
    }
    let labels = board.slots().map(|slot| slot.slot.label.clone()).collect();
    (board, labels)
}

fn least_of_all(board: &Board, labels: &mut Vec<SlotLabel>, fixed: usize, best: &mut Option<Cost>) {
    if fixed == labels.len() {
        let cost = cost(board, labels);
        *best = Some(best.map_or(cost, |best| best.min(cost)));
        return;
    }
    for n in fixed..labels.len() {
        labels.swap(fixed, n);
        least_of_all(board, labels, fixed + 1, best);
        labels.swap(fixed, n);
    }
}

/// Carries the hops out with bare hands: what stands where, and what lies in the tray.
fn carried_out(plan: &Plan) -> (BTreeMap<SlotLabel, SlotLabel>, usize) {
    let mut stands: BTreeMap<SlotLabel, SlotLabel> =
        plan.slot.iter().filter_map(|slot| slot.from.clone()).map(|from| (from.clone(), from)).collect();
    let (mut tray, mut trays) = (BTreeMap::new(), 0);
    for hop in hops(plan).unwrap() {
        match hop {
            Hop::Across { from, to } => {
                let module = stands.remove(&from).unwrap();
                assert_eq!(stands.insert(to, module), None, "the slot was not free");
            }
            Hop::ToTray { from, .. } => {
                trays += 1;
                let module = stands.remove(&from).unwrap();
                tray.insert(module.clone(), module);
            }
            Hop::FromTray { from, to } => {
                let module = tray.remove(&from).unwrap();
                assert_eq!(stands.insert(to, module), None, "the slot was not free");
            }
        }
    }
    assert!(tray.is_empty());
    (stands, trays)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// The order is the least of all orders there are.
    #[test]
    fn the_order_of_slots_is_least(
        places in proptest::collection::btree_map((0_u16..4, 0_u16..3), 0_u8..4, 1..7)
    ) {
        let places: Vec<_> = places.into_iter().map(|((column, row), key)| (column, row, key)).collect();
        let (board, mut labels) = placed(&places);
        let order = fill_order(&board, &labels);
        prop_assert_eq!(order.iter().collect::<BTreeSet<_>>(), labels.iter().collect::<BTreeSet<_>>());
        let mut best = None;
        least_of_all(&board, &mut labels, 0, &mut best);
        prop_assert_eq!(Some(cost(&board, &order)), best);
    }

    /// The order does not hang on how the plan lists its slots, and never reaches over what was just filled.
    #[test]
    fn the_order_of_slots_is_the_same_however_they_are_listed(
        (shape, seed) in (0_usize..3, proptest::collection::vec(any::<u32>(), 48))
    ) {
        let board = &boards()[shape];
        let labels: Vec<SlotLabel> = board.slots().map(|slot| slot.slot.label.clone()).collect();
        let mut shuffled: Vec<_> = seed.iter().zip(&labels).collect();
        shuffled.sort();
        let shuffled: Vec<SlotLabel> = shuffled.into_iter().map(|(_, label)| label.clone()).collect();
        let order = fill_order(board, &labels);
        prop_assert_eq!(&order, &fill_order(board, &shuffled));
        prop_assert_eq!((cost(board, &order).reaches, cost(board, &order).turns), (0, 1));
    }

    /// Any moves among eight slots: each slot is free when its module comes, all end where planned, one tray a ring.
    #[test]
    fn moves_are_carried_out_whatever_they_are(targets in Just((0..8_usize).collect::<Vec<_>>()).prop_shuffle(), moved in proptest::collection::vec(any::<bool>(), 8)) {
        let board = board(1, 4, 2);
        let labels: Vec<SlotLabel> = board.slots().map(|slot| slot.slot.label.clone()).collect();
        let pairs: Vec<(usize, usize)> =
            targets.iter().copied().enumerate().filter(|(from, to)| from != to && moved[*from]).collect();
        let lines: Vec<(&str, String)> = pairs
            .iter()
            .map(|(from, to)| (labels[*to].as_str(), format!("do = 'move'\nfrom = '{}'", labels[*from].0)))
            .collect();
        let lines: Vec<(&str, &str)> = lines.iter().map(|(label, done)| (*label, done.as_str())).collect();
        let plan = plan(&board, &lines, &[]);
        let (stands, trays) = carried_out(&plan);
        for (from, to) in &pairs {
            prop_assert_eq!(stands.get(&labels[*to]), Some(&labels[*from]));
        }
        let next: BTreeMap<usize, usize> = pairs.iter().copied().collect();
        let rings = next.keys().filter(|start| {
            let mut at = **start;
            let mut least = at;
            loop {
                match next.get(&at) {
                    Some(to) if to == *start => return least == **start,
                    Some(to) => { at = *to; least = least.min(at); }
                    None => return false,
                }
            }
        }).count();
        prop_assert_eq!(trays, rings);
        prop_assert!(expand(&stock(), &plan, UNIT, None).is_ok());
    }

    /// Whatever labels and serials come from outside, also such as stand in the procedure's own words: no step shows what it
    /// asks for, or there are no steps.
    #[test]
    fn no_step_shows_what_it_asks_for_whatever_the_plan_says(
        serial in "[a-z]{2,5}|label|module|hand|S[0-9A-F]{7}", tag in "[A-Z]{2}-[0-9]{2}|machine|tag", lot in "[a-z]{1,6}"
    ) {
        let board = board(1, 1, 2);
        let done = format!("do = 'insert'\nserial = '{serial}'\nlot = '{lot}'");
        let mut plan = plan(&board, &[("P1-A1", done.as_str()), ("P1-A2", "do = 'insert'\npart = 'OM4R32'")], &[]);
        plan.order.unit[0].chassis = tag.clone();
        plan.order.name = format!("Order for {tag}, {serial}");
        match expand(&stock(), &plan, &tag, None) {
            Err(error) => prop_assert!(matches!(error, ExpandError::Leaks { .. }), "{error}"),
            Ok(steps) => {
                for (_, _, step) in steps.iter() {
                    prop_assert!(!gives_itself_away(step), "{:?}", step);
                }
            }
        }
    }

    /// Expansion never panics and always holds its promises, whatever subset of slots is filled, moved and removed.
    #[test]
    fn any_plan_gives_short_cards_and_ids_of_their_own(done in proptest::collection::vec(0_u8..5, 12)) {
        let board = board(2, 3, 2);
        let labels: Vec<SlotLabel> = board.slots().map(|slot| slot.slot.label.clone()).collect();
        let mut slots = Vec::new();
        let mut removals = Vec::new();
        for (label, done) in labels.iter().zip(&done) {
            match done {
                0 => slots.push((label.as_str(), "do = 'insert'")),
                1 => slots.push((label.as_str(), "do = 'keep'")),
                2 => slots.push((label.as_str(), "do = 'insert'\npart = 'OM4R32'")),
                3 => removals.push(label.as_str()),
                _ => {}
            }
        }
        let steps = steps(&plan(&board, &slots, &removals));
        let ids: BTreeSet<_> = steps.iter().map(|(_, _, step)| &step.id).collect();
        prop_assert_eq!(ids.len(), steps.iter().count());
        prop_assert!(steps.cards.iter().all(|card| (1..=10).contains(&card.steps.len())));
        let order: Vec<SlotLabel> = steps
            .iter()
            .filter(|(_, _, step)| matches!(step.evidence, Evidence::Scan { of: ScanOf::Slot, .. }) && step.each == Some(Each::Insert))
            .filter_map(|(_, _, step)| step.slot.clone())
            .collect();
        prop_assert_eq!(cost(&board, &order).reaches, 0);
    }
}

#[test]
fn the_shipped_boards_give_steps_with_nothing_cut_short() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/checklists/boards");
    let mut boards = 0;
    for file in std::fs::read_dir(folder).unwrap() {
        let text = std::fs::read(file.unwrap().path()).unwrap();
        let board: Board = from_toml(&Text { file: "board.toml", bytes: &text }).unwrap_or_else(|f| panic!("{f}"));
        let steps = steps(&all_in(&board));
        let filled: Vec<SlotLabel> = steps
            .iter()
            .filter(|(_, _, step)| step.each == Some(Each::Insert) && step.id.0.ends_with("/find"))
            .filter_map(|(_, _, step)| step.slot.clone())
            .collect();
        let cost = cost(&board, &filled);
        assert_eq!((filled.len(), cost.reaches), (board.slots().count(), 0));
        // Two directions of the key, each slot of one before each slot of the other.
        assert_eq!(cost.turns, steps.iter().filter(|(_, _, step)| step.warns).count() as u32);
        assert!(cost.turns <= 1, "{}: {} turns", board.name, cost.turns);
        assert!(steps.iter().all(|(_, _, step)| !step.text.contains("characters)")));
        boards += 1;
    }
    assert_eq!(boards, 3);
}

#[test]
fn a_large_board_is_filled_row_by_row_where_that_is_shorter() {
    // Two rows of eight, one behind the other: along the far row and back along the near one is 15 places of travel.
    let places: Vec<(u16, u16, u8)> = (0..16).map(|n| (n % 8, n / 8, 0)).collect();
    let (board, labels) = placed(&places);
    assert_eq!(cost(&board, &fill_order(&board, &labels)), Cost { reaches: 0, turns: 0, travel: 15 });
}

#[test]
fn a_board_without_places_goes_in_board_order_with_like_keys_together() {
    let mut board = board(1, 4, 1);
    board.socket[0].channel[2].slot[0].at = None;
    let labels: Vec<SlotLabel> = board.slots().map(|slot| slot.slot.label.clone()).collect();
    let order = fill_order(&board, &labels);
    let order: Vec<&str> = order.iter().map(SlotLabel::as_str).collect();
    assert_eq!(order, ["P1-A1", "P1-C1", "P1-B1", "P1-D1"]);
}

/// A board made to be hard: many columns, many directions of the key. The search gives up early and still loses no slot.
#[test]
fn a_hostile_board_is_ordered_in_bounded_work() {
    let places: Vec<(u16, u16, u8)> = (0..240_u32).map(|n| ((n % 60) as u16, (n / 60) as u16, 0)).collect();
    let (mut board, labels) = placed(&places);
    for (n, slot) in board.socket[0].channel[0].slot.iter_mut().enumerate() {
        slot.key = Some(format!("way {}", n * 2_654_435_761 / 65_536 % 7));
    }
    let order = fill_order(&board, &labels);
    assert_eq!(order.iter().collect::<BTreeSet<_>>().len(), 240);
    assert_eq!(cost(&board, &order).reaches, 0);
}

#[test]
fn a_site_may_write_its_own_procedure() {
    let own = read(
        "format = 'slotwise-checklist/1'\nname = 'Short'\n[[card]]\nname = 'In'\neach = 'insert'\n[[card.step]]\nname = 'go'\ntext = 'To {slot.label}[, {slot.tab} latch].'\nevidence = { kind = 'confirm', state = 'there' }\n",
    );
    let steps = expand(&own, &all_in(&board(1, 1, 1)), UNIT, None).unwrap();
    assert_eq!(steps.cards[0].steps[0].text, "To P1-A1.");
}

#[test]
fn the_procedure_page_tells_every_limit_and_its_example_can_be_read() {
    let page = include_str!("../docs/procedure.md");
    for limit in stock().limit {
        let shipped = limit.value.map_or("not set".to_owned(), |value| format!("{value} {}", limit.unit));
        assert!(page.contains(&format!("| `{}` | {shipped} |", limit.name)), "{}", limit.name);
    }
    let example = page.split("```toml").nth(1).and_then(|rest| rest.split("```").next()).unwrap();
    let site: Site = from_toml(&Text { file: "procedure.md", bytes: example.as_bytes() }).unwrap();
    let plan = all_in(&board(1, 1, 1));
    let with_site = stock().with_site(&site).unwrap();
    // The checklist a record carries gives the same steps as the shipped one with the site beside it.
    assert_eq!(expand(&with_site, &plan, UNIT, None), expand(&stock(), &plan, UNIT, Some(&site)));
}

#[test]
fn a_checklist_survives_being_written_into_a_record() {
    let json = serde_json::to_string(&stock()).unwrap();
    assert_eq!(serde_json::from_str::<Checklist>(&json).unwrap(), stock());
}
