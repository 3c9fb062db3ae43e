//! Bars with their numbers beside them.

use super::tone::{columns, cut};
use super::{Drawing, Look, Tone};
use crate::text::shown_within;

/// One bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bar {
    pub name: String,
    pub value: u64,
    /// The number as it is written beside the bar, with its unit.
    pub text: String,
    pub tone: Tone,
}

/// Bars from one zero line, the longest value as long as the width allows. A value above zero is never drawn as nothing.
pub fn bars(bars: &[Bar], look: Look) -> Drawing {
    let clean = |text: &str| shown_within(text, 40).to_string();
    let name = bars.iter().map(|bar| columns(&clean(&bar.name))).max().unwrap_or_default().min(look.width / 3);
    let number = bars.iter().map(|bar| columns(&clean(&bar.text))).max().unwrap_or_default().min(look.width / 3);
    let room = look.width.saturating_sub(name + number + 4).max(1);
    let most = bars.iter().map(|bar| bar.value).max().unwrap_or_default().max(1);
    let sign = if look.unicode { "\u{2588}" } else { "#" };
    let mut drawing = Drawing::default();
    for bar in bars {
        let length = (u128::from(bar.value) * room as u128).div_ceil(u128::from(most)) as usize;
        drawing.start_line();
        drawing.put(format!("{:name$}  ", cut(&clean(&bar.name), name)), Tone::Plain);
        drawing.put(format!("{:>number$}  ", cut(&clean(&bar.text), number)), Tone::Plain);
        drawing.put(sign.repeat(length), bar.tone);
    }
    drawing
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_share_a_zero_line_and_small_ones_show() {
        let bar =
            |name: &str, value: u64| Bar { name: name.into(), value, text: format!("{value} h"), tone: Tone::Plain };
        let three = [bar("seating", 40), bar("slot", 1), bar("none", 0)];
        insta::assert_snapshot!(bars(&three, Look { width: 40, unicode: false }).plain().join("\n"), @r"
        seating  40 h  #########################
        slot      1 h  #
        none      0 h
        ");
        let widest = bars(&[bar(&"x".repeat(99), u64::MAX)], Look { width: 40, unicode: true }).plain();
        assert!(widest.iter().all(|line| columns(line) <= 40), "{widest:?}");
    }
}
