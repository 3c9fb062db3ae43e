//! What a schema cannot say about a checklist.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::evidence::{LONGEST_WAIT, stands_in};
use super::expand::{LONGEST_CARD, slug};
use super::template::{Scope, Template};
use super::{
    CHECKLIST_FORMAT, CardTemplate, Checklist, Each, EvidenceTemplate, Limit, SITE_FORMAT, ScanOf, Site, StepTemplate,
    WaitFor, When, number,
};
use crate::source::{Checked, Path};

/// The step of an `again` card that asks how a module stands before it is touched. A search reads its answer by its place.
const STOOD: &str = "stood";

type Report<'a> = &'a mut dyn FnMut(Path, String, Option<String>);

fn some(help: &str) -> Option<String> {
    Some(help.to_owned())
}

impl Checked for Site {
    const FORMAT: &'static str = SITE_FORMAT;

    fn check(&self, report: Report<'_>) {
        check_format(&self.format, SITE_FORMAT, report);
        check_limits(&self.limit, report);
    }
}

impl Checked for Checklist {
    const FORMAT: &'static str = CHECKLIST_FORMAT;

    fn check(&self, report: Report<'_>) {
        check_format(&self.format, CHECKLIST_FORMAT, report);
        check_limits(&self.limit, report);
        if self.card.is_empty() {
            report(Path::default().key("card"), "a checklist without cards".to_owned(), None);
        }
        self.check_cards("card", &self.card, report);
        self.check_cards("again", &self.again, report);
        self.check_order(report);
    }
}

impl Checklist {
    /// Checks the cards below one key: names, lengths, conditions, steps. A tally counts for the cards below its own key.
    fn check_cards(&self, key: &str, cards: &[CardTemplate], report: Report<'_>) {
        let mut names = BTreeSet::new();
        let mut tallies = BTreeSet::new();
        for (n, card) in cards.iter().enumerate() {
            let path = Path::default().key(key).index(n);
            let short = slug(&card.name);
            if short.is_empty() {
                report(path.key("name"), "a card needs a name with letters or digits".to_owned(), None);
            } else if !names.insert(short.clone()) {
                report(
                    path.key("name"),
                    format!("another card has the short name `{short}`"),
                    some("names tell cards apart in the record"),
                );
            }
            check_plain(&card.name, &path.key("name"), report);
            check_when(card.each, &[], &card.when, &path.key("when"), report);
            if card.step.is_empty() {
                report(path.key("step"), "a card without steps".to_owned(), None);
            }
            if card.step.len() > LONGEST_CARD {
                let what = format!("{} steps on one card; ten is the most", card.step.len());
                report(path.key("step"), what, some("split the card: on longer lists people lose their place"));
            }
            let mut steps = BTreeSet::new();
            for (m, step) in card.step.iter().enumerate() {
                let path = path.key("step").index(m);
                let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
                if step.name.is_empty() || !step.name.chars().all(good) {
                    report(path.key("name"), "a step's name is of a-z, 0-9 and -".to_owned(), None);
                }
                if !steps.insert(step.name.as_str()) {
                    report(
                        path.key("name"),
                        format!("another step of this card has the name `{}`", crate::text::shown(&step.name)),
                        None,
                    );
                }
                self.check_step(card.each, &card.when, step, &path, report);
                if key == "again" && step.name == STOOD {
                    check_stood(&step.evidence, &path.key("evidence"), report);
                }
                let id = format!("{short}/{}", step.name);
                match &step.evidence {
                    EvidenceTemplate::Tally if card.each.is_none() => {
                        tallies.insert(id);
                    }
                    EvidenceTemplate::TallyBack { first } if !tallies.contains(first) => report(
                        path.key("evidence").key("first"),
                        format!("`{}` is no earlier tally", crate::text::shown(first)),
                        some(
                            "name it `card/step`, the card in lower case with - for spaces; its card must not be repeated",
                        ),
                    ),
                    _ => {}
                }
            }
        }
    }
}

/// A search takes the first option for level, the second for open, the third for nothing to see: another number of them would
/// be read as what nobody meant.
fn check_stood(evidence: &EvidenceTemplate, path: &Path, report: Report<'_>) {
    let help =
        || some("three options, in this order: all level, not level, nothing to see; or give the step another name");
    match evidence {
        EvidenceTemplate::Choice { options, .. } if options.len() == 3 => {}
        EvidenceTemplate::Choice { options, .. } => {
            let what =
                format!("a step named `{STOOD}` has {} options; a search reads three by their order", options.len());
            report(path.key("options"), what, help());
        }
        _ => report(
            path.key("kind"),
            format!("a step named `{STOOD}` is read by a search and has to be a choice"),
            help(),
        ),
    }
}

