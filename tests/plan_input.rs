//! What a buyer may get wrong on the command line and in lists: each is told with its place and the way out.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod buyer;

use std::path::Path;

use buyer::folder;

const STOCK: &str = "part,label,count,pack,price,currency,lot\n\
    OM4R32-2R4-2666,32GB 2Rx4 PC4-2666V-RB2-12,20,1,61.50,EUR,tray 12\n\
    OM4R16-1R4-2666,16GB 1Rx4 PC4-2666V-RC2-12,40,4,33,EUR,shelf 3\n";

fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let board = format!("{}/checklists/boards/heron.toml", env!("CARGO_MANIFEST_DIR"));
    buyer::run(folder, &[&["--board", &board, "--stock", "stock.csv"][..], args].concat())
}

#[test]
fn what_cannot_be_asked_for_is_refused_with_the_reason_and_the_way_to_write_it() {
    let folder = folder(&[("stock.csv", STOCK)]);
    for (args, parts) in [
        (&["--capacity", "5XB"][..], ["the unit `XB` is not known; known are MiB, GiB, TiB and PiB", "write 512GiB"]),
        (&["--capacity", "1,5TiB"], ["a fraction is written with a point", "write 512GiB"]),
        (&["--capacity", "99999999999999"], ["more than any memory", "write 512GiB"]),
        (&["--capacity", "256", "--budget", "2080 USD"], ["the stock list is in EUR, not in USD", "write 1200"]),
        (&["--capacity", "256", "--budget", "-1"], ["it is below nothing", "write 1200 or 1200.50 EUR"]),
        (&["--capacity", "256", "--name", " "], ["a plan has a name", "leave --name out"]),
        (&["--capacity", "256", "--alternatives", "51"], ["51 is not in 0..=50", "--alternatives"]),
        (&["--capacity", "256", "--units", "0"], ["--units 0", "1 to 10000 units"]),
    ] {
        let (code, out, err) = run(folder.path(), args);
        assert_eq!((code, out.as_str()), (2, ""), "{err}");
        assert!(parts.iter().all(|part| err.contains(part)), "{parts:?} in {err}");
    }
}

