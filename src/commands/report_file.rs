//! The report of a real machine: a snapshot file, a copied tree, or this very machine.

use std::path::PathBuf;
use std::rc::Rc;

use super::files;
use crate::board::SlotLabel;
use crate::checklist::Steps;
use crate::env::{Clock, Env};
use crate::isolate::Seen;
use crate::prompt::Wants;
use crate::record::Job;
use crate::runner::{MachineReport, Report, ReportError};
use crate::snapshot::{Capture, read_json};
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
            what: "the snapshot (`slotwise capture -o FILE` makes it on that machine; `here` is this machine), `dark` if it does \
                   not start, or `slots LABEL LABEL` as its screen names them"
                .to_owned(),
        }
    }

    fn read(&mut self, given: &str, _: &Steps, job: &Job) -> Result<Report, ReportError> {
        let given = given.trim();
        if let Some(seen) = told(given, job)? {
            return Ok(Report::Told(seen));
        }
        let path = self.folder.join(given);
        if given == "here" && !path.exists() {
            return Ok(Capture::take(&self.root, self.clock.now(), true).snapshot.into());
        }
        let name = shown_within(given, 60);
        if path.is_dir() {
            let taken = Capture::take(&path, self.clock.now(), false).snapshot;
            if taken.sources.is_empty() {
                return Err(ReportError {
                    what: format!("{name} holds nothing of a machine: no proc, no sys. Give the snapshot file"),
                });
            }
            return Ok(taken.into());
        }
        let bytes = files::plain_bytes(&path).map_err(|error| ReportError {
            what: format!("{name} cannot be read ({}). Check the path and give it again", error.kind()),
        })?;
        read_json(&bytes).map(Report::from).map_err(|error| ReportError {
            what: format!("{name} is no snapshot: {error}. Make it anew with `slotwise capture -o FILE`"),
        })
    }
}

/// What a person says of a start without a report: `dark`, or `slots` with the labels that its screen names.
fn told(given: &str, job: &Job) -> Result<Option<Seen>, ReportError> {
    if given.eq_ignore_ascii_case("dark") {
        return Ok(Some(Seen::NoPost));
    }
    let mut words = given.split([' ', ',']).filter(|word| !word.is_empty());
    if words.next() != Some("slots") {
        return Ok(None);
    }
    let board = &job.opened().board;
    let slots: Vec<SlotLabel> = words.map(SlotLabel::from).collect();
    match slots.iter().find(|slot| board.slot(slot.as_str()).is_none()) {
        Some(slot) => {
            let what = format!(
                "the board has no slot {}; give the labels as they stand on it",
                shown_within(slot.as_str(), 20)
            );
            Err(ReportError { what })
        }
        None => Ok(Some(Seen::Slots(slots))),
    }
}
