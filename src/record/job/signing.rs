//! Who may state what, and which signature seals it.

use super::{Job, RuleFault};
use crate::record::chain::key_fingerprint;
use crate::record::{Event, Line, Role};
use crate::verify::Grave;

/// A name as it is compared: a capital or a blank more makes nobody another person.
pub(super) fn person(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// Whether whoever wrote such a line worked on the job. Notes and problems may come from anyone who passes by.
pub(super) const fn is_work(event: &Event) -> bool {
    matches!(event, Event::Answered { .. } | Event::Refused { .. } | Event::Corrected { .. } | Event::Overridden { .. })
        || matches!(event, Event::TrialDone { .. } | Event::VerdictReached { .. })
        || matches!(event, Event::Declared { role: Role::Technician, .. })
}

impl Job {
    /// Whether the last report of the machine differs from the plan in more than a note, or a problem was not put right.
    pub fn has_open_findings(&self) -> bool {
        self.open_problems().next().is_some()
            || self.comparison().is_some_and(|last| last.findings.iter().any(|finding| finding.grave != Grave::Note))
    }

    /// Whether this name stands at work on the job.
    pub fn worked_on_it(&self, name: &str) -> bool {
        self.workers.contains(&person(name))
    }

    pub(super) fn reopen(&mut self, by: u64) {
        for declaration in &mut self.declarations {
            declaration.reopened_by.get_or_insert(by);
        }
    }

    /// A role states once how things are, and again only to say more: with a key after a typed name, or when lines came
    /// after that it did not cover.
    pub(super) fn check_declared(
        &self,
        name: &str,
        role: Role,
        reason: Option<&str>,
        key: Option<&str>,
    ) -> Result<(), RuleFault> {
        if role == Role::Technician && !self.worked_on_it(name) {
            return Err(RuleFault::NotTheTechnician { name: name.to_owned() });
        }
        let standing = |role| self.standing_declarations().find(|declaration| declaration.role == role);
        if let Some(earlier) = standing(role) {
            let says_more = (key.is_some() && earlier.signed.is_none()) || self.lines > earlier.end();
            if !says_more {
                return Err(RuleFault::DeclaredTwice { role, line: earlier.line });
            }
        }
        match (role, standing(Role::Technician), standing(Role::Supervisor)) {
            (Role::Technician, _, Some(countersigned)) => {
                Err(RuleFault::AfterCountersigned { line: countersigned.line })
            }
            (Role::Technician, _, None) => Ok(()),
            (Role::Supervisor, Some(technician), _) if !technician.lacks_its_signature() => {
                if self.worked_on_it(name) {
                    return Err(RuleFault::OwnJob { name: name.to_owned() });
                }
                if key.is_some() && technician.key.as_deref() == key {
                    return Err(RuleFault::SameKey);
                }
                if self.has_open_findings() && reason.is_none_or(|reason| reason.trim().is_empty()) {
                    return Err(RuleFault::FindingsWithoutReason);
                }
                Ok(())
            }
            (Role::Supervisor, _, _) => Err(RuleFault::NothingToCountersign),
        }
    }

    /// A signature comes right behind its declaration, from the same person at the same time, by the key named there.
    pub(super) fn check_signed(&self, line: &Line, declared: u64, key: &str) -> Result<(), RuleFault> {
        let Some(declaration) = self.declarations.last().filter(|last| last.line == declared && declared == self.lines)
        else {
            return Err(RuleFault::SealsNothing { declared });
        };
        if line.at != declaration.at || line.by != self.last_by {
            return Err(RuleFault::OtherSigner);
        }
        let found = key_fingerprint(key).unwrap_or_else(|| key.to_owned());
        if declaration.key.as_ref() != Some(&found) {
            return Err(RuleFault::OtherKey { declared, found });
        }
        Ok(())
    }
}
