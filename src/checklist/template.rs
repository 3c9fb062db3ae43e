//! The small template language of checklist texts.
//!
//! `{slot.label}` stands for a value; `[, latch {slot.tab}]` is left out whole when a value in it is absent; `{{`, `}}`,
//! `[[` and `]]` stand for the brackets themselves. Values come from outside and pass [`shown_within`].

use super::{Each, When};
use crate::source::nearest;
use crate::text::{shown, shown_within};

/// How much of one value from a file is shown, in columns: how to park a cover may take a few lines.
const LONGEST_VALUE: usize = 400;

/// A template, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Template {
    pieces: Vec<Piece>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    Text(String),
    Name(String),
    Optional(Vec<Piece>),
}

/// Why a template cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TemplateError {
    /// A bracket is opened and never closed.
    #[error("`{0}` is not closed")]
    Open(char),
    /// A bracket is closed that was not opened, or one is opened inside another.
    #[error("`{0}` stands alone; write it twice to print it")]
    Stray(char),
    /// No value has this name here.
    #[error("there is no `{}` here", shown(name))]
    Unknown {
        name: String,
        /// The nearest name that is known here.
        nearest: Option<String>,
    },
    /// The value may be absent, and the template does not say what then.
    #[error("`{}` may be absent", shown(.0))]
    MayBeAbsent(String),
}

impl TemplateError {
    /// The way out, in one line.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Open(c) => Some(format!("close it, or write `{c}{c}` to print it")),
            Self::Stray(_) => None,
            Self::Unknown { nearest, .. } => nearest.as_ref().map(|name| format!("nearest known: `{}`", shown(name))),
            Self::MayBeAbsent(name) => Some(format!(
                "put `{{{}}}` and the words that go with it in [ ], or add a `when` under which it is known",
                shown(name)
            )),
        }
    }
}

/// What a value is, which decides whether it can give away a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Class {
    /// A name or words that came from a file.
    Words,
    /// A number of things.
    Number,
}

/// Where a name is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Known {
    Everywhere,
    /// On cards repeated over slots.
    Slots,
    /// On cards that fill slots.
    Fills,
    /// On the first half of a move.
    Lifts,
    /// On the second half of a move.
    Moves,
    /// On cards repeated over covers.
    Covers,
}

struct Entry {
    name: &'static str,
    known: Known,
    /// `None`: always there. Otherwise the conditions under which it surely is.
    sure_when: Option<&'static [When]>,
}

const fn always(name: &'static str, known: Known) -> Entry {
    Entry { name, known, sure_when: None }
}

const fn maybe(name: &'static str, known: Known, sure_when: &'static [When]) -> Entry {
    Entry { name, known, sure_when: Some(sure_when) }
}

/// Every name a template may use.
const NAMES: &[Entry] = &[
    always("plan.name", Known::Everywhere),
    always("plan.capacity", Known::Everywhere),
    maybe("plan.mts", Known::Everywhere, &[]),
    always("plan.inserts", Known::Everywhere),
    always("plan.moves", Known::Everywhere),
    always("plan.removals", Known::Everywhere),
    always("plan.modules", Known::Everywhere),
    always("order.name", Known::Everywhere),
    always("unit.chassis", Known::Everywhere),
    maybe("unit.enclosure", Known::Everywhere, &[When::EnclosureTag]),
    maybe("unit.bay", Known::Everywhere, &[When::Bay]),
    always("board.name", Known::Everywhere),
    maybe("board.source", Known::Everywhere, &[]),
    maybe("board.enclosure", Known::Everywhere, &[]),
    maybe("board.release", Known::Everywhere, &[]),
    always("slot.label", Known::Slots),
    always("slot.socket", Known::Slots),
    always("slot.channel", Known::Slots),
    always("slot.position", Known::Slots),
    maybe("slot.tab", Known::Slots, &[]),
    maybe("slot.key", Known::Slots, &[When::KeyKnown, When::KeyDiffers, When::KeySame]),
    maybe("prev.label", Known::Fills, &[When::KeyDiffers]),
    maybe("prev.key", Known::Fills, &[When::KeyDiffers]),
    always("goes.label", Known::Lifts),
    maybe("hand.label", Known::Moves, &[When::NoTray]),
    maybe("tray.label", Known::Moves, &[When::Tray]),
    always("from.label", Known::Moves),
    always("from.socket", Known::Moves),
    always("from.channel", Known::Moves),
    always("module.spec", Known::Slots),
    always("module.gib", Known::Slots),
    maybe("module.kind", Known::Slots, &[]),
    maybe("module.part", Known::Slots, &[When::PartKnown]),
    maybe("module.part_end", Known::Slots, &[When::PartKnown]),
    maybe("module.serial_end", Known::Slots, &[When::SerialKnown]),
    maybe("module.lot", Known::Slots, &[]),
    maybe("module.to", Known::Slots, &[]),
    always("cover.name", Known::Covers),
    maybe("cover.fasteners", Known::Covers, &[When::Fasteners, When::LooseFasteners, When::CaptiveFasteners]),
    maybe("cover.fasteners.driver", Known::Covers, &[]),
    maybe("cover.cables", Known::Covers, &[When::Cables]),
    maybe("cover.cables.count", Known::Covers, &[When::Cables]),
    maybe("cover.park", Known::Covers, &[]),
    maybe("cover.mind", Known::Covers, &[]),
];

