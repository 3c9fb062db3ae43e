//! What a buyer sees of a plan: on a small terminal, through a pipe, without colour.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;
use std::process::{Command, Stdio};

use rexpect::session::{Options, spawn_with_options};

const STOCK: &str = "part,kind,generation,gib,ranks,width,mts,volts,count,pack,price,currency,lot\n\
    OM5R32-2R8-5600,RDIMM,DDR5,32,2,8,5600,1.1,400,1,110,EUR,shelf A\n\
    OM5R64-2R4-5600,RDIMM,DDR5,64,2,4,5600,1.1,160,4,215.50,EUR,offer 12\n\
    OM5R16-1R8-4800,RDIMM,DDR5,16,1,8,4800,1.1,300,8,49.90,EUR,tray 3\n";

/// A board of so many sockets, with 12 channels of 2 slots each.
fn large(sockets: usize) -> String {
    let mut text = String::from(
        "format = \"slotwise-board/1\"\nname = \"Bittern\"\ngeneration = \"DDR5\"\nsource = \"invented\"\n[limits]\n\
         kinds = [\"RDIMM\"]\nlargest = [{ kind = \"RDIMM\", gib = 128 }]\nmixing = \"by-position\"\nsockets_match = true\n",
    );
    for (per_channel, mts) in [(1, 5600), (2, 4400)] {
        text += &format!("[[speed]]\nkind = \"RDIMM\"\nper_channel = {per_channel}\nmts = {mts}\n");
    }
    for socket in 1..=sockets {
        text += &format!("[[socket]]\nlabel = \"P{socket}\"\n");
        for channel in 'A'..='L' {
            text += &format!(
                "[[socket.channel]]\nlabel = \"{channel}\"\nslot = [{{ label = \"P{socket}-{channel}1\", position = 1 }}, \
                 {{ label = \"P{socket}-{channel}2\", position = 2 }}]\n"
            );
        }
    }
    text
}

struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
        write("stock.csv", STOCK);
        write("bittern.toml", &large(8));
        let curlew = Path::new(env!("CARGO_MANIFEST_DIR")).join("checklists/boards/curlew.toml");
        write("curlew.toml", &std::fs::read_to_string(curlew).unwrap());
        Self { folder }
    }

    fn args<'a>(board: &'a str, capacity: &'a str, more: &[&'a str]) -> Vec<&'a str> {
        [&["plan", "--board", board, "--stock", "stock.csv", "--capacity", capacity][..], more].concat()
    }

    /// All it writes to a terminal of so many columns and rows.
    fn on_terminal(&self, args: &[&str], (columns, rows): (u16, u16), variables: &[(&str, &str)]) -> Vec<u8> {
        let mut command = Command::new("/bin/sh");
        command.args(["-c", &format!("/usr/bin/stty cols {columns} rows {rows} && exec \"$0\" \"$@\"")]);
        command.arg(env!("CARGO_BIN_EXE_slotwise")).args(args);
        command.current_dir(self.folder.path()).env_clear().env("TERM", "xterm-256color").env("LANG", "C.UTF-8");
        command.envs(variables.iter().copied());
        command.stdin(Stdio::inherit()).stdout(Stdio::inherit()).stderr(Stdio::inherit());
        let mut session = spawn_with_options(command, Options::new().timeout_ms(Some(60_000))).unwrap();
        // The session hands out one character a byte.
        session.exp_eof().unwrap().chars().map(|c| c as u8).collect()
    }

    fn last_screen(&self, args: &[&str], (columns, rows): (u16, u16)) -> String {
        let mut terminal = vt100::Parser::new(rows.try_into().unwrap(), columns.try_into().unwrap(), 0);
        terminal.process(&self.on_terminal(args, (columns, rows), &[]));
        terminal.screen().contents()
    }

    fn piped(&self, args: &[&str]) -> String {
        let out = Command::new(env!("CARGO_BIN_EXE_slotwise"))
            .args(args)
            .current_dir(self.folder.path())
            .env_clear()
            .output()
            .unwrap();
        assert_eq!(String::from_utf8_lossy(&out.stderr), "");
        String::from_utf8(out.stdout).unwrap()
    }
}

/// Colour and other escapes left out.
fn plain(bytes: &[u8]) -> String {
    console::strip_ansi_codes(&String::from_utf8_lossy(bytes)).replace('\r', "")
}

#[test]
fn the_last_screen_of_80_by_24_tells_what_to_take_where_it_goes_the_rate_the_proof_and_the_cost() {
    let desk = Desk::new();
    for (board, capacity, next, goes, cost) in [
        (
            "curlew.toml",
            "512GiB",
            "the next best are proven: no other arrangement lies between them",
            "the first slot of every channel (16 slots)",
            "1760.00 EUR for 1 unit",
        ),
        (
            "bittern.toml",
            "3TiB",
            "the next best are proven: no other arrangement lies between them",
            "the first slot of every channel (96 slots)",
            "10560.00 EUR for 1 unit",
        ),
    ] {
        let screen = desk.last_screen(&Desk::args(board, capacity, &["-o", "plan.toml", "--force"]), (80, 24));
        for part in [
            "plan   memory  modules  MT/s  channels  bandwidth",
            "why not 2",
            next,
            "plan 1 in short",
            "runs   at 5600 MT/s; about 100 % of this board's best bandwidth (estimate)",
            goes,
            "shelf A (OM5R32-2R8-5600)",
            cost,
            "proof  proven: every arrangement was searched or ruled out, and nothing is",
            "written to plan.toml",
        ] {
            assert!(screen.contains(part), "{part} in\n{screen}");
        }
    }
}

