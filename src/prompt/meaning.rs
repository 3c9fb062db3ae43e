//! What a person's entry means at a question. One reading for all adapters: lines, terminal, answers file.
//!
//! Two kinds of prompt, so that nothing that comes out of a scanner is ever taken for a command:
//!
//! * Where a value of any spelling may come (scan, word, free text, path), an entry is data unless it begins with a colon:
//!   `:b` goes back, a scanned `b` is a scanned `b`. A code that itself begins with a colon is given with two.
//! * Where answers are keys (confirm, number, count, choice, wait), commands are keys and words too: `b`, `pause`,
//!   `note TEXT`; the forms with the colon work as well.
//!
//! A statement is confirmed with `1` and denied with `3`, which lie apart on a number pad, or in its own words. `y`, `ok`
//! and Enter alone confirm nothing: they say nothing about the machine. A critical or loud step takes no single key.

use super::ask::{Question, Reply, Wants};
use crate::text::shown;

/// Longest value taken as one answer, in bytes. Far above any label; keeps a runaway source out of the record.
const LONGEST: usize = 4096;

/// Most digits before the point of a reading; serials of digits alone have more.
const LONGEST_READING: usize = 7;

/// What an entry means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Meaning {
    /// An answer.
    Value(String),
    /// A reply that is no answer.
    Reply(Reply),
    Help,
    /// Not taken; the words say why and what to do.
    Refused(String),
    /// Needs a line of text more.
    More(More),
}

/// What a further line is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum More {
    Note,
    Problem,
    /// The stated state does not hold: what is seen instead.
    NotSo(String),
}

impl More {
    /// What is asked for.
    pub(super) fn wants(&self) -> &'static str {
        match self {
            Self::Note => "the note in one line; Enter alone drops it",
            Self::Problem => "what is wrong, in one line; Enter alone drops it",
            Self::NotSo(_) => "what you see instead, in one line; Enter alone goes back to the question",
        }
    }

    /// The reply that the line gives.
    pub(super) fn reply(&self, text: &str) -> Reply {
        match self {
            Self::Note => Reply::Note(text.to_owned()),
            Self::Problem => Reply::Problem(text.to_owned()),
            Self::NotSo(state) => Reply::Problem(format!("not so: {state}; instead: {text}")),
        }
    }
}

/// Whether answers at this question are keys, so that commands may be keys too.
pub(super) fn takes_keys(wants: &Wants) -> bool {
    match wants {
        Wants::Confirm { .. }
        | Wants::Number { .. }
        | Wants::Count { .. }
        | Wants::Choice { .. }
        | Wants::Time { .. } => true,
        Wants::Word { .. } | Wants::Scan { .. } | Wants::Line { .. } | Wants::Path { .. } => false,
    }
}

/// Whether one key followed by quiet is a whole answer.
pub(super) fn takes_one_key(question: &Question) -> bool {
    match question.wants {
        Wants::Confirm { .. } => !loud(question),
        Wants::Time { .. } => true,
        _ => false,
    }
}

/// Critical and loud steps are answered in a way of their own.
fn loud(question: &Question) -> bool {
    question.critical || question.warns
}

/// What is typed to confirm a loud step: the slot's name where there is one, else the state.
pub(super) fn loud_word(question: &Question) -> Option<&str> {
    match &question.wants {
        Wants::Confirm { state } if loud(question) => Some(question.slot.as_deref().unwrap_or(state)),
        _ => None,
    }
}

/// Reads an entry. `burst`: it came as several characters at once where one key was wanted; then only whole words count.
pub(super) fn meaning(question: &Question, entry: &[u8], burst: bool) -> Meaning {
    let Ok(text) = str::from_utf8(entry) else {
        return refused("that holds bytes that are no text; check the scanner's setting and scan again");
    };
    if text.len() > LONGEST {
        return refused(&format!("{} characters are too many for an answer; give it again", text.chars().count()));
    }
    if let Some(rest) = text.strip_prefix(':') {
        if !rest.starts_with(':') {
            let what = shown(text);
            return command(rest.trim()).unwrap_or_else(|| {
                refused(&format!(
                    "{what} is no command; :? shows them. A value that begins with a colon is given with two"
                ))
            });
        }
        return answer(question, rest, burst);
    }
    // A code of one question mark says nothing, so it may as well show the help everywhere.
    if text.trim() == "?" {
        return Meaning::Help;
    }
    if takes_keys(&question.wants) {
        // A choice may well be called `back`: what is on offer comes before any command.
        let offered = answer(question, text, burst);
        if let Meaning::Refused(_) = offered
            && let Some(meaning) = command(text.trim())
            && !(burst && has_text(&meaning))
        {
            return meaning;
        }
        return offered;
    }
    answer(question, text, burst)
}

