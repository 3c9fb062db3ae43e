//! The printed JEDEC module label, `32GB 2Rx4 PC4-3200AA-RC3-12`.
//!
//! Grammar as printed in makers' service guides and on modules: DDR3 `ggg eRxff PC3v-wwwwwm-aa-bb-ccd`, DDR4
//! `gggGB pheRxff PC4v-wwwwaa-mccd-bb`, DDR5 `gggGB pheeRxff PC5-wwwwaa-mmccd-bbss-ttt`. The number after `PCn-` is a
//! bandwidth for DDR3, a rate up to 5000 and a bandwidth from 12800 for DDR4, a rate up to 12000 for DDR5.
//! Sellers' spellings (`64G`, `2RX4`, `(1RX8)`, `-RDIMM`, `O` for `0`) are taken; what is not there stays unknown.

use thiserror::Error;

use super::{Generation, Kind, ModuleSpec};
use crate::units::{Mts, Size};

/// Why a label could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LabelError {
    #[error("`{}` has no `PC3-`, `PC4-` or `PC5-` part; write the columns kind, gib, ranks, width and mts instead", crate::text::shown(.0))]
    NoClass(String),
    #[error("`{}` names no rate or bandwidth the standard knows: {number}", crate::text::shown(.label))]
    Rate { label: String, number: String },
}

/// What a printed label says. Anything it leaves out is `None`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    pub generation: Generation,
    /// Supply voltage: `1.5`, `1.35`, `1.25` (DDR3), `1.2` (DDR4), `1.1` (DDR5), in volts.
    pub volts: &'static str,
    pub gib: Option<Size>,
    pub package_ranks: Option<u8>,
    /// Dies in a 3DS stack; 1 when it is none.
    pub stack: u8,
    /// Width of one device in bits.
    pub width: Option<u8>,
    pub kind: Option<Kind>,
    pub mts: Mts,
    /// The speed letters, or the CAS latency on DDR3.
    pub bin: Option<String>,
}

/// DDR3 bandwidths in MB/s and their rates: bandwidth is rate x 8, cut to hundreds, as printed on modules.
const DDR3: [(u32, u32); 9] = [
    (6400, 800),
    (8500, 1066),
    (10600, 1333),
    (10666, 1333),
    (12800, 1600),
    (14900, 1866),
    (14933, 1866),
    (17000, 2133),
    (17066, 2133),
];
const DDR4: [(u32, u32); 10] = [
    (12800, 1600),
    (14900, 1866),
    (17000, 2133),
    (19200, 2400),
    (21300, 2666),
    (21333, 2666),
    (23400, 2933),
    (23466, 2933),
    (25600, 3200),
    (17066, 2133),
];
const DDR4_RATES: [u32; 7] = [1600, 1866, 2133, 2400, 2666, 2933, 3200];
const DDR5_RATES: [u32; 14] = [3200, 3600, 4000, 4400, 4800, 5200, 5600, 6000, 6400, 6800, 7200, 7600, 8000, 8800];

impl Label {
    /// Reads a printed label.
    ///
    /// # Errors
    /// When there is no `PCn-` part, or its number is no rate or bandwidth of that generation.
    pub fn parse(text: &str) -> Result<Self, LabelError> {
        let clean: String = text
            .to_ascii_uppercase()
            .chars()
            .map(|c| if matches!(c, '(' | ')' | ',' | '_') { if c == '_' { '-' } else { ' ' } } else { c })
            .collect();
        let words: Vec<&str> = clean.split_ascii_whitespace().collect();
        let class = words.iter().position(|w| matches!(w.get(..3), Some("PC3" | "PC4" | "PC5")));
        let Some(class) = class else { return Err(LabelError::NoClass(text.to_owned())) };
        let (prefix, tail) = words[class].split_at(3);
        let mut parts: Vec<String> = tail.split('-').map(str::to_owned).collect();
        let low = parts.first().cloned().unwrap_or_default();
        if !parts.is_empty() {
            parts.remove(0);
        }
        // Sellers put a space where the hyphen belongs.
        for word in &words[class + 1..] {
            if word.contains('-') || parts.is_empty() {
                parts.extend(word.split('-').map(str::to_owned));
            }
        }
        let (generation, volts) = match (prefix, low.as_str()) {
            ("PC3", "L") => (Generation::DDR3, "1.35"),
            ("PC3", "U") => (Generation::DDR3, "1.25"),
            ("PC3", _) => (Generation::DDR3, "1.5"),
            ("PC4", _) => (Generation::DDR4, "1.2"),
            _ => (Generation::DDR5, "1.1"),
        };
        let speed = parts.first().cloned().unwrap_or_default();
        let digits = speed.find(|c: char| !c.is_ascii_digit()).unwrap_or(speed.len());
        let (number, letters) = speed.split_at(digits);
        let rate = rate(generation, number)
            .ok_or_else(|| LabelError::Rate { label: text.to_owned(), number: number.to_owned() })?;
        let (kind_letter, bin) = match generation {
            // DDR3 and the long DDR4 form carry the type behind the bandwidth, the short form in its own field.
            Generation::DDR3 => (letters.chars().next(), parts.get(1).cloned()),
            Generation::DDR4 if rate.1 => (letters.chars().next(), parts.get(1).cloned()),
            _ => (parts.get(1).and_then(|p| p.chars().next()), Some(letters.to_owned())),
        };
        let mut label = Self {
            generation,
            volts,
            gib: None,
            package_ranks: None,
            stack: 1,
            width: None,
            kind: None,
            mts: Mts(rate.0),
            bin: bin.filter(|b| !b.is_empty()),
        };
        for (n, word) in words.iter().enumerate() {
            if n != class {
                label.take_word(word);
            }
        }
        let stacked = label.stack > 1;
        label.kind = match kind_letter {
            Some('R') if stacked => Some(Kind::Rdimm3ds),
            Some('R') => Some(Kind::RDIMM),
            Some('L') if stacked => Some(Kind::Lrdimm3ds),
            Some('L') => Some(Kind::LRDIMM),
            Some('E') => Some(Kind::EccUdimm),
            Some('U') => Some(Kind::UDIMM),
            Some('S') => Some(Kind::SODIMM),
            Some('T') => Some(Kind::EccSodimm),
            _ => None,
        };
        Ok(label)
    }

