//! What is not known of modules, and processors that differ: nothing is called proven that is not.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod buyer;

use serde_json::Value;

use buyer::{folder, run};

/// So many sockets of one slot each: `P0` with `S0`, `P1` with `S1`, ...
fn board(sockets: usize, limits: &str) -> String {
    let mut text = String::from("format = \"slotwise-board/1\"\nname = \"Dunlin\"\ngeneration = \"DDR4\"\n");
    for s in 0..sockets {
        text += &format!("[[socket]]\nlabel = \"P{s}\"\n[[socket.channel]]\nlabel = \"A\"\n");
        text += &format!("slot = [{{ label = \"S{s}\", position = 1 }}]\n");
    }
    text + "[limits]\nkinds = [\"RDIMM\"]\n"
        + limits
        + "[[cpu]]\nname = \"Alder\"\nmts = 1600\n[[cpu]]\nname = \"Birch\"\nmts = 2933\n"
}

const UNEQUAL: &str = "format = \"slotwise-order/1\"\nname = \"t\"\n[[unit]]\nchassis = \"LF-0\"\nprocessor = [{ socket = \
                       \"P0\", cpu = \"Alder\" }, { socket = \"P1\", cpu = \"Birch\" }, { socket = \"P2\", cpu = \"Birch\" }]\n";

const STOCK: &str =
    "part,kind,gib,ranks,width,mts,count,price,currency,lot\nOM4R16-2R4-2933,RDIMM,16,2,4,2933,3,10,EUR,a\n";

/// The slow processor limits all memory only while its socket holds a module.
#[test]
fn a_slow_processor_is_left_without_memory_where_that_is_better() {
    let (free, counted) = (board(3, ""), board(3, "counts_per_socket = [1]\n"));
    let folder = folder(&[("b.toml", &free), ("c.toml", &counted), ("o.toml", UNEQUAL), ("s.csv", STOCK)]);
    let ask = |board: &str, more: &[&str]| {
        let args = ["--board", board, "--stock", "s.csv", "--order", "o.toml", "--capacity", "32GiB"];
        run(folder.path(), &[&args[..], more].concat())
    };
    let (code, out, err) = ask("b.toml", &["-o", "p.toml"]);
    assert_eq!((code, err.as_str()), (0, ""));
    let told = ["runs   at 2933 MT/s; about 100 %", "from a: S1 S2", "cost   20.00 EUR", "proof  proven"];
    assert!(told.iter().all(|told| out.contains(told)), "{out}");
    let (code, out, _) = run(folder.path(), &["check", "p.toml"]);
    assert!(code == 0 && out.contains("about 100 % of this board's best bandwidth"), "{out}");
    // Where every socket must hold a module, the slow one limits all.
    let (code, out, err) = ask("c.toml", &[]);
    assert_eq!((code, err.as_str()), (0, ""));
    let told = ["runs   at 1600 MT/s; about 100 %", "cost   30.00 EUR", "proof  proven"];
    assert!(told.iter().all(|told| out.contains(told)), "{out}");
}

const ONE_LEFT: &str =
    "part,kind,gib,ranks,width,mts,count,price,currency,lot\nOM4R16-2R4-2666,RDIMM,16,2,4,2666,1,10,EUR,a\n";

#[test]
fn what_the_same_part_number_tells_is_known_of_a_fitted_module() {
    let fitted = "slot,part,kind,gib,mts\nS0,OM4R16-2R4-2666,RDIMM,16,2666\n";
    let board = board(2, "mixing = \"none\"\n");
    let folder = folder(&[("b.toml", &board), ("s.csv", ONE_LEFT), ("f.csv", fitted)]);
    let args = ["--board", "b.toml", "--stock", "s.csv", "--fitted", "f.csv", "--capacity", "32GiB", "-o", "p.toml"];
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (0, ""));
    let note = "note: what is fitted in S0: ranks, width taken from lot a, of the same part number";
    assert!([note, "stays: S0", "cost   10.00 EUR", "proof  proven"].iter().all(|told| out.contains(told)), "{out}");
    let (code, out, _) = run(folder.path(), &["check", "p.toml"]);
    assert_eq!(code, 0, "{out}");
}