fn check_format(format: &str, wanted: &str, report: Report<'_>) {
    if format != wanted {
        let what = format!("format is `{}`", crate::text::shown(format));
        report(Path::default().key("format"), what, Some(format!("this reader knows `{wanted}`")));
    }
}

fn check_limits(limits: &[Limit], report: Report<'_>) {
    let mut names = BTreeSet::new();
    for (n, limit) in limits.iter().enumerate() {
        let path = Path::default().key("limit").index(n);
        if limit.name.is_empty() || limit.name.contains(['{', '}', '[', ']']) || number::decimal(&limit.name).is_ok() {
            report(path.key("name"), "a limit needs a name that is no number and has no brackets".to_owned(), None);
        }
        if !names.insert(limit.name.as_str()) {
            report(path.key("name"), format!("limit `{}` is there twice", crate::text::shown(&limit.name)), None);
        }
        if limit.value.as_deref().is_some_and(|value| number::decimal(value).is_err()) {
            report(path.key("value"), "not a plain decimal number".to_owned(), some("such as `0.75`"));
        }
        if limit.source.trim().is_empty() {
            report(
                path.key("source"),
                "a limit without a source".to_owned(),
                some("a standard and its clause, or `site`"),
            );
        }
        check_plain(&limit.unit, &path.key("unit"), report);
    }
}

/// Letters, digits, signs and line breaks only: a checklist has no business moving the cursor.
fn check_plain(text: &str, path: &Path, report: Report<'_>) {
    let unseen = |c: char| {
        c.is_control() && c != '\n'
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
    };
    if let Some(c) = text.chars().find(|c| unseen(*c)) {
        report(path.clone(), format!("a character nobody can see: U+{:04X}", u32::from(c)), None);
    }
}

/// Conditions that cannot hold where they stand, or not together.
fn check_when(each: Option<Each>, outer: &[When], when: &[When], path: &Path, report: Report<'_>) {
    let slots = matches!(each, Some(Each::Insert | Each::Lift | Each::Move | Each::Remove | Each::Reseat));
    let fills = matches!(each, Some(Each::Insert | Each::Move));
    let moves = matches!(each, Some(Each::Lift | Each::Move));
    let covers = matches!(each, Some(Each::CoverOff | Each::CoverOn));
    for (n, one) in when.iter().enumerate() {
        let (fits, on) = match one {
            When::Enclosure
            | When::EnclosureTag
            | When::Standalone
            | When::Bay
            | When::Moves
            | When::Removals
            | When::Handled
            | When::Untouched
            | When::ClearSettings => (true, ""),
            When::LooseFasteners | When::CaptiveFasteners | When::Fasteners | When::Cables => (covers, "covers"),
            When::KeyDiffers | When::KeySame => (fills, "slots that are filled"),
            When::KeyKnown | When::SerialKnown | When::PartKnown => (slots, "slots"),
            When::Tray | When::NoTray => (moves, "moves"),
        };
        if !fits {
            let what = format!("this condition never holds here: it is for cards repeated over {on}");
            report(path.index(n), what, None);
        }
        let against = match one {
            When::Enclosure => When::Standalone,
            When::Standalone => When::Enclosure,
            When::LooseFasteners => When::CaptiveFasteners,
            When::CaptiveFasteners => When::LooseFasteners,
            When::KeyDiffers => When::KeySame,
            When::KeySame => When::KeyDiffers,
            When::Tray => When::NoTray,
            When::NoTray => When::Tray,
            When::Handled => When::Untouched,
            When::Untouched => When::Handled,
            _ => continue,
        };
        if outer.contains(&against) || when[..n].contains(&against) {
            report(path.index(n), "two conditions that never hold together".to_owned(), None);
        }
    }
}

impl Checklist {
    /// What belongs together and what must come first.
    fn check_order(&self, report: Report<'_>) {
        let find = |each| self.card.iter().position(|card| card.each == Some(each));
        let last = |each| self.card.iter().rposition(|card| card.each == Some(each));
        let path = |n: usize| Path::default().key("card").index(n).key("each");
        for (first, second) in [
            (Each::CoverOff, Each::Remove),
            (Each::CoverOff, Each::Lift),
            (Each::CoverOff, Each::Insert),
            (Each::Remove, Each::Lift),
            (Each::Remove, Each::Insert),
            (Each::Move, Each::Insert),
            (Each::Insert, Each::CoverOn),
            (Each::Move, Each::CoverOn),
            (Each::Remove, Each::CoverOn),
        ] {
            if let (Some(late), Some(early)) = (last(first), find(second))
                && late > early
            {
                let what = format!("cards over {} come before cards over {}", word(first), word(second));
                report(path(early), what, some("covers off, remove, lift and move, insert, covers on"));
            }
        }
        for (one, other) in [(Each::CoverOff, Each::CoverOn), (Each::Lift, Each::Move)] {
            for (has, lacks) in [(one, other), (other, one)] {
                if let (Some(n), None) = (find(has), find(lacks)) {
                    report(path(n), format!("`{}` without `{}`", word(has), word(lacks)), None);
                }
            }
        }
        if let (Some(lift), Some(down)) = (find(Each::Lift), find(Each::Move)) {
            let (from, to) = (lift.min(down), last(Each::Lift).max(last(Each::Move)).unwrap_or(lift));
            let between = self.card.iter().take(to + 1).skip(from);
            if lift > down || between.clone().any(|card| !matches!(card.each, Some(Each::Lift | Each::Move))) {
                report(
                    path(down),
                    "`lift` and `move` cards stand side by side, lift first".to_owned(),
                    some("they go move by move"),
                );
            }
        }
    }

