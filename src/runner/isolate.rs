//! The search for a fault beside the walk: begun after findings, one trial at a time, until the evidence carries a verdict.

use super::trial;
use super::walk::{Heard, Runner, choice, side_question};
use super::{RunError, compare};
use crate::board::SlotLabel;
use crate::checklist::Step as CardStep;
use crate::draw::{Bar, Look, Tone, bars};
use crate::isolate::rates::{Rates, shipped};
use crate::isolate::{self, Done, Explanation, JOINED, Seen, Step, Trial, Verdict};
use crate::module::{Identity, Module};
use crate::plan::rules::check;
use crate::plan::{PlanSlot, Seat, cpus_of};
use crate::prompt::{Status, Wants};
use crate::record::{Answer, Event, FittedModule, Isolation, IsolationOpened, Job, Passed};
use crate::snapshot::Snapshot;
use crate::text::{HANDS, PROCESSOR, shown, shown_within};

/// What the practice bench shows of a spare, ahead of its serial.
pub const SPARE_LABEL: &str = "the label of a known-good module in its bag reads";

/// How a search is carried on.
#[derive(Debug, Clone)]
pub struct Search {
    /// How likely each kind of fault is, and what trials cost.
    pub rates: Rates,
    /// The probability a verdict needs, as text.
    pub sure: String,
    /// Serials of known-good modules that were named when the search was asked for; where there are none, it is asked.
    pub spares: Vec<String>,
}

impl Search {
    /// With the rates for machines that were just fitted.
    ///
    /// # Errors
    /// When the shipped file is not valid, which a test reads.
    pub fn install() -> Result<Self, RunError> {
        Self::shipped("install").ok_or(RunError::NoRates)
    }

    /// With rates that come with the program, by name.
    pub fn shipped(name: &str) -> Option<Self> {
        let rates = shipped(name)?.ok()?;
        Some(Self { rates, sure: isolate::state::SURE.to_string(), spares: Vec::new() })
    }
}

/// Where a search stands after a start.
pub(super) enum Found {
    /// The cards of the next trial come next.
    Trial,
    /// It has its verdict, or was given up.
    Over,
    Paused,
}

