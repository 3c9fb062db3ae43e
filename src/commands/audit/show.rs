//! An audit on stdout, and the lines with which anyone repeats it.

use super::{Against, Grave, Recipe, Report, SignatureTold, State, Verdict};
use crate::commands::files::named;
use crate::commands::job::quoted;
use crate::commands::{CommandError, wrap};
use crate::env::Env;
use crate::record::{chain, time};
use crate::source::counted;
use crate::text::{shown, shown_within};

/// Characters of a fingerprint: five groups of four digits.
const FINGERPRINT_WIDTH: usize = 24;

/// One record in full, several with a line each and what is wrong below.
pub fn show(env: &mut Env, reports: &[Report], against: &Against) -> Result<(), CommandError> {
    if let [report] = reports {
        one(env, report, against)?;
    } else {
        for report in reports {
            brief(env, report)?;
        }
        let count = |verdict| reports.iter().filter(|report| report.verdict == verdict).count();
        writeln!(
            env.stdout,
            "{}: {} proven, {} not proven, {} wrong",
            counted(reports.len(), "record"),
            count(Verdict::Proven),
            count(Verdict::NotProven),
            count(Verdict::Wrong)
        )?;
    }
    env.stdout.flush()?;
    Ok(())
}

/// One record on one line.
///
/// # Errors
/// A stream that fails.
pub fn brief(env: &mut Env, report: &Report) -> Result<(), CommandError> {
    let fingerprint = if report.fingerprint.is_empty() { "-" } else { &report.fingerprint };
    let mut text = format!("{:<10} {fingerprint:<FINGERPRINT_WIDTH$} {}", word(report.verdict), report.file);
    if let Some(trouble) = report.troubles.first().filter(|trouble| trouble.grave != Grave::Note) {
        let place = trouble.line.map_or_else(String::new, |line| format!("line {line}: "));
        // What could not be read is told with its name, which stands here already.
        let what = trouble.what.strip_prefix(&report.file).and_then(|rest| rest.strip_prefix(": "));
        text += &format!(": {place}{}", what.unwrap_or(&trouble.what));
    }
    let columns = wrap::columns(env, env.terminal.stdout_is_terminal);
    write!(env.stdout, "{}", wrap::wrapped(&format!("{text}\n"), columns, 4))?;
    Ok(())
}

fn one(env: &mut Env, report: &Report, against: &Against) -> Result<(), CommandError> {
    let columns = wrap::columns(env, env.terminal.stdout_is_terminal);
    let mut text = format!("{} {}\n", word(report.verdict), report.file);
    if let Some(job) = &report.job {
        text += &format!("job {}, {}\n", shown(job), state(report.state));
    }
    let lines = counted(usize::try_from(report.lines).unwrap_or(usize::MAX), "line");
    text += &format!("{lines} hold together, {} bytes\n", report.bytes);
    if report.items > 0 {
        text += &format!(
            "{} of {} have their answer, {} of them passed without evidence\n",
            report.answered,
            counted(report.items, "item"),
            report.passed.len()
        );
    }
    if !report.fingerprint.is_empty() {
        text += &format!("fingerprint {}\n", report.fingerprint);
    }
    for trouble in &report.troubles {
        let grave = match trouble.grave {
            Grave::Wrong => "WRONG",
            Grave::NotProven => "NOT PROVEN",
            Grave::Note => "note",
        };
        let place = trouble.line.map_or_else(String::new, |line| format!("line {line}: "));
        text += &format!("{grave}: {place}{}\n", trouble.what);
    }
    for signature in &report.signatures {
        signed(&mut text, signature);
    }
    write!(env.stdout, "{}", wrap::wrapped(&text, columns, 4))?;
    by_hand(env, report, against, columns)?;
    // What it comes to has left the window of a terminal by now.
    if columns.is_some() {
        writeln!(env.stdout, "so: {} {}", word(report.verdict), report.file)?;
    }
    Ok(())
}

/// The lines by which anyone repeats it; each stays one line, so that it can be copied.
fn by_hand(env: &mut Env, report: &Report, against: &Against, columns: Option<usize>) -> Result<(), CommandError> {
    if report.lines > 0 {
        writeln!(env.stdout, "stock tools give the 20 digits of the fingerprint:")?;
        writeln!(env.stdout, "  {}", chain::fingerprint_line(&quoted(&report.path), report.lines))?;
    }
    if report.signatures.iter().any(|signature| signature.stands && signature.check.is_some()) {
        let signers = match &against.signers_name {
            Some(file) => named(file),
            None => "SIGNERS, your allowed signers file".to_owned(),
        };
        let text = format!("anyone repeats the check of a signature with stock tools and {signers}:\n");
        write!(env.stdout, "{}", wrap::wrapped(&text, columns, 2))?;
    }
    let standing = report.signatures.iter().filter(|signature| signature.stands);
    for line in standing.filter_map(|signature| signature.check.as_ref()).flat_map(Recipe::lines) {
        writeln!(env.stdout, "  {line}")?;
    }
    Ok(())
}

fn signed(text: &mut String, signature: &SignatureTold) {
    let how = match (&signature.key, signature.fits, signature.allowed_by) {
        (None, _, _) => "typed name only".to_owned(),
        (Some(key), Some(true), Some(line)) => {
            format!("key {}, allowed by line {line} of the signers file", shown(key))
        }
        (Some(key), Some(true), None) => format!("key {}, which nobody vouches for here", shown(key)),
        (Some(key), Some(false), _) => format!("key {}, and the signature does NOT hold", shown(key)),
        (Some(key), None, _) => format!("key {}, and the signature is missing", shown(key)),
    };
    let stands = if signature.stands { "" } else { " (no longer stands)" };
    *text += &format!(
        "line {}: {} signed as {} (role as declared) at {}{stands}: {how}\n",
        signature.declared,
        shown(&signature.name),
        signature.role.name(),
        time::text(&signature.at)
    );
    *text += &format!("  \"{}\"\n", shown_within(&signature.statement, 300));
    if let Some(reason) = &signature.reason {
        *text += &format!("  reason: \"{}\"\n", shown_within(reason, 300));
    }
}

const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Proven => "PROVEN",
        Verdict::NotProven => "NOT PROVEN",
        Verdict::Wrong => "WRONG",
    }
}

const fn state(state: State) -> &'static str {
    match state {
        State::Unknown => "state unknown",
        State::Open => "still open",
        State::Paused => "paused",
        State::Stated => "stated to be done, without a signature",
        State::Signed => "signed by the technician",
        State::Countersigned => "signed and countersigned",
    }
}
