//! Boards and plans made up for tests.
#![allow(dead_code, reason = "each test file uses its part")]

use slotwise::board::Board;
use slotwise::checklist::{Checklist, STOCK_PROCEDURE, Steps, expand};
use slotwise::plan::Plan;
use slotwise::source::{Text, from_toml};

pub const UNIT: &str = "LF-0417";

pub fn read(toml: &str) -> Checklist {
    from_toml(&Text { file: "test.toml", bytes: toml.as_bytes() }).unwrap_or_else(|faults| panic!("{faults}"))
}

pub fn stock() -> Checklist {
    read(STOCK_PROCEDURE)
}

pub fn steps(plan: &Plan) -> Steps {
    expand(&stock(), plan, UNIT, None).unwrap_or_else(|error| panic!("{error}"))
}

/// A made-up board of `sockets` x `channels` x `slots`: columns are channels, the keys of neighbouring columns lie opposite.
pub fn board(sockets: usize, channels: usize, slots: usize) -> Board {
    let mut text = String::from(
        "format = 'slotwise-board/1'\nname = 'Made up'\ngeneration = 'DDR4'\nlimits = { kinds = ['RDIMM'] }\n",
    );
    text += "cover = [
        { name = 'air duct', over = ['all'], fasteners = { count = 4, hold = 'loose', driver = 'T10' }, park = 'stand it on its rim' },
        { name = 'riser', over = ['P1'], fasteners = { count = 2, hold = 'captive' }, cables = ['fan lead'], mind = 'lead goes under the hook' },
    ]\n";
    for socket in 1..=sockets {
        text += &format!("[[socket]]\nlabel = 'P{socket}'\n");
        for channel in 0..channels {
            let letter = char::from(b'A' + channel as u8);
            text += &format!("[[socket.channel]]\nlabel = '{letter}'\n");
            for slot in 1..=slots {
                let key = if channel % 2 == 0 { "front" } else { "rear" };
                let (column, row) = ((socket - 1) * (channels + 1) + channel, slots - slot);
                text += &format!(
                    "[[socket.channel.slot]]\nlabel = 'P{socket}-{letter}{slot}'\nposition = {slot}\nkey = '{key}'\nat = [{column}, {row}]\n"
                );
            }
        }
    }
    toml::from_str(&text).unwrap()
}

/// How a slot of a test plan is filled: label, what is done, the rest of the line.
pub fn plan(board: &Board, slots: &[(&str, &str)], removals: &[&str]) -> Plan {
    let mut text = String::from("format = 'slotwise-plan/1'\nname = 'Test plan'\n");
    for (label, done) in slots {
        text += &format!("[[slot]]\nslot = '{label}'\n{done}\ngib = 32\n");
    }
    for (n, label) in removals.iter().enumerate() {
        text += &format!("[[remove]]\nslot = '{label}'\ngib = 8\nserial = 'OUT0000{n}'\n");
    }
    text += &format!(
        "[order]\nformat = 'slotwise-order/1'\nname = 'WO 12'\n[[order.unit]]\nchassis = '{UNIT}'\nenclosure = 'LF-E07'\nbay = 'N3'\n"
    );
    let tail = toml::to_string(&toml::Table::from_iter([("board".to_owned(), toml::Value::try_from(board).unwrap())]));
    toml::from_str(&format!("{text}\n{}", tail.unwrap())).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// Every slot of the board filled from stock with modules of known serials.
pub fn all_in(board: &Board) -> Plan {
    let labels: Vec<String> = board.slots().map(|slot| slot.slot.label.0.clone()).collect();
    let done: Vec<String> = (0..labels.len())
        .map(|n| format!("do = 'insert'\nlot = 'L{n}'\nkind = 'RDIMM'\nranks = 2\nwidth = 4\npart = 'OM4R32-2R4-2666'\nserial = '5A0B{n:04}'"))
        .collect();
    let slots: Vec<(&str, &str)> =
        labels.iter().zip(&done).map(|(label, done)| (label.as_str(), done.as_str())).collect();
    plan(board, &slots, &[])
}
