//! One difference between snapshot and plan.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::board::SlotLabel;

/// The kinds of difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FindingKind {
    Missing,
    Unplanned,
    Exchanged,
    WrongModule,
    WrongSize,
    WrongKind,
    Slower,
    Unbalanced,
    ShutOff,
    ShortTotal,
    ErrorsCounted,
    DuplicateSerial,
    UnknownSlot,
    UnreadableIdentity,
    StaleSnapshot,
    /// The report is of another machine than the one the job is on.
    OtherMachine,
}

/// How grave a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Grave {
    /// The machine must not be handed back like this.
    Stop,
    /// Someone must look and decide.
    Look,
    /// Worth knowing.
    Note,
}

/// One difference between snapshot and plan, with the evidence and the next thing to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    pub kind: FindingKind,
    pub slot: Option<SlotLabel>,
    /// The module as the plan or the report names it.
    pub module: Option<String>,
    pub planned: Option<String>,
    pub reported: Option<String>,
    /// The source and field the reported value was read from: `smbios type 17 handle 0x0038, size`.
    pub source: String,
    pub grave: Grave,
    /// What to do next.
    pub next: String,
}

impl FindingKind {
    /// The kind as files and screens write it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Unplanned => "unplanned",
            Self::Exchanged => "exchanged",
            Self::WrongModule => "wrong-module",
            Self::WrongSize => "wrong-size",
            Self::WrongKind => "wrong-kind",
            Self::Slower => "slower",
            Self::Unbalanced => "unbalanced",
            Self::ShutOff => "shut-off",
            Self::ShortTotal => "short-total",
            Self::ErrorsCounted => "errors-counted",
            Self::DuplicateSerial => "duplicate-serial",
            Self::UnknownSlot => "unknown-slot",
            Self::UnreadableIdentity => "unreadable-identity",
            Self::StaleSnapshot => "stale-snapshot",
            Self::OtherMachine => "other-machine",
        }
    }
}

impl Finding {
    /// Whether the module of its slot does not work by this: it is missing, disabled, or has uncorrected errors. A count of
    /// corrected errors alone names no cause.
    pub fn fails(&self) -> bool {
        match self.kind {
            FindingKind::Missing | FindingKind::ShutOff => true,
            FindingKind::ErrorsCounted => self.grave == Grave::Stop,
            _ => false,
        }
    }

    /// A count of corrected errors as a note: where, how many, from which source, and what to try; `None` for other findings.
    /// Safe to show.
    pub fn counted_note(&self) -> Option<String> {
        if self.kind != FindingKind::ErrorsCounted || self.fails() {
            return None;
        }
        let place = self.slot.as_ref().map(|slot| format!(" in slot {slot}")).unwrap_or_default();
        let reported = self.reported.as_deref().unwrap_or_default();
        let text = format!("errors counted{place}: {reported} ({}). {}", self.source, self.next);
        Some(crate::text::shown_within(&text, 600).to_string())
    }

    /// The finding in lines a person reads: what it is and where, planned against reported, what to do next, and where the
    /// reported value is from. Safe to show.
    pub fn lines(&self) -> Vec<String> {
        let place = self.slot.as_ref().map(|slot| format!(" at {slot}")).unwrap_or_default();
        let clean = |text: &str| crate::text::shown_within(text, 160).to_string();
        let mut lines = vec![match &self.module {
            Some(module) => format!("{}{place}: {}", self.kind.name(), clean(module)),
            None => format!("{}{place}", self.kind.name()),
        }];
        match (&self.planned, &self.reported) {
            (Some(planned), Some(reported)) => {
                lines.push(format!("planned {}; reported {}", clean(planned), clean(reported)));
            }
            (Some(planned), None) => lines.push(format!("planned {}; nothing reported", clean(planned))),
            (None, Some(reported)) => lines.push(format!("reported {}", clean(reported))),
            (None, None) => {}
        }
        lines.push(format!("next: {}", crate::text::shown_within(&self.next, 1000)));
        lines
    }
}

/// Whether a report cannot be of the start it was asked for: of another machine, or of a start before.
pub fn is_no_evidence(findings: &[Finding]) -> bool {
    findings.iter().any(|finding| matches!(finding.kind, FindingKind::StaleSnapshot | FindingKind::OtherMachine))
}
