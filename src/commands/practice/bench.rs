//! What the technician would find at the practice bench: labels, counts, readings.

use crate::checklist::{Evidence, Expected, ScanOf, Step, StepId, Steps};
use crate::plan::Plan;
use crate::record::{Answer, Job};

/// Tools on the practice bench: a driver and a lamp.
const TOOLS: &str = "2";

/// What the bench shows for a step, as one would give it; `None` where the step itself says all there is.
///
/// `is_proud` says whether the module at the step's slot is not fully latched; a step named `stood` asks for that.
pub fn value(step: &Step, steps: &Steps, job: &Job, is_proud: impl FnOnce() -> bool) -> Option<String> {
    match &step.evidence {
        Evidence::Confirm { state } => Some(state.clone()),
        Evidence::Text { .. } | Evidence::Time { .. } | Evidence::Snapshot => None,
        Evidence::Word { word, .. } => Some(word.clone()),
        Evidence::Reading { lowest, highest, .. } => Some(match (lowest, highest) {
            // A strap as it comes out of the drawer: its 1 MOhm resistor and the wearer.
            (Some(_), Some(_)) => "1.2".to_owned(),
            (Some(low), None) => low.value.to_string(),
            (None, Some(high)) => high.value.to_string(),
            (None, None) => "40".to_owned(),
        }),
        Evidence::Scan { of, expected } => Some(match expected {
            Expected::Exactly(text) => text.clone(),
            _ if *of == ScanOf::Module => module_label(step, &job.opened().plan)?,
            _ => step.slot.as_ref()?.as_str().to_owned(),
        }),
        Evidence::Count { expected } => Some(expected.to_string()),
        Evidence::Tally => Some(TOOLS.to_owned()),
        Evidence::TallyBack { first } => Some(earlier(first, steps, job).unwrap_or_else(|| TOOLS.to_owned())),
        Evidence::Choice { options, .. } if step.id.0.ends_with("/stood") && is_proud() => options.get(1).cloned(),
        Evidence::Choice { options, good } => good.first().or(options.first()).cloned(),
        Evidence::Photo => Some("/dev/null".to_owned()),
    }
}

/// The line beside the question.
pub fn line(step: &Step, value: &str) -> Option<String> {
    Some(match &step.evidence {
        Evidence::Reading { unit, .. } => format!("the instrument reads {value} {unit}"),
        Evidence::Scan { of, .. } => {
            let thing = match of {
                ScanOf::Module => "the label of the module in your hand",
                ScanOf::Slot => "the print on the board beside your finger",
                ScanOf::Chassis => "the tag on the machine",
                ScanOf::Enclosure => "the tag on the enclosure",
                ScanOf::Bay => "the mark beside the bay",
                ScanOf::Badge => "your badge",
            };
            format!("{thing} reads {value}")
        }
        Evidence::Count { .. } | Evidence::Tally | Evidence::TallyBack { .. } => format!("you count {value}"),
        Evidence::Confirm { .. } | Evidence::Choice { .. } => format!("you see: {value}"),
        Evidence::Word { .. } | Evidence::Photo => return None,
        _ => return None,
    })
}

/// Why a reading or count is not what the bench shows. Others are judged by the step itself, or are the technician's own.
pub fn disagrees(step: &Step, value: &str, shown: &str) -> Option<String> {
    let what = match &step.evidence {
        Evidence::Reading { unit, .. } => format!("the instrument on this bench reads {shown} {unit}"),
        Evidence::Tally => format!("on this bench you count {shown}"),
        _ => return None,
    };
    let number = |text: &str| text.parse::<rust_decimal::Decimal>().ok();
    let differs = match (number(value), number(shown)) {
        (Some(value), Some(shown)) => value != shown,
        _ => value != shown,
    };
    differs.then(|| format!("Read {}, but {what}. Enter what you see.", crate::text::shown(value)))
}

fn module_label(step: &Step, plan: &Plan) -> Option<String> {
    let slot = step.slot.as_ref()?;
    let planned = plan.module_at(slot.as_str())?;
    planned.module.identity.serial.clone().or_else(|| planned.module.identity.part.clone())
}

fn earlier(first: &StepId, steps: &Steps, job: &Job) -> Option<String> {
    steps.find(first)?;
    match &job.answer(first)?.answer {
        Answer::Given { value, .. } => Some(value.clone()),
        Answer::Passed { .. } => None,
    }
}