fn refused(why: &str) -> Meaning {
    Meaning::Refused(why.to_owned())
}

/// A note or problem that came with its text in one line.
fn has_text(meaning: &Meaning) -> bool {
    matches!(meaning, Meaning::Reply(Reply::Note(_) | Reply::Problem(_)))
}

/// A command without its colon.
fn command(text: &str) -> Option<Meaning> {
    if let Some(rest) = text.strip_prefix('!') {
        return Some(with_text(More::Problem, rest));
    }
    let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let word = word.to_ascii_lowercase();
    match word.as_str() {
        "n" | "note" => Some(with_text(More::Note, rest)),
        "problem" => Some(with_text(More::Problem, rest)),
        _ if !rest.trim().is_empty() => None,
        "b" | "back" => Some(Meaning::Reply(Reply::Back)),
        "p" | "pause" => Some(Meaning::Reply(Reply::Pause)),
        "?" | "help" => Some(Meaning::Help),
        "override" => Some(Meaning::Reply(Reply::Override)),
        _ => None,
    }
}

fn with_text(more: More, text: &str) -> Meaning {
    let text = text.trim();
    if text.is_empty() { Meaning::More(more) } else { Meaning::Reply(more.reply(text)) }
}

/// The entry as an answer.
fn answer(question: &Question, text: &str, burst: bool) -> Meaning {
    let trimmed = text.trim();
    let optional = matches!(question.wants, Wants::Line { optional: true, .. }) && !question.critical;
    if trimmed.is_empty() && !optional {
        return refused("Enter alone is no answer");
    }
    match &question.wants {
        Wants::Confirm { state } => confirm(question, state, trimmed, burst),
        Wants::Word { word, .. } if trimmed.eq_ignore_ascii_case(word) => Meaning::Value(word.clone()),
        Wants::Word { word, .. } => {
            refused(&format!("{} is not the word; type {}, or :b to go back", shown(trimmed), shown(word)))
        }
        Wants::Number { unit } => number(trimmed, unit),
        // As it came: a scan is never trimmed or folded, the matcher names the difference.
        Wants::Scan { .. } => Meaning::Value(text.to_owned()),
        Wants::Count { .. } if trimmed.bytes().all(|b| b.is_ascii_digit()) && trimmed.len() <= 6 => {
            let digits = trimmed.trim_start_matches('0');
            Meaning::Value(if digits.is_empty() { "0" } else { digits }.to_owned())
        }
        Wants::Count { what } => {
            refused(&format!("{} is no count; count {} and type the number", shown(trimmed), shown(what)))
        }
        Wants::Choice { options } => choice(trimmed, options),
        Wants::Line { .. } => Meaning::Value(trimmed.to_owned()),
        Wants::Path { .. } if text.contains('\0') => refused("a path holds no NUL"),
        Wants::Path { .. } => Meaning::Value(trimmed.to_owned()),
        Wants::Time { .. } => refused("this goes on by itself; p pauses, ? shows the keys"),
    }
}

fn confirm(question: &Question, state: &str, text: &str, burst: bool) -> Meaning {
    if let Some(word) = loud_word(question)
        && same_words(text, word)
    {
        return Meaning::Value(state.to_owned());
    }
    if same_words(text, state) || (text == "1" && !loud(question)) {
        return Meaning::Value(state.to_owned());
    }
    if text == "3" {
        return Meaning::More(More::NotSo(state.to_owned()));
    }
    if let Some(seen) = text.strip_prefix("3 ").filter(|_| !burst) {
        return Meaning::Reply(More::NotSo(state.to_owned()).reply(seen.trim()));
    }
    let what = shown(text);
    if let Some(word) = loud_word(question) {
        return Meaning::Refused(format!("{what} does not pass this step; type {} if it is so, 3 if not", shown(word)));
    }
    if burst && text.chars().count() > 1 {
        return Meaning::Refused(format!("{what} looks like a scan; here one key is wanted: 1 if it is so, 3 if not"));
    }
    Meaning::Refused(format!("{what} says nothing about the machine; 1 if it is so, 3 if not"))
}

