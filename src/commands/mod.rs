//! One file per command: it reads files, calls a room below, and shows the result.

pub mod board;
mod cli;
mod error;
mod exit;
pub mod input;
pub mod schema;

pub use cli::run;
pub use error::CommandError;
pub use exit::Exit;
