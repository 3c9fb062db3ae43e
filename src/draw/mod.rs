//! Pictures in a terminal: the slot map, tables, bars.
//!
//! Everything here is a pure function to a [`Drawing`]: lines of pieces, each with a [`Tone`]. Text from outside is
//! cleaned on the way in, and only the last step turns tones into colour. A tone repeats what a letter or a shape says
//! already; nothing is told by colour alone.

mod bars;
mod map;
mod table;
mod tone;

pub use bars::{Bar, bars};
pub use map::{Mark, Places, State, legend, orientation, places, row_in_hand, slot_map};
pub use table::{Align, table};
pub use tone::{Drawing, Piece, Tone};

/// How a picture may look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// The most columns a line takes.
    pub width: usize,
    /// Whether more than ASCII may be drawn.
    pub unicode: bool,
}

impl Look {
    /// What works everywhere: 80 columns, ASCII.
    pub const PLAIN: Self = Self { width: 80, unicode: false };
}
