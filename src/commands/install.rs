//! `slotwise install`: a new job, from its plan.

use std::path::{Path, PathBuf};

use super::files::{self, named};
use super::report_file::FileReport;
use super::{CommandError, Exit, job};
use crate::env::Env;
use crate::plan::Plan;
use crate::prompt::{Ask, AskError, Message, Question, Reply, Status, Wants, Wish, choose};
use crate::record::{Event, Job, Journal, Line, Opened, RECORD_FORMAT, job_id};
use crate::runner::all_steps;
use crate::source::Text;

/// Walks you through a plan on one machine, and keeps the record
///
/// Every answer is on disk before the next question. p or Ctrl-C pauses; `slotwise resume RECORD` goes on at the same
/// step. Where stdin is no terminal, or with --plain, questions and answers are plain lines.
#[derive(Debug, clap::Args)]
pub struct InstallArgs {
    /// The plan: which module goes in which slot
    pub plan: PathBuf,
    /// The procedure to follow [default: the stock one]
    #[arg(long, value_name = "FILE")]
    pub checklist: Option<PathBuf>,
    /// The site's own limits, in place of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub site: Option<PathBuf>,
    /// Folder for the record
    #[arg(long, value_name = "DIR", default_value = "records")]
    pub records: PathBuf,
    /// Chassis tag of the unit to work on [default: the order's only unit, else it is asked for]
    #[arg(long, value_name = "TAG")]
    pub unit: Option<String>,
    /// Your id, as it stands on your badge [default: it is asked for]
    #[arg(long, value_name = "ID")]
    pub technician: Option<String>,
    #[command(flatten)]
    pub asking: Asking,
}

/// How questions reach the person.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct Asking {
    /// Answers from a file in place of a person
    #[arg(long, value_name = "FILE")]
    pub answers: Option<PathBuf>,
    /// Plain lines, also on a terminal: for screen readers, serial consoles, scanners
    #[arg(long)]
    pub plain: bool,
}

