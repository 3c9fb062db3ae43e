//! What a terminal makes of a stream of bytes. Printing, line feeds and our own colours are all it may do.
#![allow(clippy::panic, reason = "a stream that does more has failed")]

use vte::{Params, Parser, Perform};

/// The rows of the screen.
#[derive(Default)]
pub struct Screen {
    pub rows: Vec<String>,
}

impl Perform for Screen {
    fn print(&mut self, c: char) {
        assert!((' '..='~').contains(&c), "{c:?} is printed");
        match self.rows.last_mut() {
            Some(row) => row.push(c),
            None => self.rows.push(c.to_string()),
        }
    }

    fn execute(&mut self, byte: u8) {
        assert_eq!(byte, b'\n', "a control byte acts");
        self.rows.push(String::new());
    }

    fn csi_dispatch(&mut self, params: &Params, intermediates: &[u8], _ignore: bool, action: char) {
        assert_eq!((action, intermediates), ('m', &b""[..]), "a sequence other than colour");
        // 0 off, 1 bold, 2 dim, 7 reverse, 33 and 34: the ones the pictures use.
        for param in params {
            assert!(param.iter().all(|n| [0, 1, 2, 7, 33, 34].contains(n)), "a colour that is not ours: {param:?}");
        }
    }

    fn osc_dispatch(&mut self, params: &[&[u8]], _bell: bool) {
        panic!("an operating system command: {params:?}");
    }

    fn esc_dispatch(&mut self, _intermediates: &[u8], _ignore: bool, byte: u8) {
        panic!("an escape sequence: {byte}");
    }

    fn hook(&mut self, _params: &Params, _intermediates: &[u8], _ignore: bool, action: char) {
        panic!("a device control string: {action}");
    }
}

/// The rows that these bytes leave on a screen.
pub fn rows(bytes: &[u8]) -> Vec<String> {
    let mut screen = Screen { rows: vec![String::new()] };
    Parser::new().advance(&mut screen, bytes);
    screen.rows
}

/// The first oracle: the stream itself holds printable ASCII, line feeds and, where `colour`, the start of our own codes.
#[track_caller]
pub fn is_clean(bytes: &[u8], colour: bool) {
    let odd = bytes.iter().find(|byte| !(matches!(byte, b' '..=b'~' | b'\n') || colour && **byte == 0x1b));
    assert_eq!(odd, None, "a byte that is no printable ASCII in {:?}", String::from_utf8_lossy(bytes));
}