impl Runner<'_> {
    /// Begins a search from what a start showed, and asks for its first trial.
    pub(super) fn begin_search(
        &mut self,
        step: &CardStep,
        first: Seen,
        snapshot_line: Option<u64>,
    ) -> Result<Found, RunError> {
        let named = std::mem::take(&mut self.search.spares);
        let mut usable = Vec::new();
        for serial in named {
            match no_spare(self.journal.job(), &self.steps, &serial) {
                None => usable.extend(spare(self.journal.job(), &serial)),
                Some(why) => self.say(Status::Refused, format!("module {}: {why}", shown(&serial)))?,
            }
        }
        let named = usable;
        let spares = if named.is_empty() { self.spares(step)? } else { Some(named) };
        let Some(spares) = spares else { return Ok(Found::Paused) };
        let opened = open_search(self.journal.job(), &self.steps, &self.search, first, snapshot_line, spares);
        self.record(Event::IsolationOpened(Box::new(opened)))?;
        self.next_trial(step)
    }

    /// Known-good modules on the bench; `None` when the technician paused.
    fn spares(&mut self, step: &CardStep) -> Result<Option<Vec<Module>>, RunError> {
        let on_bench = self.machine.spare(self.journal.job());
        let offered = on_bench.as_ref().and_then(|spare| spare.identity.serial.clone());
        let offered = offered.filter(|serial| no_spare(self.journal.job(), &self.steps, serial).is_none());
        let like = self.journal.job().opened().plan.slot.first().map(|planned| planned.module.clone());
        let Some(like) = on_bench.clone().or(like) else { return Ok(Some(Vec::new())) };
        let text = format!(
            "Is a known-good module on hand, like those in the machine ({})?\nScan its serial. Enter alone: there is none.",
            like.spec
        );
        let mut asked = side_question(step, "spare", text);
        asked.slot = None;
        asked.wants = Wants::Line { what: "its serial".to_owned(), optional: true };
        loop {
            if let Some(serial) = &offered {
                let line = format!("{SPARE_LABEL} {}", shown(serial));
                self.say(Status::Bench, line)?;
            }
            match self.hear(&asked, Some(step))? {
                Heard::Value { text, .. } => {
                    let serial = text.trim();
                    if serial.is_empty() {
                        return Ok(Some(Vec::new()));
                    }
                    let plausible = serial.len() >= 4
                        && serial.bytes().all(|byte| byte.is_ascii_graphic())
                        && serial.bytes().any(|byte| byte.is_ascii_digit());
                    if !plausible {
                        let why = "a serial has no blanks and at least one digit; Enter alone where there is no spare";
                        self.say(Status::Refused, why.to_owned())?;
                        continue;
                    }
                    if let Some(why) = no_spare(self.journal.job(), &self.steps, serial) {
                        self.say(Status::Refused, why.to_owned())?;
                        continue;
                    }
                    let identity = Identity { serial: Some(serial.to_owned()), ..like.identity.clone() };
                    return Ok(Some(vec![Module { spec: like.spec.clone(), identity }]));
                }
                Heard::Again => {}
                Heard::Back | Heard::Override => return Ok(Some(Vec::new())),
                Heard::Paused => return Ok(None),
            }
        }
    }

    /// Takes known-good modules into the search that is open: named when it was asked for, or come to hand since.
    pub(super) fn bring(&mut self, modules: Vec<Module>) -> Result<(), RunError> {
        for module in modules {
            let known = self.journal.job().isolation().is_none_or(|search| !search.is_open() || search.knows(&module));
            if !known {
                let serial = shown(module.identity.serial.as_deref().unwrap_or_default()).to_string();
                self.record(Event::SpareBrought { module })?;
                self.say(Status::Recorded, format!("module {serial} is on hand as known-good from here on"))?;
            }
        }
        Ok(())
    }

    /// The known-good modules that were named on the command line, into the search that is open.
    pub(super) fn bring_named(&mut self) -> Result<(), RunError> {
        let named = std::mem::take(&mut self.search.spares);
        let modules = named.iter().filter_map(|serial| spare(self.journal.job(), serial)).collect();
        self.bring(modules)
    }

    /// Takes in what the start after the open trial showed.
    pub(super) fn trial_done(&mut self, told: Option<Seen>, report: Option<(u64, &Snapshot)>) -> Result<(), RunError> {
        let job = self.journal.job();
        let Some((search, run)) = job.isolation().and_then(|search| Some((search, search.open_trial()?))) else {
            return Ok(());
        };
        let id = trial::id(job, search, run);
        let puts_back = run.puts_back;
        let mut done = trial::carried(job, &self.steps, &id, &run.changes);
        let number = run.trial;
        let (seen, other) = match report {
            Some((_, snapshot)) => read_trial(job, &self.steps, search, &mut done, snapshot),
            None => (told.unwrap_or(Seen::NoPost), false),
        };
        let found = trial::stood(job, &self.steps, &id);
        let less = done != run.changes;
        let snapshot_line = report.map(|(line, _)| line);
        let showed = format!("this start showed: {}", isolate::seen_words(&seen));
        self.record(Event::TrialDone { trial: number, done: done.clone(), seen, found, snapshot_line })?;
        self.say(Status::Attention, showed)?;
        if other {
            let what =
                format!("the report shows modules elsewhere than asked; what counts: {}", isolate::trial_words(&done));
            self.say(Status::Attention, what)?;
        } else if less {
            let part = if puts_back { "the putting back" } else { "the trial" };
            let what = format!("part of {part} was passed; what counts: {}", isolate::trial_words(&done));
            self.say(Status::Attention, what)?;
        }
        Ok(())
    }

    /// The verdict, or the next trial.
    pub(super) fn next_trial(&mut self, step: &CardStep) -> Result<Found, RunError> {
        let job = self.journal.job();
        let Some(search) = job.isolation() else { return Ok(Found::Over) };
        let state = match search.state(&job.opened().board) {
            Ok(state) => state,
            Err(error) => {
                self.say(Status::Attention, format!("the search cannot go on: {error}"))?;
                return self.give_up(&format!("The search could not go on: {error}"), Vec::new());
            }
        };
        let answer = isolate::answer(&state);
        let number = search.trials.len() as u64 + 1;
        for note in &answer.notes {
            self.say(Status::Attention, note.clone())?;
        }
        if let Some(verdict) = answer.verdict {
            let explanations = answer.explanations;
            for line in verdict_lines(&verdict) {
                self.say(Status::Attention, line)?;
            }
            self.record(Event::VerdictReached { verdict, explanations })?;
            return Ok(Found::Over);
        }
        let Some(next) = answer.trial else {
            let why = answer.undecided.unwrap_or_default();
            self.say(Status::Attention, why.clone())?;
            return self.give_up(&why, answer.explanations);
        };
        self.ask_trial(step, number, next, answer.explanations, &answer.reporting)
    }

    fn ask_trial(
        &mut self,
        step: &CardStep,
        number: u64,
        next: Trial,
        explanations: Vec<Explanation>,
        reporting: &str,
    ) -> Result<Found, RunError> {
        #[derive(Clone, Copy)]
        enum Chosen {
            GoOn,
            Stop,
            Spare,
        }
        const OPTIONS: [(&str, Chosen); 3] = [
            ("go on with this trial", Chosen::GoOn),
            ("stop the search here, undecided", Chosen::Stop),
            ("a known-good module is at hand now", Chosen::Spare),
        ];
        // Where one is known already, another is rare enough for `isolate --spare`.
        let has_spare = self.journal.job().isolation().is_some_and(|search| !search.opened.spares.is_empty());
        let options = if has_spare { &OPTIONS[..2] } else { &OPTIONS[..] };
        let text = format!("Trial {number}, about {} min. {}", next.minutes, isolate::trial_told(&next));
        let mut asked = side_question(step, &format!("trial-{number}"), text);
        asked.slot = None;
        asked.picture = table(&explanations, self.look());
        // Where pictures are left out, the same in words: how it reports at once, the explanations when asked for.
        asked.help = Some(in_words(&explanations, reporting));
        if number == 1 {
            self.say(Status::Info, reporting.to_owned())?;
        } else {
            asked.picture.extend(gone_by(reporting, self.look()));
        }
        asked.wants = Wants::Choice { options: options.iter().map(|(words, _)| (*words).to_owned()).collect() };
        loop {
            match self.hear(&asked, Some(step))? {
                Heard::Value { text, .. } => match choice(options, &text) {
                    Some(Chosen::GoOn) => break,
                    Some(Chosen::Stop) => return self.give_up("The technician stopped the search.", explanations),
                    Some(Chosen::Spare) => {
                        let Some(modules) = self.spares(step)? else { return Ok(Found::Paused) };
                        if !modules.is_empty() {
                            // With it another change may tell more.
                            self.bring(modules)?;
                            return self.next_trial(step);
                        }
                    }
                    None => self.say(Status::Refused, "one of these, by number or in words".to_owned())?,
                },
                Heard::Again => {}
                Heard::Back | Heard::Override => {
                    return self.give_up("The technician stopped the search.", explanations);
                }
                Heard::Paused => return Ok(Found::Paused),
            }
        }
        let Trial { changes, minutes, why } = next;
        self.record(Event::TrialOpened { trial: number, changes, minutes, why, guided: true })?;
        self.steps_changed()?;
        self.say(Status::Info, "the cards of this trial come next; then a new report tells".to_owned())?;
        Ok(Found::Trial)
    }

    fn give_up(&mut self, why: &str, explanations: Vec<Explanation>) -> Result<Found, RunError> {
        self.record(Event::VerdictReached { verdict: undecided(why), explanations })?;
        self.say(Status::Attention, "the search ends undecided; nothing goes back to the maker on it".to_owned())?;
        Ok(Found::Over)
    }

    /// The cards that bring the modules back to where the plan has them.
    pub(super) fn put_back(&mut self, changes: Vec<Step>) -> Result<(), RunError> {
        let number = self.journal.job().isolation().map_or(0, |search| search.trials.len()) as u64 + 1;
        let why = "The search is over: the modules go back to their planned slots.".to_owned();
        self.record(Event::TrialOpened { trial: number, changes, minutes: 0, why, guided: true })?;
        self.steps_changed()?;
        self.say(Status::Info, "the cards for putting the modules back come next".to_owned())
    }
}

