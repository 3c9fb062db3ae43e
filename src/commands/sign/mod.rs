//! `slotwise sign`: who answers for a record, sealed with a key where there is one.

mod agent;
mod passphrase;
mod with;

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::audit::Recipe;
use super::files::{self, named};
use super::job::quoted;
use super::review::print_json;
use super::{CommandError, Exit, wrap};
use crate::env::Env;
use crate::record::chain::{self, Head, fingerprint};
use crate::record::sign::SignerKey;
use crate::record::{Event, Job, Journal, JournalError, Line, Role, RuleFault, time};
use crate::runner::{STATEMENT, all_steps};
use crate::source::counted;
use crate::text::shown;
use with::With;

/// What a supervisor states with a countersignature.
const COUNTERSIGNED: &str = "I looked this record through. I take the job as it is written here, its gaps included.";

/// Signs a record: the technician for the work, then a supervisor for having looked it through
///
/// The signature is one of OpenSSH's and covers every byte up to the line that states who signs, as what and when. With a
/// key that others know (`--key`, `--agent`) it proves who signed and that nothing was changed since; a typed name
/// (`--typed`) proves neither and is marked as weaker wherever it is shown.
#[derive(Debug, Clone, clap::Args)]
#[command(override_usage = "slotwise sign RECORD --role ROLE --key FILE|--agent|--typed [OPTIONS]")]
pub struct SignArgs {
    /// The record of the job
    pub record: PathBuf,
    /// In which role you sign
    #[arg(long, value_enum)]
    pub role: RoleArg,
    /// Who signs, as the signers file names you [default for the technician: who opened the job]
    #[arg(long, value_name = "NAME")]
    pub name: Option<String>,
    /// Why a supervisor takes the job although the machine's last report differs from the plan
    #[arg(long, value_name = "TEXT")]
    pub reason: Option<String>,
    #[command(flatten)]
    pub by: By,
    #[command(flatten)]
    pub beside: Beside,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// With what is signed.
#[derive(Debug, Clone, clap::Args)]
#[group(id = "with", required = true, multiple = true)]
pub struct By {
    /// A private key (ssh-ed25519), or with an agent the public one or its SHA256 fingerprint
    #[arg(long, value_name = "FILE")]
    pub key: Option<PathBuf>,
    /// The running SSH agent signs (SSH_AUTH_SOCK): any key it holds, one on a device included
    #[arg(long)]
    pub agent: bool,
    /// No key: the name alone, which is weaker
    #[arg(long, conflicts_with_all = ["key", "agent"])]
    pub typed: bool,
}

/// What goes with a private key.
#[derive(Debug, Clone, clap::Args)]
pub struct Beside {
    /// The certificate that vouches for the private key
    #[arg(long, value_name = "FILE", requires = "key")]
    pub certificate: Option<PathBuf>,
    /// Where the passphrase of the private key stands; else SLOTWISE_PASSPHRASE, else it is asked for
    #[arg(long, value_name = "FILE", requires = "key")]
    pub passphrase_file: Option<PathBuf>,
}

/// A role, as an argument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum RoleArg {
    /// Who did the work
    Technician,
    /// Who looked the record through
    Supervisor,
}

impl From<RoleArg> for Role {
    fn from(role: RoleArg) -> Self {
        match role {
            RoleArg::Technician => Self::Technician,
            RoleArg::Supervisor => Self::Supervisor,
        }
    }
}

#[derive(Debug, Serialize)]
struct Told<'a> {
    record: String,
    role: Role,
    name: &'a str,
    at: String,
    statement: &'a str,
    key: Option<String>,
    /// The line that states it.
    declared: u64,
    /// The line with the signature.
    signed: Option<u64>,
    fingerprint: String,
    check: Vec<String>,
}

