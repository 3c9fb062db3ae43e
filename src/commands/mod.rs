//! One file per command: it reads files, calls a room below, and shows the result.

mod amend;
pub mod archive;
pub mod audit;
pub mod board;
pub mod capture;
mod cli;
mod error;
mod exit;
mod files;
mod install;
pub mod isolate;
mod job;
mod ours;
mod output;
mod plan;
mod practice;
mod progress;
mod report;
mod report_file;
mod resume;
mod review;
mod rma;
pub mod schema;
mod sign;
mod unnamed;
mod verify;
mod wrap;

pub use cli::run;
pub use error::CommandError;
pub use exit::Exit;
