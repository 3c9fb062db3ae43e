//! The walk: one open step at a time, until none is left and the technician has declared the job done.

use std::collections::VecDeque;
use std::time::Duration;

use super::isolate::Search;
use super::picture::Pictures;
use super::question::{place, question};
use super::rounds::all_steps;
use super::sign::Signed;
use super::{MachineReport, RunError};
use crate::board::SlotLabel;
use crate::checklist::{Because, Each, Evidence, Judged, PartRead, Step, StepId, Steps, judge};
use crate::env::Clock;
use crate::prompt::{Ask, AskError, Message, Question, Reply, Status, Wants};
use crate::record::{Answer, Event, How, Job, Journal, Passed};

/// How a walk ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// The technician declared the job done; so many findings of the last comparison are still open.
    Declared {
        /// Findings of the last comparison.
        findings: usize,
    },
    /// To be resumed.
    Paused,
}

/// One technician on one job.
pub struct Runner<'a> {
    pub(super) journal: Journal,
    pub(super) steps: Steps,
    pub(super) ask: &'a mut dyn Ask,
    pub(super) clock: &'a dyn Clock,
    pub(super) machine: &'a mut dyn MachineReport,
    pictures: Pictures,
    /// How a search for a fault is carried on.
    pub(super) search: Search,
    /// Whether findings lead straight into a search.
    pub(super) searches: bool,
    technician: String,
    /// Steps that had their answer before a pause and are checked once more.
    recheck: VecDeque<StepId>,
    /// The part number of the module whose serial is still to be scanned; a pause forgets it, so that both are scanned again.
    part_read: Option<PartRead>,
}

/// What one exchange with the person came to.
pub(super) enum Heard {
    Value {
        text: String,
        how: How,
        took: Duration,
    },
    /// Handled (a note, a problem): the same question comes again.
    Again,
    Back,
    Override,
    Paused,
}

impl<'a> Runner<'a> {
    /// A runner on an open record.
    ///
    /// # Errors
    /// When the record's checklist cannot be expanded for its plan.
    pub fn new(
        journal: Journal,
        ask: &'a mut dyn Ask,
        clock: &'a dyn Clock,
        machine: &'a mut dyn MachineReport,
        pictures: Pictures,
        technician: &str,
    ) -> Result<Self, RunError> {
        let steps = all_steps(journal.job())?;
        Ok(Self {
            journal,
            steps,
            ask,
            clock,
            machine,
            pictures,
            search: Search::install()?,
            searches: false,
            technician: technician.to_owned(),
            recheck: VecDeque::new(),
            part_read: None,
        })
    }

    /// With a search of these rates right after findings, where the technician asked for one.
    #[must_use]
    pub fn with_search(mut self, search: Search) -> Self {
        self.search = search;
        self.searches = true;
        self
    }

    /// How wide and in which characters pictures are.
    pub(super) fn look(&self) -> crate::draw::Look {
        self.pictures.look
    }

    /// The record.
    pub fn journal(&self) -> &Journal {
        &self.journal
    }

    /// Comes back to a job: says where it stands, and asks again for what a pause makes doubtful.
    ///
    /// # Errors
    /// As [`Runner::walk`].
    pub fn resume(&mut self) -> Result<(), RunError> {
        let now = self.clock.now();
        let job = self.journal.job();
        let (last, _) = job.last();
        let away = now.signed_duration_since(last);
        let open = job.open_step(&self.steps).and_then(|at| self.step(at)).cloned();
        let clock_note = (away < chrono::TimeDelta::zero()).then(|| {
            format!("the clock reads {} s before the last line; order comes from the line numbers", -away.num_seconds())
        });
        self.recheck = doubtful(&self.steps, self.journal.job()).into();
        self.record(Event::Resumed {
            step: open.as_ref().map(|step| step.id.clone()),
            away_ms: u64::try_from(away.num_milliseconds()).ok(),
            clock_note: clock_note.clone(),
        })?;
        if let Some(note) = clock_note {
            self.say(Status::Attention, note)?;
        }
        let answered = self.journal.job().answers().len();
        let total: usize = self.steps.cards.iter().map(|card| card.steps.len()).sum();
        self.say(Status::Info, format!("back at this job: {answered} of {total} items have their answer"))?;
        if !self.recheck.is_empty() {
            self.say(
                Status::Info,
                "because there was a pause, what was scanned for this item is scanned once more".to_owned(),
            )?;
        }
        // The next question may not name its slot, because its answer is the label on the board.
        let next = self.next_step().and_then(|at| self.step(at)).and_then(|step| step.place.clone());
        if let Some(place) = next {
            self.say(Status::Info, format!("go on at {place}"))?;
        }
        Ok(())
    }

