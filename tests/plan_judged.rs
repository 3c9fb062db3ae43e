//! Hand-made plans judged by `plan check`: each broken rule by its name, with its slots and its source.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod buyer;

use serde_json::Value;

/// Two sockets of two channels of two slots, with every limit that the case asks for.
fn board(limits: &str) -> String {
    let mut text =
        "format = \"slotwise-board/1\"\nname = \"Ruff\"\ngeneration = \"DDR4\"\nsource = \"Ruff guide\"\n".to_owned();
    for socket in ["A", "B"] {
        text += &format!("[[socket]]\nlabel = \"{socket}\"\n");
        for channel in ["1", "2"] {
            let slot = |n: u8| format!("{{ label = \"{socket}{channel}-{n}\", position = {n} }}");
            text += &format!("[[socket.channel]]\nlabel = \"{channel}\"\nslot = [{}, {}]\n", slot(1), slot(2));
        }
    }
    text += "[limits]\nkinds = [\"RDIMM\", \"LRDIMM\"]\nlargest = [{ kind = \"RDIMM\", gib = 64 }]\n";
    text += limits;
    text += "\n[[cpu]]\nname = \"Elm\"\ngib = 96\n[[speed]]\nkind = \"RDIMM\"\nper_channel = 1\nmts = 2666\n";
    text + "[[speed]]\nkind = \"RDIMM\"\nranks = 1\nper_channel = 2\nmts = 2400\n"
}

/// A line of the plan: a module of 32 GiB with one rank in this slot, with these keys in place of its own.
fn module(slot: &str, other: &str) -> String {
    let key = |line: &&str| !other.lines().any(|own| own.split(" = ").next() == line.split(" = ").next());
    let own = ["do = \"insert\"", "generation = \"DDR4\"", "kind = \"RDIMM\"", "gib = 32", "ranks = 1", "width = 4"];
    let kept: Vec<&str> = own.into_iter().filter(key).collect();
    format!("[[slot]]\nslot = \"{slot}\"\nmts = 2666\n{}\n{other}\n", kept.join("\n"))
}

fn judged(limits: &str, processors: &str, modules: &[String], rest: &str) -> (i32, Value, String) {
    let plan = format!(
        "format = \"slotwise-plan/1\"\nname = \"by hand\"\nboard_file = \"b.toml\"\n{}{rest}\
         [order]\nformat = \"slotwise-order/1\"\nname = \"o\"\n[[order.unit]]\nchassis = \"LF-1\"\nprocessor = [{processors}]\n",
        modules.concat()
    );
    let folder = buyer::folder(&[("b.toml", &board(limits)), ("p.toml", &plan)]);
    let (code, out, err) = buyer::run(folder.path(), &["check", "p.toml", "--json"]);
    assert_eq!(err, "");
    let (_, screen, _) = buyer::run(folder.path(), &["check", "p.toml"]);
    (code, serde_json::from_str(&out).unwrap(), screen)
}

const BOTH: &str = "{ socket = \"A\", cpu = \"Elm\" }, { socket = \"B\", cpu = \"Elm\" }";

