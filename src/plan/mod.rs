//! Which module goes in which slot, what it will run at, and why each alternative is worse.

pub mod interleave;
pub mod rules;
pub mod search;
pub mod speed;

mod check;
mod file;
mod load;
mod seat;

pub use file::*;
pub use load::{LoadError, Resolve, load, schema};
pub use seat::{CpuLimit, Cpus, Seat, Seats, UnknownProcessor, cpus_of};