#[test]
fn a_narrow_terminal_gets_every_figure_and_no_line_is_broken_by_the_terminal() {
    let desk = Desk::new();
    let args = Desk::args("curlew.toml", "512GiB", &[]);
    for columns in [40, 60, 80, 120] {
        let out = plain(&desk.on_terminal(&args, (columns, 24), &[]));
        let widest = out.lines().map(|line| line.chars().count()).max().unwrap();
        assert!(widest <= usize::from(columns), "{widest} of {columns}\n{out}");
        let words = out.split_whitespace().collect::<Vec<_>>().join(" ");
        for head in ["memory", "modules", "MT/s", "channels", "bandwidth", "cost", "handlings", "free"] {
            assert!(out.lines().any(|line| line.starts_with("plan ") && line.contains(head)), "{head} in\n{out}");
        }
        assert!(words.contains("the first slot of every channel (16 slots)"), "{out}");
    }
    let screen = desk.last_screen(&args, (40, 24));
    for part in ["plan 1 in short", "at 5600 MT/s", "16 of shelf A", "1760.00 EUR for 1 unit", "proven: every"] {
        assert!(screen.contains(part), "{part} in\n{screen}");
    }
}

#[test]
fn a_pipe_gets_whole_lines_and_no_colour_means_no_escape() {
    let desk = Desk::new();
    let args = Desk::args("curlew.toml", "512GiB", &[]);
    let piped = desk.piped(&args);
    assert!(!piped.contains('\u{1b}'));
    let last = piped.split("plan 1 in short\n").nth(1).unwrap();
    assert!(
        last.contains(
            "proof  proven: every arrangement was searched or ruled out, and nothing is better than plan 1\n"
        )
    );
    assert!(last.contains("take   16 of shelf A (OM5R32-2R8-5600)\n"), "{last}");
    let coloured = desk.on_terminal(&args, (80, 24), &[]);
    assert!(coloured.contains(&0x1b));
    let bare = desk.on_terminal(&args, (80, 24), &[("NO_COLOR", "1")]);
    assert!(!bare.contains(&0x1b));
    // Colour carries nothing of its own.
    assert_eq!(plain(&coloured), plain(&bare));
}

#[test]
fn what_goes_where_is_told_slot_by_slot_where_it_is_no_whole_row() {
    let desk = Desk::new();
    let fitted = "slot,kind,generation,gib,ranks,width,mts,volts\nW01,RDIMM,DDR5,32,2,8,5600,1.1\n";
    std::fs::write(desk.folder.path().join("fitted.csv"), fitted).unwrap();
    let out = desk.piped(&Desk::args("curlew.toml", "512GiB", &["--fitted", "fitted.csv"]));
    let short = out.split("plan 1 in short\n").nth(1).unwrap();
    assert!(short.contains("32 GiB 2R RDIMM, stays: W01\n"), "{short}");
    assert!(short.contains("W03 W05 W07"), "{short}");
    assert!(short.contains("15 handlings, listed above"), "{short}");
    assert!(short.contains("15 of shelf A"), "{short}");
    assert!(!short.contains("leaves"), "{short}");
    // What leaves is named, and where a processor is missing its slots are said to be dead.
    let order = "format = \"slotwise-order/1\"\nname = \"LF-2\"\n[[unit]]\nchassis = \"LF-CRL-1\"\n\
        processor = [{ socket = \"WEST\" }]\n";
    std::fs::write(desk.folder.path().join("order.toml"), order).unwrap();
    let args = Desk::args("curlew.toml", "512GiB", &["--fitted", "fitted.csv", "--order", "order.toml"]);
    let out = desk.piped(&args);
    assert!(out.contains("- socket EAST holds no processor: its slots and channels are dead and stay empty"), "{out}");
    let short = out.split("plan 1 in short\n").nth(1).unwrap();
    assert!(short.contains("leaves 1 module, out of W01\n"), "{short}");
    assert!(short.contains(" on 8 of 8 channels\n"), "{short}");
}

#[test]
fn a_row_of_many_lots_on_a_large_board_is_told_by_its_channels() {
    let desk = Desk::new();
    let mut stock = String::from("kind,generation,gib,ranks,width,mts,volts,count,lot\n");
    for lot in 0..16 {
        stock += &format!("RDIMM,DDR5,64,2,4,5600,1.1,2,lot {lot}\n");
    }
    std::fs::write(desk.folder.path().join("stock.csv"), stock).unwrap();
    let out = desk.piped(&Desk::args("bittern.toml", "2TiB", &[]));
    let short = out.split("plan 1 in short\n").nth(1).unwrap();
    let row = "goes   64 GiB 2R RDIMM, from stock: the first slot of channels A, B, C, D in every socket (32 slots)\n";
    assert!(short.contains(row), "{short}");
    assert!(short.contains("and 13 more lots: all stand above\n"), "{short}");
    // No price, no column of costs.
    assert!(!out.lines().any(|line| line.starts_with("plan ") && line.contains("cost")), "{out}");
    assert!(!short.contains("cost"), "{short}");
}

#[test]
fn a_check_keeps_to_the_width_of_the_terminal() {
    let desk = Desk::new();
    desk.piped(&Desk::args("curlew.toml", "512GiB", &["-o", "plan.toml"]));
    let out = plain(&desk.on_terminal(&["plan", "check", "plan.toml"], (40, 24), &[]));
    assert!(out.lines().all(|line| line.chars().count() <= 40), "{out}");
    assert!(out.contains("no rule is broken"), "{out}");
}