/// Why a module with this serial cannot be a known-good spare of this job; `None` where it can.
fn no_spare(job: &Job, steps: &crate::checklist::Steps, serial: &str) -> Option<&'static str> {
    let own =
        |identity: &Identity| identity.serial.as_deref().is_some_and(|own| crate::verify::serials_equal(own, serial));
    let mut planned = job.opened().plan.slot.iter().map(|planned| &planned.module.identity);
    if planned.any(own) || compare::scanned(job, steps).values().any(own) {
        return Some("that module is one of the machine's own; a spare comes from outside it");
    }
    called_bad(job, serial).then_some("a verdict of this job calls that module bad, so it is no known-good spare")
}

/// Whether a verdict of this job calls a module bad.
pub fn called_bad(job: &Job, serial: &str) -> bool {
    let reached = job.isolations().iter().filter_map(|search| search.verdict.as_ref());
    let mut bad = reached.flat_map(|reached| trial::named_bad(&reached.verdict).0);
    bad.any(|own| crate::verify::serials_equal(own, serial))
}

/// A module with this serial, like those in the machine: taken for good.
pub fn spare(job: &Job, serial: &str) -> Option<Module> {
    let like = job.opened().plan.slot.first().map(|planned| planned.module.clone())?;
    let identity = Identity { serial: Some(serial.to_owned()), ..like.identity };
    Some(Module { spec: like.spec, identity })
}