/// The values of one step's texts.
pub(crate) trait Values {
    /// That of a name; `None` for one that is not known, and no text for one that has no value.
    fn value(&self, name: &str) -> Option<(Class, Option<String>)>;
}

/// What the names of a template are checked against.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scope<'a> {
    pub each: Option<Each>,
    /// The conditions of the card and of the step together.
    pub when: &'a [When],
    /// The names of the checklist's limits.
    pub limits: &'a [&'a str],
}

impl Known {
    fn on(self, each: Option<Each>) -> bool {
        match self {
            Self::Everywhere => true,
            Self::Slots => matches!(each, Some(Each::Insert | Each::Lift | Each::Move | Each::Remove | Each::Reseat)),
            Self::Fills => matches!(each, Some(Each::Insert | Each::Move)),
            Self::Lifts => matches!(each, Some(Each::Lift)),
            Self::Moves => matches!(each, Some(Each::Move)),
            Self::Covers => matches!(each, Some(Each::CoverOff | Each::CoverOn)),
        }
    }
}

impl Template {
    /// Reads a template.
    pub fn parse(text: &str) -> Result<Self, TemplateError> {
        let mut pieces = Vec::new();
        let mut optional: Option<Vec<Piece>> = None;
        let mut plain = String::new();
        let mut rest = text;
        while let Some(at) = rest.find(['{', '}', '[', ']']) {
            let (before, found) = rest.split_at(at);
            plain.push_str(before);
            // All four take one byte.
            let (mark, after) = found.split_at(1);
            rest = after;
            if let Some(after) = rest.strip_prefix(mark) {
                plain.push_str(mark);
                rest = after;
                continue;
            }
            match mark {
                "{" => {
                    let Some((name, after)) = rest.split_once('}') else { return Err(TemplateError::Open('{')) };
                    rest = after;
                    let into = optional.as_mut().unwrap_or(&mut pieces);
                    into.push(Piece::Text(std::mem::take(&mut plain)));
                    into.push(Piece::Name(name.trim().to_owned()));
                }
                "[" if optional.is_none() => {
                    pieces.push(Piece::Text(std::mem::take(&mut plain)));
                    optional = Some(Vec::new());
                }
                "]" => match optional.take() {
                    Some(mut inner) => {
                        inner.push(Piece::Text(std::mem::take(&mut plain)));
                        pieces.push(Piece::Optional(inner));
                    }
                    None => return Err(TemplateError::Stray(']')),
                },
                "[" => return Err(TemplateError::Stray('[')),
                _ => return Err(TemplateError::Stray('}')),
            }
        }
        if optional.is_some() {
            return Err(TemplateError::Open('['));
        }
        plain.push_str(rest);
        pieces.push(Piece::Text(plain));
        Ok(Self { pieces })
    }

    /// All names used.
    pub fn names(&self) -> Vec<&str> {
        fn collect<'a>(pieces: &'a [Piece], names: &mut Vec<&'a str>) {
            for piece in pieces {
                match piece {
                    Piece::Text(_) => {}
                    Piece::Name(name) => names.push(name),
                    Piece::Optional(inner) => collect(inner, names),
                }
            }
        }
        let mut names = Vec::new();
        collect(&self.pieces, &mut names);
        names
    }

    /// Reports every name that is not known in `scope`, or may be absent outside of `[ ]`.
    pub fn check(&self, scope: Scope<'_>) -> Vec<TemplateError> {
        let mut errors = Vec::new();
        check_pieces(&self.pieces, false, scope, &mut errors);
        errors
    }

    /// Puts the values in.
    pub fn render(&self, values: &dyn Values) -> Result<String, TemplateError> {
        let mut out = String::new();
        render_pieces(&self.pieces, &mut out, &|name| match values.value(name) {
            Some((_, Some(value))) => Ok(Some(shown_within(&value, LONGEST_VALUE).to_string())),
            Some((_, None)) => Ok(None),
            None => Err(TemplateError::Unknown { name: name.to_owned(), nearest: None }),
        })?;
        Ok(out)
    }

    /// The text with the words that came from files left out: what is left are the template's own words and numbers. A
    /// count must not stand in it; that a cover is called `Duct 2` gives no count away.
    pub fn render_own_words(&self, values: &dyn Values) -> Result<String, TemplateError> {
        let mut out = String::new();
        render_pieces(&self.pieces, &mut out, &|name| match values.value(name) {
            Some((Class::Number, value)) => Ok(value),
            Some((Class::Words, value)) => Ok(value.map(|_| "_".to_owned())),
            None => Err(TemplateError::Unknown { name: name.to_owned(), nearest: None }),
        })?;
        Ok(out)
    }
}

