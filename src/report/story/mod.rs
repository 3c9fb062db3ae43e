//! What a record says, put in the order in which a reader asks.

mod amended;
mod fold;
mod notable;
mod pace;
mod since;
mod slots;
mod tried;
mod types;
mod words;

pub use fold::{Input, story};
pub use pace::{FASTER_THAN_HANDS_MS, RUN};
pub use since::{AtStart, starts};
pub use types::*;
