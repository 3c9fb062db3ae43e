//! One file per command: it reads files, calls a room below, and shows the result.

mod cli;
mod error;
mod exit;

pub use cli::run;
pub use error::CommandError;
pub use exit::Exit;
