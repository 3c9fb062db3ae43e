//! `slotwise report`: one record as a page.

use std::path::PathBuf;

use super::files::named;
use super::review::told;
use super::{CommandError, Exit, output};
use crate::env::Env;
use crate::report::page;

/// Writes one job as a page to read, print and keep: the same story as `review`
///
/// The page is one file: no network, no script. It prints on A4 and Letter.
#[derive(Debug, Clone, clap::Args)]
pub struct ReportArgs {
    /// The record of the job
    pub record: PathBuf,
    /// File to write the page to
    #[arg(short, long, value_name = "FILE.html")]
    pub output: PathBuf,
    #[command(flatten)]
    pub over: output::Over,
}

/// Reads the record and writes the page.
///
/// # Errors
/// A record that cannot be read, a file that cannot be written.
pub fn run(env: &mut Env, args: &ReportArgs) -> Result<Exit, CommandError> {
    let (job, story) = told(env, &args.record)?;
    let page = page(&story, &job.opened().board);
    output::write(env, &args.output, args.over, &[&args.record], page.as_bytes())?;
    writeln!(env.stdout, "{}", named(&args.output))?;
    env.stdout.flush()?;
    Ok(Exit::Done)
}