/// No verdict, and why.
pub fn undecided(why: &str) -> Verdict {
    Verdict { what: "undecided".to_owned(), which: String::new(), probability: "0".to_owned(), because: why.to_owned() }
}

/// All a search starts from, drawn from the job.
pub fn open_search(
    job: &Job,
    steps: &crate::checklist::Steps,
    search: &Search,
    first: Seen,
    snapshot_line: Option<u64>,
    spares: Vec<Module>,
) -> IsolationOpened {
    let plan = &job.opened().plan;
    let scanned = compare::scanned(job, steps);
    let left_out = |slot: &SlotLabel| {
        steps.iter().filter(|(_, _, step)| step.slot.as_ref() == Some(slot)).any(|(_, _, step)| {
            let not =
                |answer: &Answer| matches!(answer, Answer::Passed { as_what: Passed::NotDone | Passed::CouldNot, .. });
            step.id.0.ends_with("/module") && job.answer(&step.id).is_some_and(|standing| not(&standing.answer))
        })
    };
    // After an earlier search, the modules stand where it left them.
    let stands =
        job.isolation().filter(|search| search.done() > 0).map(|search| search.arrangement(search.trials.len()));
    let fitted = match stands {
        Some(stands) => {
            stands.into_iter().filter_map(|one| Some(FittedModule { slot: one.slot?, module: one.module })).collect()
        }
        None => plan
            .slot
            .iter()
            .filter(|planned| !left_out(&planned.slot))
            .map(|planned| {
                let mut module = planned.module.clone();
                let read = scanned.get(&planned.slot).and_then(|identity| identity.serial.clone());
                module.identity.serial = read.or(module.identity.serial);
                FittedModule { slot: planned.slot.clone(), module }
            })
            .collect(),
    };
    let before = before(job, steps, &first);
    // What was seen first is what the first report showed, where rounds came after it.
    let (first, before) = before.unwrap_or((first, Vec::new()));
    IsolationOpened {
        rates: search.rates.clone(),
        sure: search.sure.clone(),
        fitted,
        spares,
        first,
        snapshot_line,
        before,
        without_processor: without_processor(job),
        broken_rules: broken_rules(job),
    }
}

/// What the rounds before the search tell: the slots of a round were seated anew, how their modules stood before that, and the
/// report after it still showed, or no longer showed, them. Known where every round's reason is the fault that is there now.
fn before(job: &Job, steps: &crate::checklist::Steps, now: &Seen) -> Option<(Seen, Vec<Done>)> {
    if job.isolation().is_some() {
        return None;
    }
    let (first, rest) = job.rounds().split_first()?;
    let mut before = Vec::new();
    let reseat = |slots: &[SlotLabel]| {
        let planned = |slot: &&SlotLabel| job.opened().plan.module_at(slot.as_str()).is_some();
        slots.iter().filter(planned).cloned().map(Step::Reseat).collect::<Vec<_>>()
    };
    let stood = |round: &crate::record::Round| trial::stood(job, steps, &format!("again-{}", round.round));
    let (mut changes, mut found) = (reseat(&first.slots), stood(first));
    for round in rest {
        before.push(Done { asked: None, done: changes, seen: Seen::Slots(round.failing.clone()), found });
        (changes, found) = (reseat(&round.slots), stood(round));
    }
    before.push(Done { asked: None, done: changes, seen: now.clone(), found });
    Some((Seen::Slots(first.failing.clone()), before))
}

