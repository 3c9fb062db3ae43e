//! `slotwise archive unpack`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::entry::{AUDIT, Kind, Refused, Taken, kind, sums, walk};
use super::{Checks, ended};
use crate::commands::audit::{Against, Report, Verdict, audit_one_of_many};
use crate::commands::files::{self, named};
use crate::commands::progress::Progress;
use crate::commands::review::print_json;
use crate::commands::unnamed::{Unnamed, sync_folder};
use crate::commands::{CommandError, Exit};
use crate::env::Env;
use crate::record::chain;
use crate::record::sign::KnownKeys;
use crate::source::counted;

/// Takes the records out of an archive and audits each
///
/// Nothing that is there is overwritten: when a file of another content has the name of one in the archive, nothing is
/// unpacked at all. A record that is wrong is named and stays in the archive. Links, folders, paths and whatever else no
/// such archive holds make it refused before anything is unpacked. The exit code is that of `audit`.
#[derive(Debug, Clone, clap::Args)]
pub struct UnpackArgs {
    /// The archive
    pub archive: PathBuf,
    /// The folder the records go to; made when it is not there
    #[arg(long, value_name = "DIR", default_value = "records")]
    pub into: PathBuf,
    #[command(flatten)]
    pub checks: Checks,
}

#[derive(Debug, Serialize)]
struct Told<'a> {
    archive: String,
    into: String,
    unpacked: Vec<&'a str>,
    there_already: Vec<&'a str>,
    left_out: Vec<&'a str>,
    reports: &'a [Report],
}

/// Unpacks. The archive is read through before anything is written: its sums first, then what an audit finds.
///
/// # Errors
/// An archive that cannot be read or is refused, names that are taken, a folder that cannot be written.
pub fn run(env: &mut Env, args: &UnpackArgs) -> Result<Exit, CommandError> {
    let against = args.checks.judges.against(env)?;
    let archive = files::located(env, &args.archive);
    let into = files::located(env, &args.into);
    let writing = |error: io::Error| CommandError::writing(&args.into, &error);
    let open = || {
        let input = files::open_plain(&archive).map_err(|error| CommandError::reading(&args.archive, &error));
        input.map(io::BufReader::new)
    };
    let due = listed(open()?).map_err(|why| refused(args, &why))?;
    let records = due.keys().filter(|name| kind(name) == Some(Kind::Record)).count();
    let progress = Progress::begin(env, records)?;
    let reports = audited(open()?, &due, &against, &progress).map_err(|why| refused(args, &why))?;
    progress.end();
    let wrong: BTreeSet<&str> =
        reports.iter().filter(|report| report.verdict == Verdict::Wrong).map(|report| report.file.as_str()).collect();
    let is_wrong = |name: &str| wrong.contains(name.split_once(".torn-").map_or(name, |(record, _)| record));
    let (mut unpacked, mut there_already, mut left_out) = (BTreeSet::new(), Vec::new(), Vec::new());
    for (name, hash) in &due {
        match stands(&into.join(name), hash).map_err(writing)? {
            _ if is_wrong(name) => left_out.push(name.as_str()),
            Stands::No => drop(unpacked.insert(name.as_str())),
            Stands::Same => there_already.push(name.as_str()),
            Stands::Other => return Err(other(name, args)),
        }
    }
    fs::create_dir_all(&into).map_err(writing)?;
    let put = |name: &str, bytes: &[u8]| {
        let target = into.join(name);
        let mut file = Unnamed::beside(&target)?;
        file.write_all(bytes)?;
        file.name(&target)
    };
    let mut missing = unpacked.clone();
    walk(open()?, |entry| {
        if !missing.remove(entry.name.as_str()) {
            return Ok(());
        }
        let (name, bytes) = content(entry, Some(&due)).map_err(Failed::Refused)?;
        put(&name, &bytes).map_err(|error| Failed::Writing(name, error))
    })
    .and_then(|()| if missing.is_empty() { Ok(()) } else { Err(Refused::Changed.into()) })
    .map_err(|failed| match failed {
        Failed::Writing(name, error) if error.kind() == io::ErrorKind::AlreadyExists => other(&name, args),
        Failed::Writing(_, error) => writing(error),
        Failed::Refused(why) => cut_short(args, &why),
    })?;
    sync_folder(&into.join(AUDIT)).map_err(writing)?;
    let told = Told {
        archive: named(&args.archive),
        into: named(&args.into),
        unpacked: unpacked.into_iter().collect(),
        there_already,
        left_out,
        reports: &reports,
    };
    tell(env, args, &told)?;
    Ok(ended(reports.iter().map(|report| report.verdict)))
}

fn refused(args: &UnpackArgs, why: &Refused) -> CommandError {
    CommandError::new(Exit::BadData, format!("{} is refused", named(&args.archive)))
        .because(why)
        .way_out("nothing was unpacked; have it packed and sent again")
}

