//! Which event may follow which.

use super::{Isolation, Job};
use crate::checklist::StepId;
use crate::record::{Event, Line, Role};
use crate::text::shown;

/// An event that cannot happen where it stands.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RuleFault {
    #[error("the first event must open the job")]
    NotOpened,
    #[error("a job is opened once, by its first line")]
    OpenedTwice,
    #[error("line {found} cannot follow line {last}")]
    OutOfOrder { last: u64, found: u64 },
    #[error("`{event}` while the job is paused: it must be resumed first")]
    WhilePaused { event: &'static str },
    #[error("`{event}` after the job was declared done in line {declared}: correct an answer first, with a reason")]
    AfterDeclared { event: &'static str, declared: u64 },
    #[error("line {corrects} is not the standing answer of step `{}`, so it cannot be corrected", shown(&step.0))]
    NothingToCorrect { step: StepId, corrects: u64 },
    #[error("line {snapshot_line} is not a snapshot, so nothing can be compared with it")]
    NoSuchSnapshot { snapshot_line: u64 },
    #[error("line {problem} reports no open problem at step `{}`, so nothing can be settled", shown(&step.0))]
    NoSuchProblem { step: StepId, problem: u64 },
    #[error("line {snapshot_line} is not the latest snapshot, so the machine cannot be opened again for it")]
    NotTheLatestSnapshot { snapshot_line: u64 },
    #[error("round {found} cannot come next: round {expected} is due")]
    WrongRound { expected: u64, found: u64 },
    #[error("a search for a fault is open already")]
    IsolationOpen,
    #[error("no search for a fault was begun")]
    NoIsolation,
    #[error("that spare module is known to the search already")]
    SpareKnown,
    #[error("trial {trial} is not done yet")]
    TrialOpen { trial: u64 },
    #[error("trial {found} does not come next: trial {expected} is due")]
    WrongTrial { expected: u64, found: u64 },
    #[error("trial {trial} is not the one that was asked for")]
    NoSuchTrial { trial: u64 },
    #[error("the {} has {} already, in line {line}", role.name(), role.did())]
    DeclaredTwice { role: Role, line: u64 },
    #[error("a reason is missing: a correction, an override or an amendment says why")]
    NoReason,
    #[error("an amendment says what is true now: that text is empty")]
    NothingAmended,
    #[error(
        "a supervisor cannot countersign what the technician has not signed; first: `slotwise sign RECORD --role \
         technician`"
    )]
    NothingToCountersign,
    #[error("`{}` worked on this job and cannot countersign it: someone else looks the record through", shown(name))]
    OwnJob { name: String },
    #[error("`{}` gave no answer in this record and cannot state that the work was done", shown(name))]
    NotTheTechnician { name: String },
    #[error("the technician signed with this key: a countersignature comes from another person and another key")]
    SameKey,
    #[error(
        "the last report of the machine differs from the plan: a supervisor who takes the job all the same says why"
    )]
    FindingsWithoutReason,
    #[error("the job is countersigned in line {line}: amend the record first, with a reason")]
    AfterCountersigned { line: u64 },
    #[error("a signature seals the declaration right before it, and line {declared} is none")]
    SealsNothing { declared: u64 },
    #[error("the signature is of another time or another person than the declaration it seals")]
    OtherSigner,
    #[error("the signature is by key {}, and line {declared} names another", shown(found))]
    OtherKey { declared: u64, found: String },
    #[error("nothing has been signed off, so there is nothing to amend: correct the answer instead")]
    NothingSigned,
    #[error("line {amends} is not one of the lines before, so it cannot be amended")]
    NothingToAmend { amends: u64 },
}

impl Role {
    /// What one in this role has done with a statement, after `has`.
    pub const fn did(self) -> &'static str {
        match self {
            Self::Technician => "signed off",
            Self::Supervisor => "countersigned",
        }
    }

    /// The role as the record writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Technician => "technician",
            Self::Supervisor => "supervisor",
        }
    }
}

impl Event {
    /// The event's name as the record writes it.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Opened(_) => "opened",
            Self::Answered { .. } => "answered",
            Self::Refused { .. } => "refused",
            Self::Corrected { .. } => "corrected",
            Self::Overridden { .. } => "overridden",
            Self::Noted { .. } => "noted",
            Self::ProblemReported { .. } => "problem-reported",
            Self::ProblemSettled { .. } => "problem-settled",
            Self::Paused { .. } => "paused",
            Self::Resumed { .. } => "resumed",
            Self::SnapshotTaken { .. } => "snapshot-taken",
            Self::Compared { .. } => "compared",
            Self::RoundOpened { .. } => "round-opened",
            Self::IsolationOpened(_) => "isolation-opened",
            Self::SpareBrought { .. } => "spare-brought",
            Self::TrialOpened { .. } => "trial-opened",
            Self::TrialDone { .. } => "trial-done",
            Self::VerdictReached { .. } => "verdict-reached",
            Self::TailSetAside { .. } => "tail-set-aside",
            Self::Declared { .. } => "declared",
            Self::Signed { .. } => "signed",
            Self::Amended { .. } => "amended",
        }
    }
}

