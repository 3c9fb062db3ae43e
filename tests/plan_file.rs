//! What a plan file says: its voltages, and whether its statements still follow from its modules.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;
use std::process::Command;

use serde_json::Value;

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

fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_slotwise"))
        .current_dir(folder)
        .env_clear()
        .arg("plan")
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (out.status.code().unwrap(), text(out.stdout), text(out.stderr))
}

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
    assert!(out.contains("not judged: A1-1: the module's voltage is not known"), "{out}");
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
    ];
    write(at, "order.toml", &order("volts = \"1.35\"\n"));
    let (code, out, err) = run(at, &args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("16 GiB 2R RDIMM 1.35 V, stays: A1-1"), "{out}");
    let plan: slotwise::plan::Plan = toml::from_str(&read(at, "p.toml")).unwrap();
    assert_eq!(plan.slot[0].volts.as_deref(), Some("1.35"));
    assert_eq!(plan.order.fitted[0].volts.as_deref(), Some("1.35"));
    // Round trip.
    let again: slotwise::plan::Plan = toml::from_str(&toml::to_string(&plan).unwrap()).unwrap();
    assert_eq!(again, plan);
    // One of the wrong voltage is told, leaves the machine, and goes back to its own lot.
    write(at, "order.toml", &order("volts = \"1.5\"\n"));
    let (code, out, _) = run(at, &args);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("voltage: A1-1: 1.5 V, the board supplies 1.35 V"), "{out}");
    let plan: slotwise::plan::Plan = toml::from_str(&read(at, "p.toml")).unwrap();
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