impl Asking {
    /// The adapter that fits.
    pub fn choose(&self, env: &mut Env) -> Result<Box<dyn Ask>, CommandError> {
        let Some(path) = &self.answers else {
            return Ok(choose(env, &Wish { answers: None, plain: self.plain })?);
        };
        let bytes = files::bytes(&files::located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
        let name = named(path);
        Ok(choose(env, &Wish { answers: Some(Text { file: &name, bytes: &bytes }), plain: self.plain })?)
    }
}

/// Opens a job and walks it.
pub fn run(env: &mut Env, args: &InstallArgs) -> Result<Exit, CommandError> {
    let mut plan = files::read_plan(env, &args.plan)?;
    let checklist = files::read_checklist(env, args.checklist.as_deref(), args.site.as_deref())?;
    let records = files::located(env, &args.records);
    let mut ask = args.asking.choose(env)?;
    let Some(unit) = unit(&plan, args.unit.as_deref(), ask.as_mut())? else { return Ok(not_begun(env)?) };
    let Some(technician) = technician(args.technician.as_deref(), ask.as_mut())? else {
        return Ok(not_begun(env)?);
    };
    if plan.order.stand_ins {
        plan.order = plan.order.for_tag(&unit);
    }
    let now = env.clock.now();
    let opened = Opened {
        format: RECORD_FORMAT.to_owned(),
        job: job_id(now, &unit, env.seed),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        technician: technician.clone(),
        unit,
        practice: None,
        board: plan.board.clone(),
        plan,
        checklist,
    };
    let journal = open(&records, opened, now)?;
    say_where(ask.as_mut(), &journal)?;
    let mut machine = FileReport::new(env);
    job::walk(env, ask.as_mut(), journal, &mut machine, &technician, false)
}

/// Makes the record, once it is known that its steps can be made.
pub fn open(
    records: &Path,
    opened: Opened,
    now: chrono::DateTime<chrono::FixedOffset>,
) -> Result<Journal, CommandError> {
    let technician = opened.technician.clone();
    let first = Line {
        n: 1,
        at: now,
        by: technician.clone(),
        event: Event::Opened(Box::new(opened.clone())),
        prev: crate::record::chain::LineHash::FIRST,
    };
    let job = Job::open(first).map_err(|fault| CommandError::new(Exit::BadData, fault.to_string()))?;
    all_steps(&job)
        .map_err(|error| CommandError::new(Exit::BadData, "the checklist does not fit the plan").because(&error))?;
    std::fs::create_dir_all(records).map_err(|error| CommandError::writing(records, &error))?;
    Ok(Journal::create(records, &technician, now, opened)?)
}

/// Says where the record is, and how to come back to it.
pub fn say_where(ask: &mut dyn Ask, journal: &Journal) -> Result<(), CommandError> {
    let text = format!("record {}; every answer is on disk before the next question", named(journal.path()));
    Ok(ask.say(&Message { status: Status::Info, text })?)
}

fn not_begun(env: &mut Env) -> std::io::Result<Exit> {
    writeln!(env.stdout, "NOT BEGUN: no record was made")?;
    Ok(Exit::Paused)
}

/// The unit worked on. With several in the order, its tag is scanned: the list is not shown, so that the tag comes from
/// the machine.
fn unit(plan: &Plan, given: Option<&str>, ask: &mut dyn Ask) -> Result<Option<String>, CommandError> {
    let units = &plan.order.unit;
    let known = |tag: &str| units.iter().any(|unit| unit.chassis == tag);
    if plan.order.stand_ins {
        return match given {
            Some(tag) => real_tag(tag).map(Some).map_err(|why| CommandError::new(Exit::Usage, why)),
            None => answered(
                ask,
                &opening_question(
                    "unit",
                    "The plan was made without an order. Scan the tag of the machine you will work on.".to_owned(),
                    Wants::Scan { what: "the chassis tag".to_owned() },
                ),
                real_tag,
            ),
        };
    }
    if let Some(tag) = given {
        if !known(tag) {
            let tags: Vec<String> = units.iter().map(|unit| crate::text::shown(&unit.chassis).to_string()).collect();
            return Err(CommandError::new(Exit::Usage, format!("the order has no unit {}", crate::text::shown(tag)))
                .way_out(format!("its units are: {}", tags.join(", "))));
        }
        return Ok(Some(tag.to_owned()));
    }
    if let [only] = units.as_slice() {
        return Ok(Some(only.chassis.clone()));
    }
    let asked = opening_question(
        "unit",
        format!("The order has {} units. Scan the chassis tag of the one you will work on.", units.len()),
        Wants::Scan { what: "the chassis tag".to_owned() },
    );
    answered(ask, &asked, |tag| {
        if known(tag.trim()) { Ok(tag.trim().to_owned()) } else { Err("that is no unit of this order".to_owned()) }
    })
}

/// A tag that nothing can be compared with; it becomes the one the job holds on to.
fn real_tag(tag: &str) -> Result<String, String> {
    let tag = tag.trim();
    if (2..=80).contains(&tag.len()) && tag.bytes().all(|b| b.is_ascii_graphic() || b == b' ') {
        Ok(tag.to_owned())
    } else {
        Err("a tag has 2 to 80 letters, digits and signs".to_owned())
    }
}

fn technician(given: Option<&str>, ask: &mut dyn Ask) -> Result<Option<String>, CommandError> {
    let check = |id: &str| {
        let id = id.trim();
        let printable = id.chars().all(|c| !c.is_control());
        if (2..=40).contains(&id.chars().count()) && printable && id != "slotwise" {
            Ok(id.to_owned())
        } else {
            Err("an id has 2 to 40 characters, none of them control characters".to_owned())
        }
    };
    if let Some(id) = given {
        return check(id).map(Some).map_err(|why| CommandError::new(Exit::Usage, why));
    }
    let asked = opening_question(
        "technician",
        "Who works on this machine? Scan your badge or type your id.".to_owned(),
        Wants::Line { what: "your id".to_owned(), optional: false },
    );
    answered(ask, &asked, check)
}

fn opening_question(name: &str, text: String, wants: Wants) -> Question {
    Question {
        name: name.to_owned(),
        place: None,
        slot: None,
        caution: None,
        warns: false,
        text,
        wants,
        help: Some("This comes before the record is opened; nothing is kept yet.".to_owned()),
        critical: false,
        picture: Vec::new(),
    }
}

/// Asks until `check` takes the answer; `None` when the person leaves.
fn answered(
    ask: &mut dyn Ask,
    asked: &Question,
    check: impl Fn(&str) -> Result<String, String>,
) -> Result<Option<String>, CommandError> {
    loop {
        match ask.ask(asked) {
            Ok(Reply::Value { text, .. }) => match check(&text) {
                Ok(value) => return Ok(Some(value)),
                Err(why) => ask.say(&Message { status: Status::Refused, text: why })?,
            },
            Ok(Reply::Pause) | Err(AskError::End | AskError::Interrupted) => return Ok(None),
            Ok(_) => ask.say(&Message {
                status: Status::Refused,
                text: "the record is not open yet: answer, or leave with p or Ctrl-C".to_owned(),
            })?,
            Err(error) => return Err(error.into()),
        }
    }
}
