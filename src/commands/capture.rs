//! `slotwise capture`: what this machine, or a copy of its files, says about its memory.

mod summary;

use std::path::PathBuf;

use super::{CommandError, Exit, output};
use crate::env::Env;
use crate::snapshot::{Capture, write_json};

/// Reads what a machine reports about its memory: every slot, the totals, the errors counted
///
/// Reads the firmware's table, /proc and /sys of this machine, or of a copy of them. The firmware's table can be read
/// by root only; without it no slot is known, and the exit code is 77, or 66 where the machine has no such table. What could not be read is listed with what that
/// costs and how to get it.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct CaptureArgs {
    /// Folder that holds the machine's proc and sys [default: this machine]
    #[arg(long, value_name = "DIR")]
    pub root: Option<PathBuf>,
    /// File to write the snapshot to, with all raw bytes
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    #[command(flatten)]
    pub over: output::Over,
    /// Print the snapshot as JSON in place of the summary
    #[arg(long)]
    pub json: bool,
}

/// Takes a snapshot, writes it, and shows it. `NoPermission` when no slot is known because the firmware's table may not be
/// read, `NoInput` when there is nothing to read at all; the snapshot is written and shown all the same.
pub fn run(env: &mut Env, args: &CaptureArgs) -> Result<Exit, CommandError> {
    let root = match &args.root {
        Some(root) => env.folder.join(root),
        None => env.root.clone(),
    };
    let live = args.root.is_none() || root == std::path::Path::new("/");
    let taken = Capture::take(&root, env.clock.now(), live);
    if taken.no_root {
        let shown = crate::text::shown(&root.to_string_lossy()).to_string();
        return Err(CommandError::new(Exit::NoInput, format!("{shown} is no folder that can be entered"))
            .way_out("give with --root the folder that holds the machine's proc and sys"));
    }
    let json = write_json(&taken.snapshot)
        .map_err(|error| CommandError::new(Exit::Io, "cannot write JSON").because(&error))?;
    if let Some(output) = &args.output {
        let inputs = args.root.as_deref().filter(|_| !live);
        output::write(env, output, args.over, inputs.as_slice(), &json)?;
    }
    if args.json {
        env.stdout.write_all(&json)?;
    } else {
        env.stdout.write_all(summary::text(&taken.snapshot).as_bytes())?;
    }
    env.stdout.flush()?;
    Ok(if !taken.snapshot.slots.is_empty() {
        Exit::Done
    } else if taken.table_refused {
        Exit::NoPermission
    } else {
        Exit::NoInput
    })
}