    fn check_step(&self, each: Option<Each>, outer: &[When], step: &StepTemplate, path: &Path, report: Report<'_>) {
        check_when(each, outer, &step.when, &path.key("when"), report);
        let when: Vec<When> = outer.iter().chain(&step.when).copied().collect();
        let limits: Vec<&str> = self.limit.iter().map(|limit| limit.name.as_str()).collect();
        let scope = Scope { each, when: &when, limits: &limits };
        let mut names = Vec::new();
        let mut texts = vec![(path.key("text"), step.text.as_str())];
        texts.extend(step.caution.as_deref().map(|text| (path.key("caution"), text)));
        texts.extend(step.help.as_deref().map(|text| (path.key("help"), text)));
        for (path, text) in &texts {
            check_plain(text, path, report);
            names.extend(check_template(text, path, scope, report));
        }
        if step.text.trim().is_empty() {
            report(path.key("text"), "a step that does not say what to do".to_owned(), None);
        }
        let evidence = path.key("evidence");
        match &step.evidence {
            EvidenceTemplate::Confirm { state } => {
                let path = evidence.key("state");
                check_template(state, &path, scope, report);
                check_plain(state, &path, report);
                let idle = ["", "ok", "okay", "yes", "y", "done", "set", "checked", "true"];
                if idle.contains(&state.trim().to_lowercase().as_str()) {
                    report(path, "the answer must name the state".to_owned(), some("such as `both latches closed`"));
                }
                if step.critical || step.warns {
                    let help = some("use `kind = \"word\"`: what matters is typed, never passed with one key");
                    report(evidence.key("kind"), "a critical step or warning cannot be a `confirm`".to_owned(), help);
                }
            }
            EvidenceTemplate::Word { word, meaning } => {
                for (key, text) in [("word", word), ("meaning", meaning)] {
                    check_template(text, &evidence.key(key), scope, report);
                    check_plain(text, &evidence.key(key), report);
                }
                let easy = ["", "y", "yes", "ok"];
                if easy.contains(&word.trim().to_lowercase().as_str()) {
                    report(
                        evidence.key("word"),
                        "a word that is typed without thought".to_owned(),
                        some("take one that names the act"),
                    );
                }
            }
            EvidenceTemplate::Reading { unit, lowest, highest } => {
                check_plain(unit, &evidence.key("unit"), report);
                let low = self.check_bound(lowest.as_deref(), Some(unit), &evidence.key("lowest"), report);
                let high = self.check_bound(highest.as_deref(), Some(unit), &evidence.key("highest"), report);
                if let (Some(low), Some(high)) = (low, high)
                    && low >= high
                {
                    report(evidence.key("lowest"), format!("lowest {low} is not below highest {high}"), None);
                }
                for bound in [lowest, highest].into_iter().flatten() {
                    if names.contains(&format!("limit.{bound}")) {
                        report(
                            path.key("text"),
                            "the step gives its own limits away".to_owned(),
                            some("leave them out of its texts"),
                        );
                    }
                }
            }
            EvidenceTemplate::Scan { of } => check_scan(*of, each, &names, path, report),
            EvidenceTemplate::Count { expected } => {
                let counted = check_template(expected, &evidence.key("expected"), scope, report);
                if counted.is_empty() && number::count(expected).is_none() {
                    let help = some("a whole number, or a template such as `{cover.fasteners}`");
                    report(evidence.key("expected"), "no count".to_owned(), help);
                }
                let told = texts.iter().any(|(_, text)| counted.is_empty() && stands_in(expected.trim(), text));
                if told || names.iter().any(|name| counted.contains(name)) {
                    report(
                        path.key("text"),
                        "the step gives its own count away".to_owned(),
                        some("leave it out of its texts"),
                    );
                }
            }
            EvidenceTemplate::Choice { options, good } => {
                if !(2..=9).contains(&options.len()) {
                    report(evidence.key("options"), "a choice has two to nine options".to_owned(), None);
                }
                for (n, option) in options.iter().enumerate() {
                    check_plain(option, &evidence.key("options").index(n), report);
                    if option.trim().is_empty() || number::count(option).is_some() {
                        report(
                            evidence.key("options").index(n),
                            "an option is words, not empty and no number".to_owned(),
                            None,
                        );
                    }
                    if options[..n].iter().any(|other| other.eq_ignore_ascii_case(option)) {
                        report(evidence.key("options").index(n), "the same option twice".to_owned(), None);
                    }
                }
                if good.is_empty() {
                    report(evidence.key("good"), "no answer lets the job go on".to_owned(), None);
                }
                for (n, one) in good.iter().enumerate().filter(|(_, one)| !options.contains(one)) {
                    let what = format!("`{}` is none of the options", crate::text::shown(one));
                    report(evidence.key("good").index(n), what, None);
                }
            }
            EvidenceTemplate::Wait { wait_for: WaitFor::Seconds(text) } => {
                let path = evidence.key("wait_for").key("seconds");
                let wait = self.check_bound(Some(text), Some("s"), &path, report);
                if wait.is_some_and(|wait| wait < Decimal::ONE || wait > Decimal::from(LONGEST_WAIT)) {
                    report(path, "a wait is from one second to a day".to_owned(), None);
                }
            }
            EvidenceTemplate::Tally
            | EvidenceTemplate::TallyBack { .. }
            | EvidenceTemplate::Text { .. }
            | EvidenceTemplate::Wait { wait_for: WaitFor::Snapshot }
            | EvidenceTemplate::Photo => {}
        }
        if step.warns && !matches!(step.evidence, EvidenceTemplate::Word { .. } | EvidenceTemplate::Confirm { .. }) {
            report(evidence.key("kind"), "a warning is answered by a `word`".to_owned(), None);
        }
    }