/// Signs, and says on stdout what was signed and how anyone checks it.
///
/// # Errors
/// A record that cannot be read or may not be signed now, a key that cannot be used, a disk that fails.
pub fn run(env: &mut Env, args: &SignArgs) -> Result<Exit, CommandError> {
    let path = files::located(env, &args.record);
    let at = time::whole_millis(env.clock.now());
    let mut journal = Journal::look(&path)?;
    refuse_open_items(journal.job(), &args.record)?;
    let role = Role::from(args.role);
    let name = signer(journal.job(), args)?;
    refuse_early(&journal, &name, role, args, at)?;
    warn_of_typed(env, journal.job(), role)?;
    let found = with::find(env, &args.by, &args.beside)?;
    let key = found.as_ref().map(|(_, key)| key.fingerprint());
    let statement = if role == Role::Technician { STATEMENT } else { COUNTERSIGNED };
    let declared = Event::Declared {
        name: name.clone(),
        role,
        statement: statement.to_owned(),
        reason: args.reason.as_ref().map(|reason| reason.trim().to_owned()).filter(|reason| !reason.is_empty()),
        key: key.clone(),
    };
    let lost = |error| CommandError::not_recorded(&args.record, "the sign-off", error);
    journal.mend(at).map_err(lost)?;
    files::say_repaired(env, journal.repaired())?;
    let signing = Signing { name: &name, at, declared };
    let (line, at) = match found {
        None => (journal.append(&name, at, signing.declared).map_err(lost)?, at),
        Some((mut with, key)) => seal(env, &mut journal, signing, &mut with, &key)?,
    };
    let told = Told {
        record: named(&args.record),
        role,
        name: &name,
        at: time::text(&at),
        statement,
        declared: line,
        signed: key.is_some().then_some(line + 1),
        fingerprint: fingerprint(&journal.head().hash),
        check: match key {
            Some(_) => Recipe::new(&args.record, None, &name, line, at).lines().to_vec(),
            None => Vec::new(),
        },
        key,
    };
    tell(env, args, &told)?;
    Ok(Exit::Done)
}

struct Signing<'a> {
    name: &'a str,
    at: chrono::DateTime<chrono::FixedOffset>,
    declared: Event,
}

/// The two lines. The signature is made before the first of them is written, so that a key that fails leaves no trace.
fn seal(
    env: &mut Env,
    journal: &mut Journal,
    signing: Signing<'_>,
    with: &mut With,
    key: &SignerKey,
) -> Result<(u64, chrono::DateTime<chrono::FixedOffset>), CommandError> {
    let path = journal.path().to_owned();
    let mut message = std::fs::read(&path).map_err(|error| CommandError::reading(&path, &error))?;
    let half_done = half_done(journal.job(), &signing);
    let (declared, at) = half_done.unwrap_or((journal.head().lines + 1, signing.at));
    if half_done.is_none() {
        let line = Line {
            n: declared,
            at,
            by: signing.name.to_owned(),
            event: signing.declared.clone(),
            prev: journal.head().hash,
        };
        journal.job().check(&line).map_err(|fault| refused(&path, &fault))?;
        message.extend(chain::encode(&line).map_err(|wrong| refused(&path, &wrong))?);
        message.push(b'\n');
    }
    if matches!(with, With::Agent(_)) {
        writeln!(env.stderr, "the agent signs; a key on a device may wait for your touch")?;
    }
    let signature = with.sign(key, &message)?;
    if half_done.is_none() {
        journal
            .append(signing.name, at, signing.declared)
            .map_err(|error| CommandError::not_recorded(&path, "the sign-off", error))?;
    }
    let signed = Event::Signed { declared, key: key.text(), signature: signature.to_base64() };
    journal.append(signing.name, at, signed).map_err(|error| {
        let lost = matches!(error, JournalError::NotRecorded { .. });
        let error = CommandError::not_recorded(&path, "the signature", error);
        if lost {
            error.way_out(format!("line {declared} says who signs; the same command finishes it"))
        } else {
            error
        }
    })?;
    Ok((declared, at))
}

/// What cannot be signed is said before anyone is asked for a passphrase or a touch.
fn refuse_early(
    journal: &Journal,
    name: &str,
    role: Role,
    args: &SignArgs,
    at: chrono::DateTime<chrono::FixedOffset>,
) -> Result<(), CommandError> {
    let event = Event::Declared {
        name: name.to_owned(),
        role,
        statement: String::new(),
        reason: args.reason.clone(),
        // Which key is not known yet.
        key: (!args.by.typed).then(String::new),
    };
    let Head { lines, hash } = journal.head().clone();
    let line = Line { n: lines + 1, at, by: name.to_owned(), event, prev: hash };
    journal.job().check(&line).map_err(|fault| may_not(&args.record, &fault))
}

