//! The report of a real machine: a snapshot file, a copied tree, or this very machine.

use std::path::PathBuf;
use std::rc::Rc;

use super::files;
use crate::checklist::Steps;
use crate::env::{Clock, Env};
use crate::prompt::Wants;
use crate::record::Job;
use crate::runner::{MachineReport, ReportError};
use crate::snapshot::{Capture, Snapshot, read_json};
use crate::text::shown_within;

/// Reads what the technician names.
pub struct FileReport {
    folder: PathBuf,
    root: PathBuf,
    clock: Rc<dyn Clock>,
}

impl FileReport {
    /// Paths start in the folder the command was called in.
    pub fn new(env: &Env) -> Self {
        Self { folder: env.folder.clone(), root: env.root.clone(), clock: Rc::clone(&env.clock) }
    }
}

impl MachineReport for FileReport {
    fn wants(&self) -> Wants {
        Wants::Path {
            what: "the snapshot (`slotwise capture -o FILE` makes it on that machine; `here` is this machine)"
                .to_owned(),
        }
    }

    fn read(&mut self, given: &str, _: &Steps, _: &Job) -> Result<Snapshot, ReportError> {
        let given = given.trim();
        let path = self.folder.join(given);
        if given == "here" && !path.exists() {
            return Ok(Capture::take(&self.root, self.clock.now(), true).snapshot);
        }
        let name = shown_within(given, 60);
        if path.is_dir() {
            let taken = Capture::take(&path, self.clock.now(), false).snapshot;
            if taken.sources.is_empty() {
                return Err(ReportError {
                    what: format!("{name} holds nothing of a machine: no proc, no sys. Give the snapshot file"),
                });
            }
            return Ok(taken);
        }
        let bytes = files::bytes(&path).map_err(|error| ReportError {
            what: format!("{name} cannot be read ({}). Check the path and give it again", error.kind()),
        })?;
        read_json(&bytes).map_err(|error| ReportError {
            what: format!("{name} is no snapshot: {error}. Make it anew with `slotwise capture -o FILE`"),
        })
    }
}
