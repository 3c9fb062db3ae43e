//! A whole job from a file: answers by step, in order.
//!
//! ```toml
//! format = "slotwise-answers/1"
//!
//! [[answer]]
//! step = "insert/p1-d3/module"    # a step's id; `*` stands for any run of characters
//! give = ["OM4R32-2R4-2666"]      # one after the other, each once
//!
//! [[answer]]
//! step = "*"
//! wants = "confirm"               # only questions of this kind
//! every = "1"                     # for every such question
//! ```
//!
//! An answer is what a person would type at that question: `1`, the word, what a scan reads; and the commands with their
//! colon: `:back`, `:note TEXT`, `:problem TEXT`, `:pause`, `:override` (what it then asks is answered by further values).
//! `{slot}` and `{word}` stand for the slot the question names and the word it wants. Entries are tried from the top; the
//! first that fits and still has something to give answers. A question that nothing answers ends the run, and names the
//! place in the file: a script that no longer fits its checklist must not go on by guessing. What `every` gives is given again
//! only while it leads on: when a question refuses it twice, the job is paused.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ask::{Ask, AskError, Message, Question, Reply, Status, Wants};
use super::lines;
use super::meaning::{Meaning, meaning};
use crate::record::How;
use crate::source::{Checked, Faults, Path, Text, from_toml};
use crate::text::{shown, shown_within};

/// The format an answers file names in its first key.
pub const ANSWERS_FORMAT: &str = "slotwise-answers/1";

/// The kinds of question that `wants` may name.
const KINDS: [&str; 9] = ["confirm", "word", "number", "scan", "count", "choice", "text", "path", "time"];

/// An answers file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswersFile {
    /// `slotwise-answers/1`.
    pub format: String,
    /// Tried from the top.
    #[serde(default)]
    pub answer: Vec<Answer>,
}

/// Answers to one step, or to all whose id fits the pattern.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// A step's id; `*` stands for any run of characters.
    pub step: String,
    /// Only questions of this kind: `confirm`, `word`, `number`, `scan`, `count`, `choice`, `text`, `path`, `time`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wants: Option<String>,
    /// One after the other, each once.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub give: Vec<String>,
    /// When `give` is used up, or where there is none: this, as often as asked. A question that refuses it twice pauses the job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub every: Option<String>,
}

impl Checked for AnswersFile {
    const FORMAT: &'static str = ANSWERS_FORMAT;

    fn check(&self, report: &mut dyn FnMut(Path, String, Option<String>)) {
        let root = Path::default();
        for (n, answer) in self.answer.iter().enumerate() {
            let at = root.key("answer").index(n);
            if answer.step.is_empty() {
                report(at.key("step"), "the step is empty".into(), Some("name a step, or \"*\" for all".into()));
            }
            if answer.give.is_empty() && answer.every.is_none() {
                let help = "add give = [\"...\"] or every = \"...\"";
                report(at.clone(), "an answer that gives nothing".into(), Some(help.into()));
            }
            if let Some(kind) = answer.wants.as_deref().filter(|kind| !KINDS.contains(kind)) {
                let what = format!("{} is no kind of question", shown(kind));
                report(at.key("wants"), what, Some(format!("one of {}", KINDS.join(", "))));
            }
        }
    }
}

/// Answers from a file; says what happens as lines on `out`.
pub struct Answers<W> {
    file: String,
    entries: Vec<Entry>,
    last_line: usize,
    out: W,
    /// The questions that came so far, by name.
    met: BTreeSet<String>,
    /// What `every` gave since a question last came for the first time, by the question's name.
    repeated: BTreeMap<String, Repeated>,
    /// The question of `repeated` that was answered last, until another answer is given.
    last: Option<String>,
}

/// How often `every` answered one question, and what came of it.
#[derive(Default)]
struct Repeated {
    given: u32,
    refused: u32,
    why: String,
}

/// An answer refused as often as this is not given again.
const MOST_REFUSED: u32 = 2;
/// An answer that is not refused and still leads to no new question is not given more often than this.
const MOST_GIVEN: u32 = 10;

/// One entry and how far it is used.
struct Entry {
    answer: Answer,
    line: usize,
    given: usize,
    every_used: bool,
}

