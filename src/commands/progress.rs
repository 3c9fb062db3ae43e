//! How far a check of many records is.

use std::io::Write as _;
use std::time::Duration;

use super::CommandError;
use crate::env::Env;
use crate::source::counted;

/// How far it is, on stderr: a bar on a terminal, one line elsewhere.
pub(super) struct Progress(Option<indicatif::ProgressBar>);

impl Progress {
    pub(super) fn begin(env: &mut Env, records: usize) -> Result<Self, CommandError> {
        const FEW: usize = 20;
        if records < FEW {
            return Ok(Self(None));
        }
        if !env.terminal.stderr_is_terminal || env.variable("TERM") == Some("dumb") {
            writeln!(env.stderr, "checking {}", counted(records, "record"))?;
            return Ok(Self(None));
        }
        let bar = indicatif::ProgressBar::new(records as u64);
        bar.set_message("records checked");
        if let Ok(style) = indicatif::ProgressStyle::with_template("{pos}/{len} {msg}, {eta} left") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        Ok(Self(Some(bar)))
    }

    pub(super) fn at(&self, done: usize) {
        if let Some(bar) = &self.0 {
            bar.set_position(done as u64);
        }
    }

    pub(super) fn end(self) {
        if let Some(bar) = self.0 {
            bar.finish_and_clear();
        }
    }
}