    /// Goes on until the job is declared done or paused.
    ///
    /// # Errors
    /// When the record takes nothing more, or an answers file runs dry. The job can be resumed.
    pub fn walk(&mut self) -> Result<Ended, RunError> {
        loop {
            // Paused at a question beside a step.
            if self.journal.job().is_paused() {
                return Ok(Ended::Paused);
            }
            let Some(at) = self.next_step() else {
                match self.sign_off()? {
                    Signed::Declared { findings } => return Ok(Ended::Declared { findings }),
                    Signed::Paused => return Ok(Ended::Paused),
                    Signed::Reopened => continue,
                }
            };
            let Some(step) = self.step(at).cloned() else { continue };
            let picture = self.pictures.of(&self.steps, at, self.journal.job());
            let elapsed = self.journal.job().worked();
            let Some(mut asked) = question(&self.steps, at, elapsed, picture, self.machine) else { continue };
            if let Some(bench) = self.machine.bench(&step, &self.steps, self.journal.job()) {
                self.say(Status::Bench, bench)?;
            }
            if self.recheck.front() == Some(&step.id) {
                asked.text = format!("Once more, after the pause: {}", asked.text);
            }
            match self.hear(&asked, Some(&step))? {
                Heard::Value { text, how, took } => self.answered(&step, &text, how, took)?,
                Heard::Again => {}
                Heard::Back => self.back(Some(&step))?,
                Heard::Override => {
                    if self.pass(&step)?.is_none() {
                        return Ok(Ended::Paused);
                    }
                }
                Heard::Paused => return Ok(Ended::Paused),
            }
        }
    }

    pub(super) fn next_step(&mut self) -> Option<(usize, usize)> {
        while let Some(step) = self.recheck.front() {
            match self.steps.find(step) {
                Some(at) => return Some(at),
                None => self.recheck.pop_front(),
            };
        }
        self.journal.job().open_step(&self.steps)
    }

    pub(super) fn step(&self, at: (usize, usize)) -> Option<&Step> {
        self.steps.cards.get(at.0)?.steps.get(at.1)
    }

    /// Puts one question; notes, problems and pauses are dealt with here, for every question alike.
    pub(super) fn hear(&mut self, asked: &Question, step: Option<&Step>) -> Result<Heard, RunError> {
        // A question beside a step is at the step's place: place and time stay in view.
        let beside = step.filter(|_| asked.place.is_none()).and_then(|step| {
            let elapsed = self.journal.job().worked();
            Some(Question { place: place(&self.steps, self.steps.find(&step.id)?, elapsed), ..asked.clone() })
        });
        match self.ask.ask(beside.as_ref().unwrap_or(asked)) {
            Ok(Reply::Value { text, how, took }) => Ok(Heard::Value { text, how, took }),
            Ok(Reply::Back) => Ok(Heard::Back),
            Ok(Reply::Override) => Ok(Heard::Override),
            Ok(Reply::Note(text)) => {
                self.record(Event::Noted { step: step.map(|step| step.id.clone()), text })?;
                self.say(Status::Recorded, "note kept".to_owned())?;
                Ok(Heard::Again)
            }
            Ok(Reply::Problem(text)) => {
                self.problem(step, text)?;
                Ok(Heard::Again)
            }
            Ok(Reply::Pause) => self.pause(step, "the technician paused"),
            Err(error @ (AskError::Interrupted | AskError::End)) => self.pause(step, error.stopped()),
            Err(error @ AskError::Repeated { .. }) => {
                let next = "correct this answer in the file, then resume the job with --answers and the file";
                self.say(Status::Attention, format!("{error}\ntry: {next}"))?;
                self.pause(step, error.stopped())
            }
            Err(error) => {
                // The answers given so far are on disk; say in the record why they stop here.
                self.pause(step, error.stopped())?;
                Err(RunError::Ask(error))
            }
        }
    }

