//! Whether an answer does. Pure: the same step, answer and context always give the same.
//!
//! A refusal says what was read, what kind of thing was wanted, and what to do now. It never says the code a scan is compared
//! with: what can be read off the screen proves nothing. Near misses name the place and the two characters there, no more.
//! A limit, and a count that does not agree, are named once the answer was given: by them one sees what to look for, and the
//! refused answer stands in the record beside the one that is given next.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::judge_scan::judge_scan;
use super::number::{self, NotANumber};
use super::{Bound, Each, Evidence, ScanOf, Step, StepId};
use crate::board::SlotLabel;
use crate::order::Unit;
use crate::plan::Plan;
use crate::text::shown;

/// The longest answer that is looked at, in characters; a path may be as long as a system allows.
const LONGEST_ANSWER: usize = 1_000;
const LONGEST_TEXT: usize = 4_000;

/// Where a module of this job is known to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Used {
    /// The step its label was scanned at.
    pub step: StepId,
    pub slot: SlotLabel,
    /// It was taken out there, not put in.
    pub out: bool,
}

/// The last scan that was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PreviousScan {
    pub step: StepId,
    pub text: String,
}

/// The part number of a module whose serial is still to be scanned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartRead {
    pub step: StepId,
    pub part: String,
}

/// What is known of the job when an answer is judged. Not written anywhere: it is folded from the answers of the record.
#[derive(Debug, Clone)]
pub struct JobContext<'a> {
    pub plan: &'a Plan,
    pub unit: &'a Unit,
    /// Serials of modules scanned so far.
    pub used: BTreeMap<String, Used>,
    pub previous_scan: Option<PreviousScan>,
    /// Set from [`Judged::Partly`]; lost on a pause, so that part and serial are then scanned again together.
    pub part_read: Option<PartRead>,
    pub tallies: BTreeMap<StepId, u32>,
}

impl<'a> JobContext<'a> {
    /// The context of a job that begins; `None` when the order has no such unit.
    pub fn new(plan: &'a Plan, unit: &str) -> Option<Self> {
        let unit = plan.order.unit.iter().find(|u| u.chassis == unit)?;
        Some(Self { plan, unit, used: BTreeMap::new(), previous_scan: None, part_read: None, tallies: BTreeMap::new() })
    }

    /// Takes in an accepted answer: as judged, or as a record tells it.
    pub fn took(&mut self, step: &Step, value: &str, serial: Option<&str>) {
        match step.evidence {
            Evidence::Tally => {
                if let Some(count) = number::count(value) {
                    self.tallies.insert(step.id.clone(), count);
                }
            }
            Evidence::Scan { of, .. } => {
                self.previous_scan = Some(PreviousScan { step: step.id.clone(), text: value.to_owned() });
                self.part_read = None;
                if let (ScanOf::Module, Some(slot), Some(serial)) = (of, &step.slot, serial) {
                    // A module scanned again at its own step replaces what was scanned there before.
                    self.used.retain(|_, used| used.step != step.id);
                    // What is lifted to be moved is in the hand, and nowhere.
                    if step.each == Some(Each::Lift) {
                        self.used.remove(serial);
                        return;
                    }
                    let used = Used { step: step.id.clone(), slot: slot.clone(), out: step.each == Some(Each::Remove) };
                    self.used.insert(serial.to_owned(), used);
                }
            }
            _ => {}
        }
    }

    /// Takes in that an answer no longer stands.
    pub fn withdrawn(&mut self, step: &StepId) {
        self.tallies.remove(step);
        self.used.retain(|_, used| used.step != *step);
        self.previous_scan = self.previous_scan.take().filter(|previous| previous.step != *step);
        self.part_read = None;
    }
}

/// What an answer came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Judged {
    /// The step has its evidence.
    Accept {
        /// What the record keeps: the state named, digits with a point, a scan as it came, an option in full. For a module
        /// scanned as part and then serial, the part.
        value: String,
        /// The serial that is bound to the slot.
        serial: Option<String>,
        /// The part number that was read.
        part: Option<String>,
    },
    /// A module's part number is right; its serial is still wanted, at the same step. Put into
    /// [`JobContext::part_read`].
    Partly {
        part: PartRead,
        /// What to do now.
        now: String,
    },
    Refuse {
        because: Because,
        /// What was read, what kind of thing was wanted, what to do now.
        why: String,
    },
}

