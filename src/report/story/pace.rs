//! Answers that came faster than hands can move: shown to the supervisor, never held against anyone by themselves.

use std::collections::BTreeMap;

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

/// The runs of typed answers that were all too fast, one notable a person. `None` between two answers breaks a run: the
/// person was away, or an answer came that no hand gives.
pub(super) fn fast_runs(answers: &[Option<Paced>]) -> Vec<Notable> {
    let mut by: BTreeMap<&str, Vec<Vec<&Paced>>> = BTreeMap::new();
    let runs = answers.chunk_by(|one, next| is_fast(one) && is_fast(next) && same_hands(one, next));
    for run in runs.filter(|run| run.len() >= RUN) {
        let run: Vec<&Paced> = run.iter().flatten().collect();
        if let Some(first) = run.first() {
            by.entry(&first.by).or_default().push(run);
        }
    }
    by.into_iter().map(|(by, runs)| told(by, &runs)).collect()
}

fn told(by: &str, runs: &[Vec<&Paced>]) -> Notable {
    let answers: usize = runs.iter().map(Vec::len).sum();
    let in_runs = if runs.len() == 1 { "in a row".to_owned() } else { format!("in {} runs", runs.len()) };
    let mut facts = vec![
        Fact { name: "by", value: by.to_owned() },
        Fact { name: "each", value: format!("less than {} from question to answer", duration(FASTER_THAN_HANDS_MS)) },
    ];
    const MOST: usize = 12;
    for run in runs.iter().take(MOST) {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
        let value = format!("{}: lines {} to {}, {} to {}", run.len(), first.line, last.line, first.step, last.step);
        facts.push(Fact { name: "run of", value });
    }
    if runs.len() > MOST {
        facts.push(Fact { name: "and", value: format!("{} more runs", runs.len() - MOST) });
    }
    Notable {
        kind: NotableKind::Fast,
        grave: Grave::Look,
        title: format!("{answers} answers {in_runs} came faster than hands can move"),
        facts,
        line: runs.first().and_then(|run| run.first()).map(|first| first.line),
    }
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

    fn runs(times: &[Option<u64>]) -> Vec<String> {
        let answers: Vec<Option<Paced>> = times
            .iter()
            .zip(2..)
            .map(|(took, line)| {
                took.map(|took_ms| Paced { line, by: "kim".to_owned(), step: format!("card/{line}"), took_ms })
            })
            .collect();
        let found = fast_runs(&answers);
        let facts = found.iter().flat_map(|notable| &notable.facts).filter(|fact| fact.name == "run of");
        facts.map(|fact| fact.value.split(", ").next().unwrap().to_owned()).collect()
    }

    #[test]
    fn three_in_a_row_are_shown_two_are_not() {
        assert_eq!(runs(&[Some(5), Some(999)]), [""; 0]);
        assert_eq!(runs(&[Some(5), Some(999), Some(0)]), ["3: lines 2 to 4"]);
        assert_eq!(runs(&[Some(5), Some(999), Some(1000), Some(0)]), [""; 0]);
        let two = [Some(5000), Some(1), Some(1), Some(1), Some(5000), Some(2), Some(2), Some(2), Some(2)];
        assert_eq!(runs(&two), ["3: lines 3 to 5", "4: lines 7 to 10"]);
    }

    #[test]
    fn what_no_hand_gave_breaks_a_run() {
        assert_eq!(runs(&[Some(5), Some(5), None, Some(5), Some(5)]), [""; 0]);
    }

    #[test]
    fn two_people_are_told_apart() {
        let paced = |by: &str, line| Some(Paced { line, by: by.to_owned(), step: "a/b".to_owned(), took_ms: 1 });
        let answers = [paced("kim", 2), paced("kim", 3), paced("lee", 4), paced("lee", 5), paced("lee", 6)];
        let found = fast_runs(&answers);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].title, "3 answers in a row came faster than hands can move");
        assert_eq!((found[0].facts[0].value.as_str(), found[0].line), ("lee", Some(4)));
    }
}
