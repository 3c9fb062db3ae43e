//! What a judgement needs to know of the job: folded from the standing answers, in the order they were given.

use crate::checklist::{JobContext, Steps};
use crate::record::{Answer, Job};

/// The context of the job as its record stands; `None` when the order no longer has the unit, which opening checks.
pub(super) fn of<'a>(job: &'a Job, steps: &Steps) -> Option<JobContext<'a>> {
    let opened = job.opened();
    let mut context = JobContext::new(&opened.plan, &opened.unit)?;
    let mut standing: Vec<_> = steps
        .iter()
        .filter_map(|(_, _, step)| job.answer(&step.id).map(|answer| (answer.line, step, answer)))
        .collect();
    standing.sort_by_key(|(line, _, _)| *line);
    for (_, step, answer) in standing {
        if let Answer::Given { value, serial, .. } = &answer.answer {
            context.took(step, value, serial.as_deref());
        }
    }
    Some(context)
}
