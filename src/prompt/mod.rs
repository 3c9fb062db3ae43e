//! How a question reaches a person and how the answer comes back.
//!
//! | adapter | when |
//! | --- | --- |
//! | [`answers`] | `--answers FILE`: a whole job from a script |
//! | [`plain`] | standard input is no terminal: one line an event |
//! | [`screen`] | a terminal: a page a question (lines with `--plain`), keys read one by one with their timing |
//!
//! [`choose()`] picks one. What an entry means is the same for all of them; the `meaning` file states the rules.

pub mod answers;
mod ask;
mod choose;
mod hidden;
mod input;
mod keys;
mod lines;
mod meaning;
mod page;
mod person;
pub mod plain;
pub mod screen;
mod signals;
mod stdin;
mod tty;

pub use ask::*;
pub use choose::{ChooseError, Wish, choose};
pub use hidden::hidden_line;
pub use input::{Got, Input, Piped};
pub use page::Look;
