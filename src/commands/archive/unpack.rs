//! `slotwise archive unpack`.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use rustix::fs::{CWD, RenameFlags, renameat_with};
use serde::Serialize;

use super::ended;
use super::entry::{AUDIT, Kind, Refused, kind, sums, walk};
use crate::commands::audit::{Judges, RecordFile, Report, Verdict, audit_files};
use crate::commands::files::{self, named};
use crate::commands::progress::Progress;
use crate::commands::review::print_json;
use crate::commands::{CommandError, Exit};
use crate::env::Env;
use crate::record::chain;
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
    pub judges: Judges,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
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

/// Unpacks.
///
/// # Errors
/// An archive that cannot be read or is refused, names that are taken, a folder that cannot be written.
pub fn run(env: &mut Env, args: &UnpackArgs) -> Result<Exit, CommandError> {
    let against = args.judges.against(env)?;
    let archive = files::located(env, &args.archive);
    let into = files::located(env, &args.into);
    let writing = |error: io::Error| CommandError::writing(&args.into, &error);
    let input = File::open(&archive).map_err(|error| CommandError::reading(&args.archive, &error))?;
    if !input.metadata().is_ok_and(|found| found.is_file()) {
        return Err(CommandError::new(Exit::NoInput, format!("{} is no ordinary file", named(&args.archive))));
    }
    let is_new = !into.exists();
    fs::create_dir_all(&into).map_err(writing)?;
    // Beside where they go, so that each is put in place in one step; gone with this run, whatever happens.
    let aside = tempfile::Builder::new().prefix(".slotwise-").tempdir_in(&into).map_err(writing)?;
    let taken = match take_out(input, aside.path()) {
        Ok(taken) => taken,
        Err(Failed::Writing(error)) => return Err(writing(error)),
        Err(Failed::Refused(why)) => {
            drop(aside);
            if is_new {
                // Empty as it was made.
                let _ = fs::remove_dir(&into);
            }
            return Err(CommandError::new(Exit::BadData, format!("{} is refused", named(&args.archive)))
                .because(&why)
                .way_out("nothing was unpacked; have it packed and sent again"));
        }
    };
    let records: Vec<RecordFile> = taken
        .keys()
        .filter(|name| kind(name) == Some(Kind::Record))
        .map(|name| RecordFile { path: aside.path().join(name), name: PathBuf::from(name), ordinary: true })
        .collect();
    let progress = Progress::begin(env, records.len())?;
    let reports = audit_files(&records, &against, &|done| progress.at(done));
    progress.end();
    let wrong = |name: &str| {
        let record = name.split_once(".torn-").map_or(name, |(record, _)| record);
        reports.iter().any(|report| report.file == record && report.verdict == Verdict::Wrong)
    };
    let (mut unpacked, mut there_already, mut left_out) = (Vec::new(), Vec::new(), Vec::new());
    for (name, hash) in &taken {
        match stands(&into.join(name), hash).map_err(writing)? {
            _ if wrong(name) => left_out.push(name.as_str()),
            Stands::No => unpacked.push(name.as_str()),
            Stands::Same => there_already.push(name.as_str()),
            Stands::Other => return Err(other(name, args)),
        }
    }
    for name in &unpacked {
        let (from, to) = (aside.path().join(name), into.join(name));
        put_in_place(&from, &to).map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => other(name, args),
            _ => writing(error),
        })?;
    }
    File::open(&into).and_then(|folder| folder.sync_all()).map_err(writing)?;
    let told = Told {
        archive: named(&args.archive),
        into: named(&args.into),
        unpacked,
        there_already,
        left_out,
        reports: &reports,
    };
    tell(env, args, &told)?;
    Ok(ended(reports.iter().map(|report| report.verdict)))
}

fn other(name: &str, args: &UnpackArgs) -> CommandError {
    let path = args.into.join(name);
    CommandError::new(Exit::CannotCreate, format!("{} is there already and is not the same", named(&path)))
        .way_out("it is left as it is; unpack into another folder (--into) and compare the two with `slotwise audit`")
}

enum Failed {
    Refused(Refused),
    Writing(io::Error),
}

impl From<Refused> for Failed {
    fn from(why: Refused) -> Self {
        Self::Refused(why)
    }
}

/// Writes the entries into `folder`, each synced, and holds them to the sums; gives the hashes of records and torn tails.
fn take_out(input: File, folder: &Path) -> Result<BTreeMap<String, String>, Failed> {
    let mut taken = BTreeMap::new();
    let mut listed = None;
    walk(io::BufReader::new(input), |mut entry| {
        let mut bytes = Vec::new();
        let due = entry.content.limit();
        entry.content.read_to_end(&mut bytes).map_err(|error| Refused::NotOne(error.to_string()))?;
        if bytes.len() as u64 != due {
            return Err(Failed::Refused(Refused::NotOne(format!("{} is cut", entry.name))));
        }
        if entry.kind == Kind::Sums {
            let text = String::from_utf8(bytes).map_err(|_| Refused::BadSum(1))?;
            listed = Some(sums(&text)?);
            return Ok(());
        }
        taken.insert(entry.name.clone(), chain::hash(&bytes));
        if entry.kind != Kind::Audit {
            let write = || {
                let mut file = File::create_new(folder.join(&entry.name))?;
                file.write_all(&bytes)?;
                file.sync_all()
            };
            write().map_err(Failed::Writing)?;
        }
        Ok(())
    })?;
    let listed = listed.ok_or(Refused::NoSums)?;
    if let Some(name) = taken.iter().find(|(name, hash)| listed.get(*name) != Some(hash)).map(|(name, _)| name) {
        return Err(Refused::OtherSum(name.clone()).into());
    }
    if let Some(name) = listed.keys().find(|name| !taken.contains_key(*name)) {
        return Err(Refused::Missing(crate::text::shown(name).to_string()).into());
    }
    taken.remove(AUDIT);
    Ok(taken)
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

/// In one step, and never over a file; where the file system knows no such step, by a second name.
fn put_in_place(from: &Path, to: &Path) -> io::Result<()> {
    match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::OPNOTSUPP) => {
            fs::hard_link(from, to)
        }
        done => Ok(done?),
    }
}

fn tell(env: &mut Env, args: &UnpackArgs, told: &Told<'_>) -> Result<(), CommandError> {
    if args.json {
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