/// The same words, capitals and spacing aside.
fn same_words(a: &str, b: &str) -> bool {
    let words = |text: &str| text.split_whitespace().map(str::to_ascii_lowercase).collect::<Vec<_>>();
    words(a) == words(b)
}

/// A plain decimal number, with or without the unit behind it. A comma is refused: it means two things.
fn number(text: &str, unit: &str) -> Meaning {
    let unit_named = text.strip_suffix(unit).filter(|_| !unit.is_empty()).map_or(text, str::trim_end);
    let digits = unit_named.strip_prefix(['-', '+']).unwrap_or(unit_named);
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, "0"));
    let all_digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if all_digits(whole) && whole.len() > LONGEST_READING {
        return Meaning::Refused(format!("{} has too many digits for a reading; it looks like a scan", shown(text)));
    }
    if all_digits(whole) && all_digits(fraction) && fraction.len() <= 9 {
        return Meaning::Value(unit_named.trim_start_matches('+').to_owned());
    }
    let point = if text.contains(',') { "; write the decimal mark as a point" } else { "" };
    Meaning::Refused(format!("{} is no number in {}{point}", shown(text), shown(unit)))
}

fn choice(text: &str, options: &[String]) -> Meaning {
    if let Some(option) = options.iter().find(|option| same_words(option, text)) {
        return Meaning::Value(option.clone());
    }
    let by_number = text.parse::<usize>().ok().and_then(|n| n.checked_sub(1)).and_then(|n| options.get(n));
    by_number.map_or_else(
        || Meaning::Refused(format!("{} is none of them; type a number from 1 to {}", shown(text), options.len())),
        |option| Meaning::Value(option.clone()),
    )
}

#[cfg(test)]
pub(super) mod tests {
    use std::time::Duration;

    use super::*;

    pub(in super::super) fn question(wants: Wants) -> Question {
        Question {
            name: "insert/p1-d3/step".into(),
            place: None,
            slot: None,
            caution: None,
            warns: false,
            text: "Do it".into(),
            wants,
            help: None,
            critical: false,
            picture: Vec::new(),
        }
    }

    fn confirm_question() -> Question {
        question(Wants::Confirm { state: "both latches closed".into() })
    }

    fn read(question: &Question, text: &str) -> Meaning {
        meaning(question, text.as_bytes(), false)
    }

    fn value(text: &str) -> Meaning {
        Meaning::Value(text.into())
    }

    #[test]
    fn a_statement_is_confirmed_by_one_or_in_its_own_words_only() {
        let q = confirm_question();
        assert_eq!(read(&q, "1"), value("both latches closed"));
        assert_eq!(read(&q, "Both  latches closed"), value("both latches closed"));
        for text in ["", " ", "y", "Y", "yes", "ok", "2", "11", "y1234", "1234", "both"] {
            assert!(matches!(read(&q, text), Meaning::Refused(_)), "{text:?}");
        }
        assert_eq!(read(&q, "3"), Meaning::More(More::NotSo("both latches closed".into())));
        assert_eq!(
            read(&q, "3 left one open"),
            Meaning::Reply(Reply::Problem("not so: both latches closed; instead: left one open".into()))
        );
    }

    #[test]
    fn a_critical_statement_takes_the_slot_name_and_no_single_key() {
        let q = Question { critical: true, slot: Some("P1-D3".into()), ..confirm_question() };
        assert!(matches!(read(&q, "1"), Meaning::Refused(_)));
        assert_eq!(read(&q, "p1-d3"), value("both latches closed"));
        let no_slot = Question { warns: true, ..confirm_question() };
        assert!(matches!(read(&no_slot, "1"), Meaning::Refused(_)));
        assert_eq!(read(&no_slot, "both latches closed"), value("both latches closed"));
    }

