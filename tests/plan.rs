//! `slotwise plan` and `slotwise plan check` as a buyer runs them.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod buyer;

use serde_json::Value;

use buyer::run;

const STOCK: &str = "part,label,count,pack,price,currency,lot\n\
    OM4R32-2R4-2666,32GB 2Rx4 PC4-2666V-RB2-12,20,1,61.50,EUR,tray 12\n\
    OM4R16-1R4-2666,16GB 1Rx4 PC4-2666V-RC2-12,40,4,33,EUR,shelf 3\n\
    OM4R64-2R4-2933,64GB 2Rx4 PC4-2933Y-RB2-12,8,2,148,EUR,offer 7\n";

fn heron() -> String {
    format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"))
}

fn folder(stock: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("stock.csv"), stock).unwrap();
    folder
}

#[test]
fn a_stock_list_and_a_target_give_a_plan_whose_lines_explain_themselves() {
    let folder = folder(STOCK);
    let board = heron();
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "-o", "plan.toml"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    for part in [
        "256 GiB in 8 modules (8 of 32 GiB) on 8 of 8 channels",
        "runs at 2666 MT/s",
        "one module of 32 GiB per socket fewer (out of F4-1, R4-1) leaves 192 GiB, short of 256 GiB",
        "one more module of 32 GiB per socket (in F1-2, R1-2) costs 123.00 EUR more and leaves channel 1 of F and R \
         alone: 20 % of the memory at a quarter of the speed and slows all memory to 2400 MT/s",
        "32 GiB 2R RDIMM, from tray 12: F1-1 F2-1 F3-1 F4-1 R1-1 R2-1 R3-1 R4-1",
        "for 1 unit: 492.00 EUR",
        "why not 2 (16 of 16 GiB): costs 36.00 EUR more",
        "proven:",
    ] {
        assert!(out.contains(part), "{part} in\n{out}");
    }
    // What it writes is a plan by its own rules, and by the reader's.
    let (code, out, err) = run(folder.path(), &["check", "plan.toml"]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("no rule is broken"), "{out}");
}