impl<W: Write> Answers<W> {
    /// Reads an answers file.
    ///
    /// # Errors
    /// All faults of the file.
    pub fn read(text: &Text<'_>, out: W) -> Result<Self, Faults> {
        let file: AnswersFile = from_toml(text)?;
        let source = String::from_utf8_lossy(text.bytes);
        let mut lines = heads(&source).into_iter();
        let entries = file
            .answer
            .into_iter()
            .map(|answer| Entry { answer, line: lines.next().unwrap_or(1), given: 0, every_used: false })
            .collect();
        let last_line = source.lines().count().max(1);
        let (met, repeated, last) = (BTreeSet::new(), BTreeMap::new(), None);
        Ok(Self { file: shown(text.file).to_string(), entries, last_line, out, met, repeated, last })
    }

    /// The next answer to a question and its line in the file.
    fn next(&mut self, question: &Question) -> Result<(String, usize), AskError> {
        let mut used_up = None;
        self.last = None;
        for entry in &mut self.entries {
            let kind_fits = entry.answer.wants.as_deref().is_none_or(|kind| kind == question.wants.kind());
            if !kind_fits || !fits(&entry.answer.step, &question.name) {
                continue;
            }
            if let Some(text) = entry.answer.give.get(entry.given) {
                entry.given += 1;
                return Ok((text.clone(), entry.line));
            }
            if let Some(text) = &entry.answer.every {
                entry.every_used = true;
                let (text, line) = (text.clone(), entry.line);
                let repeated = self.repeated.entry(question.name.clone()).or_default();
                if repeated.refused >= MOST_REFUSED || repeated.given >= MOST_GIVEN {
                    let why = repeated.outcome();
                    let (file, name) = (self.file.clone(), shown(&question.name).to_string());
                    return Err(AskError::Repeated { file, line, text: shown(&text).to_string(), name, why });
                }
                repeated.given += 1;
                self.last = Some(question.name.clone());
                return Ok((text, line));
            }
            used_up.get_or_insert(entry.line);
        }
        let (line, why) = match used_up {
            Some(line) => (line, "its answers are used up; add one to `give`".to_owned()),
            None => (self.last_line, format!("add an [[answer]] with this step; it wants {}", question.wants.kind())),
        };
        Err(self.none(question, line, why))
    }

    fn none(&self, question: &Question, line: usize, why: String) -> AskError {
        AskError::NoAnswer { name: shown(&question.name).to_string(), file: self.file.clone(), line, why }
    }

    fn line(&mut self, text: &str) -> Result<(), AskError> {
        self.out.write_all(text.as_bytes())?;
        self.out.write_all(b"\n")?;
        Ok(())
    }
}

impl Repeated {
    fn outcome(&self) -> String {
        match self.refused {
            0 => format!("given {} times, and no new question came", self.given),
            times => format!("refused {times} times: {}", shown_within(&self.why, 400)),
        }
    }
}

/// The lines on which the entries begin.
fn heads(source: &str) -> Vec<usize> {
    let is_head = |line: &str| line.split_whitespace().collect::<String>().starts_with("[[answer]]");
    source.lines().enumerate().filter(|(_, line)| is_head(line)).map(|(n, _)| n + 1).collect()
}

/// Whether `name` fits `pattern`, in which `*` stands for any run of characters.
fn fits(pattern: &str, name: &str) -> bool {
    let Some((first, rest)) = pattern.split_once('*') else { return pattern == name };
    let Some(mut name) = name.strip_prefix(first) else { return false };
    let parts: Vec<&str> = rest.split('*').collect();
    let Some((last, middle)) = parts.split_last() else { return true };
    for part in middle {
        let Some(at) = name.find(part) else { return false };
        name = name.get(at + part.len()..).unwrap_or_default();
    }
    name.ends_with(last)
}

