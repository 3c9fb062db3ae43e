//! Answers that came faster than hands can move: shown to the supervisor, never held against anyone by themselves.

use super::types::{Fact, Notable, NotableKind};
use crate::report::words::duration;
use crate::verify::Grave;

/// An item is read, done and answered; below this many milliseconds from question to answer it was at most read. Reading
/// alone, at 250 words a minute, takes two seconds for eight words (from memory), so one second accuses nobody wrongly.
pub const FASTER_THAN_HANDS_MS: u64 = 1000;

/// How many such answers in a row are shown. One can be a habit known by heart, two in a row happen.
pub const RUN: usize = 3;

/// One answer a person typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Paced {
    pub line: u64,
    pub by: String,
    pub step: String,
    pub took_ms: u64,
}

/// The runs of typed answers that were all too fast. `None` between two answers breaks a run: the person was away, or an
/// answer came that no hand gives.
pub(super) fn fast_runs(answers: &[Option<Paced>]) -> Vec<Notable> {
    answers
        .chunk_by(|one, next| is_fast(one) && is_fast(next) && same_hands(one, next))
        .filter(|run| run.len() >= RUN)
        .filter_map(|run| {
            let run: Vec<&Paced> = run.iter().flatten().collect();
            let (first, last) = (run.first()?, run.last()?);
            let total = run.iter().map(|answer| answer.took_ms).fold(0, u64::saturating_add);
            Some(Notable {
                kind: NotableKind::Fast,
                grave: Grave::Look,
                title: format!("{} answers in a row came faster than hands can move", run.len()),
                facts: vec![
                    Fact { name: "from", value: first.step.clone() },
                    Fact { name: "to", value: last.step.clone() },
                    Fact { name: "by", value: first.by.clone() },
                    Fact { name: "lines", value: format!("{} to {}", first.line, last.line) },
                    Fact {
                        name: "think time",
                        value: format!("{} in all; each less than {}", duration(total), duration(FASTER_THAN_HANDS_MS)),
                    },
                ],
                line: Some(first.line),
            })
        })
        .collect()
}

fn is_fast(answer: &Option<Paced>) -> bool {
    answer.as_ref().is_some_and(|answer| answer.took_ms < FASTER_THAN_HANDS_MS)
}

fn same_hands(one: &Option<Paced>, next: &Option<Paced>) -> bool {
    one.as_ref().map(|answer| &answer.by) == next.as_ref().map(|answer| &answer.by)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(times: &[Option<u64>]) -> Vec<String> {
        let answers: Vec<Option<Paced>> = times
            .iter()
            .zip(2..)
            .map(|(took, line)| {
                took.map(|took_ms| Paced { line, by: "kim".to_owned(), step: format!("card/{line}"), took_ms })
            })
            .collect();
        fast_runs(&answers).iter().map(|found| found.facts[3].value.clone()).collect()
    }

    #[test]
    fn three_in_a_row_are_shown_two_are_not() {
        assert_eq!(run(&[Some(5), Some(999)]), [""; 0]);
        assert_eq!(run(&[Some(5), Some(999), Some(0)]), ["2 to 4"]);
        assert_eq!(run(&[Some(5), Some(999), Some(1000), Some(0)]), [""; 0]);
        assert_eq!(
            run(&[Some(5000), Some(1), Some(1), Some(1), Some(5000), Some(2), Some(2), Some(2)]),
            ["3 to 5", "7 to 9"]
        );
    }

    #[test]
    fn what_no_hand_gave_breaks_a_run() {
        assert_eq!(run(&[Some(5), Some(5), None, Some(5), Some(5)]), [""; 0]);
    }
}
