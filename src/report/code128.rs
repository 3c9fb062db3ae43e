//! A serial as a bar code that the bench's own scanner reads: Code 128 (ISO/IEC 15417), code sets B and C.
//!
//! Code 128 carries every printable ASCII character, has a check character of its own and is what module labels and most
//! hand scanners use. The widths below are the standard's table 1, held to its laws here and to a decoder that is not ours in
//! `tests/outside/code128.rs`.

/// The widths of each symbol's bars and spaces in modules, bar first; values 0 to 105.
const WIDTHS: [[u8; 6]; 106] = widths(
    b"212222222122222221121223121322131222122213122312132212221213221312231212112232122132122231113222123122123221\
223211221132221231213212223112312131311222321122321221312212322112322211212123212321232121111323131123131321\
112313132113132311211313231113231311112133112331132131113123113321133121313121211331231131213113213311213131\
311123311321331121312113312311332111314111221411431111111224111422121124121421141122141221112214112412122114\
122411142112142211241211221114413111241112134111111242121142121241114212124112124211411212421112421211212141\
214121412121111143111341131141114113114311411113411311113141114131311141411131211412211214211232",
);

/// The stop pattern, which has one bar more.
const STOP: [u8; 7] = [2, 3, 3, 1, 1, 1, 2];

const START_B: u8 = 104;
const START_C: u8 = 105;
const TO_C: u8 = 99;
const TO_B: u8 = 100;

/// The light margin on both sides, in modules: at least ten.
pub const QUIET: u32 = 10;

/// The longest text that is encoded: more fits no label that a hand scanner reads in one go.
pub const LONGEST: usize = 48;

const fn widths(digits: &[u8; 106 * 6]) -> [[u8; 6]; 106] {
    let mut table = [[0; 6]; 106];
    let mut at = 0;
    while at < digits.len() {
        table[at / 6][at % 6] = digits[at] - b'0';
        at += 1;
    }
    table
}

/// A bar code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bars {
    /// Widths in modules, a bar first, then bar and space in turn; the quiet zones left out.
    pub widths: Vec<u8>,
}

impl Bars {
    /// How many modules wide it is, quiet zones included.
    pub fn modules(&self) -> u32 {
        self.widths.iter().map(|width| u32::from(*width)).sum::<u32>() + 2 * QUIET
    }

    /// Where each bar begins and how wide it is, in modules from the left end of the quiet zone.
    pub fn bars(&self) -> Vec<(u32, u32)> {
        let mut at = QUIET;
        let mut bars = Vec::new();
        for (n, width) in self.widths.iter().map(|width| u32::from(*width)).enumerate() {
            if n % 2 == 0 {
                bars.push((at, width));
            }
            at += width;
        }
        bars
    }
}

/// The bar code of a text; `None` when it is empty, longer than [`LONGEST`], or has a character that is no printable ASCII.
pub fn code128(text: &str) -> Option<Bars> {
    if text.is_empty() || text.len() > LONGEST || !text.bytes().all(|b| matches!(b, b' '..=b'~')) {
        return None;
    }
    let values = values(text.as_bytes());
    // The check character: the start's value and each value times its place, modulo 103.
    let sum = values.iter().zip(0u32..).map(|(value, place)| u32::from(*value) * place.max(1)).sum::<u32>();
    let check = (sum % 103) as u8;
    let mut widths = Vec::new();
    for value in values.iter().chain([&check]) {
        widths.extend_from_slice(WIDTHS.get(usize::from(*value))?);
    }
    widths.extend_from_slice(&STOP);
    Some(Bars { widths })
}

