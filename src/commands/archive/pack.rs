//! `slotwise archive pack`.

use std::collections::BTreeMap;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde::Serialize;
use sha2::{Digest as _, Sha256};

use super::entry::{AUDIT, Kind, MOST, SUMS, kind};
use super::{Checks, ended};
use crate::commands::audit::{Report, Verdict, audit_one_of_many, read_record, records_in};
use crate::commands::files::{self, named};
use crate::commands::output::{Output, Over};
use crate::commands::progress::Progress;
use crate::commands::review::print_json;
use crate::commands::{CommandError, Exit};
use crate::env::Env;
use crate::record::sign::KnownKeys;
use crate::record::{RecordError, chain};
use crate::snapshot::ascii_json;
use crate::source::counted;

/// Packs records into one archive
///
/// Every record is audited as it is packed; the archive says what was found. A record that is wrong is packed as well, and
/// named: it is evidence, too. The exit code is that of `audit`. An archive that exists is never replaced.
#[derive(Debug, Clone, clap::Args)]
pub struct PackArgs {
    /// Records, or folders of them
    #[arg(required = true, value_name = "RECORD|DIR")]
    pub records: Vec<PathBuf>,
    /// The archive to make
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    #[command(flatten)]
    pub over: Over,
    #[command(flatten)]
    pub checks: Checks,
}

#[derive(Debug, Serialize)]
struct Told<'a> {
    archive: String,
    records: usize,
    sha256: String,
    wrong: Vec<&'a str>,
}

/// Makes the archive.
///
/// # Errors
/// A record that cannot be read, two of one name, an archive that is there already.
pub fn run(env: &mut Env, args: &PackArgs) -> Result<Exit, CommandError> {
    let judges = &args.checks.judges;
    let inputs = args.records.iter().chain(&judges.signers).chain(&judges.revoked);
    let inputs: Vec<&Path> = inputs.map(PathBuf::as_path).collect();
    let output = Output::begin(env, &args.output, args.over, &inputs)?;
    let against = judges.against(env)?;
    let found = found(env, &args.records)?;
    let writing = |error: io::Error| CommandError::writing(&args.output, &error);
    let mut archive = tar::Builder::new(io::BufWriter::new(Hashed { output, sha256: Sha256::new() }));
    let mut sums = String::new();
    let mut reports: Vec<Report> = Vec::with_capacity(found.len());
    let mut newest = 0;
    let mut bytes = Vec::new();
    let progress = Progress::begin(env, found.len())?;
    let mut known = KnownKeys::default();
    for (done, (name, path)) in found.iter().enumerate() {
        progress.at(done);
        let changed = read_record(path, &mut bytes).map_err(CommandError::from)?;
        newest = newest.max(changed);
        if kind(name) == Some(Kind::Record) {
            reports.push(audit_one_of_many(Path::new(name), &bytes, &against, &mut known));
        }
        sums.push_str(&format!("{}  {name}\n", chain::hash(&bytes)));
        put(&mut archive, name, changed, &bytes).map_err(writing)?;
    }
    progress.end();
    let json = serde_json::to_string_pretty(&reports).map_err(|error| writing(error.into()))?;
    let json = format!("{}\n", ascii_json(&json));
    sums.push_str(&format!("{}  {AUDIT}\n", chain::hash(json.as_bytes())));
    put(&mut archive, SUMS, newest, sums.as_bytes()).map_err(writing)?;
    put(&mut archive, AUDIT, newest, json.as_bytes()).map_err(writing)?;
    let made = archive.into_inner().and_then(|inner| inner.into_inner().map_err(io::Error::from)).map_err(writing)?;
    made.output.finish()?;
    tell(env, args, &reports, format!("{:x}", made.sha256.finalize()))
}

/// An archive being written, with the hash of what was written so far.
struct Hashed {
    output: Output,
    sha256: Sha256,
}

impl io::Write for Hashed {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.output.write(bytes)?;
        self.sha256.update(bytes.get(..written).unwrap_or_default());
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.output.flush()
    }
}

fn tell(env: &mut Env, args: &PackArgs, reports: &[Report], sha256: String) -> Result<Exit, CommandError> {
    let of = |verdict| reports.iter().filter(move |report| report.verdict == verdict);
    if args.checks.json {
        let wrong = of(Verdict::Wrong).map(|report| report.file.as_str()).collect();
        print_json(env, &Told { archive: named(&args.output), records: reports.len(), sha256, wrong })?;
    } else {
        for report in of(Verdict::Wrong) {
            let what = report.troubles.first().map_or("", |trouble| trouble.what.as_str());
            writeln!(env.stdout, "WRONG {}: {what}", report.file)?;
        }
        writeln!(
            env.stdout,
            "PACKED {} into {}: {} proven, {} not proven, {} wrong",
            counted(reports.len(), "record"),
            named(&args.output),
            of(Verdict::Proven).count(),
            of(Verdict::NotProven).count(),
            of(Verdict::Wrong).count()
        )?;
        writeln!(env.stdout, "SHA-256 of the archive: {sha256}")?;
        env.stdout.flush()?;
    }
    Ok(ended(reports.iter().map(|report| report.verdict)))
}

/// The records, and what was torn off them, by the names they get in the archive.
fn found(env: &Env, paths: &[PathBuf]) -> Result<BTreeMap<String, PathBuf>, CommandError> {
    let mut found = BTreeMap::new();
    for path in paths {
        let located = files::located(env, path);
        let records = records_in(&located, path).map_err(|error| CommandError::reading(path, &error))?;
        if records.is_empty() {
            return Err(CommandError::new(Exit::NoInput, format!("no record (*.jsonl) in {}", named(path))));
        }
        for record in records {
            if !record.ordinary {
                return Err(CommandError::from(RecordError::NotAFile { file: record.name }));
            }
            let name = record.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if kind(&name) != Some(Kind::Record) {
                return Err(CommandError::new(
                    Exit::BadData,
                    format!("{} cannot be packed under its name", named(&record.name)),
                )
                .way_out(
                    "a record in an archive is called by a-z, 0-9 and `-`, and .jsonl; copy it under such a name",
                ));
            }
            for n in 1.. {
                let torn = format!("{name}.torn-{n}");
                let path = record.path.with_file_name(&torn);
                if !path.symlink_metadata().is_ok_and(|found| found.is_file()) {
                    break;
                }
                found.insert(torn, path);
            }
            if found.insert(name, record.path).is_some() {
                return Err(CommandError::new(
                    Exit::BadData,
                    format!("{} has the name of another record that is packed", named(&record.name)),
                )
                .way_out("pack them into two archives"));
            }
        }
    }
    if found.len() >= MOST {
        return Err(CommandError::new(Exit::BadData, format!("more than {MOST} files")).way_out("pack them by year"));
    }
    Ok(found)
}

/// One ordinary file that belongs to nobody; the same records make the same archive.
fn put(archive: &mut tar::Builder<impl io::Write>, name: &str, changed: u64, bytes: &[u8]) -> io::Result<()> {
    let mut header = tar::Header::new_ustar();
    header.set_path(name)?;
    header.set_size(bytes.len() as u64);
    header.set_mode(0o644);
    header.set_mtime(changed);
    header.set_entry_type(tar::EntryType::Regular);
    header.set_cksum();
    archive.append(&header, bytes)
}
