//! Arguments: which command was asked for.

use std::ffi::OsString;
use std::path::PathBuf;

use clap::{Parser, Subcommand};

use super::{CommandError, Exit, wrap};
use crate::env::Env;
use crate::text::shown_within;

/// Walks you from a box of memory modules to a machine whose every module is proven present, latched and healthy,
/// with a record that shows it.
#[derive(Debug, Parser)]
#[command(name = "slotwise", version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Plan(super::plan::PlanArgs),
    Practice(super::practice::PracticeArgs),
    Install(super::install::InstallArgs),
    Resume(super::resume::ResumeArgs),
    Capture(super::capture::CaptureArgs),
    Verify(super::verify::VerifyArgs),
    Isolate(super::isolate::IsolateArgs),
    Review(super::review::ReviewArgs),
    Report(super::report::ReportArgs),
    Rma(super::rma::RmaArgs),
    Sign(super::sign::SignArgs),
    Audit(super::audit::AuditArgs),
    Amend(super::amend::AmendArgs),
    Archive(super::archive::ArchiveArgs),
    Board(super::board::BoardArgs),
    Schema(super::schema::SchemaArgs),
}

impl Command {
    /// The files and folders it was given by which its errors may name what they are about.
    fn paths(&self) -> Vec<PathBuf> {
        match self {
            Self::Install(args) => vec![args.records.clone()],
            Self::Resume(args) => vec![args.record.clone()],
            Self::Capture(args) => args.root.iter().chain(&args.output).cloned().collect(),
            Self::Verify(args) => vec![args.against.clone()],
            Self::Isolate(args) => args.record.iter().cloned().collect(),
            Self::Review(args) => vec![args.record.clone()],
            Self::Report(args) => vec![args.record.clone()],
            Self::Rma(args) => vec![args.record.clone()],
            Self::Sign(args) => vec![args.record.clone()],
            Self::Amend(args) => vec![args.record.clone()],
            Self::Archive(args) => args.paths(),
            Self::Plan(_) | Self::Practice(_) | Self::Audit(_) | Self::Board(_) | Self::Schema(_) => Vec::new(),
        }
    }
}

/// Runs one command. Data goes to `env.stdout`, talk to `env.stderr`; the result is the exit code's meaning.
pub fn run<A: Into<OsString> + Clone>(args: impl IntoIterator<Item = A>, env: &mut Env) -> Exit {
    let args: Vec<OsString> = args.into_iter().map(Into::into).collect();
    let cli = match Cli::try_parse_from(&args) {
        Ok(cli) => cli,
        // The parser repeats arguments as they came, and they may come from a scanner or a file's name. What it says of
        // cleaned ones is the same, and safe to show.
        Err(error) => {
            let told = Cli::try_parse_from(args.iter().map(cleaned)).err().unwrap_or(error);
            return explain_usage(&told, env);
        }
    };
    let named = cli.command.paths();
    match dispatch(cli.command, env) {
        Ok(exit) => exit,
        Err(error) => {
            let folder = env.folder.clone();
            let error = named.iter().fold(error, |error, given| error.as_given(&folder.join(given), given));
            // When even the error stream is gone, the exit code is all that is left to say it.
            let columns = wrap::columns(env, env.terminal.stderr_is_terminal);
            let _ = write!(env.stderr, "{}", error.within(columns));
            error.exit
        }
    }
}

fn cleaned(argument: &OsString) -> String {
    shown_within(&argument.to_string_lossy(), 200).to_string()
}

fn dispatch(command: Command, env: &mut Env) -> Result<Exit, CommandError> {
    match command {
        Command::Plan(args) => super::plan::run(env, &args),
        Command::Practice(args) => super::practice::run(env, &args),
        Command::Install(args) => super::install::run(env, &args),
        Command::Resume(args) => super::resume::run(env, &args),
        Command::Capture(args) => super::capture::run(env, &args),
        Command::Verify(args) => super::verify::run(env, &args),
        Command::Isolate(args) => super::isolate::run(env, &args),
        Command::Review(args) => super::review::run(env, &args),
        Command::Report(args) => super::report::run(env, &args),
        Command::Rma(args) => super::rma::run(env, &args),
        Command::Sign(args) => super::sign::run(env, &args),
        Command::Audit(args) => super::audit::run(env, &args),
        Command::Amend(args) => super::amend::run(env, &args),
        Command::Archive(args) => super::archive::run(env, &args),
        Command::Board(args) => super::board::run(env, &args),
        Command::Schema(args) => super::schema::run(env, &args),
    }
}

fn explain_usage(error: &clap::Error, env: &mut Env) -> Exit {
    let rendered = error.render();
    let is_help = !error.use_stderr();
    let colour = env.colour(if is_help { env.terminal.stdout_is_terminal } else { env.terminal.stderr_is_terminal });
    let stream = if is_help { &mut env.stdout } else { &mut env.stderr };
    let _ = if colour { write!(stream, "{}", rendered.ansi()) } else { write!(stream, "{rendered}") };
    if is_help { Exit::Done } else { Exit::Usage }
}
