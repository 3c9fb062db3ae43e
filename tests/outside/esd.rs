//! The limits of the stock procedure against the figures of the standards and the trade they name.

use slotwise::board::Board;
use slotwise::checklist::{
    Because, Checklist, Evidence, JobContext, Judged, STOCK_PROCEDURE, Step, StepId, expand, judge,
};
use slotwise::plan::Plan;
use slotwise::source::{Text, from_toml};

fn stock() -> Checklist {
    from_toml(&Text { file: "install.toml", bytes: STOCK_PROCEDURE.as_bytes() }).unwrap()
}

fn plan() -> Plan {
    let board: Board = toml::from_str(
        "format = 'slotwise-board/1'\nname = 'Wren'\ngeneration = 'DDR5'\nlimits = { kinds = ['UDIMM'] }\n[[socket]]\nlabel = 'U1'\n[[socket.channel]]\nlabel = 'A'\nslot = [{ label = 'A1', position = 1 }]\n",
    )
    .unwrap();
    let mut plan: Plan = serde_json::from_value(serde_json::json!({
        "format": "slotwise-plan/1", "name": "One module",
        "slot": [{ "slot": "A1", "do": "insert", "gib": 16 }],
        "order": { "format": "slotwise-order/1", "name": "1", "unit": [{ "chassis": "LF-1" }] },
        "board": serde_json::to_value(&board).unwrap(),
    }))
    .unwrap();
    plan.board = board;
    plan
}

/// What the stock procedure says to an answer at a step.
fn says(id: &str, answer: &str) -> Judged {
    let plan = plan();
    judge(&step(&plan, id), answer, &JobContext::new(&plan, "LF-1").unwrap())
}

fn step(plan: &Plan, id: &str) -> Step {
    let steps = expand(&stock(), plan, "LF-1", None).unwrap();
    let (card, step) = steps.find(&StepId(id.into())).unwrap();
    steps.cards[card].steps[step].clone()
}

fn refused(judged: &Judged) -> Option<Because> {
    match judged {
        Judged::Refuse { because, .. } => Some(*because),
        _ => None,
    }
}

/// ANSI/ESD S20.20 (2007 table; 2014 edition the same), wrist strap system with its wearer: below 3.5 x 10^7 Ohm. ESD TR53
/// section 7.2: the tester must fail above 3.5 x 10^7 Ohm. In MOhm: 3.5 x 10^7 / 10^6.
#[test]
fn a_wrist_strap_fails_above_the_figure_of_s20_20() {
    let megohm = |ohm: u64| format!("{}.{:03}", ohm / 1_000_000, ohm % 1_000_000 / 1_000);
    let highest = 35_000_000_u64;
    assert_eq!(refused(&says("static/wrist", &megohm(highest + 1_000))), Some(Because::AboveHighest));
    assert_eq!(refused(&says("static/wrist", &megohm(highest - 1_000))), None);
}

/// Testers sold for the trade are set to 750 kOhm at the low end (data sheets of two combination testers); S20.20 has no
/// lower limit, and the source line says so.
#[test]
fn a_wrist_strap_fails_below_the_testers_of_the_trade() {
    assert_eq!(refused(&says("static/wrist", "0.749")), Some(Because::BelowLowest));
    assert_eq!(refused(&says("static/wrist", "0.75")), None);
    let stock = stock();
    let lowest = stock.limit.iter().find(|limit| limit.name == "wrist-lowest").unwrap();
    assert!(lowest.source.contains("no limit of ANSI/ESD S20.20"));
}

/// Service manuals of three server models (their notice on the power button and cords): wait 20 seconds after the last cord.
#[test]
fn the_wait_after_the_cords_is_that_of_service_manuals() {
    assert!(matches!(step(&plan(), "power-off/wait").evidence, Evidence::Time { seconds: 20 }));
}

/// A service notice for one person: not above 16 kg (35 lb). 35 lb at 0.45359237 kg (the international pound) is 15.9 kg.
#[test]
fn what_one_person_lifts_is_that_of_a_service_notice() {
    let caution = step(&plan(), "before-the-hands-go-in/weight").caution.unwrap();
    assert!(caution.contains("16 kg"), "{caution}");
    assert_eq!((35.0_f64 * 0.453_592_37).round(), 16.0);
}

/// Only what was found in a source has a shipped value; the rest is the site's to set.
#[test]
fn limits_without_a_source_have_no_value() {
    for limit in &stock().limit {
        assert_eq!(limit.value.is_none(), limit.source.starts_with("site"), "{}", limit.name);
    }
}