#[test]
fn a_budget_is_read_with_its_currency_and_told_with_it() {
    let folder = folder(&[("stock.csv", STOCK)]);
    let (code, out, err) = run(folder.path(), &["--capacity", "256", "--budget", "500 EUR"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains("costs 123.00 EUR more, and the budget of 500.00 EUR leaves 8.00 EUR"), "{out}");
    assert!(out.contains("492.00 EUR for 1 unit, of a budget of 500.00 EUR"), "{out}");
    let (code, out, _) = run(folder.path(), &["--capacity", "256", "--budget", "0.00"]);
    assert_eq!(code, 1);
    let told = "the budget of 0.00 EUR is in the way: the least that meets the target costs 492.00 EUR";
    assert!(out.contains(told) && out.contains("nothing below can be met with that budget"), "{out}");
}

#[test]
fn a_target_beyond_everything_is_a_target_and_says_what_it_is_beyond() {
    let folder = folder(&[("stock.csv", STOCK)]);
    let (code, out, err) = run(folder.path(), &["--capacity", "1PiB"]);
    assert_eq!((code, err.as_str()), (1, ""));
    assert!(out.contains("beyond this stock") && out.contains("beyond this board"), "{out}");
    assert!(out.contains("nearest below that can be met:"), "{out}");
}

#[test]
fn a_slot_the_board_has_not_is_told_with_file_line_and_the_nearest() {
    let label = "32GB 2Rx4 PC4-2666V-RB2-12";
    let fitted = format!("slot,label\nR1-1,{label}\nf1-1,{label}\n");
    let folder = folder(&[("stock.csv", STOCK), ("fitted.csv", &fitted)]);
    let (code, _, err) = run(folder.path(), &["--capacity", "256", "--fitted", "fitted.csv"]);
    assert_eq!(code, 65);
    assert!(err.contains("fitted.csv:3: slot: board Heron has no slot `f1-1`"), "{err}");
    assert!(err.contains("did you mean `F1-1`?"), "{err}");
}

#[test]
fn a_serial_is_in_one_place_and_in_one_unit() {
    let label = "32GB 2Rx4 PC4-2666V-RB2-12";
    let known = format!("label,count,serials,lot\n{label},2,A1 A2,tray\n{label},20,,shelf\n");
    let fitted = format!("slot,label,serial\nF1-1,{label},A1\nR1-1,{label},B1\n");
    let other = fitted.replace("A1", "B2");
    let folder = folder(&[("stock.csv", &known), ("fitted.csv", &fitted), ("other.csv", &other)]);
    let (code, _, err) = run(folder.path(), &["--capacity", "256", "--fitted", "fitted.csv"]);
    assert_eq!(code, 65, "{err}");
    assert!(err.contains("serial A1 is fitted in F1-1 and stands in lot tray of the stock list"), "{err}");
    assert!(err.contains("way out: take it out of the stock list"), "{err}");
    let args = ["--capacity", "256", "--fitted", "other.csv", "--units", "2", "-o", "plan.toml"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("those of what is fitted are left out of a plan for 2 units"), "{out}");
    let plan = std::fs::read_to_string(folder.path().join("plan.toml")).unwrap();
    assert!(!plan.contains("serial"), "{plan}");
    // For one unit they stay, and the plan is one by its own rules.
    let (code, _, _) =
        run(folder.path(), &["--capacity", "256", "--fitted", "other.csv", "-o", "plan.toml", "--force"]);
    assert_eq!(code, 0);
    assert!(std::fs::read_to_string(folder.path().join("plan.toml")).unwrap().contains("serial = \"B2\""));
}

/// An order for one node of the enclosure; `bay` is the line that says which.
fn node(bay: &str, rest: &str) -> String {
    format!("format = \"slotwise-order/1\"\nname = \"LF-1\"\n[[unit]]\nchassis = \"LF-HRN-1\"\n{bay}{rest}")
}

const BAY: &str = "enclosure = \"LF-EST-1\"\nbay = \"N1\"\n";

#[test]
fn what_an_order_says_that_the_board_has_not_is_told_with_file_line_and_key() {
    for (order, at, what, key, help) in [
        (
            node(BAY, "[[fitted]]\nslot = \"F1-4\"\ngib = 16\n"),
            "o.toml:8:8",
            "no slot `F1-4`",
            "fitted[0].slot",
            "write the label as the board file has it",
        ),
        (
            node(BAY, "processor = [{ socket = \"G\" }]\n"),
            "o.toml:7:25",
            "no socket `G`",
            "unit[0].processor[0].socket",
            "known here: F, R",
        ),
        (
            node(BAY, "processor = [{ socket = \"F\", cpu = \"Rowan 15\" }]\n"),
            "o.toml:7:36",
            "no processor `Rowan 15`",
            "unit[0].processor[0].cpu",
            "did you mean `Rowan 14`?",
        ),
        (node(&BAY.replace("N1", "N7"), ""), "o.toml:6:7", "no bay `N7`", "unit[0].bay", "known here: N1, N2, N3, N4"),
    ] {
        let folder = folder(&[("stock.csv", STOCK), ("o.toml", &order)]);
        let (code, out, err) = run(folder.path(), &["--capacity", "256", "--order", "o.toml"]);
        assert_eq!((code, out.as_str()), (65, ""), "{err}");
        let parts = [at, what, key, help];
        assert!(parts.iter().all(|part| err.contains(part)), "{parts:?} in {err}");
    }
}

#[test]
fn a_plan_that_its_own_check_would_refuse_for_want_of_a_bay_is_not_made() {
    let folder = folder(&[("stock.csv", STOCK), ("open.toml", &node("", "")), ("told.toml", &node(BAY, ""))]);
    let plan = |more: &[&str]| run(folder.path(), &[&["--capacity", "256", "--order"], more].concat());
    // An answer on screen needs no bay.
    let (code, _, err) = plan(&["open.toml"]);
    assert_eq!((code, err.as_str()), (0, ""));
    let (code, out, err) = plan(&["open.toml", "-o", "p.toml"]);
    assert_eq!((code, out.as_str()), (65, ""), "{err}");
    assert!(
        err.contains("open.toml:3:1") && err.contains("its bay is not given") && err.contains("unit[0].bay"),
        "{err}"
    );
    assert!(err.contains("give `enclosure` and `bay`") && !folder.path().join("p.toml").exists(), "{err}");
    let (code, _, err) = plan(&["told.toml", "-o", "p.toml"]);
    assert_eq!((code, err.as_str()), (0, ""));
    let (code, _, err) = buyer::run(folder.path(), &["check", "p.toml"]);
    assert_eq!((code, err.as_str()), (0, ""));
}

const TWO_SOCKETS: &str = "format = \"slotwise-board/1\"\nname = \"Dunlin\"\ngeneration = \"DDR4\"\n\
    [[socket]]\nlabel = \"P0\"\n[[socket.channel]]\nlabel = \"A\"\nslot = [{ label = \"A1\", position = 1 }]\n\
    [[socket]]\nlabel = \"P1\"\n[[socket.channel]]\nlabel = \"A\"\nslot = [{ label = \"B1\", position = 1 }]\n\
    [limits]\nkinds = [\"RDIMM\"]\ncounts_per_socket = [0, 1]\n";

/// An order for the board above, with a module in B1.
fn order(processors: &str, rest: &str) -> String {
    format!(
        "format = \"slotwise-order/1\"\nname = \"try\"\n[[unit]]\nchassis = \"LF-0\"\n{processors}\
         [[fitted]]\nslot = \"B1\"\ngeneration = \"DDR4\"\nkind = \"RDIMM\"\ngib = 16\nranks = 2\nwidth = 4\n{rest}"
    )
}

#[test]
fn what_no_plan_could_be_true_to_is_refused_before_the_search() {
    let dead = order("processor = [{ socket = \"P0\" }]\n", "mts = 2666\nstays = true\n");
    let unrated = order("", "");
    let good = order("", "mts = 2666\n");
    let elsewhere = "slot,kind,gib,ranks,width,mts\nA1,RDIMM,16,2,4,2666\n";
    let stock = "kind,gib,ranks,width,mts,count,price,currency,lot\nRDIMM,16,2,4,2666,4,10,EUR,a\n";
    let folder = folder(&[
        ("board.toml", TWO_SOCKETS),
        ("dead.toml", &dead),
        ("unrated.toml", &unrated),
        ("good.toml", &good),
        ("elsewhere.csv", elsewhere),
        ("stock.csv", stock),
    ]);
    let plan = |more: &[&str]| {
        let asked = ["--board", "board.toml", "--stock", "stock.csv", "--capacity", "16GiB"];
        let (code, _, err) = buyer::run(folder.path(), &[&asked, more].concat());
        (code, err)
    };
    assert_eq!(plan(&["--order", "good.toml"]), (0, String::new()));
    for (args, said) in [
        (&["--order", "dead.toml"][..], "module in B1 stays, and socket P1 holds no processor"),
        (&["--order", "unrated.toml"], "nothing says how fast the module in B1 runs"),
        (
            &["--order", "good.toml", "--fitted", "elsewhere.csv"],
            "elsewhere.csv lists a module of 16 GiB in A1, and good.toml no module",
        ),
    ] {
        let (code, err) = plan(args);
        assert_eq!(code, 65, "{err}");
        assert!(err.contains(said) && err.contains("way out"), "{err}");
    }
}

#[test]
fn an_empty_stock_list_is_what_is_in_the_way() {
    let folder = folder(&[("stock.csv", STOCK.lines().next().unwrap())]);
    let (code, out, _) = run(folder.path(), &["--capacity", "16GiB"]);
    assert_eq!(code, 1);
    assert!(out.contains("the stock list holds no module, and none is fitted"), "{out}");
}

/// Two boards of two slots, and three lots of one module each that is faster than the others: units do not run alike.
#[test]
fn units_that_draw_on_unlike_lots_are_told_each_at_its_own_rate() {
    let board = "format = \"slotwise-board/1\"\nname = \"Dunlin\"\ngeneration = \"DDR4\"\n[limits]\nkinds = [\"RDIMM\"]\n\
                 [[socket]]\nlabel = \"P\"\n[[socket.channel]]\nlabel = \"A\"\nslot = [{ label = \"A1\", position = 1 }]\n";
    let stock = "kind,gib,ranks,width,mts,count,lot\nRDIMM,16,2,4,2933,2,fast\nRDIMM,16,2,4,2666,1,slow\n";
    let folder = folder(&[("b.toml", board), ("s.csv", stock)]);
    let args = ["--board", "b.toml", "--stock", "s.csv", "--capacity", "16GiB", "--units", "3"];
    let (code, out, err) = buyer::run(folder.path(), &[&args[..], &["-o", "p.toml"]].concat());
    assert_eq!((code, err.as_str()), (0, ""));
    let told = "units draw on lots of unlike modules: UNIT-1 and UNIT-2 run at 2933 MT/s, UNIT-3 runs at 2666 MT/s; the rate \
                and the bandwidth told for the plan are those of the slowest";
    assert!(out.contains(told), "{out}");
    assert!(
        out.contains("runs   at 2666 MT/s, the slowest of the units (others up to 2933 MT/s: told above)"),
        "{out}"
    );
    assert!(std::fs::read_to_string(folder.path().join("p.toml")).unwrap().contains(told));
    let (_, json, _) = buyer::run(folder.path(), &[&args[..], &["--json"]].concat());
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let expected = serde_json::json!([
        { "mts": 2933, "units": ["UNIT-1", "UNIT-2"] }, { "mts": 2666, "units": ["UNIT-3"] },
    ]);
    assert_eq!(json["plans"][0]["rates"], expected);
    // The plan's own check has nothing against the sentence.
    let (code, out, _) = buyer::run(folder.path(), &["check", "p.toml"]);
    assert!(code == 0 && !out.contains("no more"), "{out}");
    // Alike, nothing is told of it.
    let (_, out, _) =
        buyer::run(folder.path(), &["--board", "b.toml", "--stock", "s.csv", "--capacity", "16GiB", "--units", "2"]);
    assert!(!out.contains("unlike modules") && out.contains("runs   at 2933 MT/s; about"), "{out}");
}

/// One channel of two slots, whose table lets modules of two ranks stand alone only.
#[test]
fn a_table_without_a_rate_is_told_as_what_is_in_the_way_and_what_goes_beyond_the_budget_even_then() {
    let board = "format = \"slotwise-board/1\"\nname = \"Dunlin\"\ngeneration = \"DDR4\"\n[limits]\nkinds = [\"RDIMM\"]\n\
                 [[socket]]\nlabel = \"P\"\n[[socket.channel]]\nlabel = \"A\"\n\
                 slot = [{ label = \"A1\", position = 1 }, { label = \"A2\", position = 2 }]\n\
                 [[speed]]\nkind = \"RDIMM\"\nranks = 2\nper_channel = 1\nmts = 2666\n\
                 [[speed]]\nkind = \"RDIMM\"\nranks = 1\nper_channel = 2\nmts = 2400\n";
    let stock = "kind,gib,ranks,width,mts,count,price,currency,lot\nRDIMM,16,2,4,2666,2,100,EUR,a\n";
    let folder = folder(&[("b.toml", board), ("s.csv", stock)]);
    let plan = |more: &[&str]| {
        let args = ["--board", "b.toml", "--stock", "s.csv", "--capacity", "32GiB"];
        let (code, out, _) = buyer::run(folder.path(), &[&args, more].concat());
        assert_eq!(code, 1);
        out
    };
    let told = "- the rule `speed` is in the way: its table has no rate for some numbers of modules per channel, by kind and \
                ranks; without it there would be a plan";
    let (free, enough, short) = (plan(&[]), plan(&["--budget", "200"]), plan(&["--budget", "150"]));
    assert!(free.contains(&format!("{told}\n")) && enough.contains(&format!("{told}\n")), "{free}{enough}");
    let beyond = format!("{told}, for 200.00 EUR and not within the budget of 150.00 EUR\n");
    assert!(short.contains(&beyond), "{short}");
}

/// Modules of two sizes at no cost: two plans that differ in memory alone are not two plans.
#[test]
fn two_plans_that_are_as_good_in_all_that_was_asked_for_are_not_shown_as_two() {
    let mut board = String::from(
        "format = \"slotwise-board/1\"\nname = \"Dunlin\"\ngeneration = \"DDR4\"\n[limits]\nkinds = [\"RDIMM\"]\n\
         mixing = \"by-position\"\nsockets_match = true\n[interleave]\nways = [1]\nstyle = \"slice\"\n",
    );
    for socket in ["P", "Q"] {
        board += &format!("[[socket]]\nlabel = \"{socket}\"\n");
        for channel in 1..=3 {
            let slot = format!("slot = [{{ label = \"{socket}{channel}\", position = 1 }}]");
            board += &format!("[[socket.channel]]\nlabel = \"{channel}\"\n{slot}\n");
        }
    }
    let stock = "kind,gib,ranks,width,mts,count,pack,price,currency,lot\nRDIMM,32,1,4,2133,12,2,0,EUR,a\n\
                 RDIMM,8,2,4,2133,6,2,30,EUR,b\nRDIMM,16,1,8,2133,4,1,0,EUR,c\n";
    let folder = folder(&[("b.toml", &board), ("s.csv", stock)]);
    let args = ["--board", "b.toml", "--stock", "s.csv", "--capacity", "16GiB", "--units", "2", "--json"];
    for wanted in 1..=4 {
        let more = ["--alternatives", &wanted.to_string()];
        let (code, out, _) = buyer::run(folder.path(), &[&args[..], &more].concat());
        let told: serde_json::Value = serde_json::from_str(&out).unwrap();
        assert_eq!((code, told["alternatives_exhausted"].as_bool()), (0, Some(true)), "{out}");
        let plans = told["plans"].as_array().unwrap().iter();
        let modules: Vec<u64> = plans.map(|plan| plan["modules"].as_u64().unwrap()).collect();
        assert_eq!(modules[..], [2, 4, 6, 2][..=wanted.min(3)], "{out}");
    }
}