/// Sockets that the order leaves without a processor.
fn without_processor(job: &Job) -> Vec<usize> {
    let opened = job.opened();
    let unit = opened.plan.order.unit.iter().find(|unit| unit.chassis == opened.unit);
    let cpus = cpus_of(&opened.board, unit).unwrap_or_default();
    cpus.iter().enumerate().filter(|(_, cpu)| cpu.is_none()).map(|(n, _)| n).collect()
}

/// Population rules that the plan itself breaks.
fn broken_rules(job: &Job) -> Vec<String> {
    let plan = &job.opened().plan;
    let unit = plan.order.unit.iter().find(|unit| unit.chassis == job.opened().unit);
    // A processor the board does not know is told when the job is opened; without its limits there is less to break.
    let Ok(cpus) = cpus_of(&plan.board, unit).or_else(|_| cpus_of(&plan.board, None)) else { return Vec::new() };
    let seat = |label: &SlotLabel| plan.module_at(label.as_str()).map(PlanSlot::seat);
    let seats: Vec<Option<Seat>> = plan.board.slots().map(|at| seat(&at.slot.label)).collect();
    check(&plan.board, &cpus, &seats).breaches.into_iter().map(|breach| breach.what).collect()
}

/// What a report shows of the open trial, and whether modules stand otherwise than `done` says; `done` is then what is shown.
pub fn read_trial(
    job: &Job,
    steps: &crate::checklist::Steps,
    search: &Isolation,
    done: &mut Vec<Step>,
    snapshot: &Snapshot,
) -> (Seen, bool) {
    let before = search.arrangement(search.trials.len());
    let after = |done: &[Step]| {
        let mut stands = before.clone();
        crate::record::carry_out(&mut stands, done);
        stands
    };
    let mut stands = after(done);
    let mut other = false;
    if let Some(found) = trial::otherwise(job, &before, &stands, snapshot)
        && let Ok(state) = search.state(&job.opened().board)
        && let Ok(changes) = state.changes_from(&found)
    {
        let kept = |step: &&Step| match step {
            Step::Reseat(slot) => changes.iter().all(|change| !trial::slots_of(change).contains(&slot)),
            Step::ClearSettings(_) => true,
            _ => false,
        };
        let kept: Vec<Step> = done.iter().filter(kept).cloned().collect();
        *done = changes.into_iter().chain(kept).collect();
        stands = after(done);
        other = true;
    }
    (trial::seen(job, steps, &stands, snapshot), other)
}

/// The explanations as rows with bars, likeliest first.
pub fn table(explanations: &[Explanation], look: Look) -> Vec<String> {
    let rows: Vec<Bar> = explanations
        .iter()
        .take(MOST_ROWS)
        .map(|one| {
            let chance: f64 = one.probability.parse().unwrap_or(0.0);
            let name = if one.which.is_empty() { one.what.clone() } else { format!("{} {}", one.what, one.which) };
            Bar { name, value: (chance * 1000.0).round() as u64, text: isolate::per_cent(chance), tone: Tone::Plain }
        })
        .collect();
    let look = Look { width: look.width.min(60), ..look };
    let mut lines = vec!["What explains what was seen, with its probability:".to_owned()];
    lines.extend(bars(&rows, look).plain());
    lines
}

/// The explanations and what they rest on, without a picture.
fn in_words(explanations: &[Explanation], reporting: &str) -> String {
    let named = explanations.iter().take(MOST_ROWS).map(|one| {
        let which = if one.which.is_empty() { String::new() } else { format!(" {}", shown(&one.which)) };
        let sure = isolate::sure_words(&one.what, &one.probability).unwrap_or_default();
        format!("{}{which} at {sure}", one.what)
    });
    format!("What explains what was seen: {}. {reporting}", named.collect::<Vec<_>>().join(", "))
}

/// The most explanations that are shown.
const MOST_ROWS: usize = 6;