#[test]
fn another_part_of_two_sorts_tells_nothing() {
    // One number, two widths: neither is taken.
    let stock = format!("{ONE_LEFT}OM4R16-2R4-2666,RDIMM,16,2,8,2666,1,10,EUR,b\n");
    let fitted = "slot,part,kind,gib,ranks,mts\nS0,OM4R16-2R4-2666,RDIMM,16,2,2666\n";
    let board = board(2, "mixing = \"none\"\n");
    let folder = folder(&[("b.toml", &board), ("s.csv", &stock), ("f.csv", fitted)]);
    let args = ["--board", "b.toml", "--stock", "s.csv", "--fitted", "f.csv", "--capacity", "32GiB"];
    let (_, out, err) = run(folder.path(), &args);
    assert_eq!(err, "");
    assert!(!out.contains("of the same part number"), "{out}");
    assert!(out.contains("the width of what is fitted in S0 is not known"), "{out}");
}

/// Without a part number, nothing is made up and nothing is called proven.
#[test]
fn what_is_not_known_and_a_rule_asks_for_is_named_and_nothing_is_called_proven() {
    let fitted = "slot,kind,gib,ranks,mts\nS0,RDIMM,16,2,2666\n";
    for (limits, asked) in
        [("mixing = \"none\"\n", true), ("same_width = true\n", true), ("mixing = \"free\"\n", false)]
    {
        let board = board(2, limits);
        let folder = folder(&[("b.toml", &board), ("s.csv", ONE_LEFT), ("f.csv", fitted)]);
        let ask = |capacity: &str| {
            let args = ["--board", "b.toml", "--stock", "s.csv", "--fitted", "f.csv", "--capacity", capacity, "--json"];
            let (code, out, err) = run(folder.path(), &args);
            assert_eq!(err, "");
            (code, serde_json::from_str::<Value>(&out).unwrap(), out)
        };
        let (code, json, out) = ask("16GiB");
        assert_eq!((code, json["exhausted"].as_bool()), (0, Some(!asked)), "{limits}: {out}");
        let told = "the width of what is fitted in S0 is not known";
        assert_eq!(out.contains(told) && out.contains("give `width` with --fitted"), asked, "{limits}: {out}");
    }
}

/// The rules count an unknown width as alike: a plan that keeps such a module is found.
#[test]
fn a_module_of_unknown_width_is_kept_where_the_rules_let_it() {
    let fitted = "slot,kind,gib,ranks,mts\nS0,RDIMM,16,2,2666\n";
    for limits in ["mixing = \"none\"\n", "mixing = \"by-position\"\n", "same_width = true\n", "sockets_match = true\n"]
    {
        let board = board(2, limits);
        let folder = folder(&[("b.toml", &board), ("s.csv", ONE_LEFT), ("f.csv", fitted)]);
        let args = ["--board", "b.toml", "--stock", "s.csv", "--fitted", "f.csv", "--capacity", "32GiB"];
        let (code, out, err) = run(folder.path(), &args);
        assert_eq!((code, err.as_str()), (0, ""), "{limits}: {out}");
        let told = ["stays: S0", "cost   10.00 EUR", "1 handling", "NOT proven: facts of modules are not known"];
        assert!(told.iter().all(|told| out.contains(told)), "{limits}: {out}");
        assert!(!out.contains("cut short"), "{limits}: {out}");
        // One that is 8 wide already is another sort, and no plan is left.
        let known = folder.path().join("f.csv");
        std::fs::write(known, "slot,kind,gib,ranks,width,mts\nS0,RDIMM,16,2,8,2666\n").unwrap();
        let (code, out, _) = run(folder.path(), &args);
        assert_eq!(code, 1, "{limits}: {out}");
        assert!(out.contains("no plan meets 32 GiB\n"), "{limits}: {out}");
    }
}