#[test]
fn every_rule_that_a_hand_made_plan_breaks_is_named_with_its_slots_and_its_source() {
    let m = module;
    let deep = ["A1-1", "A1-2", "A2-1"].map(|slot| m(slot, ""));
    type Case<'c> = (&'c str, &'c str, &'c str, Vec<String>, &'c str, &'c [&'c str]);
    let cases: Vec<Case<'_>> = vec![
        ("generation", "generation", "", vec![m("A1-1", "generation = \"DDR5\"")], BOTH, &["A1-1"]),
        ("kind", "limits.kinds", "", vec![m("A1-1", "kind = \"UDIMM\"")], BOTH, &["A1-1"]),
        ("kinds-mixed", "limits.kinds", "", vec![m("A1-1", ""), m("B1-1", "kind = \"LRDIMM\"")], BOTH, &["B1-1"]),
        ("voltage", "limits.volts", "volts = \"1.2\"", vec![m("A1-1", "volts = \"1.35\"")], BOTH, &["A1-1"]),
        ("largest", "limits.largest", "", vec![m("A1-1", "gib = 80")], BOTH, &["A1-1"]),
        ("order", "slot.position", "", vec![m("A1-2", "")], BOTH, &["A1-2"]),
        (
            "ranks-per-channel",
            "limits.ranks_per_channel",
            "ranks_per_channel = 1",
            vec![m("A1-1", ""), m("A1-2", "")],
            BOTH,
            &["A1-1", "A1-2"],
        ),
        (
            "more-ranks-first",
            "limits.more_ranks_first",
            "more_ranks_first = true",
            vec![m("A1-1", ""), m("A1-2", "ranks = 2")],
            BOTH,
            &["A1-1", "A1-2"],
        ),
        ("per-channel", "speed", "", vec![m("A1-1", "ranks = 2"), m("A1-2", "")], BOTH, &["A1-1"]),
        (
            "mixing",
            "limits.mixing",
            "mixing = \"none\"",
            vec![m("A1-1", ""), m("A2-1", "gib = 16")],
            BOTH,
            &["A1-1", "A2-1"],
        ),
        (
            "same-ranks",
            "limits.same_ranks",
            "same_ranks = true",
            vec![m("A1-1", ""), m("A2-1", "ranks = 2")],
            BOTH,
            &["A1-1", "A2-1"],
        ),
        (
            "same-width",
            "limits.same_width",
            "same_width = true",
            vec![m("A1-1", ""), m("A2-1", "width = 8")],
            BOTH,
            &["A1-1", "A2-1"],
        ),
        ("same-depth", "limits.same_depth", "same_depth = true", deep.to_vec(), BOTH, &["A1-1", "A1-2", "A2-1"]),
        (
            "sockets-match",
            "limits.sockets_match",
            "sockets_match = true",
            vec![m("A1-1", ""), m("B1-1", ""), m("A2-1", "")],
            BOTH,
            &["A2-1", "B2-1"],
        ),
        (
            "count",
            "limits.counts_per_socket",
            "counts_per_socket = [0, 2]",
            deep.to_vec(),
            BOTH,
            &["A1-1", "A1-2", "A2-1"],
        ),
        ("cpu-capacity", "cpu.gib", "", vec![m("A1-1", "gib = 64"), m("A2-1", "gib = 64")], BOTH, &["A1-1", "A2-1"]),
        ("not-fitted", "order.fitted", "", vec![m("A1-1", "do = \"keep\"")], BOTH, &["A1-1"]),
        (
            "no-processor",
            "unit.processor of the order",
            "",
            vec![m("A1-1", ""), m("B1-1", "")],
            "{ socket = \"A\" }",
            &["B1-1"],
        ),
    ];
    let all: std::collections::BTreeSet<&str> = cases.iter().map(|case| case.0).collect();
    assert_eq!(all.len(), slotwise::plan::rules::Rule::ALL.len());
    for (rule, key, limits, modules, processors, slots) in cases {
        let (code, told, screen) = judged(limits, processors, &modules, "");
        assert_eq!(code, 1, "{rule}: {screen}");
        let breaches = told["units"][0]["breaches"].as_array().unwrap();
        let found: Vec<&Value> = breaches.iter().filter(|breach| breach["rule"] == rule).collect();
        let [breach] = found[..] else { panic!("{rule}: {breaches:?}") };
        assert!(breach["source"].as_str().unwrap().contains(key), "{breach}");
        let named: Vec<&str> = breach["slots"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
        assert_eq!(named, slots, "{rule}");
        assert!(screen.contains(&format!("  {rule}: {}", breach["what"].as_str().unwrap())), "{screen}");
    }
}

#[test]
fn one_broken_rule_does_not_hide_another_and_the_work_does_not_begin() {
    let modules = [module("A1-2", "kind = \"UDIMM\""), module("B1-1", "gib = 128")];
    let (code, told, screen) = judged("", BOTH, &modules, "");
    let rules: Vec<&str> =
        told["units"][0]["breaches"].as_array().unwrap().iter().filter_map(|b| b["rule"].as_str()).collect();
    assert_eq!((code, rules), (1, vec!["kind", "largest", "kinds-mixed", "order", "cpu-capacity"]), "{screen}");
    // A machine is not filled by such a plan all the same: whoever works it through is told the line.
    let plan = format!(
        "format = \"slotwise-plan/1\"\nname = \"by hand\"\nboard_file = \"b\"\n{}[order]\nformat = \"slotwise-order/1\"\n\
         name = \"o\"\n[[order.unit]]\nchassis = \"LF-1\"\n",
        modules.concat()
    );
    let text = slotwise::source::Text { file: "p.toml", bytes: plan.as_bytes() };
    let error = slotwise::plan::load(&text, &mut |_| Ok(board("").into_bytes())).unwrap_err().to_string();
    assert!(
        error.contains("UDIMM is not allowed on this board") && error.contains("larger than the largest"),
        "{error}"
    );
}

#[test]
fn modules_in_dead_slots_give_no_bandwidth() {
    let percent = |modules: &[String]| {
        let (_, told, _) = judged("", "{ socket = \"A\" }", modules, "");
        told["units"][0]["effective_percent"].as_u64().unwrap()
    };
    assert_eq!(percent(&[module("A1-1", "")]), 50);
    assert_eq!(percent(&[module("A1-1", ""), module("B1-1", "")]), 50);
    assert_eq!(percent(&[module("A1-1", ""), module("A2-1", "")]), 100);
}

#[test]
fn each_sort_of_processors_is_judged_once() {
    let plan = format!(
        "format = \"slotwise-plan/1\"\nname = \"by hand\"\nboard_file = \"b.toml\"\n{}[order]\n\
         format = \"slotwise-order/1\"\nname = \"o\"\n{}",
        module("A1-1", ""),
        ["A", "B", "A"].iter().enumerate().fold(String::new(), |text, (n, socket)| {
            text + &format!("[[order.unit]]\nchassis = \"LF-{n}\"\nprocessor = [{{ socket = \"{socket}\" }}]\n")
        })
    );
    let folder = buyer::folder(&[("b.toml", &board("")), ("p.toml", &plan)]);
    let (code, out, _) = buyer::run(folder.path(), &["check", "p.toml", "--json"]);
    let told: Value = serde_json::from_str(&out).unwrap();
    let units: Vec<_> = told["units"].as_array().unwrap().iter().map(|unit| unit["unit"].as_str().unwrap()).collect();
    assert_eq!((code, units), (1, vec!["LF-0", "LF-1"]));
}