/// Why an answer does not do, for whoever counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Because {
    Empty,
    TooLong,
    /// Not the kind of answer asked for: no number, not the state, none of the options.
    NotUnderstood,
    /// Zero or less where something was to be measured.
    NotPositive,
    BelowLowest,
    AboveHighest,
    OtherCount,
    /// An option with which the job does not go on.
    NotGood,
    /// A slot label where something else was wanted.
    SlotLabel,
    /// A module label where something else was wanted.
    ModuleLabel,
    /// A part number where a serial was wanted.
    PartNumber,
    /// A tag of a machine, enclosure or bay where something else was wanted.
    Tag,
    WrongSlot,
    WrongMachine,
    /// A module the plan has for another slot.
    OtherSlotsModule,
    /// A module that was scanned at another slot of this job.
    AlreadyUsed,
    /// The code that was scanned at the step before.
    ScannedTwice,
    /// Differs in letter case, or in characters that look alike.
    NearMiss,
    /// Nothing this job knows.
    Unknown,
    /// What it is compared with was never recorded.
    NothingToCompare,
}

pub(super) fn refuse(because: Because, why: impl Into<String>) -> Judged {
    Judged::Refuse { because, why: why.into() }
}

fn accept(value: impl Into<String>) -> Judged {
    Judged::Accept { value: value.into(), serial: None, part: None }
}

/// Whether `answer` is the evidence `step` asks for.
///
/// Readings are inclusive of their limits. A count or tally is a whole number without a sign. A choice is answered by its
/// number or its text. Letter case and outer spaces do not matter where words are typed; they do in scans.
pub fn judge(step: &Step, answer: &str, context: &JobContext<'_>) -> Judged {
    let longest = match step.evidence {
        Evidence::Text { .. } | Evidence::Photo | Evidence::Snapshot => LONGEST_TEXT,
        _ => LONGEST_ANSWER,
    };
    let length = answer.chars().count();
    if length > longest {
        return refuse(
            Because::TooLong,
            format!(
                "{length} characters came in, more than any answer has. Something is stuck on a key or scanner; clear it and answer again."
            ),
        );
    }
    let plain = answer.trim();
    if plain.is_empty() && !matches!(step.evidence, Evidence::Text { optional: true }) {
        return refuse(Because::Empty, format!("Nothing came in. {}", wanted(&step.evidence)));
    }
    match &step.evidence {
        Evidence::Confirm { state } => {
            if same_words(plain, state) {
                accept(state.as_str())
            } else {
                refuse(
                    Because::NotUnderstood,
                    format!(
                        "Read `{}`. Wanted is the state in words: `{}`. If it is not so, report a problem.",
                        shown(plain),
                        shown(state)
                    ),
                )
            }
        }
        Evidence::Word { word, .. } => {
            if same_words(plain, word) {
                accept(word.as_str())
            } else {
                refuse(
                    Because::NotUnderstood,
                    format!(
                        "Read `{}`. Wanted is the word itself, typed letter by letter: `{}`.",
                        shown(plain),
                        shown(word)
                    ),
                )
            }
        }
        Evidence::Reading { unit, lowest, highest } => judge_reading(plain, unit, lowest.as_ref(), highest.as_ref()),
        Evidence::Scan { of, expected } => judge_scan(step, *of, expected, answer, context),
        Evidence::Count { expected } => judge_count(plain, Some(*expected)),
        Evidence::Tally => judge_count(plain, None),
        Evidence::TallyBack { first } => match context.tallies.get(first) {
            Some(first) => judge_count(plain, Some(*first)),
            None => refuse(
                Because::NothingToCompare,
                format!(
                    "The first count, at {}, was passed without a number, so there is nothing to compare with. Pass this step by name and with a reason.",
                    shown(&first.0)
                ),
            ),
        },
        Evidence::Choice { options, good } => judge_choice(plain, options, good),
        Evidence::Text { .. } | Evidence::Snapshot => accept(plain),
        Evidence::Photo => {
            if plain.contains('\0') {
                refuse(Because::NotUnderstood, "That is no path of a file. Type the path of the picture.")
            } else {
                accept(plain)
            }
        }
        Evidence::Time { .. } => {
            if plain == "done" {
                accept("done")
            } else {
                refuse(Because::NotUnderstood, "The time has not passed yet. Wait.")
            }
        }
    }
}

