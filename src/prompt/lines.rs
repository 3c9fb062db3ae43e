//! A question as lines: one line an event, top to bottom, each beginning with a word that says what it is. Printable
//! ASCII only, no cursor moves, no boxes, no colour: for pipes, screen readers, slow wires and narrow windows.

use super::ask::{Hms, Message, Question, Wants};
use super::meaning::{loud_word, takes_keys, takes_one_key};
use crate::text::{Shown, shown, shown_within};

/// The most columns a text of ours (an instruction, a caution) may take; a terminal breaks it where it must.
const LONG: usize = 2000;

/// Cleaned text, one item a line.
pub(super) fn cleaned(text: &str) -> Vec<Shown> {
    text.lines().map(|line| shown_within(line, LONG)).collect()
}

/// All lines of a question, without the input.
pub(super) fn question(question: &Question) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(place) = &question.place {
        lines.push(place.to_string());
        lines.push(format!("CARD {}", shown(&place.card_name)));
    }
    lines.extend(question.caution.iter().flat_map(|text| cleaned(text)).map(|text| format!("CAUTION {text}")));
    let word = if question.warns { "WARNING" } else { "DO" };
    lines.extend(cleaned(&question.text).iter().map(|text| format!("{word} {text}")));
    lines.extend(question.slot.iter().map(|slot| format!("SLOT {}", shown(slot))));
    lines.extend(wants(question).into_iter().map(|want| format!("WANT {want}")));
    lines
}

/// What is wanted, in words. Never the value that would pass a scan, a reading or a count.
pub(super) fn wants(question: &Question) -> Vec<String> {
    match &question.wants {
        Wants::Confirm { state } => {
            let state = shown_within(state, LONG);
            match loud_word(question) {
                Some(word) => {
                    vec![format!("type {} and Enter if so: {state}", shown(word)), "3 if it is not so".into()]
                }
                None => vec![format!("1 if so: {state}"), "3 if it is not so".into()],
            }
        }
        Wants::Word { word, meaning } => {
            vec![format!("type {} and Enter: {}", shown(word), shown_within(meaning, LONG))]
        }
        Wants::Number { unit } if unit.is_empty() => vec!["type the number and Enter".into()],
        Wants::Number { unit } => vec![format!("type the reading in {} and Enter", shown(unit))],
        Wants::Scan { what } => vec![format!("scan {}", shown_within(what, LONG))],
        Wants::Count { what } => vec![format!("count {}, type the number and Enter", shown_within(what, LONG))],
        Wants::Choice { options } => {
            let numbered = options.iter().enumerate().map(|(n, option)| format!("  {} = {}", n + 1, shown(option)));
            std::iter::once("one of these, by its number and Enter".to_owned()).chain(numbered).collect()
        }
        Wants::Line { what, optional } => {
            let alone = if *optional && !question.critical { "; Enter alone leaves it out" } else { "" };
            vec![format!("type {} in one line and Enter{alone}", shown_within(what, LONG))]
        }
        Wants::Path { what } => vec![format!("type the path of {} and Enter", shown_within(what, LONG))],
        Wants::Time { at_least } => vec![format!("wait {}", Hms(*at_least))],
    }
}

/// The keys in one line; where a key alone is not enough, that Enter follows.
pub(super) fn keys(question: &Question, terminal: bool) -> &'static str {
    match (takes_keys(&question.wants), terminal && takes_one_key(question)) {
        (true, true) => "? help  b back  n note  ! problem  p pause",
        (true, false) => "? help  b back  n note  ! problem  p pause, then Enter",
        (false, _) => ":? help  :b back  :n note  :! problem  :p pause, then Enter",
    }
}

/// The help: the step's own, then what can be typed.
pub(super) fn help(question: &Question, terminal: bool) -> Vec<String> {
    let mut lines: Vec<String> = question.help.iter().flat_map(|text| cleaned(text)).map(|t| t.to_string()).collect();
    lines.extend(wants(question));
    if takes_keys(&question.wants) {
        let one_key = terminal && takes_one_key(question);
        let enter = if one_key { "" } else { ", then Enter" };
        lines.push(format!("b = back one item, n = note, ! = report a problem, p = pause, ? = this help{enter}"));
        lines.push(if one_key {
            "in words, with a colon first and Enter behind: :back, :note TEXT, :problem TEXT, :pause, :override".into()
        } else {
            "in words: back, note TEXT, problem TEXT, pause, help, override; each also with a colon in front".into()
        });
    } else {
        lines.push("whatever is scanned or typed here is taken as the answer; a command begins with a colon".into());
        lines.push(":b = back one item, :n TEXT = note, :! TEXT = report a problem, :p = pause, :? = this help".into());
        lines.push("in words: :back, :note TEXT, :problem TEXT, :pause, :help, :override".into());
        lines.push("a value that itself begins with a colon is given with two".into());
    }
    lines.push(":override passes a step without its evidence; it asks for the reason and your name".into());
    if terminal {
        lines.push("Ctrl-C pauses; everything answered so far is on disk".into());
    }
    lines
}

/// A message, its status word first.
pub(super) fn message(message: &Message) -> Vec<String> {
    let lines = cleaned(&message.text);
    let word = message.status.word();
    if lines.is_empty() { vec![word.to_owned()] } else { lines.iter().map(|line| format!("{word} {line}")).collect() }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::super::ask::{Place, Status};
    use super::super::meaning::tests::question as ask;
    use super::*;

    #[test]
    fn a_question_says_place_caution_task_slot_and_want_in_this_order() {
        let q = Question {
            place: Some(Place {
                card: (3, 9),
                card_name: "Insert".into(),
                item: (2, 7),
                elapsed: Duration::from_secs(761),
            }),
            slot: Some("P1-D3".into()),
            caution: Some("Hold the module by its edges".into()),
            text: "Find the slot.\nLook at its label.".into(),
            ..ask(Wants::Scan { what: "the slot label".into() })
        };
        assert_eq!(
            question(&q),
            [
                "card 3 of 9 - item 2 of 7 - 00:12:41",
                "CARD Insert",
                "CAUTION Hold the module by its edges",
                "DO Find the slot.",
                "DO Look at its label.",
                "SLOT P1-D3",
                "WANT scan the slot label",
            ]
        );
    }

    #[test]
    fn text_from_outside_stays_on_its_line() {
        let q = Question {
            slot: Some("A1\x1b[2J\nSLOT B7".into()),
            ..ask(Wants::Choice { options: vec!["\u{202e}x".into()] })
        };
        assert_eq!(question(&q)[1], "SLOT A1\\x1B[2J\\x0ASLOT B7");
        assert_eq!(question(&q)[3], "WANT   1 = \\u{202E}x");
        let said = message(&Message { status: Status::Refused, text: "a\x07b".into() });
        assert_eq!(said, ["REFUSED a\\x07b"]);
    }

    #[test]
    fn a_critical_statement_asks_for_the_slot_name() {
        let state = Wants::Confirm { state: "power is off".into() };
        let q = Question { critical: true, slot: Some("P1-D3".into()), ..ask(state.clone()) };
        assert_eq!(wants(&q)[0], "type P1-D3 and Enter if so: power is off");
        assert_eq!(wants(&ask(state))[0], "1 if so: power is off");
    }
}
