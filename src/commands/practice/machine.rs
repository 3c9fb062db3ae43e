//! The practice machine: what it reports follows from what the job says was really inserted, and from its fault.

use std::cell::RefCell;
use std::rc::Rc;

use super::{TECHNICIAN, bench};
use crate::board::SlotLabel;
use crate::checklist::{Each, Evidence, ScanOf, Step, Steps};
use crate::commands::{CommandError, Exit};
use crate::env::{Clock, Env};
use crate::isolate::Seen;
use crate::machine::{Boot, Fault, Latch, Machine, Reporting, Seated, WhichModule};
use crate::module::{Identity, Module};
use crate::plan::{Action, Plan};
use crate::prompt::Wants;
use crate::record::{Answer, Job, Practice};
use crate::runner::{MachineReport, Report, ReportError};
use crate::snapshot::Capture;

/// How many times faster the practice machine's clock runs.
const FASTER: u32 = 20;

/// The serial of the module that lies on the bench as known-good.
pub const SPARE: &str = "7A41B00C";

/// What is played next, shared with whoever plays the answers.
pub type NextAnswer = Rc<RefCell<Option<String>>>;

/// The invented machine.
pub struct PracticeMachine {
    seed: u64,
    practice: Practice,
    clock: Rc<dyn Clock>,
    /// Set when the answers are played: the answer for the step asked now.
    next: Option<NextAnswer>,
}

impl PracticeMachine {
    /// The machine of a practice record.
    pub fn of(practice: &Practice, env: &Env) -> Result<Self, CommandError> {
        let seed = practice.seed.parse().map_err(|_| {
            CommandError::new(Exit::BadData, "the record's practice seed is no whole number")
                .way_out("the record was changed by hand; play a new practice job")
        })?;
        Ok(Self { seed, practice: practice.clone(), clock: Rc::clone(&env.clock), next: None })
    }

    /// From now on the answers are played.
    pub fn play(&mut self) -> NextAnswer {
        Rc::clone(self.next.get_or_insert_with(Rc::default))
    }

    /// Where the answers that are played come from.
    pub fn next(&self) -> NextAnswer {
        self.next.clone().unwrap_or_default()
    }

    /// The slot that the fault strikes, chosen by the seed among those that get a module.
    fn struck(&self, plan: &Plan) -> Option<SlotLabel> {
        let slots: Vec<&SlotLabel> =
            plan.slot.iter().filter(|planned| planned.action != Action::Keep).map(|planned| &planned.slot).collect();
        let mut random = fastrand::Rng::with_seed(self.seed);
        slots.get(random.usize(..slots.len().max(1))).map(|slot| (*slot).clone())
    }

    fn fault(&self, plan: &Plan) -> Fault {
        let Some(slot) = self.struck(plan) else { return Fault::None };
        match self.practice.fault.as_str() {
            "seating" => Fault::Seating { slot },
            "module" => Fault::Module(WhichModule::FirstIn(slot)),
            "slot" => Fault::Slot { slot },
            "channel" => match plan.board.slot(slot.as_str()) {
                Some(at) => Fault::Channel { socket: at.socket.label.clone(), channel: at.channel.label.clone() },
                None => Fault::None,
            },
            "socket" => match plan.board.slot(slot.as_str()) {
                Some(at) => Fault::Socket { socket: at.socket.label.clone() },
                None => Fault::None,
            },
            _ => Fault::None,
        }
    }

    fn reporting(&self) -> Reporting {
        match self.practice.report.as_deref().unwrap_or_default() {
            "channel" => Reporting::ByChannel,
            "blind" => Reporting::Blind,
            _ => Reporting::default(),
        }
    }

    /// The module that lies on the bench as known-good: like the first one planned.
    fn spare_module(&self, plan: &Plan) -> Option<Module> {
        let like = plan.slot.first().filter(|_| self.practice.spare.as_deref() != Some("none"))?;
        let identity = Identity { serial: Some(SPARE.to_owned()), ..like.module.identity.clone() };
        Some(Module { spec: like.module.spec.clone(), identity })
    }