/// Who countersigns learns before, not after, that the work was signed for without a key.
fn warn_of_typed(env: &mut Env, job: &Job, role: Role) -> Result<(), CommandError> {
    let technician = job.standing_declarations().filter(|declaration| declaration.role == Role::Technician).last();
    if let (Role::Supervisor, Some(typed)) = (role, technician.filter(|technician| technician.key.is_none())) {
        writeln!(
            env.stderr,
            "mind: {} signed this job by typed name only, nothing shows who typed it; ask them before you countersign, or \
             have it signed again with a key",
            shown(&typed.name)
        )?;
    }
    Ok(())
}

/// The line and time of the same declaration by the same person and key at the record's end, whose signature a crash kept
/// from being written.
fn half_done(job: &Job, signing: &Signing<'_>) -> Option<(u64, chrono::DateTime<chrono::FixedOffset>)> {
    let last = job.declarations().last().filter(|last| last.line == job.lines() && last.lacks_its_signature())?;
    let same = Event::Declared {
        name: last.name.clone(),
        role: last.role,
        statement: last.statement.clone(),
        reason: last.reason.clone(),
        key: last.key.clone(),
    };
    (same == signing.declared && job.last().1 == signing.name).then_some((last.line, last.at))
}

/// With what there is to be done about it.
fn may_not(record: &Path, fault: &RuleFault) -> CommandError {
    let refused = refused(record, fault);
    match fault {
        RuleFault::FindingsWithoutReason => refused
            .way_out(format!("what differs: slotwise review {}", quoted(record)))
            .way_out("then add --reason \"why the job is taken all the same\""),
        _ => refused,
    }
}

fn refused(path: &Path, why: &dyn std::error::Error) -> CommandError {
    CommandError::new(Exit::BadData, format!("{} is not signed", named(path))).because(why)
}

/// Nobody signs for what is still to be done.
fn refuse_open_items(job: &Job, record: &Path) -> Result<(), CommandError> {
    let steps = all_steps(job).map_err(|error| refused(record, &error))?;
    let open = steps.iter().filter(|(_, _, step)| job.answer(&step.id).is_none()).count();
    if open == 0 {
        return Ok(());
    }
    Err(CommandError::new(Exit::BadData, format!("{} is not signed: {} open", named(record), counted(open, "item")))
        .way_out(format!("finish the job first: slotwise resume {}", quoted(record))))
}

fn signer(job: &Job, args: &SignArgs) -> Result<String, CommandError> {
    let name = match (&args.name, args.role) {
        (Some(name), _) => name.trim().to_owned(),
        (None, RoleArg::Technician) => job.opened().technician.clone(),
        (None, RoleArg::Supervisor) => String::new(),
    };
    if name.is_empty() || name == crate::record::PROGRAM {
        return Err(CommandError::new(Exit::Usage, "--name says who signs, as the signers file names you"));
    }
    Ok(name)
}

fn tell(env: &mut Env, args: &SignArgs, told: &Told<'_>) -> Result<(), CommandError> {
    if args.json {
        return print_json(env, told);
    }
    let columns = wrap::columns(env, env.terminal.stdout_is_terminal);
    let mut text = format!("SIGNED as {} by {}: \"{}\"\n", told.role.name(), shown(told.name), told.statement);
    text += &match &told.key {
        Some(key) => format!("with key {key} over all lines up to {}\n", told.declared),
        None => "by TYPED NAME ONLY: weaker, nothing shows who typed it\n".to_owned(),
    };
    text += &format!("fingerprint of the record: {}\n", told.fingerprint);
    if !told.check.is_empty() {
        text += "anyone checks it with stock tools (SIGNERS: your allowed signers file):\n";
    }
    write!(env.stdout, "{}", wrap::wrapped(&text, columns, 2))?;
    for line in &told.check {
        writeln!(env.stdout, "  {line}")?;
    }
    env.stdout.flush()?;
    Ok(())
}
