//! Text from firmware, files and scanners, made safe to show.
//!
//! Everything from outside passes [`shown()`] before it reaches a terminal, a page or a file name. What cannot be shown
//! is escaped, never dropped, so a reader still sees which byte it was.

mod hands;
mod shown;

pub use hands::{HANDS, PROCESSOR, by_hand};
pub use shown::{Shown, shown, shown_bytes, shown_within};
