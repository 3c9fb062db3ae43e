//! What `plan` takes for granted of modules, and what is fitted: its check says the same of the plan it wrote.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod buyer;

use std::path::Path;

use serde_json::Value;
use slotwise::plan::{Action, Plan};

use buyer::folder;

fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let board = format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"));
    buyer::run(folder, &[&["--board", &board, "--stock", "stock.csv"][..], args].concat())
}

fn plan_in(folder: &Path, name: &str) -> Plan {
    toml::from_str(&std::fs::read_to_string(folder.join(name)).unwrap()).unwrap()
}

fn put(folder: &Path, name: &str, plan: &Plan) {
    std::fs::write(folder.join(name), toml::to_string(plan).unwrap()).unwrap();
}

/// What is said not to be judged, by `plan` and by its check, with the notes of both.
fn told(folder: &Path, args: &[&str]) -> (Value, Value, String, String) {
    let (code, screen, err) = run(folder, &[args, &["-o", "p.toml", "--force"]].concat());
    assert_eq!((code, err.as_str()), (0, ""), "{screen}");
    let (_, json, _) = run(folder, &[args, &["--json"]].concat());
    let (code, check, err) = buyer::run(folder, &["check", "p.toml"]);
    assert_eq!((code, err.as_str()), (0, ""), "{check}");
    let (_, checked, _) = buyer::run(folder, &["check", "p.toml", "--json"]);
    let plan: Value = serde_json::from_str(&json).unwrap();
    let checked: Value = serde_json::from_str(&checked).unwrap();
    (plan["plans"][0]["unknown"].clone(), checked["units"][0]["unknown"].clone(), screen, check)
}

/// Whether a module's voltage or generation is said not to be known.
fn unknown_module(text: &str) -> bool {
    text.contains("voltage is not known") || text.contains("generation is not known")
}

#[test]
fn a_module_without_a_generation_is_of_the_boards_for_the_plan_and_for_its_check() {
    let stock = "kind,gib,ranks,width,mts,count,lot\nRDIMM,32,2,4,2666,8,a\n";
    let folder = folder(&[("stock.csv", stock)]);
    let at = folder.path();
    let (unknown, checked, screen, check) = told(at, &["--capacity", "256"]);
    assert_eq!(unknown, checked);
    for text in [&screen, &check] {
        assert!(!unknown_module(text), "{text}");
    }
    assert!(screen.contains("note: no generation is given for lot a: taken to be DDR4"), "{screen}");
    assert!(screen.contains("note: no voltage is given for lot a: taken from the generation, 1.2 V"), "{screen}");
    assert!(check.contains("note: 8 modules without `volts` in the plan: taken from the generation, 1.2 V"), "{check}");
    // A plan written by hand that leaves it out is judged the same way, and that is said.
    let mut plan = plan_in(at, "p.toml");
    plan.slot.iter_mut().for_each(|slot| slot.module.spec.generation = None);
    plan.considered = None;
    put(at, "hand.toml", &plan);
    let (code, check, err) = buyer::run(at, &["check", "hand.toml"]);
    assert_eq!((code, err.as_str()), (0, ""), "{check}");
    assert!(check.contains("note: 8 modules without `generation` in the plan: taken to be DDR4"), "{check}");
    assert!(!unknown_module(&check), "{check}");
}

#[test]
fn a_board_of_another_voltage_takes_no_module_that_is_taken_to_have_the_generations() {
    let heron =
        std::fs::read_to_string(format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let other = heron.replace("volts = \"1.2\"", "volts = \"1.35\"");
    let stock = "kind,gib,ranks,width,mts,count,lot\nRDIMM,32,2,4,2666,8,a\n";
    let folder = folder(&[("stock.csv", stock), ("other.toml", &other)]);
    let args = ["--board", "other.toml", "--stock", "stock.csv", "--capacity", "256"];
    let (code, out, err) = buyer::run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (1, ""), "{out}");
    assert!(out.contains("1.2 V, the board supplies 1.35 V"), "{out}");
}

#[test]
fn what_a_list_of_fitted_modules_leaves_out_is_taken_the_same_way() {
    let stock = "label,count,lot\n32GB 2Rx4 PC4-2666V-RB2-12,8,a\n";
    let fitted = "slot,kind,gib,ranks,width,mts\nF1-1,RDIMM,32,2,4,2666\n";
    let order = "format = \"slotwise-order/1\"\nname = \"t\"\ngib = 256\n[[unit]]\nchassis = \"LF-1\"\nenclosure = \"LF-E1\"\nbay = \"N1\"\n[[fitted]]\n\
                 slot = \"F1-1\"\nkind = \"RDIMM\"\ngib = 32\nranks = 2\nwidth = 4\nmts = 2666\n";
    let folder = folder(&[("stock.csv", stock), ("f.csv", fitted), ("o.toml", order)]);
    for args in [&["--capacity", "256", "--fitted", "f.csv"][..], &["--order", "o.toml"]] {
        let (unknown, checked, screen, check) = told(folder.path(), args);
        assert_eq!(unknown, checked, "{args:?}");
        assert!(!unknown_module(&screen) && !unknown_module(&check), "{screen}{check}");
        let note = "note: no voltage is given for what is fitted in F1-1: taken from the generation, 1.2 V";
        assert!(screen.contains(note), "{screen}");
        assert!(screen.contains("no generation is given for what is fitted in F1-1: taken to be DDR4"), "{screen}");
    }
}