impl<W: Write> Ask for Answers<W> {
    fn ask(&mut self, question: &Question) -> Result<Reply, AskError> {
        for line in lines::question(question) {
            self.line(&line)?;
        }
        if self.met.insert(question.name.clone()) {
            self.repeated.clear();
        }
        let (text, line) = self.next(question)?;
        let slot = question.slot.as_deref().unwrap_or("{slot}");
        let mut text = text.replace("{slot}", slot);
        if let Wants::Word { word, .. } = &question.wants {
            text = text.replace("{word}", word);
        }
        self.line(&format!("READ {}", shown(&text)))?;
        if matches!(question.wants, Wants::Time { .. }) && text == "done" {
            // The wait did not happen, and the record says so: nothing took no time by script.
            return Ok(Reply::Value { text, how: How::Scripted, took: Duration::ZERO });
        }
        match meaning(question, text.as_bytes(), false) {
            Meaning::Value(text) => Ok(Reply::Value { text, how: How::Scripted, took: Duration::ZERO }),
            Meaning::Reply(reply) => Ok(reply),
            Meaning::Refused(why) => Err(self.none(question, line, why)),
            Meaning::Help => Err(self.none(question, line, "a script needs no help".into())),
            Meaning::More(more) => {
                let (text, line) = self.next(question)?;
                self.line(&format!("READ {}", shown(&text)))?;
                let text = text.trim();
                if text.is_empty() {
                    return Err(self.none(question, line, format!("this wants {}", more.wants())));
                }
                Ok(more.reply(text))
            }
        }
    }

    fn say(&mut self, message: &Message) -> Result<(), AskError> {
        if message.status == Status::Refused
            && let Some(repeated) = self.last.take().and_then(|name| self.repeated.get_mut(&name))
        {
            repeated.refused += 1;
            repeated.why.clone_from(&message.text);
        }
        for line in lines::message(message) {
            self.line(&line)?;
        }
        self.out.flush()?;
        Ok(())
    }