    /// The machine as the job left it: every answered scan of a module put that module in that slot.
    fn built(&self, steps: &Steps, job: &Job) -> Option<Machine> {
        let opened = job.opened();
        let unit = opened.plan.order.unit.iter().find(|unit| unit.chassis == opened.unit)?.clone();
        let mut machine = Machine::new(opened.board.clone(), unit, self.seed)
            .with_fault(self.fault(&opened.plan))
            .with_reporting(self.reporting());
        for fitted in &opened.plan.order.fitted {
            machine.insert(&fitted.slot, fitted.module.clone(), Latch::Latched).ok()?;
        }
        if self.practice.spare.as_deref() == Some("bad") {
            machine = machine.with_bad(SPARE);
        }
        // Modules out of the machine, on the bench.
        let mut bench: Vec<Seated> = Vec::new();
        for (_, _, step) in steps.iter() {
            let (Some(slot), Some(standing)) = (&step.slot, job.answer(&step.id)) else { continue };
            let Answer::Given { serial, value, .. } = &standing.answer else { continue };
            if !matches!(step.evidence, Evidence::Scan { of: ScanOf::Module, .. }) {
                continue;
            }
            let serial = serial.as_ref().unwrap_or(value);
            match step.each {
                Some(Each::Remove | Each::Lift) => bench.extend(machine.remove(slot)),
                Some(Each::Reseat) => {
                    machine.reseat(slot);
                }
                _ if machine.at(slot).is_some() => {
                    machine.reseat(slot);
                }
                _ => {
                    let is = |seated: &Seated| seated.module.identity.serial.as_ref() == Some(serial);
                    if let Some(n) = bench.iter().position(is) {
                        let seated = Seated { latch: Latch::Latched, ..bench.remove(n) };
                        machine.put(slot, seated).ok()?;
                        continue;
                    }
                    let spare = self.spare_module(&opened.plan).filter(|_| *serial == SPARE);
                    if let Some(module) = spare {
                        // No slot of the machine was its first: a fault of the first module there is none of its own.
                        let first_in = SlotLabel::from("the bench");
                        machine.put(slot, Seated { module, latch: Latch::Latched, first_in }).ok()?;
                        continue;
                    }
                    let mut module = opened.plan.module_at(slot.as_str())?.module.clone();
                    module.identity.serial = Some(serial.clone());
                    machine.insert(slot, module, Latch::Latched).ok()?;
                }
            }
        }
        let trials: usize = job.isolations().iter().map(|search| search.trials.len()).sum();
        machine.set_boots(u32::try_from(job.rounds().len() + trials).unwrap_or(u32::MAX).saturating_add(1));
        Some(machine)
    }
}

impl PracticeMachine {
    /// Whether the module at the step's slot is not fully latched.
    fn is_proud(&self, step: &Step, steps: &Steps, job: &Job) -> bool {
        let machine = self.built(steps, job);
        let seated = step.slot.as_ref().and_then(|slot| machine.as_ref()?.at(slot));
        seated.is_some_and(|seated| seated.latch == Latch::NotFully)
    }
}

impl MachineReport for PracticeMachine {
    fn wants(&self) -> Wants {
        Wants::Word { word: "report".to_owned(), meaning: "take what the practice machine reports".to_owned() }
    }

    fn read(&mut self, _: &str, steps: &Steps, job: &Job) -> Result<Report, ReportError> {
        let error = |what: &str| ReportError { what: what.to_owned() };
        let machine =
            self.built(steps, job).ok_or_else(|| error("the practice machine cannot be built from this record"))?;
        let Boot::Up(tree) = machine.report() else {
            return Ok(Report::Told(Seen::NoPost));
        };
        let folder = tempfile::tempdir().map_err(|e| error(&format!("no folder for the practice machine: {e}")))?;
        tree.write_to(folder.path()).map_err(|e| error(&format!("the practice machine cannot be written: {e}")))?;
        Ok(Capture::take(folder.path(), self.clock.now(), false).snapshot.into())
    }

    fn disagrees(&self, step: &Step, value: &str, steps: &Steps, job: &Job) -> Option<String> {
        bench::disagrees(step, value, &bench::value(step, steps, job, || false)?)
    }

    fn bench(&self, step: &Step, steps: &Steps, job: &Job) -> Option<String> {
        let value = bench::value(step, steps, job, || self.is_proud(step, steps, job));
        if let Some(next) = &self.next {
            next.borrow_mut().clone_from(&value);
        }
        bench::line(step, &value?)
    }

    fn spare(&self, job: &Job) -> Option<Module> {
        self.spare_module(&job.opened().plan)
    }

    fn badge(&self) -> Option<String> {
        Some(format!("your badge reads {TECHNICIAN}"))
    }

    fn seconds(&self, stated: u32) -> u32 {
        stated.div_ceil(FASTER)
    }
}