    fn pause(&mut self, step: Option<&Step>, why: &str) -> Result<Heard, RunError> {
        self.record(Event::Paused { step: step.map(|step| step.id.clone()), why: why.to_owned() })?;
        Ok(Heard::Paused)
    }

    fn problem(&mut self, step: Option<&Step>, text: String) -> Result<(), RunError> {
        let Some(step) = step else {
            self.record(Event::Noted { step: None, text })?;
            return self.say(Status::Recorded, "kept as a note".to_owned());
        };
        self.record(Event::ProblemReported { step: step.id.clone(), slot: step.slot.clone(), text })?;
        self.say(
            Status::Recorded,
            "problem kept; this item stays open. Put it right and answer it, pause with p, or type :override to pass it by name and reason"
                .to_owned(),
        )
    }

    /// An answer to a step: judged, recorded, and only then said to be so.
    fn answered(&mut self, step: &Step, text: &str, how: How, took: Duration) -> Result<(), RunError> {
        if step.evidence == Evidence::Snapshot {
            return self.snapshot(step, text, how, took);
        }
        let judged = match super::context::of(self.journal.job(), &self.steps) {
            Some(mut context) => {
                context.part_read = self.part_read.clone();
                judge(step, text, &context)
            }
            None => return Err(RunError::NoUnit),
        };
        match judged {
            Judged::Accept { value, serial, .. } => {
                self.part_read = None;
                if let Some(why) = self.machine.disagrees(step, &value, &self.steps, self.journal.job()) {
                    let (id, value) = (step.id.clone(), text.to_owned());
                    self.record(Event::Refused { step: id, value, how, why: why.clone() })?;
                    return self.say(Status::Refused, why);
                }
                if !self.put_right(step)? {
                    return Ok(());
                }
                self.record(Event::Answered { step: step.id.clone(), value, how, took_ms: millis(took), serial })?;
                if self.recheck.front() == Some(&step.id) {
                    self.recheck.pop_front();
                }
                self.say(Status::Recorded, String::new())
            }
            Judged::Partly { part, now } => {
                self.part_read = Some(part);
                self.say(Status::Info, now)
            }
            Judged::Refuse { why, because } => {
                self.record(Event::Refused { step: step.id.clone(), value: text.to_owned(), how, why: why.clone() })?;
                self.say(Status::Refused, why)?;
                if because == Because::NotGood {
                    // What is seen is not as it should be: a problem like one reported with a key of its own.
                    let (id, slot) = (step.id.clone(), step.slot.clone());
                    self.record(Event::ProblemReported { step: id, slot, text: format!("seen: {}", text.trim()) })?;
                }
                Ok(())
            }
        }
    }

    /// Asks, for every open problem of a step, what put it right. Whether all are settled; if not, the step stays open.
    pub(super) fn put_right(&mut self, step: &Step) -> Result<bool, RunError> {
        let open: Vec<(u64, String)> = self
            .journal
            .job()
            .problems()
            .iter()
            .filter(|problem| problem.step == step.id && problem.settled.is_none())
            .map(|problem| (problem.line, problem.text.clone()))
            .collect();
        for (problem, text) in open {
            let text = format!("Reported here: {text}\nWhat put it right? :b leaves the item open.");
            let Some(how) = self.reason(&side_question(step, "put-right", text), step)? else {
                if !self.journal.job().is_paused() {
                    self.say(Status::Info, "nothing changed; the item is still open".to_owned())?;
                }
                return Ok(false);
            };
            self.record(Event::ProblemSettled { step: step.id.clone(), problem, how })?;
        }
        Ok(true)
    }