    fn unused(&self) -> Vec<String> {
        let left = |entry: &Entry| {
            let step = shown(&entry.answer.step);
            let rest = entry.answer.give.len() - entry.given;
            let never = entry.answer.give.is_empty() && !entry.every_used;
            let what = match rest {
                0 if never => "never asked".to_owned(),
                0 => return None,
                rest => format!("{rest} of {} answers not used", entry.answer.give.len()),
            };
            Some(format!("{}:{}: `{step}`: {what}", self.file, entry.line))
        };
        self.entries.iter().filter_map(left).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::meaning::tests::question as ask;
    use super::*;

    fn answers(text: &str) -> Answers<Vec<u8>> {
        Answers::read(&Text { file: "job.toml", bytes: text.as_bytes() }, Vec::new()).unwrap()
    }

    fn named(name: &str, wants: Wants) -> Question {
        Question { name: name.into(), ..ask(wants) }
    }

    fn scan() -> Wants {
        Wants::Scan { what: "the slot label".into() }
    }

    fn scripted(text: &str) -> Reply {
        Reply::Value { text: text.into(), how: How::Scripted, took: Duration::ZERO }
    }

    const JOB: &str = r#"format = "slotwise-answers/1"

[[answer]]
step = "insert/*/slot"
give = ["P9-A1", ":note label is dirty", ":back"]
every = "{slot}"

[[answer]]
step = "power/on"
give = ["{word}"]

[[answer]]
step = "*"
wants = "confirm"
every = "1"

[[answer]]
step = "never/asked"
give = ["x", "y"]
"#;

    #[test]
    fn answers_come_in_order_and_then_the_one_for_every_time() {
        let mut file = answers(JOB);
        let q = Question { slot: Some("P1-D3".into()), ..named("insert/p1-d3/slot", scan()) };
        assert_eq!(file.ask(&q).unwrap(), scripted("P9-A1"));
        assert_eq!(file.ask(&q).unwrap(), Reply::Note("label is dirty".into()));
        assert_eq!(file.ask(&q).unwrap(), Reply::Back);
        assert_eq!(file.ask(&q).unwrap(), scripted("P1-D3"));
        assert_eq!(file.ask(&q).unwrap(), scripted("P1-D3"));
        let q = named("power/on", Wants::Word { word: "POWER".into(), meaning: "switch on".into() });
        assert_eq!(file.ask(&q).unwrap(), scripted("POWER"));
        let q = named("insert/p1-d3/latch", Wants::Confirm { state: "both latches closed".into() });
        assert_eq!(file.ask(&q).unwrap(), scripted("both latches closed"));
        assert_eq!(file.unused(), ["job.toml:17: `never/asked`: 2 of 2 answers not used"]);
    }

    #[test]
    fn a_question_without_an_answer_names_step_file_and_line() {
        let mut file = answers(JOB);
        let error = file.ask(&named("cover/off", scan())).unwrap_err().to_string();
        assert_eq!(error, "job.toml:19: no answer for `cover/off`: add an [[answer]] with this step; it wants scan");
        let q = named("power/on", Wants::Word { word: "POWER".into(), meaning: "switch on".into() });
        file.ask(&q).unwrap();
        let error = file.ask(&q).unwrap_err().to_string();
        assert_eq!(error, "job.toml:8: no answer for `power/on`: its answers are used up; add one to `give`");
    }

    #[test]
    fn an_answer_that_a_person_could_not_give_ends_the_run() {
        let mut file = answers("format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"*\"\nevery = \"y\"\n");
        let error = file.ask(&named("a/b", Wants::Confirm { state: "cover is off".into() })).unwrap_err();
        assert_eq!(
            error.to_string(),
            "job.toml:2: no answer for `a/b`: y says nothing about the machine; 1 if it is so, 3 if not"
        );
    }

    #[test]
    fn what_every_gives_is_not_given_again_when_it_was_refused_twice() {
        let mut file = answers(
            "format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"*\"\ngive = [\"a\", \"b\", \"c\"]\nevery = \"P9\"\n",
        );
        let refused = Message { status: Status::Refused, text: "that is another slot".into() };
        let q = named("insert/p1-d3/slot", scan());
        for text in ["a", "b", "c", "P9", "P9"] {
            assert_eq!(file.ask(&q).unwrap(), scripted(text));
            file.say(&refused).unwrap();
        }
        let error = file.ask(&q).unwrap_err();
        assert_eq!(
            error.to_string(),
            "job.toml:2: key `every` gives P9 to `insert/p1-d3/slot` again: refused 2 times: that is another slot"
        );
        // A question that comes for the first time is progress, and one refusal is none of another answer.
        let other = named("insert/p1-d4/slot", scan());
        assert_eq!(file.ask(&other).unwrap(), scripted("P9"));
        assert_eq!(file.ask(&q).unwrap(), scripted("P9"));
    }

    #[test]
    fn what_every_gives_without_end_ends_though_nothing_refuses_it() {
        let mut file = answers("format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"*\"\nevery = \":back\"\n");
        let (step, beside) = (named("a/b", scan()), named("a/b/back", scan()));
        let error = (0..100).find_map(|n| file.ask(if n % 2 == 0 { &step } else { &beside }).err()).unwrap();
        assert!(matches!(error, AskError::Repeated { .. }), "{error}");
        assert!(error.to_string().ends_with("given 10 times, and no new question came"), "{error}");
    }

    #[test]
    fn a_wait_passes_only_when_the_file_says_so() {
        let wait = Wants::Time { at_least: Duration::from_secs(600) };
        let mut file = answers(
            "format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"a/wait\"\nwants = \"time\"\ngive = [\"done\"]\n",
        );
        assert_eq!(file.ask(&named("a/wait", wait.clone())).unwrap(), scripted("done"));
        assert!(matches!(file.ask(&named("a/wait", wait)), Err(AskError::NoAnswer { line: 2, .. })));
    }

    #[test]
    fn faults_of_the_file_are_all_reported() {
        let text = "format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"\"\nwants = \"yes\"\n";
        let Err(faults) = Answers::read(&Text { file: "a.toml", bytes: text.as_bytes() }, Vec::new()) else {
            panic!("accepted")
        };
        let found: Vec<String> = faults.faults.iter().map(|fault| fault.path.to_string()).collect();
        assert_eq!(found, ["answer[0]", "answer[0].step", "answer[0].wants"]);
    }

    #[test]
    fn patterns() {
        for (pattern, name, fit) in [
            ("a/b", "a/b", true),
            ("a/b", "a/bc", false),
            ("*", "", true),
            ("a*", "a", true),
            ("a/*/c", "a/b/c", true),
            ("a/*/c", "a/c", false),
            ("*b*", "abc", true),
            ("*ab*ab", "abab", true),
            ("*ab*ab", "ab", false),
            ("a*b*a", "aba", true),
            ("a*a", "a", false),
        ] {
            assert_eq!(fits(pattern, name), fit, "{pattern} {name}");
        }
    }

    #[test]
    fn what_is_said_is_clean() {
        let mut file = answers("format = \"slotwise-answers/1\"\n[[answer]]\nstep = \"*\"\nevery = \"\\u001b[2J\"\n");
        file.ask(&named("a\u{7}", scan())).unwrap();
        file.say(&Message { status: Status::Recorded, text: "\u{9b}2J".into() }).unwrap();
        assert!(file.out.iter().all(|b| (b' '..=b'~').contains(b) || *b == b'\n'));
    }
}
