//! One file per command: it reads files, calls a room below, and shows the result.

pub mod atomic;
pub mod capture;
mod cli;
mod files;
mod install;
mod job;
mod practice;
mod report_file;
mod resume;
mod error;
mod exit;

pub use cli::run;
pub use error::CommandError;
pub use exit::Exit;
