//! Which module goes in which slot, what it will run at, and why each alternative is worse.

pub mod explain;
pub mod front;
pub mod interleave;
pub mod moves;
pub mod rules;
pub mod search;
pub mod shortage;
pub mod speed;

mod check;
mod considered;
mod draft;
mod file;
mod load;
mod seat;
mod stale;

pub use check::{Bays, order_on};
pub use considered::{Considered, Measured, Pick, Taken};
pub use draft::{back_to, draft};
pub use file::*;
pub use load::{LoadError, Resolve, load, load_to_judge, schema};
pub use seat::{CpuLimit, Cpus, Seat, Seats, UnknownProcessor, cpus_of, same_volts};
pub use stale::{MadeFor, Stale, Statements, statements};
