//! `slotwise audit`: whether records stand up.

mod check;
mod recipe;
mod report;
mod show;
mod signatures;
mod walk;

use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike as _, FixedOffset, Local, NaiveDate, NaiveDateTime, TimeZone as _};

pub use check::{audit, audit_one_of_many};
pub use recipe::Recipe;
pub use report::{Grave, Report, SignatureTold, State, Trouble, Verdict};
pub use show::brief;
pub use walk::{RecordFile, audit_files, read_record, records_in};

use super::files::{self, named};
use super::progress::Progress;
use super::review::print_json;
use super::{CommandError, Exit};
use crate::env::Env;
use crate::record::RecordError;
use crate::record::sign::{Revoked, Signers};

/// Checks records: that nothing was changed, dropped or reordered, that every item was answered, and who signed
///
/// Says the first line that is wrong and what is wrong with it, and how anyone repeats the check with stock tools. Exit code
/// 0: every record is whole and the technician's signature is by a key the signers file allows; 1: something is not proven
/// (open, a typed name only, nobody said whose key it is, lines behind the last signature); 65: a record is wrong.
#[derive(Debug, Clone, clap::Args)]
pub struct AuditArgs {
    /// Records, or folders of them
    #[arg(required = true, value_name = "RECORD|DIR")]
    pub records: Vec<PathBuf>,
    #[command(flatten)]
    pub judges: Judges,
    /// A supervisor must have countersigned, too
    #[arg(long)]
    pub countersigned: bool,
    /// The fingerprint the one record must have, from a slip or page
    #[arg(long, value_name = "FINGERPRINT")]
    pub fingerprint: Option<String>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Whose signatures count.
#[derive(Debug, Clone, clap::Args)]
pub struct Judges {
    /// Whose keys count: an OpenSSH allowed signers file
    #[arg(long, value_name = "FILE")]
    pub signers: Option<PathBuf>,
    /// Keys that no longer count: public keys, one a line, or a list made by `ssh-keygen -k`
    #[arg(long, value_name = "FILE")]
    pub revoked: Option<PathBuf>,
}

/// What a record is held against.
#[derive(Debug, Clone, Default)]
pub struct Against {
    pub signers: Option<Signers>,
    pub revoked: Revoked,
    pub countersigned: bool,
    pub fingerprint: Option<String>,
    /// The time of the audit: a line dated later was written by a wrong clock.
    pub now: Option<DateTime<FixedOffset>>,
    /// The signers file as it is named in the lines to repeat the check with.
    pub signers_name: Option<PathBuf>,
    /// The same of the revoked keys.
    pub revoked_name: Option<PathBuf>,
}

/// Digits of the short form of a fingerprint.
const FINGERPRINT_DIGITS: usize = 20;

/// Audits all records named and shows what it found.
///
/// # Errors
/// A signers file that cannot be read, a path without a record, a stream that fails.
pub fn run(env: &mut Env, args: &AuditArgs) -> Result<Exit, CommandError> {
    let against = Against {
        countersigned: args.countersigned,
        fingerprint: args.fingerprint.clone(),
        ..args.judges.against(env)?
    };
    let mut files = Vec::new();
    for path in &args.records {
        let located = files::located(env, path);
        let found = records_in(&located, path).map_err(|error| CommandError::reading(path, &error))?;
        if found.is_empty() {
            return Err(CommandError::new(Exit::NoInput, format!("no record (*.jsonl) in {}", named(path))));
        }
        files.extend(found);
    }
    if let Some(wanted) = &args.fingerprint
        && wanted.chars().filter(char::is_ascii_hexdigit).count() < FINGERPRINT_DIGITS
    {
        return Err(CommandError::new(
            Exit::Usage,
            format!("--fingerprint takes {FINGERPRINT_DIGITS} digits or all 64"),
        )
        .way_out("give all five groups, as they stand on the slip"));
    }
    if files.len() > 1 && against.fingerprint.is_some() {
        return Err(CommandError::new(Exit::Usage, "--fingerprint is of one record, and several are named"));
    }
    let progress = Progress::begin(env, files.len())?;
    let reports = audit_files(&files, &against, &|done| progress.at(done));
    progress.end();
    if args.json {
        print_json(env, &reports)?;
    } else {
        show::show(env, &reports, &against)?;
    }
    Ok(match reports.iter().map(|report| report.verdict).max() {
        Some(Verdict::Proven) | None => Exit::Done,
        Some(Verdict::NotProven) => Exit::Findings,
        Some(Verdict::Wrong) => reports.iter().find_map(|report| report.exit).unwrap_or(Exit::BadData),
    })
}

impl Judges {
    /// Reads the files named.
    ///
    /// # Errors
    /// A file that cannot be read, or a list of revoked keys that cannot be understood.
    pub fn against(&self, env: &mut Env) -> Result<Against, CommandError> {
        let mut against = Against {
            now: Some(env.clock.now()),
            signers_name: self.signers.clone(),
            revoked_name: self.revoked.clone(),
            ..Against::default()
        };
        if let Some(path) = &self.signers {
            let bytes =
                files::bytes(&files::located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
            let signers = Signers::read(&String::from_utf8_lossy(&bytes), &local_seconds);
            for fault in signers.faults() {
                writeln!(env.stderr, "{}: {fault}; this line allows nobody", named(path))?;
            }
            if signers.is_empty() {
                writeln!(env.stderr, "{} allows nobody", named(path))?;
            }
            against.signers = Some(signers);
        }
        if let Some(path) = &self.revoked {
            let bytes =
                files::bytes(&files::located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
            against.revoked = Revoked::read(&bytes).map_err(|error| {
                CommandError::new(Exit::BadData, format!("{} cannot be used, so no key can be trusted", named(path)))
                    .because(&error)
            })?;
        }
        Ok(against)
    }
}

/// A local time of this machine, read as OpenSSH reads it: by the zone's standard time, in summer too (`ssh-keygen` judges
/// it in the tests). The standard offset is taken as the lesser of January's and July's.
fn local_seconds(at: NaiveDateTime) -> Option<i64> {
    let offset = |month| {
        let day = NaiveDate::from_ymd_opt(at.year(), month, 1)?.and_hms_opt(12, 0, 0)?;
        Some(Local.offset_from_utc_datetime(&day).local_minus_utc())
    };
    let standard = offset(1)?.min(offset(7)?);
    Some(at.and_utc().timestamp() - i64::from(standard))
}

/// A record that could not even be read.
pub(super) fn unread(path: &Path, error: RecordError) -> Report {
    let located = error.file().to_owned();
    let error = CommandError::from(error).as_given(&located, path);
    Report::unread(named(path), error.exit, error.what)
}
