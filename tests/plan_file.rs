//! What a plan file says: its voltages, and whether its statements still follow from its modules.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod buyer;

use std::path::Path;

use serde_json::Value;
use slotwise::plan::Plan;

use buyer::run;

/// A board of DDR3, whose generation does not say the voltage.
const DIPPER: &str = r#"format = "slotwise-board/1"
name = "Dipper"
generation = "DDR3"
source = "invented"
[limits]
kinds = ["RDIMM"]
volts = "1.35"
[[socket]]
label = "A"
[[socket.channel]]
label = "1"
slot = [{ label = "A1-1", position = 1 }, { label = "A1-2", position = 2 }]
[[socket.channel]]
label = "2"
slot = [{ label = "A2-1", position = 1 }, { label = "A2-2", position = 2 }]
"#;

const LOW_AND_HIGH: &str = "label,count,price,currency,lot\n\
    16GB 2Rx4 PC3L-12800R-11-12-E2,6,20,EUR,low\n\
    16GB 2Rx4 PC3-12800R-11-12-E2,8,10,EUR,high\n";

fn write(folder: &Path, name: &str, text: &str) {
    std::fs::write(folder.join(name), text).unwrap();
}

fn read(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap()
}

fn dipper() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "dipper.toml", DIPPER);
    write(folder.path(), "stock.csv", LOW_AND_HIGH);
    folder
}

#[test]
fn where_the_plan_cannot_be_written_is_told_before_the_search() {
    let folder = dipper();
    let at = folder.path();
    std::fs::create_dir(at.join("made")).unwrap();
    // Searched for, this target would end with what is in the way and exit code 1.
    let args = ["--board", "dipper.toml", "--stock", "stock.csv", "--capacity", "2TiB", "-o"];
    std::fs::write(at.join("file"), "").unwrap();
    for (path, exit, way_out) in [
        ("no/such/plan.toml", 73, "its folder is not there: make it first, or name another"),
        ("file/plan.toml", 73, "file is a file, not a folder: name a path in a folder"),
        ("file/no/plan.toml", 73, "file is a file, not a folder: name a path in a folder"),
        ("made", 74, "it is a folder: name a file in it"),
        ("made/plan.toml", 1, ""),
    ] {
        let (code, out, err) = run(at, &[&args[..], &[path]].concat());
        assert_eq!(code, exit, "{path}: {out}{err}");
        assert!(err.contains(way_out), "{path}: {err}");
        assert_eq!(err.contains(path), exit != 1, "{path}: {err}");
        assert_eq!(out.is_empty(), exit != 1, "{path}: {out}");
    }
    assert_eq!(std::fs::read_dir(at.join("made")).unwrap().count(), 0);
}

#[test]
fn a_plan_carries_the_voltage_of_ddr3_and_its_check_judges_it() {
    let folder = dipper();
    let at = folder.path();
    let args = ["--board", "dipper.toml", "--stock", "stock.csv", "--capacity", "32GiB", "-o", "plan.toml"];
    let (code, out, err) = run(at, &args);
    assert_eq!((code, err.as_str()), (0, ""));
    // The cheaper lot is of another voltage.
    assert!(out.contains("16 GiB 2R RDIMM 1.35 V, from low: A1-1 A2-1"), "{out}");
    let plan = read(at, "plan.toml");
    assert_eq!(plan.matches("\nvolts = \"1.35\"").count(), 3, "two modules and the board\n{plan}");
    let (code, out, err) = run(at, &["check", "plan.toml"]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(!out.contains("voltage"), "{out}");
    write(at, "high.toml", &plan.replacen("\nvolts = \"1.35\"", "\nvolts = \"1.5\"", 1));
    let (code, out, _) = run(at, &["check", "high.toml"]);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("voltage: A1-1: 1.5 V, the board supplies 1.35 V"), "{out}");
    // A file of before modules could have one: read, and said not to be judged.
    let older = plan.replace("\nvolts = \"1.35\"\nlot", "\nlot");
    assert_ne!(older, plan);
    write(at, "older.toml", &older);
    let (_, out, err) = run(at, &["check", "older.toml"]);
    assert_eq!(err, "");
    assert!(out.contains("not judged: A1-1, A2-1: the module's voltage is not known"), "{out}");
    write(at, "bad.toml", &plan.replacen("\nvolts = \"1.35\"", "\nvolts = \"135\"", 1));
    let (code, _, err) = run(at, &["check", "bad.toml"]);
    assert_eq!(code, 65, "{err}");
    assert!(err.contains("bad.toml:") && err.contains("`135` is no supply voltage of a module"), "{err}");
    assert!(err.contains("such as \"1.35\""), "{err}");
}