#[test]
fn a_hand_made_plan_is_told_every_broken_rule_with_slot_and_source() {
    let folder = folder(STOCK);
    let board = heron();
    run(folder.path(), &["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "-o", "plan.toml"]);
    let plan = std::fs::read_to_string(folder.path().join("plan.toml")).unwrap();
    let changed = plan.replacen("slot = \"F1-1\"", "slot = \"F1-3\"", 1);
    std::fs::write(folder.path().join("changed.toml"), changed).unwrap();
    let (code, out, _) = run(folder.path(), &["check", "changed.toml", "--json"]);
    assert_eq!(code, 1, "{out}");
    let told: Value = serde_json::from_str(&out).unwrap();
    let breaches = told["units"][0]["breaches"].as_array().unwrap();
    let rules: Vec<&str> = breaches.iter().map(|b| b["rule"].as_str().unwrap()).collect();
    assert!(rules.contains(&"order") && rules.contains(&"sockets-match"), "{rules:?}");
    assert!(breaches.iter().all(|b| b["source"].as_str().unwrap().contains("board Heron: invented")), "{out}");
    assert_eq!(breaches[0]["slots"][0], "F1-3", "{out}");
}

#[test]
fn one_wrong_module_is_named_as_the_odd_one_and_a_rate_the_plan_only_says_is_found() {
    let folder = folder(STOCK);
    let board = heron();
    run(folder.path(), &["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "-o", "plan.toml"]);
    let plan = std::fs::read_to_string(folder.path().join("plan.toml")).unwrap();
    let (_, out, _) = run(folder.path(), &["check", "plan.toml"]);
    assert!(out.contains("256 GiB in 8 modules"), "{out}");
    // The first module of the board is the wrong one: it is named, not the seven others.
    let at = plan.find("slot = \"F1-1\"").unwrap();
    let odd = plan[..at].to_owned() + &plan[at..].replacen("gib = 32", "gib = 16", 1);
    assert_ne!(odd, plan);
    std::fs::write(folder.path().join("odd.toml"), odd).unwrap();
    let (code, out, _) = run(folder.path(), &["check", "odd.toml", "--json"]);
    let told: Value = serde_json::from_str(&out).unwrap();
    let breaches = told["units"][0]["breaches"].as_array().unwrap();
    let mixing: Vec<&Value> = breaches.iter().filter(|b| b["rule"] == "mixing").collect();
    assert_eq!((code, mixing.len()), (1, 1), "{out}");
    assert!(mixing[0]["what"].as_str().unwrap().starts_with("F1-1 holds 16 GiB"), "{out}");
    let fast = plan.replacen("mts = 2666", "mts = 3200", 1);
    let stated = fast.find("\nmts = 3200").is_some();
    assert!(stated, "{plan}");
    std::fs::write(folder.path().join("fast.toml"), fast).unwrap();
    let (code, out, _) = run(folder.path(), &["check", "fast.toml"]);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("the plan says 3200 MT/s, but its modules run at 2666 MT/s"), "{out}");
}

#[test]
fn numbers_below_nothing_are_refused_in_words_and_costs_say_for_how_many_units() {
    let folder = folder(STOCK);
    let board = heron();
    let base = ["--board", &board, "--stock", "stock.csv"];
    for (more, word) in [
        (&["--capacity", "-5GiB"][..], "--capacity -5GiB is no size"),
        (&["--capacity", "256GiB", "--budget", "-1"], "--budget -1 is no amount"),
        (&["--capacity", "256GiB", "--units", "-1"], "-1"),
    ] {
        let (code, _, err) = run(folder.path(), &[&base[..], more].concat());
        assert_eq!(code, 2, "{err}");
        assert!(err.contains(word) && !err.contains("unexpected argument"), "{err}");
    }
    let two = ["--capacity", "128GiB", "--units", "2"];
    let (_, out, err) = run(folder.path(), &[&base[..], &two].concat());
    assert!(out.contains("cost of 2"), "{out}{err}");
}

#[test]
fn json_carries_plans_front_and_proof() {
    let folder = folder(STOCK);
    let board = heron();
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "384GiB", "--prefer", "cost", "--json"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (0, ""));
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(told["exhausted"], true);
    let best = &told["plans"][0];
    assert_eq!((best["cost"].as_str(), best["currency"].as_str()), (Some("738.00"), Some("EUR")), "{best}");
    assert_eq!(best["slots"].as_array().unwrap().len() as u64, best["modules"].as_u64().unwrap());
    assert!(!told["front"].as_array().unwrap().is_empty());
}

#[test]
fn what_is_fitted_is_kept_and_told_when_it_breaks_rules() {
    let folder = folder(STOCK);
    let fitted = "slot,part,label,serial\nF1-2,OM4R32-2R4-2666,32GB 2Rx4 PC4-2666V-RB2-12,S1\n";
    std::fs::write(folder.path().join("fitted.csv"), fitted).unwrap();
    let board = heron();
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--fitted", "fitted.csv"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("fitted now, against the rules: order: F1-2 is filled and F1-1 is empty"), "{out}");
    assert!(out.contains("move the 32 GiB RDIMM, serial S1, from F1-2 to"), "{out}");
    // Seven bought, one moved: seven seated, one taken out and seated.
    assert!(out.contains("9 handlings (taking a module out is one, seating it another), in this order:"), "{out}");
}

#[test]
fn what_leaves_is_named_with_where_it_goes_and_a_ring_takes_one_place_in_the_tray() {
    let folder = folder("part,label,count,lot\nOM4R64-2R4-2933,64GB 2Rx4 PC4-2933Y-RB2-12,8,offer 7\n");
    // An LRDIMM that cannot stay, and a larger module behind a smaller one with more ranks.
    let fitted = "slot,part,label,serial\nF2-1,OM4L64,64GB 4Rx4 PC4-2666V-LB2-12,S9\n\
        F1-1,OM4R64-2R4-2933,64GB 2Rx4 PC4-2933Y-RB2-12,S1\n";
    std::fs::write(folder.path().join("fitted.csv"), fitted).unwrap();
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--fitted", "fitted.csv", "--capacity", "512GiB"];
    let (code, out, err) = run(folder.path(), &asked);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("  1. take the 64 GiB LRDIMM, serial S9, out of F2-1: it goes to the tray"), "{out}");
    assert!(out.contains("seat 64 GiB from offer 7 in F2-1"), "{out}");
    assert!(out.contains("64 GiB 2R RDIMM, stays: F1-1"), "{out}");
}

#[test]
fn units_alike_are_counted_against_the_lots() {
    let folder = folder(STOCK);
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--json", "--units"];
    // Twelve units need 3072 GiB; the stock holds 1792 GiB.
    let (code, out, _) = run(folder.path(), &[&asked[..], &["12"]].concat());
    assert_eq!(code, 1, "{out}");
    let told: Value = serde_json::from_str(&out).unwrap();
    assert!(told["shortage"]["reasons"][0].as_str().unwrap().contains("the stock is short"), "{out}");
    let (code, out, _) = run(folder.path(), &[&asked[..], &["2"]].concat());
    assert_eq!(code, 0, "{out}");
    let told: Value = serde_json::from_str(&out).unwrap();
    let plan = &told["plans"][0];
    let bought = plan["purchase"].as_array().unwrap();
    let sum = |key: &str| bought.iter().map(|b| b[key].as_u64().unwrap()).sum::<u64>();
    assert!(bought.iter().all(|b| b["taken"].as_u64() <= b["there"].as_u64()), "{out}");
    assert_eq!(sum("needed"), 2 * plan["modules"].as_u64().unwrap(), "{out}");
    assert!(sum("taken") >= sum("needed"), "{out}");
}

#[test]
fn nothing_that_fits_is_told_with_the_way_there() {
    let folder = folder(STOCK);
    let board = heron();
    let target = ["--board", &board, "--stock", "stock.csv", "--capacity"];
    let (code, out, _) = run(folder.path(), &[&target[..], &["256GiB", "--budget", "100"]].concat());
    assert_eq!(code, 1);
    assert!(
        out.contains("the budget of 100.00 EUR is in the way: the least that meets the target costs 492.00"),
        "{out}"
    );
    let (code, out, _) = run(folder.path(), &[&target[..], &["4TiB"]].concat());
    assert_eq!(code, 1);
    let stock = "the 24 largest modules there are (8 of 64 GiB, 16 of 32 GiB) make 1 TiB, and 4 TiB is asked for";
    let board = "its 24 slots hold 3 TiB with the largest module it takes (LRDIMM of 128 GiB)";
    for part in [stock, board, "nearest below that can be met: 1 TiB"] {
        assert!(out.contains(part), "{part} in\n{out}");
    }
}

#[test]
fn an_exact_target_that_cannot_be_met_says_why_and_what_lies_next_to_it() {
    let folder = folder(STOCK);
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--exactly", "--capacity"];
    let (code, out, _) = run(folder.path(), &[&asked[..], &["200GiB"]].concat());
    assert_eq!(code, 1);
    for part in [
        "no plan gives exactly 200 GiB",
        "modules of 16 GiB, 32 GiB, 64 GiB, the same in every socket, make multiples of 32 GiB, and 200 GiB is none",
        "nearest below that can be met: 192 GiB",
        "nearest above that can be met: 224 GiB",
    ] {
        assert!(out.contains(part), "{part} in\n{out}");
    }
    // Both neighbours can be had, and nothing between them.
    for (size, expected) in [("192GiB", 0), ("208GiB", 1), ("224GiB", 0)] {
        assert_eq!(run(folder.path(), &[&asked[..], &[size]].concat()).0, expected, "{size}");
    }
}

#[test]
fn a_rule_that_is_in_the_way_is_told_in_the_buyers_words() {
    // Three ranks-heavy modules a channel would hold it; eight ranks do not let them.
    let folder = folder("label,count\n64GB 4Rx4 PC4-2666V-LB2-12,24\n");
    let board = std::fs::read_to_string(heron()).unwrap();
    std::fs::write(folder.path().join("board.toml"), board).unwrap();
    let asked = ["--board", "board.toml", "--stock", "stock.csv", "--capacity", "1.5TiB", "--json"];
    let (code, out, _) = run(folder.path(), &asked);
    assert_eq!(code, 1, "{out}");
    let told: Value = serde_json::from_str(&out).unwrap();
    let reasons: Vec<&str> =
        told["shortage"]["reasons"].as_array().unwrap().iter().map(|r| r.as_str().unwrap()).collect();
    assert_eq!(
        reasons,
        [
            "the rule `limits.ranks_per_channel` is in the way: a channel carries 8 ranks at most; without it there would \
          be a plan"
        ]
    );
    assert_eq!(told["shortage"]["nearest_below_gib"], 1024, "{out}");
}

#[test]
fn a_module_that_must_stay_and_cannot_is_named() {
    let folder = folder(STOCK);
    let order = "format = \"slotwise-order/1\"\nname = \"o\"\ngib = 256\n[[unit]]\nchassis = \"LF-1\"\n[[fitted]]\n\
        slot = \"F1-1\"\nkind = \"LRDIMM\"\ngeneration = \"DDR4\"\ngib = 64\nranks = 4\nmts = 2666\nstays = true\n";
    std::fs::write(folder.path().join("order.toml"), order).unwrap();
    let board = heron();
    let args = ["--board", &board, "--stock", "stock.csv", "--order", "order.toml"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (1, ""), "{out}");
    assert!(out.contains("what must stay is in the way (F1-1): if it may go there is a plan"), "{out}");
}

#[test]
fn units_that_differ_in_lots_get_a_pick_list_that_adds_up() {
    let folder = folder("label,count,lot\n32GB 2Rx4 PC4-2666V-RB2-12,9,a\n32GB 2Rx4 PC4-2666V-RB2-12,7,b\n");
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--units", "2", "-o", "plan.toml"];
    let (code, out, err) = run(folder.path(), &asked);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("units differ in the lots their modules come from:"), "{out}");
    let plan: toml::Value = toml::from_str(&std::fs::read_to_string(folder.path().join("plan.toml")).unwrap()).unwrap();
    let mut taken = std::collections::BTreeMap::from([("a", 0), ("b", 0)]);
    // A slot with a lot takes from it in both units; one without takes what the pick list names for each.
    let picks = plan["considered"]["pick"].as_array().unwrap();
    for slot in plan["slot"].as_array().unwrap() {
        match slot.get("lot") {
            Some(lot) => *taken.get_mut(lot.as_str().unwrap()).unwrap() += 2,
            None => {
                let here: Vec<_> = picks.iter().filter(|pick| pick["slot"] == slot["slot"]).collect();
                assert_eq!(here.len(), 2, "{here:?}");
                assert_ne!(here[0]["unit"], here[1]["unit"]);
                here.iter().for_each(|pick| *taken.get_mut(pick["lot"].as_str().unwrap()).unwrap() += 1);
            }
        }
    }
    assert_eq!(taken, std::collections::BTreeMap::from([("a", 9), ("b", 7)]), "{out}");
}

