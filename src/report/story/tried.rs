//! Trials and verdicts of a record, line by line.

use super::types::{Trial, Verdict};
use crate::isolate::{seen_words, stood_words, sure_words, trial_words};
use crate::record::{Event, Line, time};

/// What was tried so far, and the verdict that stands.
#[derive(Debug, Default)]
pub(super) struct Tried {
    pub trials: Vec<Trial>,
    pub verdicts: Vec<Verdict>,
    /// The first verdict of the search that goes on.
    standing: usize,
    /// A trial that was begun and has shown nothing yet.
    begun: Option<Trial>,
    /// Whether that search has its verdict: what is opened after it brings the modules back.
    over: bool,
}

impl Tried {
    pub(super) fn line(&mut self, line: &Line) {
        let at = time::text(&line.at);
        match &line.event {
            Event::IsolationOpened(opened) => {
                self.standing = self.verdicts.len();
                self.over = false;
                let spares = match opened.spares.len() {
                    0 => "no known-good module on hand".to_owned(),
                    n => format!("{} on hand as known-good", crate::source::counted(n, "module")),
                };
                self.trials.push(Trial {
                    line: line.n,
                    at,
                    by: line.by.clone(),
                    change: format!("search for the fault begun, rates `{}`, {spares}", opened.rates.name),
                    outcome: seen_words(&opened.first),
                    amended: Vec::new(),
                });
            }
            Event::SpareBrought { module } => self.trials.push(Trial {
                line: line.n,
                at,
                by: line.by.clone(),
                change: "a known-good module came to hand".to_owned(),
                outcome: module.identity.serial.clone().unwrap_or_else(|| "no serial".to_owned()),
                amended: Vec::new(),
            }),
            Event::TrialOpened { trial, changes, .. } => {
                let what = if self.over { "modules to be put back".to_owned() } else { format!("trial {trial} begun") };
                self.begun = Some(Trial {
                    line: line.n,
                    at,
                    by: line.by.clone(),
                    change: format!("{what}: {}", trial_words(changes)),
                    outcome: "no start after it was looked at".to_owned(),
                    amended: Vec::new(),
                });
            }
            Event::TrialDone { trial, done, seen, found, .. } => {
                self.begun = None;
                self.trials.push(Trial {
                    line: line.n,
                    at,
                    by: line.by.clone(),
                    change: if self.over {
                        format!("modules put back: {}", trial_words(done))
                    } else {
                        let stood = stood_words(found).map(|stood| format!("; {stood}")).unwrap_or_default();
                        format!("trial {trial}: {}{stood}", trial_words(done))
                    },
                    outcome: seen_words(seen),
                    amended: Vec::new(),
                });
            }
            Event::VerdictReached { verdict, .. } => {
                self.over = true;
                let now = verdicts(line.n, &at, verdict);
                let same = |one: &Verdict, other: &Verdict| {
                    (&one.kind, &one.slot, &one.serial) == (&other.kind, &other.slot, &other.serial)
                };
                for earlier in self.verdicts.drain(self.standing..) {
                    // The same once more, after the modules were put back, is no news.
                    if now.iter().any(|one| same(one, &earlier)) {
                        continue;
                    }
                    self.trials.push(Trial {
                        line: earlier.line,
                        at: earlier.at,
                        by: line.by.clone(),
                        change: format!("verdict then: {}", earlier.kind),
                        outcome: format!("replaced by the verdict of line {}", line.n),
                        amended: Vec::new(),
                    });
                }
                self.verdicts.extend(now);
            }
            _ => {}
        }
    }

    /// Nothing comes any more: what was begun stays as it is.
    pub(super) fn ends(&mut self) {
        self.trials.extend(self.begun.take());
    }
}

/// A verdict on two faults is told as one on each.
fn verdicts(line: u64, at: &str, verdict: &crate::isolate::Verdict) -> Vec<Verdict> {
    let kinds: Vec<&str> = verdict.what.split(crate::isolate::JOINED).collect();
    let named: Vec<&str> = verdict.which.split(crate::isolate::JOINED).collect();
    let chance: f64 = verdict.probability.parse().unwrap_or(0.0);
    // Never rounded up to certainty.
    let ppm = sure_words(&verdict.what, &verdict.probability).map(|_| (chance * 1e6).floor() as u32);
    kinds
        .iter()
        .enumerate()
        .map(|(n, kind)| {
            let which = named.get(n).filter(|which| !which.is_empty()).map(|which| (*which).to_owned());
            let is_module = *kind == "module";
            Verdict {
                line,
                at: at.to_owned(),
                kind: (*kind).to_owned(),
                slot: which.clone().filter(|_| !is_module),
                serial: which.filter(|_| is_module),
                ppm,
                why: vec![verdict.because.clone()],
                amended: Vec::new(),
                since: None,
            }
        })
        .collect()
}