#[test]
fn the_voltage_of_what_is_fitted_is_read_from_the_order_and_kept() {
    let folder = dipper();
    let at = folder.path();
    let order = |volts: &str| {
        format!(
            "format = \"slotwise-order/1\"\nname = \"LF-1\"\n[[unit]]\nchassis = \"LF-DPR-1\"\n[[fitted]]\nslot = \"A1-1\"\n\
             generation = \"DDR3\"\nkind = \"RDIMM\"\ngib = 16\nranks = 2\nwidth = 4\nmts = 1600\n{volts}"
        )
    };
    let args = [
        "--board",
        "dipper.toml",
        "--stock",
        "stock.csv",
        "--order",
        "order.toml",
        "--capacity",
        "32GiB",
        "-o",
        "p.toml",
        "--force",
    ];
    write(at, "order.toml", &order("volts = \"1.35\"\n"));
    let (code, out, err) = run(at, &args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("16 GiB 2R RDIMM 1.35 V, stays: A1-1"), "{out}");
    let plan: Plan = toml::from_str(&read(at, "p.toml")).unwrap();
    assert_eq!(plan.slot[0].volts.as_deref(), Some("1.35"));
    assert_eq!(plan.order.fitted[0].volts.as_deref(), Some("1.35"));
    // Round trip, as a file and as the line of a record, which has one written form.
    let again: Plan = toml::from_str(&toml::to_string(&plan).unwrap()).unwrap();
    assert_eq!(again, plan);
    let line = serde_json::to_string(&plan).unwrap();
    assert!(line.contains("\"volts\":\"1.35\"") && line.contains("\"made_for\":{"), "{line}");
    assert_eq!(serde_json::to_string(&serde_json::from_str::<Plan>(&line).unwrap()).unwrap(), line);
    // One of the wrong voltage is told, leaves the machine, and goes back to its own lot.
    write(at, "order.toml", &order("volts = \"1.5\"\n"));
    let (code, out, _) = run(at, &args);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("voltage: A1-1: 1.5 V, the board supplies 1.35 V"), "{out}");
    let plan: Plan = toml::from_str(&read(at, "p.toml")).unwrap();
    assert_eq!((plan.remove[0].volts.as_deref(), plan.remove[0].to.as_deref()), (Some("1.5"), Some("high")));
    let (code, out, _) = run(at, &["check", "p.toml", "--json"]);
    assert_eq!(code, 0, "{out}");
    assert!(serde_json::from_str::<Value>(&out).unwrap()["units"][0]["breaches"].as_array().unwrap().is_empty());
    // What the order says is fitted and what the plan takes out are one module.
    let other = read(at, "p.toml").replacen("volts = \"1.5\"", "volts = \"1.25\"", 1);
    write(at, "other.toml", &other);
    let (code, _, err) = run(at, &["check", "other.toml"]);
    assert_eq!(code, 65, "{err}");
    assert!(err.contains("the order has another module in `A1-1`"), "{err}");
}

