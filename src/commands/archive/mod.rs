//! `slotwise archive`: many records as one file, and back.

mod entry;
mod pack;
mod unpack;

pub use pack::PackArgs;
pub use unpack::UnpackArgs;

use std::path::PathBuf;

use super::{CommandError, Exit};
use crate::commands::audit::{Judges, Verdict};
use crate::env::Env;

/// Packs records into one archive with what an audit finds of them, and takes them out again
///
/// The archive is a plain tar (POSIX ustar): the records as they are, what crashes tore off them, `audit.json`, and
/// `SHA256SUMS`, so that `tar -xf` and `sha256sum -c` open and check it without this program.
#[derive(Debug, Clone, clap::Args)]
pub struct ArchiveArgs {
    #[command(subcommand)]
    what: What,
}

impl ArchiveArgs {
    /// The records, or folders of them, that are packed.
    pub fn paths(&self) -> Vec<PathBuf> {
        match &self.what {
            What::Pack(args) => args.records.clone(),
            What::Unpack(_) => Vec::new(),
        }
    }
}

#[derive(Debug, Clone, clap::Subcommand)]
enum What {
    Pack(PackArgs),
    Unpack(UnpackArgs),
}

/// What packing and unpacking both take: whose signatures count, and how it is told.
#[derive(Debug, Clone, clap::Args)]
pub struct Checks {
    #[command(flatten)]
    pub judges: Judges,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Whether an archive may hold a file of this name.
pub fn is_safe_name(name: &str) -> bool {
    entry::kind(name).is_some()
}

/// Packs or unpacks.
///
/// # Errors
/// A file that cannot be read or made; an archive that is none, or holds what no such archive holds.
pub fn run(env: &mut Env, args: &ArchiveArgs) -> Result<Exit, CommandError> {
    match &args.what {
        What::Pack(args) => pack::run(env, args),
        What::Unpack(args) => unpack::run(env, args),
    }
}

/// As `audit` ends: by the worst of them.
fn ended(verdicts: impl Iterator<Item = Verdict>) -> Exit {
    match verdicts.max() {
        Some(Verdict::Wrong) => Exit::BadData,
        Some(Verdict::NotProven) => Exit::Findings,
        Some(Verdict::Proven) | None => Exit::Done,
    }
}
