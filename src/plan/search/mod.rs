//! The best plan, exactly: every arrangement is searched or ruled out by a bound that no plan can beat.
//!
//! Plans fall into families (kind, lowest rate, what may stand together). In a family, modules the rules cannot tell apart
//! are one class with one cost curve; channels with the same slots and fitted modules are one type; sockets alike are one
//! kind; N units alike are one unit whose modules are bought N times. A family is searched socket by socket over what each
//! channel holds, below a limit that grows until the best plan lies under it; for each demand the modules are then chosen
//! exactly. All comparisons are of whole numbers.

mod assemble;
mod bag;
mod bags;
mod bound;
mod build;
mod columns;
mod curve;
mod family;
mod fillings;
mod greedy;
mod instance;
mod outer;
mod problem;
mod realise;
mod solve;
mod unlike;
mod weights;
mod work;

pub use problem::{Criterion, FittedSeat, Found, From, Outcome, Prefer, Problem, Score, SearchError, Target};
pub use solve::search;
pub use unlike::unlike;
