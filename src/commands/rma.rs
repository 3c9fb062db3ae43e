//! `slotwise rma`: the slip for one module.

use std::path::PathBuf;

use super::files::named;
use super::review::{look, print, print_json, told};
use super::{CommandError, Exit, output};
use crate::env::Env;
use crate::report::{serials, slip, slip_page, slip_text};
use crate::text::shown;

/// Makes the slip for one module: what it is, where it was, what was seen there, and whether that supports a return
///
/// Only a verdict supports a return; without one the slip says which evidence is missing. With -o the slip is a page with
/// the serial as a bar code.
#[derive(Debug, Clone, clap::Args)]
pub struct RmaArgs {
    /// The record of the job
    pub record: PathBuf,
    /// The module's serial, as on its label or as the machine reports it
    pub serial: String,
    /// File to write the slip to, as a page
    #[arg(short, long, value_name = "FILE.html")]
    pub output: Option<PathBuf>,
    #[command(flatten)]
    pub over: output::Over,
    /// Print the slip as JSON
    #[arg(long)]
    pub json: bool,
}

/// Makes the slip and shows it on stdout, or writes it.
///
/// # Errors
/// A record that cannot be read, a serial it does not name, a file that cannot be written.
pub fn run(env: &mut Env, args: &RmaArgs) -> Result<Exit, CommandError> {
    let (_, story) = told(env, &args.record)?;
    let Some(slip) = slip(&story, &args.serial) else {
        let known: Vec<String> = serials(&story).iter().map(|serial| shown(serial).to_string()).collect();
        let what = format!("{} names no module with the serial {}", named(&args.record), shown(&args.serial));
        let way_out = match known.len() {
            0 => "the record names no serial at all".to_owned(),
            1..=32 => format!("it names {}", known.join(", ")),
            n => format!("it names {n} modules: `slotwise review --json` lists them"),
        };
        return Err(CommandError::new(Exit::BadData, what).way_out(way_out));
    };
    if let Some(output) = &args.output {
        output::write(env, output, args.over, &[&args.record], slip_page(&slip).as_bytes())?;
    }
    match (args.json, &args.output) {
        (true, _) => print_json(env, &slip)?,
        (false, Some(output)) => {
            writeln!(env.stdout, "{}", named(output))?;
            env.stdout.flush()?;
        }
        (false, None) => print(env, &slip_text(&slip, look(env)))?,
    }
    Ok(Exit::Done)
}