#[test]
fn lots_that_fit_no_slot_are_told_with_the_reason() {
    let folder = folder("label,count,lot\n32GB 2Rx8 PC5-4800B-RE0-1010,24,new ones\n");
    let board = heron();
    let (code, out, _) = run(folder.path(), &["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB"]);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("lot new ones cannot be used: a DDR5 module in a DDR4 slot"), "{out}");
}

#[test]
fn more_modules_than_the_stock_has_are_said_to_have_to_be_bought() {
    let folder = folder("label,count,price,currency\n32GB 2Rx4 PC4-2666V-RB2-12,9,61.50,EUR\n");
    let board = heron();
    let (code, out, _) = run(folder.path(), &["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB"]);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("would have to be bought (the stock has only 1 left, it takes 2); it leaves"), "{out}");
}

#[test]
fn one_more_module_is_priced_in_whole_packs_less_what_an_open_pack_leaves() {
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--capacity"];
    for (capacity, words) in [
        // Eight of twelve in packs of four: two more open the third pack.
        ("256GiB", "costs 40.00 EUR more and leaves channel 1 of F and R alone"),
        // Six are taken as eight: the two more are there already, unpriced.
        ("192GiB", "one more module of 32 GiB per socket (in F4-1, R4-1) gives 100 % of the best bandwidth"),
    ] {
        let folder = folder("label,count,pack,price,currency\n32GB 2Rx4 PC4-2666V-RB2-12,12,4,10,EUR\n");
        let prefer = ["--prefer", "room"];
        let (code, out, _) = run(folder.path(), &[&asked[..], &[capacity], &prefer].concat());
        assert_eq!(code, 0, "{out}");
        assert!(out.contains(words), "{words} in\n{out}");
    }
}

