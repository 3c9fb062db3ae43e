//! One record against all that must hold of it.

use super::report::PassedTold;
use super::signatures::{Seal, Seals};
use super::{Against, Report, State};
use crate::record::chain::{WithBeginning, fingerprint};
use crate::record::sign::KnownKeys;
use crate::record::{Answer, Event, Isolation, Job, RecordError, Role, Scan, Stop, Torn, Wrong, time};
use crate::report::Amended;
use crate::runner::all_steps;
use crate::source::counted;
use crate::text::{shown, shown_within};

/// Audits the bytes of a record; `file` is its name for messages and for the lines to repeat the check with.
pub fn audit(file: &std::path::Path, bytes: &[u8], against: &Against) -> Report {
    audit_one_of_many(file, bytes, against, &mut KnownKeys::default())
}

/// As [`audit`], for one of many records that are signed by the same keys.
pub fn audit_one_of_many(file: &std::path::Path, bytes: &[u8], against: &Against, known: &mut KnownKeys) -> Report {
    let mut report = Report::new(crate::commands::files::named(file));
    file.clone_into(&mut report.path);
    report.bytes = bytes.len() as u64;
    let mut seals = Seals::new(bytes);
    let mut scan = Scan::hashing(bytes, WithBeginning::of(bytes));
    let mut job: Option<Job> = None;
    let mut last = (0, "");
    while let Some(step) = scan.next() {
        let line = match step {
            Ok(scanned) => scanned.line,
            Err(stop) => {
                stopped(&mut report, stop);
                break;
            }
        };
        let end = scan.good_length();
        let n = line.n;
        last = (n, line.event.name());
        if let Some(now) = against.now
            && line.at > now + chrono::TimeDelta::minutes(5)
        {
            report.not_proven(Some(n), format!("is dated {}, which is still to come", time::text(&line.at)));
        }
        match &line.event {
            Event::Declared { key: Some(_), .. } => seals.declared(n, end, scan.hashes().up_to_here()),
            Event::Signed { declared, key, signature } => {
                seals.signed(Seal { declared: *declared, key: key.clone(), signature: signature.clone() });
            }
            _ => {}
        }
        let folded = match &mut job {
            Some(job) => job.apply(line),
            None => Job::open(line).map(|opened| job = Some(opened)),
        };
        if let Err(fault) = folded {
            report.wrong(Some(n), Wrong::from(fault).to_string());
            break;
        }
    }
    let head = scan.head();
    report.lines = head.lines;
    if head.lines > 0 {
        report.head = head.hash.to_string();
        report.fingerprint = fingerprint(&head.hash);
    }
    if let Some(torn) = scan.torn() {
        self::torn(&mut report, torn);
    }
    let damaged = !report.troubles.is_empty() && report.verdict == super::Verdict::Wrong;
    if let Some(job) = &job {
        report.job = Some(job.opened().job.clone());
        report.technician = Some(job.opened().technician.clone());
        amendments(&mut report, job);
        super::signatures::check(&mut report, job, &seals, against, known, file);
        if !damaged {
            steps(&mut report, job);
            clocks(&mut report, job);
            stand(&mut report, job, against, last);
        }
    }
    compare_fingerprint(&mut report, against);
    report.troubles.sort_by(|a, b| b.grave.cmp(&a.grave).then(a.line.cmp(&b.line)));
    report
}

fn stopped(report: &mut Report, stop: Stop) {
    match stop {
        Stop::Damaged { line, wrong } => report.wrong(Some(line), format!("{wrong}; {}", wrong.way_out())),
        Stop::Empty => report.wrong(None, "the file is empty: no job was ever opened in it"),
        Stop::NeverOpened(kind) => report.wrong(Some(1), format!("is not whole: {}", kind.words())),
        Stop::TooLarge => report.wrong(None, "larger than any job makes a record"),
        Stop::Io(error) => {
            let error = RecordError::Io { file: report.file.clone().into(), doing: "reading", source: error };
            report.wrong(None, error.to_string());
        }
    }
}

fn torn(report: &mut Report, torn: Torn) {
    let what = format!(
        "{} ({}); such a line was never confirmed to anyone. After a crash that is what is left, and `slotwise resume` or \
         `sign` puts it aside; in a copy it means that the copy was cut",
        torn.kind.words(),
        counted(usize::try_from(torn.bytes).unwrap_or(usize::MAX), "byte")
    );
    report.not_proven(Some(report.lines + 1), what);
}