/// How the machine is believed to show a fault, below the explanations that rest on it.
fn gone_by(reporting: &str, look: Look) -> Vec<String> {
    let width = look.width.min(70).saturating_sub(2).max(20);
    shown_within(reporting, width * 4).wrapped(width).into_iter().map(str::to_owned).collect()
}

/// A verdict for whoever stands at the machine: what it is, what carries it, what to do now.
pub fn verdict_lines(verdict: &Verdict) -> Vec<String> {
    let which = if verdict.which.is_empty() { String::new() } else { format!(" {}", shown(&verdict.which)) };
    let sure = isolate::sure_words(&verdict.what, &verdict.probability);
    let sure = sure.map_or_else(String::new, |sure| format!(", probability {sure}"));
    let mut lines = vec![format!("VERDICT: {}{which}{sure}", verdict.what), verdict.because.clone()];
    // A verdict says what fails, not that all the rest is good: a second fault may hide behind it.
    let next = match verdict.what.as_str() {
        "seating" => "Nothing goes back to the maker for it: the module was not fully in.",
        "module" => "Take it out, bag it, mark it, and let its slip go with it: `slotwise rma RECORD SERIAL`.",
        "slot" => {
            "No module goes back to the maker for it. Take the board to its service; leave the slot empty until then."
        }
        "channel" => "No module goes back to the maker for it. Processor contacts and board are next.",
        "socket" => {
            "No module goes back to the maker for it. The processor's contacts are looked at before anything is replaced."
        }
        "settings" => "No part goes back to the maker for it. Note the setting for the site.",
        "seating or settings" => "Nothing is broken and nothing goes back to the maker. Note the setting for the site.",
        what if what.split(JOINED).all(|part| part == "module") => {
            "Of the modules only those that are named go back, each with its slip: `slotwise rma RECORD SERIAL`."
        }
        what if what.split(JOINED).any(|part| part == "module") => {
            "Of the modules only the one that is named goes back, with its slip: `slotwise rma RECORD SERIAL`."
        }
        what if what.contains(JOINED) => "No module goes back to the maker for it. Mend both, then boot again.",
        _ => "",
    };
    lines.extend(Some(next.to_owned()).filter(|next| !next.is_empty()));
    let part = |names: &[&str]| verdict.what.split(JOINED).any(|part| names.contains(&part));
    if part(&["channel", "socket"]) && !verdict.because.contains(PROCESSOR) {
        lines.push(PROCESSOR.to_owned());
    }
    if part(&["module", "slot"]) && !verdict.because.contains(HANDS) {
        lines.push(HANDS.to_owned());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(what: &str, which: &str) -> String {
        let (what, which) = (what.to_owned(), which.to_owned());
        verdict_lines(&Verdict { what, which, probability: "0.995".to_owned(), because: String::new() }).join("\n")
    }

    #[test]
    fn no_verdict_on_something_else_calls_the_modules_good_and_none_lets_one_go_back() {
        for what in ["seating", "slot", "channel", "socket", "settings", "seating or settings", "channel and slot"] {
            let told = lines(what, "A1");
            assert!(told.contains(" goes back to the maker"), "{what}: {told}");
            assert!(!told.contains("good") && !told.contains("rma"), "{what}: {told}");
        }
    }

    #[test]
    fn a_verdict_on_a_module_and_something_else_lets_that_module_alone_go_back() {
        assert!(lines("module", "OSP1").contains("let its slip go with it"));
        let both = lines("slot and module", "A1 and OSP1");
        assert!(both.contains("only the one that is named goes back"), "{both}");
        assert!(lines("module and module", "OSP1 and OSP2").contains("those that are named"));
    }

    #[test]
    fn a_verdict_that_needs_hands_names_the_cards_and_one_on_contacts_qualified_people() {
        for (what, wanted) in [
            ("module", Some(HANDS)),
            ("slot", Some(HANDS)),
            ("slot and module", Some(HANDS)),
            ("channel", Some(PROCESSOR)),
            ("socket", Some(PROCESSOR)),
            ("channel and slot", Some(PROCESSOR)),
            ("settings", None),
        ] {
            let told = lines(what, "A1");
            let named = [HANDS, PROCESSOR].iter().any(|text| told.contains(text));
            assert!(wanted.map_or(!named, |wanted| told.contains(wanted)), "{what}: {told}");
        }
    }
}
