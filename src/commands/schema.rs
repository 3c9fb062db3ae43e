//! `slotwise schema`.

use serde_json::Value;

use super::{CommandError, Exit};
use crate::board::{BOARD_FORMAT, Board};
use crate::checklist::{CHECKLIST_FORMAT, Checklist, SITE_FORMAT, Site};
use crate::env::Env;
use crate::isolate::rates::{RATES_FORMAT, Rates};
use crate::order::{ORDER_FORMAT, Order};
use crate::plan;
use crate::prompt::answers::{ANSWERS_FORMAT, AnswersFile};
use crate::record::Line;
use crate::snapshot::{SNAPSHOT_FORMAT, Snapshot};
use crate::source::schema_of;

/// Prints the JSON Schema of a file, for an editor that completes and checks while you type
///
/// It comes from the same types that read the file.
#[derive(Debug, Clone, clap::Args)]
pub struct SchemaArgs {
    /// Which file
    pub name: Name,
}

/// The files that have a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Name {
    /// The memory layout of one kind of machine
    Board,
    /// What is asked for
    Order,
    /// Which module goes in which slot
    Plan,
    /// Cards of steps
    Checklist,
    /// A site's own limits
    Site,
    /// How likely each kind of fault is
    Rates,
    /// A scripted technician
    Answers,
    /// What a machine reports about its memory
    Snapshot,
    /// One line of a job's record
    Record,
}

/// Prints one schema.
///
/// # Errors
/// A stream that fails.
pub fn run(env: &mut Env, args: &SchemaArgs) -> Result<Exit, CommandError> {
    writeln!(env.stdout, "{:#}", schema(args.name))?;
    env.stdout.flush()?;
    Ok(Exit::Done)
}

fn schema(name: Name) -> Value {
    match name {
        Name::Board => schema_of::<Board>(BOARD_FORMAT),
        Name::Order => schema_of::<Order>(ORDER_FORMAT),
        Name::Plan => plan::schema(),
        Name::Checklist => schema_of::<Checklist>(CHECKLIST_FORMAT),
        Name::Site => schema_of::<Site>(SITE_FORMAT),
        Name::Rates => schema_of::<Rates>(RATES_FORMAT),
        Name::Answers => schema_of::<AnswersFile>(ANSWERS_FORMAT),
        Name::Snapshot => schema_of::<Snapshot>(SNAPSHOT_FORMAT),
        // A record's line is a flattened event; what it may hold besides is the reader's to say.
        Name::Record => schemars::schema_for!(Line).to_value(),
    }
}