    /// Back: the answer before no longer stands, by a new event that names it and says why.
    pub(super) fn back(&mut self, open: Option<&Step>) -> Result<(), RunError> {
        let job = self.journal.job();
        let before =
            self.steps.iter().map(|(_, _, step)| step).take_while(|step| open.is_none_or(|open| step.id != open.id));
        let Some((step, line)) =
            before.filter_map(|step| job.answer(&step.id).map(|standing| (step.clone(), standing.line))).last()
        else {
            return self.say(Status::Refused, "this is the first item; there is nothing before it".to_owned());
        };
        let asked = side_question(
            &step,
            "back",
            format!("Back to: {}\nWHY does its answer no longer hold? :b leaves it as it was.", step.text),
        );
        let Some(why) = self.reason(&asked, &step)? else {
            if !self.journal.job().is_paused() {
                self.say(Status::Info, "nothing changed; the earlier answer stands".to_owned())?;
            }
            return Ok(());
        };
        self.record(Event::Corrected { step: step.id.clone(), corrects: line, why })?;
        self.recheck.clear();
        self.say(Status::Recorded, "the earlier answer is taken back; it stays readable in the record".to_owned())
    }

    /// Passes a step without its evidence: slow, by name, with a reason. `None` when the technician paused instead.
    pub(super) fn pass(&mut self, step: &Step) -> Result<Option<()>, RunError> {
        const KINDS: [(&str, Passed); 3] = [
            ("not done", Passed::NotDone),
            ("does not apply here", Passed::NotApplicable),
            ("could not be done", Passed::CouldNot),
        ];
        let counts_back = step.each == Some(Each::CoverOn) && matches!(step.evidence, Evidence::Count { .. });
        if counts_back || matches!(step.evidence, Evidence::TallyBack { .. }) {
            self.say(
                Status::Attention,
                "a count that does not agree may mean a part is loose in the machine: say in the reason where it is"
                    .to_owned(),
            )?;
        }
        let item = step.text.lines().next().unwrap_or_default();
        let text = format!("To be passed without its evidence: {item}\nWhich is it? :b drops the override.");
        let mut asked = side_question(step, "pass", text);
        asked.wants = Wants::Choice { options: KINDS.iter().map(|(words, _)| (*words).to_owned()).collect() };
        let as_what = loop {
            match self.hear(&asked, Some(step))? {
                Heard::Value { text, .. } => match choice(&KINDS, &text) {
                    Some(passed) => break passed,
                    None => self.say(Status::Refused, "one of the three, by number or in words".to_owned())?,
                },
                Heard::Again => {}
                Heard::Back | Heard::Override => return Ok(Some(())),
                Heard::Paused => return Ok(None),
            }
        };
        let asked = side_question(
            step,
            "reason",
            "Why? In your words; it stands at the top of the report. :b drops the override.".to_owned(),
        );
        if self.answered_for(step, as_what, &asked)?.is_none() {
            return Ok(self.unless_paused());
        }
        self.say(Status::Attention, "passed without evidence; this stands at the top of the report".to_owned())?;
        Ok(Some(()))
    }

    /// Leaves what the report of this step shows as it is: by name, with a reason.
    pub(super) fn leave_open(&mut self, step: &Step) -> Result<(), RunError> {
        let asked = side_question(
            step,
            "reason",
            "The findings are left open. Why? In your words; it stands at the top of the report. :b goes back to the \
             report."
                .to_owned(),
        );
        if self.answered_for(step, Passed::CouldNot, &asked)?.is_none() {
            return Ok(());
        }
        self.say(Status::Attention, "findings left open; this stands at the top of the report".to_owned())
    }

    /// Asks why and who answers for it, and records it. `None` when the technician went back or paused.
    fn answered_for(&mut self, step: &Step, as_what: Passed, asked: &Question) -> Result<Option<()>, RunError> {
        let Some(why) = self.reason(asked, step)? else { return Ok(None) };
        let mut asked = side_question(step, "name", "Who answers for this?".to_owned());
        asked.wants = Wants::Line { what: "the name in full".to_owned(), optional: false };
        let Some(name) = self.reason(&asked, step)? else { return Ok(None) };
        self.record(Event::Overridden { step: step.id.clone(), as_what, why, name })?;
        if self.recheck.front() == Some(&step.id) {
            self.recheck.pop_front();
        }
        Ok(Some(()))
    }

    fn unless_paused(&self) -> Option<()> {
        (!self.journal.job().is_paused()).then_some(())
    }