impl Job {
    /// Whether `line` may come next.
    ///
    /// After a declaration the job rests: its signature, notes, problems, the other role's declaration, a tail set aside, a
    /// correction and an amendment may follow. The last two open the job again; what was declared before then counts no
    /// longer, and stays readable.
    ///
    /// # Errors
    /// The rule it would break.
    pub fn check(&self, line: &Line) -> Result<(), RuleFault> {
        if line.n != self.lines + 1 {
            return Err(RuleFault::OutOfOrder { last: self.lines, found: line.n });
        }
        let event = line.event.name();
        let passive =
            matches!(line.event, Event::Noted { .. } | Event::ProblemReported { .. } | Event::TailSetAside { .. });
        if self.is_paused()
            && !passive
            && !matches!(
                line.event,
                Event::Opened(_)
                    | Event::Paused { .. }
                    | Event::Resumed { .. }
                    | Event::SnapshotTaken { .. }
                    | Event::Compared { .. }
            )
        {
            return Err(RuleFault::WhilePaused { event });
        }
        if let Some(declared) = self.standing_declarations().next()
            && !passive
            && !matches!(
                line.event,
                Event::Opened(_)
                    | Event::Declared { .. }
                    | Event::Signed { .. }
                    | Event::Corrected { .. }
                    | Event::Amended { .. }
            )
        {
            return Err(RuleFault::AfterDeclared { event, declared: declared.line });
        }
        match &line.event {
            Event::Opened(_) => Err(RuleFault::OpenedTwice),
            Event::Corrected { step, corrects, why } => {
                let stands = self.answer(step).is_some_and(|standing| standing.line == *corrects);
                if !stands {
                    return Err(RuleFault::NothingToCorrect { step: step.clone(), corrects: *corrects });
                }
                said(why)
            }
            Event::Overridden { why, .. } => said(why),
            Event::ProblemSettled { step, problem, how } => {
                let open = |reported: &super::Problem| reported.line == *problem && reported.step == *step;
                match self.problems().iter().find(|reported| open(reported)) {
                    Some(reported) if reported.settled.is_none() => said(how),
                    _ => Err(RuleFault::NoSuchProblem { step: step.clone(), problem: *problem }),
                }
            }
            Event::Compared { snapshot_line, .. } if !self.snapshot_lines.contains(snapshot_line) => {
                Err(RuleFault::NoSuchSnapshot { snapshot_line: *snapshot_line })
            }
            Event::RoundOpened { round, snapshot_line, .. } => self.check_round(*round, *snapshot_line),
            Event::IsolationOpened(opened) => {
                if self.isolation().is_some_and(Isolation::is_open) {
                    return Err(RuleFault::IsolationOpen);
                }
                self.check_snapshot(opened.snapshot_line)
            }
            Event::SpareBrought { module } => match self.isolation().filter(|search| search.is_open()) {
                Some(search) if search.knows(module) => Err(RuleFault::SpareKnown),
                Some(_) => Ok(()),
                None => Err(RuleFault::NoIsolation),
            },
            Event::TrialOpened { trial, .. } => self.check_trial(*trial),
            Event::TrialDone { trial, snapshot_line, .. } => match self.isolation().and_then(Isolation::open_trial) {
                Some(open) if open.trial == *trial => self.check_snapshot(*snapshot_line),
                _ => Err(RuleFault::NoSuchTrial { trial: *trial }),
            },
            Event::VerdictReached { .. } if self.isolation().is_none() => Err(RuleFault::NoIsolation),
            Event::Declared { name, role, reason, key, .. } => {
                self.check_declared(name, *role, reason.as_deref(), key.as_deref())
            }
            Event::Signed { declared, key, .. } => self.check_signed(line, *declared, key),
            Event::Amended { amends, now, why, .. } => {
                if self.declarations.is_empty() {
                    return Err(RuleFault::NothingSigned);
                }
                if !(1..=self.lines).contains(amends) {
                    return Err(RuleFault::NothingToAmend { amends: *amends });
                }
                said(why)?;
                if now.trim().is_empty() { Err(RuleFault::NothingAmended) } else { Ok(()) }
            }
            _ => Ok(()),
        }
    }
}

impl Job {
    fn check_snapshot(&self, line: Option<u64>) -> Result<(), RuleFault> {
        match line {
            Some(snapshot_line) if !self.snapshot_lines.contains(&snapshot_line) => {
                Err(RuleFault::NoSuchSnapshot { snapshot_line })
            }
            _ => Ok(()),
        }
    }

    /// One trial at a time, counted from 1.
    fn check_trial(&self, trial: u64) -> Result<(), RuleFault> {
        let search = self.isolation().ok_or(RuleFault::NoIsolation)?;
        let expected = search.trials.len() as u64 + 1;
        if let Some(open) = search.open_trial() {
            return Err(RuleFault::TrialOpen { trial: open.trial });
        }
        if trial != expected {
            return Err(RuleFault::WrongTrial { expected, found: trial });
        }
        Ok(())
    }

    /// A round follows from the latest snapshot: the machine state it names is the one a later report must differ from.
    fn check_round(&self, round: u64, snapshot_line: u64) -> Result<(), RuleFault> {
        if self.snapshot().is_none_or(|(line, _)| line != snapshot_line) {
            return Err(RuleFault::NotTheLatestSnapshot { snapshot_line });
        }
        let expected = self.rounds.len() as u64 + 1;
        if round != expected {
            return Err(RuleFault::WrongRound { expected, found: round });
        }
        Ok(())
    }
}

fn said(why: &str) -> Result<(), RuleFault> {
    if why.trim().is_empty() { Err(RuleFault::NoReason) } else { Ok(()) }
}