#[test]
fn a_plan_whose_voltages_follow_from_the_generation_is_written_without_them() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    write(at, "stock.csv", "label,count,lot\n32GB 2Rx4 PC4-2666V-RB2-12,8,tray\n");
    let board = format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"));
    let (code, out, _) =
        run(at, &["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "-o", "plan.toml"]);
    assert_eq!(code, 0, "{out}");
    let plan = read(at, "plan.toml");
    // Only the board's own.
    assert_eq!(plan.matches("\nvolts = ").count(), 1, "{plan}");
    let (_, out, _) = run(at, &["check", "plan.toml"]);
    assert!(out.contains("note: 8 modules without `volts` in the plan: taken from the generation, 1.2 V"), "{out}");
}

const HERON_STOCK: &str = "part,label,count,pack,price,currency,lot\n\
    OM4R32-2R4-2666,32GB 2Rx4 PC4-2666V-RB2-12,20,1,61.50,EUR,tray 12\n\
    OM4R16-1R4-2666,16GB 1Rx4 PC4-2666V-RC2-12,40,4,33,EUR,shelf 3\n";

/// A plan of 256 GiB, changed, checked: exit code and what is said to hold no more, by key.
fn changed(change: impl FnOnce(&mut Plan)) -> (i32, Vec<(String, String)>) {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    write(at, "stock.csv", HERON_STOCK);
    let board = format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"));
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--exactly", "--budget", "500"];
    let (code, out, err) = run(at, &[&args[..], &["-o", "plan.toml"]].concat());
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    let mut plan: Plan = toml::from_str(&read(at, "plan.toml")).unwrap();
    change(&mut plan);
    write(at, "changed.toml", &toml::to_string(&plan).unwrap());
    let (code, out, err) = run(at, &["check", "changed.toml", "--json"]);
    assert_eq!(err, "");
    let told: Value = serde_json::from_str(&out).unwrap();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let stale = told["stale"].as_array().unwrap().iter().map(|s| (text(&s["statement"]), text(&s["what"]))).collect();
    // The same stands on screen.
    let (_, out, _) = run(at, &["check", "changed.toml"]);
    let stale: Vec<(String, String)> = stale;
    for (statement, what) in &stale {
        assert!(out.contains(&format!("  {statement}: {what}")), "{statement}: {what}\n{out}");
    }
    assert_eq!(out.contains("hold no more") || out.contains("holds no more"), !stale.is_empty(), "{out}");
    (code, stale)
}

fn keys(stale: &[(String, String)]) -> Vec<&str> {
    stale.iter().map(|(key, _)| key.as_str()).collect()
}

#[test]
fn a_plan_as_it_was_made_holds_and_tags_serials_and_order_of_rows_change_nothing() {
    assert_eq!(changed(|_| {}), (0, Vec::new()));
    let (code, stale) = changed(|plan| {
        plan.order.unit[0].chassis = "LF-HRN-0140".to_owned();
        plan.order.stand_ins = false;
        plan.slot.reverse();
        plan.slot[0].module.identity.serial = Some("7A41".to_owned());
        plan.reasons.push("the customer wants it so".to_owned());
    });
    assert_eq!((code, stale), (0, Vec::new()));
}

#[test]
fn modules_changed_by_hand_take_the_statements_about_them_along() {
    // One module a socket taken out: less than the target, and all that was said goes.
    let (code, stale) = changed(|plan| plan.slot.retain(|slot| !slot.slot.as_str().ends_with("4-1")));
    assert_eq!(code, 1);
    let told: Vec<&str> = keys(&stale);
    assert_eq!(
        told,
        ["order.gib", "name", "reasons[0]", "reasons[2]", "considered.purchase[0]", "considered.proof", "considered"]
    );
    let of = |key: &str| stale.iter().find(|(k, _)| k == key).unwrap().1.as_str();
    assert_eq!(of("order.gib"), "256 GiB is asked for, and these modules make 192 GiB");
    assert!(of("reasons[0]").ends_with("what holds now: 192 GiB in 6 modules"), "{}", of("reasons[0]"));
    assert_eq!(of("considered.purchase[0]"), "8 modules of lot tray 12 and its cost of 492.00 EUR: the slots take 6");
    assert_eq!(of("considered.proof"), "it was for other modules or other places than the plan holds");
    assert!(of("considered").starts_with("alternatives, trade-off, handlings, reasons"), "{}", of("considered"));
    // The same modules in other slots: nothing but the proof can know.
    let (code, stale) = changed(|plan| {
        let at = plan.slot.iter().position(|slot| slot.slot.as_str() == "F1-1").unwrap();
        plan.slot[at].lot = Some("shelf 3".to_owned());
        plan.considered.as_mut().unwrap().purchase.clear();
    });
    assert_eq!((code, keys(&stale)[0]), (1, "considered.purchase"));
    assert_eq!(stale[0].1, "the slots take 1 of lot shelf 3, which it does not list");
    assert!(keys(&stale).contains(&"considered.proof"));
}

#[test]
fn each_statement_that_can_be_worked_out_is_held_against_the_modules() {
    let (code, stale) = changed(|plan| plan.reasons[1] = "runs at 3200 MT/s, held there by nothing".to_owned());
    assert_eq!((code, keys(&stale)), (1, vec!["reasons[1]"]));
    assert!(stale[0].1.ends_with("what holds now: runs at 2666 MT/s"), "{}", stale[0].1);
    let (_, stale) = changed(|plan| plan.considered.as_mut().unwrap().purchase[0].taken = 7);
    assert_eq!(stale[0].1, "7 of lot tray 12 taken, and 8 needed");
    let (_, stale) = changed(|plan| plan.considered.as_mut().unwrap().budget = Some("400.00 EUR".to_owned()));
    assert_eq!(stale[0].1, "400.00 may be spent, and what is taken costs 492.00");
    // A smaller target is met, and was not the one searched for; nor was it asked for exactly.
    let (_, stale) = changed(|plan| plan.order.gib = Some(slotwise::units::Size::from_gib(128)));
    assert_eq!(keys(&stale), ["order.gib", "considered.proof", "considered"]);
    assert_eq!(stale[0].1, "exactly 128 GiB was asked for, and these modules make 256 GiB");
    assert!(stale[1].1.contains("another order"), "{}", stale[1].1);
    let (_, stale) = changed(|plan| {
        plan.board.limits.ranks_per_channel = Some(6);
        plan.board_sha256 = None;
    });
    assert_eq!(keys(&stale), ["considered.proof", "considered"]);
    assert_eq!(stale[0].1, "it was for another board");
}

#[test]
fn a_plan_of_before_proofs_said_what_they_were_for_still_reads_and_is_not_taken_at_its_word() {
    let (code, stale) = changed(|plan| plan.considered.as_mut().unwrap().made_for = None);
    assert_eq!((code, stale), (0, Vec::new()));
    let (code, stale) = changed(|plan| {
        plan.considered.as_mut().unwrap().made_for = None;
        plan.slot.retain(|slot| !slot.slot.as_str().ends_with("4-1"));
    });
    assert_eq!(code, 1);
    assert!(
        stale.iter().any(|(key, what)| key == "considered.proof" && what.contains("make the plan anew")),
        "{stale:?}"
    );
}

/// Every key of a JSON value, at any depth.
fn keys_of(value: &Value, out: &mut std::collections::BTreeSet<String>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| {
            out.insert(key.clone());
            keys_of(value, out);
        }),
        Value::Array(list) => list.iter().for_each(|value| keys_of(value, out)),
        _ => {}
    }
}