/// What a step wants, in kind.
fn wanted(evidence: &Evidence) -> String {
    match evidence {
        Evidence::Confirm { .. } => "Name the state once it is so.".to_owned(),
        Evidence::Word { .. } => "Type the word.".to_owned(),
        Evidence::Reading { unit, .. } => format!("Type the reading in {}.", shown(unit)),
        Evidence::Scan { of, .. } => format!("Scan {}.", scan_words(*of)),
        Evidence::Count { .. } | Evidence::Tally | Evidence::TallyBack { .. } => {
            "Count, and type the number.".to_owned()
        }
        Evidence::Choice { .. } => "Pick one by its number.".to_owned(),
        Evidence::Text { .. } => "Type a line.".to_owned(),
        Evidence::Photo => "Type the path of the picture.".to_owned(),
        Evidence::Time { .. } => "Wait.".to_owned(),
        Evidence::Snapshot => "Take the machine's report.".to_owned(),
    }
}

/// What to scan, in words: for prompts and refusals.
pub(super) fn scan_words(of: ScanOf) -> &'static str {
    match of {
        ScanOf::Enclosure => "the tag of the enclosure",
        ScanOf::Bay => "the mark of the bay",
        ScanOf::Chassis => "the tag of the machine",
        ScanOf::Slot => "the slot label",
        ScanOf::Module => "the module label",
        ScanOf::Badge => "the badge",
    }
}

fn same_words(given: &str, wanted: &str) -> bool {
    let plain = |text: &str| text.split_whitespace().map(str::to_lowercase).collect::<Vec<_>>();
    plain(given) == plain(wanted)
}

fn judge_reading(text: &str, unit: &str, lowest: Option<&Bound>, highest: Option<&Bound>) -> Judged {
    let unit_shown = shown(unit);
    let value = match number::reading(text, unit) {
        Ok(value) => value,
        Err(error) => {
            let (because, what) = match error {
                NotANumber::NoDigits => (Because::NotUnderstood, "that is no number. Type the digits of the reading"),
                NotANumber::TooLong => {
                    (Because::TooLong, "no instrument shows that many digits. Type the reading as it stands there")
                }
                NotANumber::AmbiguousComma => (
                    Because::NotUnderstood,
                    "the comma may mean a decimal or a thousand. Type it with a point, or without a mark",
                ),
                NotANumber::OtherUnit => {
                    (Because::NotUnderstood, "that is another unit. Look at the scale of the instrument")
                }
            };
            return refuse(because, format!("Read `{}`: {what}, in {unit_shown}.", shown(text)));
        }
    };
    if value <= Decimal::ZERO {
        let why = format!(
            "Read {value} {unit_shown}: nothing was measured. Check the instrument and its leads, and measure again."
        );
        return refuse(Because::NotPositive, why);
    }
    if let Some(bound) = lowest.filter(|bound| value < bound.value) {
        let why = format!(
            "Read {value} {unit_shown}: that is below {}, the lowest allowed. Find the cause and measure again; do not go on like this.",
            bound.value
        );
        return refuse(Because::BelowLowest, why);
    }
    if let Some(bound) = highest.filter(|bound| value > bound.value) {
        let why = format!(
            "Read {value} {unit_shown}: that is above {}, the highest allowed. Find the cause and measure again; do not go on like this.",
            bound.value
        );
        return refuse(Because::AboveHighest, why);
    }
    accept(value.to_string())
}

fn judge_count(text: &str, expected: Option<u32>) -> Judged {
    match (number::count(text), expected) {
        (None, _) => {
            refuse(Because::NotUnderstood, format!("Read `{}`: that is no count. Type a whole number.", shown(text)))
        }
        (Some(count), Some(expected)) if count != expected => refuse(
            Because::OtherCount,
            format!(
                "Counted {count}, wanted {expected}: {}. Count again; if it stays so, find {} before you go on.",
                if count < expected {
                    format!("{} missing", expected - count)
                } else {
                    format!("{} too many", count - expected)
                },
                if count < expected { "what is missing" } else { "where it is from" },
            ),
        ),
        (Some(count), _) => accept(count.to_string()),
    }
}

fn judge_choice(text: &str, options: &[String], good: &[String]) -> Judged {
    let by_number = number::count(text).and_then(|n| options.get((n as usize).checked_sub(1)?));
    let chosen = by_number.or_else(|| options.iter().find(|option| same_words(text, option)));
    match chosen {
        Some(option) if good.contains(option) => accept(option.as_str()),
        Some(option) => refuse(
            Because::NotGood,
            format!(
                "`{}`: the job does not go on like this. Put it right and answer again, or report a problem.",
                shown(option)
            ),
        ),
        None => refuse(
            Because::NotUnderstood,
            format!("Read `{}`: that is none of the {} answers. Pick one by its number.", shown(text), options.len()),
        ),
    }
}
