//! One record, told for people who were not there: the supervisor, the desk that sends modules back.
//!
//! [`Story`] is what a record says, in the order a reader asks: what stands out, what was planned, done, measured, found,
//! tried and concluded, by whom and how long it took. [`Slip`] is what it says of one module. Both are pure folds; the
//! terminal ([`review()`]), the page and the slip are different ways to show them. Values from outside stay as the record has
//! them and pass the cleaner on the way out, in one place per exit.

pub mod code128;
mod html;
mod review;
mod seen;
mod slip;
mod story;
mod text;
mod words;

pub use html::{page, slip_page};
pub use review::{Wish, review};
pub use slip::{Conclusion, Slip, Stay, serials, slip, slip_text};
pub use story::*;