#[test]
fn a_second_rdimm_per_channel_is_marked_an_estimate_with_the_measured_band() {
    let folder = folder("label,count\n32GB 2Rx4 PC4-2666V-RB2-12,24\n");
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--capacity", "512GiB", "-o", "plan.toml"];
    let (code, out, _) = run(folder.path(), &asked);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("90 %*"), "{out}");
    assert!(out.contains("(estimate; measured machines let expect 85 to 90 %)"), "{out}");
    assert!(out.contains("estimate: two RDIMMs on a channel measured 83 % of one where the clock gives 88 %"), "{out}");
    let plan = std::fs::read_to_string(folder.path().join("plan.toml")).unwrap();
    assert!(plan.contains("measured machines let expect 85 to 90 %"), "{plan}");
    let (_, out, _) = run(folder.path(), &[&asked[..6], &["--json"]].concat());
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((&told["plans"][0]["estimate"]["low"], &told["plans"][0]["estimate"]["high"]), (&85.into(), &90.into()));
    // One per channel lies inside the model.
    let (_, out, _) =
        run(folder.path(), &["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--json"]);
    let told: Value = serde_json::from_str(&out).unwrap();
    assert!(told["plans"][0]["estimate"].is_null(), "{out}");
}

#[test]
fn bad_input_is_refused_with_its_place() {
    let board = heron();
    let cases = [
        ("label,count\n32GB 2Rx4 PC4-2666V-RB2-12,-3\n", "256GiB", 65, "stock.csv:2: count `-3`"),
        (
            "label,count,price,currency\n32GB 2Rx4 PC4-2666V-R,3,1,EUR\n16GB 2Rx8 PC4-2666V-R,3,1,USD\n",
            "256GiB",
            65,
            "currency USD after EUR",
        ),
        ("label,count\nwhat is this,3\n", "256GiB", 65, "`what is this` has no"),
        ("kind,gib,mts,count\nXIMM,32,2666,4\n", "256GiB", 65, "kind `XIMM`"),
        (
            "label,count\n32GB 2Rx4 PC4-2666V-R,4000000000\n",
            "256GiB",
            65,
            "count `4000000000` is not a whole number from 0",
        ),
        ("label,count\n32GB 2Rx4 PC4-2666V-R,99999999999999\n", "256GiB", 65, "stock.csv:2: count `99999999999999`"),
        (
            "label,count,serials\n32GB 2Rx4 PC4-2666V-R,1,S1\n16GB 2Rx8 PC4-2666V-R,1,S1\n",
            "256GiB",
            65,
            "stock.csv:3: serial `S1` is in row 2 already",
        ),
        ("", "256GiB", 65, "stock.csv:1: the file is empty; its first line names the columns"),
        ("label;count\n32GB 2Rx4 PC4-2666V-R;3;4\n", "256GiB", 65, "stock.csv:2: 3 values, and the header names 2"),
        ("label,count\n\"32GB 2Rx4\nPC4-2666V-R\",3\n", "256GiB", 65, "stock.csv:2: label holds a line break"),
        ("label,count\n\"32GB 2Rx4 PC4-2666V-R,3\n", "256GiB", 65, "close every quote"),
        (
            "label;count;price;currency\n32GB 2Rx4 PC4-2666V-R;3;1,200;EUR\n",
            "256GiB",
            65,
            "stock.csv:2: price `1,200` may be thousands or hundredths",
        ),
        (STOCK, "0GiB", 2, "--capacity 0GiB is no size"),
        (STOCK, "much", 2, "--capacity much is no size"),
    ];
    for (stock, capacity, expected, part) in cases {
        let folder = folder(stock);
        let (code, _, err) = run(folder.path(), &["--board", &board, "--stock", "stock.csv", "--capacity", capacity]);
        assert_eq!(code, expected, "{err}");
        assert!(err.contains(part), "{part} in {err}");
    }
}