/// The symbol values, start first. Digits go in pairs where that is shorter: four or more at an end, six or more within
/// (ISO/IEC 15417, annex E).
fn values(text: &[u8]) -> Vec<u8> {
    let digits = |from: usize| text.iter().skip(from).take_while(|b| b.is_ascii_digit()).count();
    let mut values = Vec::new();
    let mut at = 0;
    let mut in_c = false;
    while at < text.len() {
        let run = digits(at);
        if in_c && run < 2 {
            values.push(TO_B);
            in_c = false;
        } else if !in_c {
            let ends = at + run == text.len();
            let enough = run >= 6 || (run >= 4 && (at == 0 || ends)) || (run == 2 && text.len() == 2);
            // An odd digit stays in front, so that the pairs end with the run; at the start it stays behind.
            let worth = enough && (run % 2 == 0 || at == 0);
            match (values.is_empty(), worth) {
                (true, true) => values.push(START_C),
                (true, false) => values.push(START_B),
                (false, true) => values.push(TO_C),
                (false, false) => {}
            }
            in_c = worth;
        }
        match (in_c, text.get(at..at + 2)) {
            (true, Some([tens, ones])) => {
                values.push((tens - b'0') * 10 + (ones - b'0'));
                at += 2;
            }
            _ => {
                values.push(text[at] - b' ');
                at += 1;
            }
        }
    }
    values
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;

    use super::*;

    /// Reads symbol values back to text, by the standard's table.
    fn decoded(bars: &Bars) -> String {
        let body = &bars.widths[..bars.widths.len() - STOP.len()];
        let values: Vec<u8> =
            body.chunks(6).map(|chunk| WIDTHS.iter().position(|widths| widths == chunk).unwrap() as u8).collect();
        let (check, values) = values.split_last().unwrap();
        let sum: usize = values.iter().enumerate().map(|(place, v)| usize::from(*v) * place.max(1)).sum();
        assert_eq!(usize::from(*check), sum % 103);
        let mut text = String::new();
        let mut in_c = values[0] == START_C;
        for value in &values[1..] {
            match (*value, in_c) {
                (TO_B, true) => in_c = false,
                (TO_C, false) => in_c = true,
                (pair, true) => text.push_str(&format!("{pair:02}")),
                (value, false) => text.push(char::from(value + b' ')),
            }
        }
        text
    }

    #[test]
    fn the_table_keeps_the_laws_of_the_standard() {
        assert_eq!(WIDTHS.iter().collect::<BTreeSet<_>>().len(), 106, "no two symbols are alike");
        for widths in WIDTHS {
            assert_eq!(widths.iter().sum::<u8>(), 11);
            assert_eq!((widths[0] + widths[2] + widths[4]) % 2, 0, "bars take an even number of modules");
            assert!(widths.iter().all(|width| (1..=4).contains(width)));
        }
        assert_eq!(STOP.iter().sum::<u8>(), 13);
    }

    #[test]
    fn digits_go_in_pairs() {
        assert_eq!(values(b"12345678"), [START_C, 12, 34, 56, 78]);
        assert_eq!(values(b"7A410C9A"), [START_B, 23, 33, 20, 17, 16, 35, 25, 33]);
        assert_eq!(values(b"AB123456"), [START_B, 33, 34, TO_C, 12, 34, 56]);
        assert_eq!(values(b"AB1234567"), [START_B, 33, 34, 17, TO_C, 23, 45, 67]);
        assert_eq!(values(b"12345"), [START_C, 12, 34, TO_B, 21]);
    }

    #[test]
    fn what_no_scanner_could_send_back_gets_no_bars() {
        for text in ["", "\u{e4}", "A\u{1b}", "A\n", &"1".repeat(LONGEST + 1)] {
            assert_eq!(code128(text), None, "{text:?}");
        }
    }

    proptest! {
        #[test]
        fn every_printable_text_reads_back(text in "[ -~]{1,48}|[0-9]{1,20}|[A-F0-9]{8}") {
            let bars = code128(&text).unwrap();
            prop_assert_eq!(decoded(&bars), text);
            let last = bars.bars().last().copied().unwrap();
            prop_assert_eq!(last.0 + last.1 + QUIET, bars.modules());
        }
    }
}