    /// A number as text, or the name of a limit in the right unit; gives its value where it has one.
    fn check_bound(&self, text: Option<&str>, unit: Option<&str>, path: &Path, report: Report<'_>) -> Option<Decimal> {
        let text = text?;
        match self.limit.iter().find(|limit| limit.name == text) {
            Some(limit) => {
                if unit.is_some_and(|unit| unit != limit.unit) {
                    let what =
                        format!("limit `{}` is in {}", crate::text::shown(text), crate::text::shown(&limit.unit));
                    report(path.clone(), what, unit.map(|unit| format!("the step wants {}", crate::text::shown(unit))));
                }
                limit.value.as_deref().and_then(|value| number::decimal(value).ok())
            }
            None => number::decimal(text).map_or_else(
                |_| {
                    let what = format!("`{}` is neither a number nor a limit", crate::text::shown(text));
                    let names = self.limit.iter().map(|limit| limit.name.as_str());
                    let nearest = crate::source::nearest(text, names)
                        .map(|name| format!("nearest known: `{}`", crate::text::shown(name)));
                    report(path.clone(), what, nearest);
                    None
                },
                Some,
            ),
        }
    }
}

fn check_scan(of: ScanOf, each: Option<Each>, names: &[String], path: &Path, report: Report<'_>) {
    let slots = matches!(each, Some(Each::Insert | Each::Lift | Each::Move | Each::Remove | Each::Reseat));
    if matches!(of, ScanOf::Slot | ScanOf::Module) && !slots {
        let what = "which slot? this scan is for cards repeated over slots".to_owned();
        report(path.key("evidence").key("of"), what, None);
    }
    let given_away: &[&str] = match of {
        ScanOf::Enclosure => &["unit.enclosure"],
        ScanOf::Bay => &["unit.bay"],
        ScanOf::Chassis => &["unit.chassis"],
        ScanOf::Slot => &["slot.label"],
        ScanOf::Module => &["module.serial_end", "module.part", "module.part_end"],
        ScanOf::Badge => &[],
    };
    for name in names.iter().filter(|name| given_away.contains(&name.as_str())) {
        let what = format!("the step gives its own answer away: `{{{}}}`", crate::text::shown(name));
        report(path.key("text"), what, some("say it in the step before, and ask here without it"));
    }
}

/// Reports the faults of one template and gives the names it uses.
fn check_template(text: &str, path: &Path, scope: Scope<'_>, report: Report<'_>) -> Vec<String> {
    match Template::parse(text) {
        Ok(template) => {
            for error in template.check(scope) {
                report(path.clone(), error.to_string(), error.help());
            }
            template.names().into_iter().map(str::to_owned).collect()
        }
        Err(error) => {
            report(path.clone(), error.to_string(), error.help());
            Vec::new()
        }
    }
}

fn word(each: Each) -> &'static str {
    match each {
        Each::Insert => "insert",
        Each::Lift => "lift",
        Each::Move => "move",
        Each::Remove => "remove",
        Each::Reseat => "reseat",
        Each::CoverOff => "cover-off",
        Each::CoverOn => "cover-on",
    }
}