fn check_pieces(pieces: &[Piece], optional: bool, scope: Scope<'_>, errors: &mut Vec<TemplateError>) {
    for piece in pieces {
        match piece {
            Piece::Text(_) => {}
            Piece::Optional(inner) => check_pieces(inner, true, scope, errors),
            Piece::Name(name) => {
                if let Some(limit) = name.strip_prefix("limit.") {
                    if !scope.limits.contains(&limit) {
                        let nearest = nearest(limit, scope.limits.iter().copied()).map(|n| format!("limit.{n}"));
                        errors.push(TemplateError::Unknown { name: name.clone(), nearest });
                    }
                    continue;
                }
                let here = || NAMES.iter().filter(|entry| entry.known.on(scope.each));
                match here().find(|entry| entry.name == name) {
                    None => errors.push(TemplateError::Unknown {
                        name: name.clone(),
                        nearest: nearest(name, here().map(|entry| entry.name)).map(str::to_owned),
                    }),
                    Some(Entry { sure_when: Some(sure), .. })
                        if !optional && !sure.iter().any(|when| scope.when.contains(when)) =>
                    {
                        errors.push(TemplateError::MayBeAbsent(name.clone()));
                    }
                    Some(_) => {}
                }
            }
        }
    }
}

fn render_pieces(
    pieces: &[Piece],
    out: &mut String,
    value: &dyn Fn(&str) -> Result<Option<String>, TemplateError>,
) -> Result<(), TemplateError> {
    for piece in pieces {
        match piece {
            Piece::Text(text) => out.push_str(text),
            Piece::Name(name) => match value(name)? {
                Some(text) => out.push_str(&text),
                None => return Err(TemplateError::MayBeAbsent(name.clone())),
            },
            Piece::Optional(inner) => {
                let mut part = String::new();
                match render_pieces(inner, &mut part, value) {
                    Ok(()) => out.push_str(&part),
                    Err(TemplateError::MayBeAbsent(_)) => {}
                    Err(error) => return Err(error),
                }
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words by name.
    struct Given(Vec<(String, Option<String>)>);

    impl Values for Given {
        fn value(&self, name: &str) -> Option<(Class, Option<String>)> {
            self.0.iter().find(|(given, _)| given == name).map(|(_, value)| (Class::Words, value.clone()))
        }
    }

    fn values(pairs: &[(&str, Option<&str>)]) -> Given {
        Given(pairs.iter().map(|(name, value)| ((*name).to_owned(), value.map(str::to_owned))).collect())
    }

    #[test]
    fn values_go_in_and_absent_sections_stay_out() {
        let template = Template::parse("Slot {slot.label}[, latch {slot.tab}]. {{x}} [[y]]").unwrap();
        let full = values(&[("slot.label", Some("P1-A1")), ("slot.tab", Some("blue"))]);
        assert_eq!(template.render(&full).unwrap(), "Slot P1-A1, latch blue. {x} [y]");
        let bare = values(&[("slot.label", Some("P1-A1")), ("slot.tab", None)]);
        assert_eq!(template.render(&bare).unwrap(), "Slot P1-A1. {x} [y]");
    }

    #[test]
    fn values_from_outside_cannot_move_the_cursor() {
        let template = Template::parse("{slot.label}").unwrap();
        assert_eq!(template.render(&values(&[("slot.label", Some("\x1b[2J"))])).unwrap(), "\\x1B[2J");
    }

    #[test]
    fn a_wrong_name_is_told_with_the_nearest() {
        let template = Template::parse("{slot.labl} {limit.hgh}").unwrap();
        let scope = Scope { each: Some(Each::Insert), when: &[], limits: &["high"] };
        let errors = template.check(scope);
        let nearest: Vec<_> = errors.iter().filter_map(TemplateError::help).collect();
        assert_eq!(nearest, ["nearest known: `slot.label`", "nearest known: `limit.high`"]);
    }

    #[test]
    fn a_slot_is_not_known_on_a_card_over_covers() {
        let template = Template::parse("{slot.label}").unwrap();
        let scope = Scope { each: Some(Each::CoverOff), when: &[], limits: &[] };
        assert!(matches!(template.check(scope)[..], [TemplateError::Unknown { .. }]));
    }

    #[test]
    fn what_may_be_absent_needs_a_section_or_a_condition() {
        let template = Template::parse("{slot.key}").unwrap();
        let check = |when| template.check(Scope { each: Some(Each::Insert), when, limits: &[] });
        assert_eq!(check(&[]), [TemplateError::MayBeAbsent("slot.key".into())]);
        assert_eq!(check(&[When::KeyKnown]), []);
    }

    #[test]
    fn brackets_must_pair() {
        for (text, error) in [
            ("{x", TemplateError::Open('{')),
            ("[x", TemplateError::Open('[')),
            ("x]", TemplateError::Stray(']')),
            ("x}", TemplateError::Stray('}')),
            ("[a [b] c]", TemplateError::Stray('[')),
        ] {
            assert_eq!(Template::parse(text), Err(error), "{text}");
        }
    }
}