    fn take_word(&mut self, word: &str) {
        let digits = word.find(|c: char| !c.is_ascii_digit()).unwrap_or(word.len());
        let (number, rest) = word.split_at(digits);
        if matches!(rest, "G" | "GB" | "GIB" | "GB-" | "-GB") {
            self.gib = number.parse().ok().filter(|&gib: &u64| gib > 0 && gib <= 4096).map(Size::from_gib);
        } else if let Some((ranks, stack, width)) = rank_field(word) {
            (self.package_ranks, self.stack, self.width) = (Some(ranks), stack, Some(width));
        }
    }

    /// Logical ranks as the controller counts them: package ranks times the dies of a 3DS stack.
    pub fn ranks(&self) -> Option<u8> {
        self.package_ranks.map(|ranks| ranks.saturating_mul(self.stack))
    }

    /// The spec the label describes, when it tells the size.
    pub fn spec(&self) -> Option<ModuleSpec> {
        Some(ModuleSpec {
            generation: Some(self.generation),
            kind: self.kind,
            gib: self.gib?,
            ranks: self.ranks(),
            width: self.width,
            mts: Some(self.mts),
        })
    }

    /// Why the label cannot be true, when size, ranks and width need a die that is not made: density in Gbit =
    /// GiB x 8 x width / (64 x ranks), against the die sizes the SPD tables list and makers build.
    pub fn doubt(&self) -> Option<String> {
        let (gib, ranks, width) = (self.gib?.whole_gib()?, u64::from(self.ranks()?), u64::from(self.width?));
        let made: &[u64] = match self.generation {
            Generation::DDR3 => &[1, 2, 4, 8],
            Generation::DDR4 => &[2, 4, 8, 12, 16, 24, 32],
            _ => &[16, 24, 32, 48, 64],
        };
        let (bits, per) = (gib * 8 * width, 64 * ranks);
        let fits = per > 0 && bits.is_multiple_of(per) && made.contains(&(bits / per));
        (!fits).then(|| {
            format!(
                "{gib} GiB with {ranks} ranks of x{width} devices needs {} Gbit dies, which {} has not: look at the module",
                bits / per.max(1),
                self.generation
            )
        })
    }
}

/// The rate of a number behind `PCn-`, and whether the number was a bandwidth.
fn rate(generation: Generation, number: &str) -> Option<(u32, bool)> {
    let value: u32 = number.parse().ok()?;
    let of = |table: &[(u32, u32)]| table.iter().find(|row| row.0 == value).map(|row| (row.1, true));
    match generation {
        Generation::DDR3 => of(&DDR3),
        Generation::DDR4 if value <= 5000 => DDR4_RATES.contains(&value).then_some((value, false)),
        Generation::DDR4 => of(&DDR4),
        _ if value <= 12000 => DDR5_RATES.contains(&value).then_some((value, false)),
        _ => DDR5_RATES
            .iter()
            .find(|&&rate| rate * 8 == value)
            .map(|&rate| (rate, true))
            // `B` typed as `8`: a rate and one digit more.
            .or_else(|| DDR5_RATES.contains(&(value / 10)).then_some((value / 10, false))),
    }
}

/// `2RX4`, `4DRX4`, `2S4RX4` as package ranks, stack height, width.
fn rank_field(word: &str) -> Option<(u8, u8, u8)> {
    let (left, width) = word.split_once("RX")?;
    let width: u8 = width.parse().ok().filter(|w| matches!(w, 4 | 8 | 16 | 32))?;
    let (ranks, stack) = match left.split_once('S') {
        Some((ranks, stack)) => (ranks, stack.parse().ok().filter(|h| matches!(h, 1..=16))?),
        None => (left.trim_end_matches('D'), 1),
    };
    let ranks: u8 = ranks.parse().ok().filter(|r| matches!(r, 1..=16))?;
    Some((ranks, stack, width))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_printed_label_reads() {
        let label = Label::parse("32GB 2Rx4 PC4-2400T-RB2-11").unwrap();
        assert_eq!(label.spec().unwrap().to_string(), "32 GiB DDR4 RDIMM 2Rx4 2400 MT/s");
        assert_eq!(label.doubt(), None);
    }

    #[test]
    fn a_stack_counts_logical_ranks() {
        let label = Label::parse("128GB 2S4Rx4 PC4-2666V-LA0-12").unwrap();
        assert_eq!((label.ranks(), label.kind), (Some(8), Some(Kind::Lrdimm3ds)));
    }

    #[test]
    fn what_cannot_be_is_doubted() {
        assert!(Label::parse("16GB 1Rx4 PC5-4800B-R").unwrap().doubt().unwrap().contains("8 Gbit"));
    }

    #[test]
    fn what_is_no_label_is_refused() {
        for text in ["", "32GB", "PC6-9999", "PC4-", "PC4-1234X-R", "PC5", "\u{1b}[2JPC"] {
            assert!(Label::parse(text).is_err(), "{text:?}");
        }
    }
}