const FITTED: &str = "slot,part,label,serial\nF1-1,OM4R16-1R4-2666,16GB 1Rx4 PC4-2666V-RC2-12,S1\n\
                      R1-1,OM4R32-2R4-2666,32GB 2Rx4 PC4-2666V-RB2-12,S2\n";

const STOCK: &str = "part,label,count,lot\nOM4R32-2R4-2666,32GB 2Rx4 PC4-2666V-RB2-12,20,tray 12\n";

#[test]
fn a_plan_made_with_what_is_fitted_carries_it_and_its_check_holds_each_line_against_it() {
    let folder = folder(&[("stock.csv", STOCK), ("f.csv", FITTED)]);
    let at = folder.path();
    let args = ["--capacity", "256", "--exactly", "--fitted", "f.csv", "-o", "p.toml"];
    let (code, out, err) = run(at, &args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    let plan = plan_in(at, "p.toml");
    let listed: Vec<(&str, Option<&str>)> =
        plan.order.fitted.iter().map(|f| (f.slot.as_str(), f.module.identity.serial.as_deref())).collect();
    assert_eq!(listed, [("F1-1", Some("S1")), ("R1-1", Some("S2"))]);
    assert_eq!(buyer::run(at, &["check", "p.toml"]).0, 0);
    // A line about a module that is not there is told with its place in the file.
    let kept = plan.slot.iter().position(|slot| slot.action == Action::Keep).unwrap();
    let had = ["F1-1", "R1-1"];
    let inserted =
        |slot: &slotwise::plan::PlanSlot| slot.action == Action::Insert && !had.contains(&slot.slot.as_str());
    let inserted = plan.slot.iter().position(inserted).unwrap();
    let mut wrong = plan.clone();
    wrong.slot[inserted].action = Action::Keep;
    wrong.slot[inserted].lot = None;
    let label = wrong.slot[inserted].slot.to_string();
    put(at, "wrong.toml", &wrong);
    let (code, _, err) = buyer::run(at, &["check", "wrong.toml"]);
    assert_eq!(code, 65);
    assert!(err.contains(&format!("no module is fitted in `{label}`")) && err.contains("wrong.toml:"), "{err}");
    let mut wrong = plan.clone();
    wrong.slot[kept].module.identity.serial = Some("S9".to_owned());
    put(at, "wrong.toml", &wrong);
    let (code, _, err) = buyer::run(at, &["check", "wrong.toml"]);
    assert_eq!(code, 65);
    assert!(err.contains(&format!("the order has another module in `{}`", wrong.slot[kept].slot)), "{err}");
}

#[test]
fn lines_about_fitted_modules_are_broken_where_the_order_lists_none() {
    let folder = folder(&[("stock.csv", STOCK), ("f.csv", FITTED)]);
    let at = folder.path();
    let args = ["--capacity", "256", "--exactly", "--fitted", "f.csv", "-o", "p.toml"];
    assert_eq!(run(at, &args).0, 0);
    let mut plan = plan_in(at, "p.toml");
    plan.order.fitted.clear();
    plan.considered = None;
    let kept = plan.slot.iter().position(|slot| slot.action == Action::Keep).unwrap();
    let (slot, gone) = (plan.slot[kept].slot.to_string(), plan.remove[0].slot.to_string());
    put(at, "none.toml", &plan);
    let (code, out, err) = buyer::run(at, &["check", "none.toml"]);
    assert_eq!((code, err.as_str()), (1, ""), "{out}");
    for line in [
        format!("not-fitted: {slot}: the plan keeps the module in {slot}, and its order lists no module fitted"),
        format!("source: slot[{kept}] and order.fitted of plan Heron, 256 GiB"),
        format!("not-fitted: {gone}: the plan takes the module out of {gone}, and its order lists no module fitted"),
        "source: remove[0] and order.fitted".to_owned(),
    ] {
        assert!(out.contains(&line), "{line}\n{out}");
    }
    let (_, out, _) = buyer::run(at, &["check", "none.toml", "--json"]);
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(told["units"][0]["breaches"][0]["rule"], "not-fitted");
    assert_eq!(told["units"][0]["breaches"][0]["slots"][0], slot.as_str());
}