#[test]
fn a_list_as_a_spreadsheet_saves_it_is_read() {
    let plain = folder("label,count,price,currency\n32GB 2Rx4 PC4-2666V-RB2-12,20,61.50,EUR\n");
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB"];
    let expected = run(plain.path(), &asked);
    assert_eq!(expected.0, 0, "{}", expected.1);
    for text in [
        "\u{feff}label;count;price;currency\r\n32GB 2Rx4 PC4-2666V-RB2-12;20;61,50;EUR\r\n",
        "label\tcount\tprice\tcurrency\n32GB 2Rx4 PC4-2666V-RB2-12\t20\t61,5\tEUR\n",
        "\u{feff}\"label\",\"count\",\"price\",\"currency\"\n\"32GB 2Rx4 PC4-2666V-RB2-12\",\"20\",\"61,50\",\"EUR\"\n",
    ] {
        assert_eq!(run(folder(text).path(), &asked), expected, "{text:?}");
    }
}

#[test]
fn a_stock_of_nothing_is_said_and_what_is_fitted_is_planned() {
    let folder = folder("label,count\n");
    let fitted = "slot;label\nF1-2;32GB 2Rx4 PC4-2666V-RB2-12\nR1-1;32GB 2Rx4 PC4-2666V-RB2-12\n";
    std::fs::write(folder.path().join("fitted.csv"), fitted).unwrap();
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--fitted", "fitted.csv", "--capacity"];
    let (code, out, err) = run(folder.path(), &[&asked[..], &["64GiB"]].concat());
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("note: the stock list has a header and no rows"), "{out}");
    assert!(out.contains("move the 32 GiB RDIMM from F1-2 to F1-1"), "{out}");
    let (code, out, _) = run(folder.path(), &[&asked[..], &["128GiB"]].concat());
    assert_eq!(code, 1);
    assert!(out.contains("note: the stock list has a header and no rows"), "{out}");
    assert!(out.contains("(2 of 32 GiB) make 64 GiB, and 128 GiB is asked for"), "{out}");
}