    /// A line in the person's own words; `None` when the technician went back or paused. A scan is no reason: a tag, a slot or
    /// a serial of this job is refused.
    fn reason(&mut self, asked: &Question, step: &Step) -> Result<Option<String>, RunError> {
        const LETTERS: usize = 3;
        loop {
            match self.hear(asked, Some(step))? {
                Heard::Value { text, .. } => {
                    let text = text.trim();
                    if text.chars().filter(|c| c.is_alphabetic()).count() < LETTERS {
                        self.say(Status::Refused, format!("at least {LETTERS} letters are needed here"))?;
                    } else if self.names_something(text) {
                        let what = crate::text::shown(text);
                        self.say(Status::Refused, format!("{what} is a code of this job; words are wanted here"))?;
                    } else {
                        return Ok(Some(text.to_owned()));
                    }
                }
                Heard::Again => {}
                Heard::Back | Heard::Override | Heard::Paused => return Ok(None),
            }
        }
    }

    /// Whether a text is a tag, slot, serial or part number of this job, as a scanner would read it.
    fn names_something(&self, text: &str) -> bool {
        let opened = self.journal.job().opened();
        let units = opened.plan.order.unit.iter();
        let tags = units.flat_map(|unit| [Some(&unit.chassis), unit.enclosure.as_ref()]).flatten();
        let identities = opened.plan.slot.iter().map(|planned| &planned.module.identity);
        let codes = identities.flat_map(|identity| [identity.serial.as_ref(), identity.part.as_ref()]).flatten();
        tags.chain(codes).any(|code| code == text) || opened.board.slot(text).is_some()
    }

    /// One event onto the disk, under the technician's name.
    pub(super) fn record(&mut self, event: Event) -> Result<u64, RunError> {
        Ok(self.journal.append(&self.technician, self.clock.now(), event)?)
    }

    pub(super) fn say(&mut self, status: Status, text: String) -> Result<(), RunError> {
        self.ask.say(&Message { status, text }).map_err(RunError::Ask)
    }

    pub(super) fn technician(&self) -> &str {
        &self.technician
    }

    /// The slots a finding or a round is about, as labels.
    pub(super) fn steps_changed(&mut self) -> Result<(), RunError> {
        self.steps = all_steps(self.journal.job())?;
        Ok(())
    }
}

/// The answered steps that are asked once more when a job is taken up again: those of the open step's card that say so and
/// are at its slot.
pub fn doubtful(steps: &Steps, job: &Job) -> Vec<StepId> {
    let Some((card, at)) = job.open_step(steps) else { return Vec::new() };
    let Some(card) = steps.cards.get(card) else { return Vec::new() };
    let slot = card.steps.get(at).and_then(|step| step.slot.as_ref());
    card.steps
        .iter()
        .take(at)
        .filter(|step| step.recheck && step.slot.as_ref() == slot)
        .filter(|step| matches!(job.answer(&step.id).map(|standing| &standing.answer), Some(Answer::Given { .. })))
        .map(|step| step.id.clone())
        .collect()
}

/// A question beside a step: it has the step's name with a suffix, so that an answers file can answer it.
pub(super) fn side_question(step: &Step, suffix: &str, text: String) -> Question {
    Question {
        name: format!("{}/{suffix}", step.id.0),
        place: None,
        slot: step.slot.as_ref().map(SlotLabel::to_string),
        caution: None,
        warns: false,
        text,
        wants: Wants::Line { what: "it in your words".to_owned(), optional: false },
        help: None,
        critical: false,
        picture: Vec::new(),
    }
}

/// Which of several was chosen, by number from 1 or by its words.
pub(super) fn choice<T: Copy>(options: &[(&str, T)], text: &str) -> Option<T> {
    let text = text.trim();
    let by_number = text.parse::<usize>().ok().and_then(|n| n.checked_sub(1)).and_then(|n| options.get(n));
    by_number.or_else(|| options.iter().find(|(words, _)| words.eq_ignore_ascii_case(text))).map(|(_, value)| *value)
}

pub(super) fn millis(time: Duration) -> u64 {
    u64::try_from(time.as_millis()).unwrap_or(u64::MAX)
}