/// Every item asked for has its evidence, or was passed by name and with a reason; and nothing else was answered.
fn steps(report: &mut Report, job: &Job) {
    let steps = match all_steps(job) {
        Ok(steps) => steps,
        Err(error) => return report.wrong(Some(1), format!("its checklist does not fit its plan: {error}")),
    };
    let open: Vec<&str> =
        steps.iter().filter(|(_, _, s)| job.answer(&s.id).is_none()).map(|(_, _, s)| s.id.0.as_str()).collect();
    report.items = steps.iter().count();
    report.answered = report.items - open.len();
    if let Some(first) = open.first() {
        let what = format!("{} of {} open, the first is `{}`", counted(open.len(), "item"), report.items, shown(first));
        match job.standing_declarations().next() {
            Some(declared) => report.wrong(Some(declared.line), format!("states that the job is done, with {what}")),
            None => report.not_proven(None, what),
        }
    }
    for (step, standing) in job.answers() {
        if steps.find(step).is_none() {
            report.wrong(Some(standing.line), format!("answers `{}`, which nobody asked", shown(&step.0)));
        }
    }
    for (step, standing) in job.overrides() {
        if let Answer::Passed { why, name, .. } = &standing.answer {
            let (line, step) = (standing.line, step.0.clone());
            let (who, reason) = (shown(name), shown_within(why, 200));
            if job.leaves_findings_open(line) {
                report.note(Some(line), format!("the findings of the last report were left open by {who}: {reason}"));
                continue;
            }
            report.note(Some(line), format!("`{}` was passed without its evidence by {who}: {reason}", shown(&step)));
            report.passed.push(PassedTold { line, step, name: name.clone(), why: why.clone() });
        }
    }
    for run in job.isolations().iter().filter_map(Isolation::open_trial) {
        let what = if run.puts_back { "modules were to be put back" } else { "a trial was begun" };
        report.note(Some(run.line), format!("{what}, and no start after it was looked at"));
    }
    match job.comparison() {
        None if job.is_done() => report.note(None, "the machine's own report was never compared with the plan"),
        Some(last) if !last.findings.is_empty() => {
            let what = format!("the last report of the machine has {}", counted(last.findings.len(), "finding"));
            report.note(Some(last.line), what);
        }
        _ => {}
    }
}

/// How far a clock may step back between two lines without a doubt about it: what time services correct in daily use (common
/// practice), in milliseconds.
const CORRECTION_MS: u64 = 1_000;

fn clocks(report: &mut Report, job: &Job) {
    for note in job.clock_notes() {
        if note.back_ms <= CORRECTION_MS {
            let what = format!("is dated {} ms before the line ahead of it: the clock was corrected", note.back_ms);
            report.note(Some(note.line), what);
            continue;
        }
        let seconds = counted(usize::try_from(note.back_ms / 1000).unwrap_or(usize::MAX), "second");
        let what = format!("is dated {seconds} before the line ahead of it: the clock was set back");
        report.not_proven(Some(note.line), what);
    }
}

fn amendments(report: &mut Report, job: &Job) {
    for amendment in job.amendments() {
        report.note(
            Some(amendment.line),
            format!(
                "amends line {}{}: \"{}\", because \"{}\" ({} at {})",
                amendment.amends,
                amendment.was.as_deref().map_or_else(String::new, |was| format!(" (\"{}\")", shown_within(was, 200))),
                shown_within(&amendment.now, 200),
                shown_within(&amendment.why, 200),
                shown(&amendment.by),
                time::text(&amendment.at)
            ),
        );
        report.amendments.push(Amended::of(amendment));
    }
}

/// How far the job is, what is missing of its signatures, and what the end of the file cannot show.
fn stand(report: &mut Report, job: &Job, against: &Against, last: (u64, &str)) {
    let standing = |role| job.standing_declarations().find(|declaration| declaration.role == role);
    let (technician, supervisor) = (standing(Role::Technician), standing(Role::Supervisor));
    report.state = match (technician, supervisor) {
        (None, _) if job.is_paused() => State::Paused,
        (None, _) => State::Open,
        (Some(_), Some(supervisor)) if !supervisor.lacks_its_signature() => State::Countersigned,
        (Some(technician), _) if technician.signed.is_some() => State::Signed,
        _ => State::Stated,
    };
    let end = job.declarations().iter().map(|declaration| declaration.end()).max();
    if technician.is_none() {
        let reopened = job.declarations().iter().filter_map(|declaration| declaration.reopened_by).max();
        let what = match reopened {
            Some(by) => format!("line {by} opened the job again after it was signed: a new signature is needed"),
            None => "the job is not signed off".to_owned(),
        };
        report.not_proven(
            None,
            format!(
                "{what}. The file ends with line {} (`{}`); whether lines stood behind it, an unsigned record cannot show",
                last.0, last.1
            ),
        );
    } else if let Some(end) = end
        && end < job.lines()
    {
        report.not_proven(
            Some(end + 1),
            format!(
                "{} behind the last signature: no signature covers it",
                if job.lines() == end + 1 { "stands" } else { "and what follows stand" }
            ),
        );
    }
    if technician.is_some() && supervisor.is_none() {
        let what = "no supervisor has countersigned. A copy cut right behind the technician's sign-off looks the same: the \
                    fingerprint tells them apart";
        if against.countersigned { report.not_proven(None, what) } else { report.note(None, what) }
    }
}

fn compare_fingerprint(report: &mut Report, against: &Against) {
    let Some(wanted) = &against.fingerprint else { return };
    let plain = |text: &str| text.chars().filter(char::is_ascii_hexdigit).collect::<String>().to_ascii_lowercase();
    let wanted_plain = plain(wanted);
    // The short form, or the whole hash; less than the short form shows nothing.
    if wanted_plain.len() < super::FINGERPRINT_DIGITS || !report.head.starts_with(&wanted_plain) {
        let found = report.fingerprint.clone();
        report.wrong(
            None,
            format!(
                "its fingerprint is {found}, and {} was expected: lines were added or cut, or it is another record",
                shown(wanted)
            ),
        );
    }
}