#[test]
fn a_voltage_nobody_gave_is_said_to_be_taken_from_the_generation() {
    let folder = folder("generation,kind,gib,ranks,width,mts,count,lot\nDDR4,RDIMM,32,2,4,2666,8,tray 12\n");
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "-o", "plan.toml", "--force"];
    let (code, out, err) = run(folder.path(), &asked);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("note: no voltage is given for lot tray 12: taken from the generation (DDR4 1.2 V"), "{out}");
    let (_, out, _) = run(folder.path(), &["check", "plan.toml"]);
    assert!(out.contains("note: 8 modules without `volts` in the plan: taken from the generation, 1.2 V"), "{out}");
    let stock = "generation,kind,gib,ranks,width,mts,count,volts\nDDR4,RDIMM,32,2,4,2666,8,1.35\n";
    std::fs::write(folder.path().join("stock.csv"), stock).unwrap();
    let (code, out, _) = run(folder.path(), &asked);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("cannot be used: 1.35 V, the board supplies 1.2 V"), "{out}");
}

#[test]
fn a_stock_without_prices_tells_no_cost_and_packs_are_told_in_words() {
    let folder = folder("label,count,pack\n32GB 2Rx4 PC4-2666V-RB2-12,20,4\n");
    let board = heron();
    let asked = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB"];
    let (code, out, err) = run(folder.path(), &asked);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("2 packs of 4") && out.contains("names no price") && !out.contains("0.00"), "{out}");
    let (_, out, _) = run(folder.path(), &[&asked[..], &["--json"]].concat());
    let told: Value = serde_json::from_str(&out).unwrap();
    assert!(told["plans"][0]["cost"].is_null(), "{out}");
}