#[test]
fn every_key_of_the_json_stands_in_the_docs_and_money_is_a_decimal_string() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    write(at, "stock.csv", HERON_STOCK);
    write(at, "f.csv", "slot,label\nF1-2,16GB 1Rx4 PC4-2666V-RC2-12\n");
    let board = format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"));
    let docs = std::fs::read_to_string(format!("{}/docs/plan.md", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let docs = docs.split("\n## JSON\n").nth(1).unwrap().split("\n## ").next().unwrap();
    let args = ["--board", &board, "--stock", "stock.csv", "--fitted", "f.csv"];
    for more in [&["--capacity", "512", "-o", "p.toml", "--json"][..], &["--capacity", "99TiB", "--json"]] {
        let (_, out, err) = run(at, &[&args[..], more].concat());
        assert_eq!(err, "");
        let told: Value = serde_json::from_str(&out).unwrap();
        let mut keys = std::collections::BTreeSet::new();
        keys_of(&told, &mut keys);
        for plan in told["plans"].as_array().unwrap().iter().chain(told["front"].as_array().unwrap()) {
            let cost = plan["cost"].as_str().unwrap();
            assert!(slotwise::stock::Money::parse(cost).is_some_and(|money| money.to_string() == cost), "{cost}");
            assert!(plan["effective_mb_s"].is_u64() && plan["effective_bandwidth"].is_u64(), "{plan}");
        }
        assert!(keys.iter().all(|key| docs.contains(&format!("`{key}`"))), "{keys:?}");
    }
    let (_, out, _) = run(at, &["check", "p.toml", "--json"]);
    let mut keys = std::collections::BTreeSet::new();
    keys_of(&serde_json::from_str(&out).unwrap(), &mut keys);
    assert!(keys.iter().all(|key| docs.contains(&format!("`{key}`"))), "{keys:?}");
}

/// More sorts than can be put together in every way: a limit ends the search, and the bound is given all the same.
#[test]
fn a_stock_of_more_sorts_than_are_put_together_is_told_with_a_bound() {
    let mut stock = String::from("kind,gib,ranks,width,mts,count,price,currency,lot\n");
    for (n, gib) in [8u32, 16, 24, 32, 48, 64, 96, 128].into_iter().enumerate() {
        for (r, ranks) in [1, 2, 4, 8].into_iter().enumerate() {
            for (w, width) in [4, 8, 16, 32].into_iter().enumerate() {
                let price = gib * 2 + (n * 5 + r * 3 + w) as u32;
                stock += &format!("RDIMM,{gib},{ranks},{width},2666,2,{price},EUR,{gib}-{ranks}-{width}\n");
            }
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    write(at, "stock.csv", &stock);
    let board = format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"));
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--seconds", "2", "--prefer"];
    let ask = |prefer: &str, more: &[&str]| run(at, &[&args[..], &[prefer], more].concat());
    for (prefer, of) in [("bandwidth", "effective_mb_s"), ("cost", "cost"), ("room", "modules")] {
        let (code, out, err) = ask(prefer, &["--json"]);
        assert_eq!((code, err.as_str()), (0, ""));
        let told: Value = serde_json::from_str(&out).unwrap();
        assert_eq!((told["exhausted"].as_bool(), told["bound_of"].as_str()), (Some(false), Some(of)), "{prefer}");
        let value = |value: &Value| match value.as_str() {
            Some(text) => slotwise::stock::Money::parse(text).unwrap().0,
            None => value.as_u64().unwrap(),
        };
        let (bound, best) = (value(&told["bound"]), value(&told["plans"][0][of]));
        assert!(if prefer == "bandwidth" { best <= bound } else { best >= bound }, "{prefer}: {best}, {bound}");
        assert!(bound > 0);
    }
    let (_, out, _) = ask("cost", &[]);
    assert!(out.contains("NOT proven: the search was cut short; no plan costs less than 5"), "{out}");
}