    #[test]
    fn at_a_scan_prompt_everything_without_a_colon_is_data() {
        let q = question(Wants::Scan { what: "the slot label".into() });
        for text in ["b", "p", "pause", "n", "!", "override", "1", "y", "note x", " P1-D3 ", "[)>\u{1e}06\u{1d}S1\u{4}"]
        {
            assert_eq!(read(&q, text), value(text));
        }
        assert_eq!(read(&q, ":b"), Meaning::Reply(Reply::Back));
        assert_eq!(read(&q, ":Pause"), Meaning::Reply(Reply::Pause));
        assert_eq!(read(&q, ":override"), Meaning::Reply(Reply::Override));
        assert_eq!(read(&q, ":note latch stiff"), Meaning::Reply(Reply::Note("latch stiff".into())));
        assert_eq!(read(&q, ":!"), Meaning::More(More::Problem));
        assert_eq!(read(&q, "::x"), value(":x"));
        assert!(matches!(read(&q, ":x"), Meaning::Refused(_)));
        assert_eq!(read(&q, "?"), Meaning::Help);
    }

    #[test]
    fn at_a_key_prompt_commands_are_keys_and_words() {
        let q = confirm_question();
        assert_eq!(read(&q, "b"), Meaning::Reply(Reply::Back));
        assert_eq!(read(&q, "P"), Meaning::Reply(Reply::Pause));
        assert_eq!(read(&q, "!latch broken"), Meaning::Reply(Reply::Problem("latch broken".into())));
        assert_eq!(read(&q, "n"), Meaning::More(More::Note));
        assert_eq!(read(&q, ":b"), Meaning::Reply(Reply::Back));
    }

    #[test]
    fn a_burst_at_a_key_prompt_is_no_note_and_no_denial() {
        let q = confirm_question();
        for text in ["n 12345678", "!12345678", "3 12345678", "3123", "bad1", "p1-d3"] {
            let got = meaning(&q, text.as_bytes(), true);
            assert!(matches!(got, Meaning::Refused(_)), "{text} {got:?}");
        }
        assert_eq!(meaning(&q, b"pause", true), Meaning::Reply(Reply::Pause));
    }

    #[test]
    fn a_word_is_wanted_whole() {
        let q = question(Wants::Word { word: "POWER".into(), meaning: "switch on".into() });
        assert_eq!(read(&q, "power"), value("POWER"));
        for text in ["", "y", "1", "POWE", "POWERS", "POWER ON"] {
            assert!(matches!(read(&q, text), Meaning::Refused(_)), "{text:?}");
        }
    }

    #[test]
    fn numbers_counts_and_choices() {
        let q = question(Wants::Number { unit: "V".into() });
        assert_eq!(read(&q, "1.20 V"), value("1.20"));
        assert_eq!(read(&q, "-3"), value("-3"));
        for text in ["1,2", "1e3", "NaN", ".5", "5.", "1.2.3", "V", "0x1F", "33436123", "1.2345678901"] {
            assert!(matches!(read(&q, text), Meaning::Refused(_)), "{text:?}");
        }
        assert_eq!(read(&q, "b"), Meaning::Reply(Reply::Back));
        let q = question(Wants::Count { what: "modules on the mat".into() });
        assert_eq!(read(&q, "016"), value("16"));
        assert_eq!(read(&q, "0"), value("0"));
        assert!(matches!(read(&q, "33436123"), Meaning::Refused(_)), "a serial is no count");
        let q = question(Wants::Choice { options: vec!["clean".into(), "back".into()] });
        assert_eq!(read(&q, "1"), value("clean"));
        assert_eq!(read(&q, "BACK"), value("back"), "an option comes before a command");
        assert_eq!(read(&q, "b"), Meaning::Reply(Reply::Back));
        assert!(matches!(read(&q, "0"), Meaning::Refused(_)));
        assert!(matches!(read(&q, "3"), Meaning::Refused(_)));
    }

    #[test]
    fn free_text_may_be_left_out_only_where_it_is_optional() {
        let line = |optional| question(Wants::Line { what: "a remark".into(), optional });
        assert_eq!(read(&line(true), ""), value(""));
        assert!(matches!(read(&line(false), " "), Meaning::Refused(_)));
        let critical = Question { critical: true, ..line(true) };
        assert!(matches!(read(&critical, ""), Meaning::Refused(_)));
    }

    #[test]
    fn what_is_no_text_or_too_long_is_refused() {
        let q = question(Wants::Scan { what: "x".into() });
        assert!(matches!(meaning(&q, b"S\xff1", false), Meaning::Refused(_)));
        assert!(matches!(meaning(&q, &[b'x'; 5000], false), Meaning::Refused(_)));
        let q = question(Wants::Time { at_least: Duration::from_secs(5) });
        assert!(matches!(read(&q, "done"), Meaning::Refused(_)));
    }
}