#[test]
fn a_slot_that_is_fitted_twice_is_refused_by_name() {
    let folder = folder(STOCK);
    let twice = "slot,label\nF1-1,32GB 2Rx4 PC4-2666V-RB2-12\nF1-1,16GB 1Rx4 PC4-2666V-RC2-12\n";
    std::fs::write(folder.path().join("fitted.csv"), twice).unwrap();
    let board = heron();
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--fitted", "fitted.csv"];
    let (code, _, err) = run(folder.path(), &args);
    assert_eq!(code, 65, "{err}");
    assert!(err.contains("`F1-1` is named in row 2 already"), "{err}");
}

#[test]
fn a_stock_of_ten_thousand_lots_is_planned_from() {
    let mut stock = String::from("label,count,pack,price,currency,lot\n");
    for n in 0..10_000 {
        let label = ["32GB 2Rx4 PC4-2666V-RB2-12", "16GB 1Rx4 PC4-2666V-RC2-12", "64GB 2Rx4 PC4-2933Y-RB2-12"][n % 3];
        stock += &format!("{label},{},{},{}.50,EUR,lot {n}\n", 4 + n % 5, [1, 2, 4][n % 7 % 3], 30 + n % 90);
    }
    let folder = folder(&stock);
    let board = heron();
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "256GiB", "--alternatives", "0"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("256 GiB in 8 modules"), "{out}");
}

#[test]
fn a_board_without_channels_is_refused() {
    let folder = folder(STOCK);
    let board = "format = \"slotwise-board/1\"\nname = \"bare\"\ngeneration = \"DDR4\"\n[[socket]]\nlabel = \"P0\"\n\
        [limits]\nkinds = [\"RDIMM\"]\n";
    std::fs::write(folder.path().join("bare.toml"), board).unwrap();
    let args = ["--board", "bare.toml", "--stock", "stock.csv", "--capacity", "256GiB"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, out.as_str()), (65, ""), "{err}");
    assert!(err.contains("channel"), "{err}");
}

#[test]
fn plans_that_differ_in_what_settles_ties_alone_do_not_take_the_places_of_the_next_best() {
    let folder = folder(
        "label,part,count,price,currency,lot\n\
         16GB 1Rx4 PC4-2666V-R,LK16,40,50,EUR,a\n\
         32GB 2Rx4 PC4-2666V-R,LK32,40,110,EUR,b\n",
    );
    let board = heron();
    let args = ["--board", &board, "--stock", "stock.csv", "--capacity", "128GiB"];
    let (_, out, _) = run(folder.path(), &[&args[..], &["--json"]].concat());
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(told["plans"].as_array().unwrap().len(), 4, "{told}");
    // As many as are asked for with every order, and none left out between them.
    for prefer in ["bandwidth", "cost", "room"] {
        let (_, out, _) = run(folder.path(), &[&args[..], &["--prefer", prefer, "--json"]].concat());
        let told: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(told["plans"].as_array().unwrap().len(), 4, "{prefer}: {told}");
        assert_eq!(told["alternatives_exhausted"], true, "{prefer}");
        let (_, out, _) = run(folder.path(), &[&args[..], &["--prefer", prefer]].concat());
        assert!(out.contains("the next best are proven: no other arrangement lies between them"), "{out}");
    }
}