fn cut_short(args: &UnpackArgs, why: &Refused) -> CommandError {
    CommandError::new(Exit::Io, format!("{} was not unpacked to its end", named(&args.archive)))
        .because(why)
        .way_out("what was unpacked before that is whole; give the same command again, it does the rest")
}

fn other(name: &str, args: &UnpackArgs) -> CommandError {
    let path = args.into.join(name);
    CommandError::new(Exit::CannotCreate, format!("{} is there already and is not the same", named(&path)))
        .way_out("it is left as it is; unpack into another folder (--into) and compare the two with `slotwise audit`")
}

enum Failed {
    Refused(Refused),
    /// A file of this name could not be made.
    Writing(String, io::Error),
}

impl From<Refused> for Failed {
    fn from(why: Refused) -> Self {
        Self::Refused(why)
    }
}

/// What an entry holds, whole, and as it was when the sums were checked.
fn content(
    mut entry: Taken<'_, impl io::Read>,
    due: Option<&BTreeMap<String, String>>,
) -> Result<(String, Vec<u8>), Refused> {
    let mut bytes = Vec::new();
    let size = entry.content.limit();
    entry.content.read_to_end(&mut bytes).map_err(|error| Refused::NotOne(error.to_string()))?;
    if bytes.len() as u64 != size {
        return Err(Refused::NotOne(format!("{} is cut", entry.name)));
    }
    if due.is_some_and(|due| due.get(&entry.name) != Some(&chain::hash(&bytes))) {
        return Err(Refused::Changed);
    }
    Ok((entry.name, bytes))
}

/// Holds the entries to the sums; gives the hashes of records and torn tails.
fn listed(input: impl io::Read) -> Result<BTreeMap<String, String>, Refused> {
    let mut taken = BTreeMap::new();
    let mut listed = None;
    walk(input, |entry| {
        let kind = entry.kind;
        let (name, bytes) = content(entry, None)?;
        if kind == Kind::Sums {
            let text = String::from_utf8(bytes).map_err(|_| Refused::BadSum(1))?;
            listed = Some(sums(&text)?);
        } else {
            taken.insert(name, chain::hash(&bytes));
        }
        Ok::<(), Refused>(())
    })?;
    let listed = listed.ok_or(Refused::NoSums)?;
    if let Some(name) = taken.iter().find(|(name, hash)| listed.get(*name) != Some(hash)).map(|(name, _)| name) {
        return Err(Refused::OtherSum(name.clone()));
    }
    if let Some(name) = listed.keys().find(|name| !taken.contains_key(*name)) {
        return Err(Refused::Missing(crate::text::shown(name).to_string()));
    }
    taken.remove(AUDIT);
    if !taken.keys().any(|name| kind(name) == Some(Kind::Record)) {
        return Err(Refused::NoRecord);
    }
    Ok(taken)
}

/// What an audit finds of each record.
fn audited(
    input: impl io::Read,
    due: &BTreeMap<String, String>,
    against: &Against,
    progress: &Progress,
) -> Result<Vec<Report>, Refused> {
    let mut reports = BTreeMap::new();
    let mut known = KnownKeys::default();
    walk(input, |entry| {
        if entry.kind == Kind::Record {
            let (name, bytes) = content(entry, Some(due))?;
            let report = audit_one_of_many(Path::new(&name), &bytes, against, &mut known);
            reports.insert(name, report);
            progress.at(reports.len());
        }
        Ok::<(), Refused>(())
    })?;
    if due.keys().any(|name| kind(name) == Some(Kind::Record) && !reports.contains_key(name)) {
        return Err(Refused::Changed);
    }
    Ok(reports.into_values().collect())
}

enum Stands {
    No,
    Same,
    Other,
}

fn stands(path: &Path, hash: &str) -> io::Result<Stands> {
    match path.symlink_metadata() {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Stands::No),
        Err(error) => Err(error),
        Ok(found) if found.is_file() && chain::hash(&fs::read(path)?) == hash => Ok(Stands::Same),
        Ok(_) => Ok(Stands::Other),
    }
}

fn tell(env: &mut Env, args: &UnpackArgs, told: &Told<'_>) -> Result<(), CommandError> {
    if args.checks.json {
        return print_json(env, told);
    }
    for report in told.reports {
        crate::commands::audit::brief(env, report)?;
    }
    let records = |names: &[&str]| names.iter().filter(|name| kind(name) == Some(Kind::Record)).count();
    write!(env.stdout, "UNPACKED {} into {}", counted(records(&told.unpacked), "record"), told.into)?;
    if records(&told.there_already) > 0 {
        write!(env.stdout, "; {} there already, the same", records(&told.there_already))?;
    }
    writeln!(env.stdout)?;
    for name in told.left_out.iter().filter(|name| kind(name) == Some(Kind::Record)) {
        writeln!(env.stdout, "LEFT OUT, because it is wrong: {name}; as evidence: tar -xf {} {name}", told.archive)?;
    }
    env.stdout.flush()?;
    Ok(())
}
