//! The walk of a TOML tree along its schema, collecting every fault on the way.

use std::collections::BTreeSet;
use std::ops::Range;

use serde_json::Value;
use toml::Spanned;
use toml::de::{DeInteger, DeTable, DeValue};

use super::schema::{self, Document};
use super::words::{either, nearest, way_out};
use super::{Caps, Fault, MOST_FAULTS, Path};
use crate::text::shown;

/// What the walk found.
#[derive(Debug)]
pub(super) struct Walked {
    pub faults: Vec<Fault>,
    /// Where the unknown keys stand.
    pub unknown: BTreeSet<usize>,
}

/// Checks `table` against `schema`.
pub(super) fn walk(schema: &Value, table: &DeTable<'_>, caps: &Caps) -> Walked {
    let found = Walked { faults: Vec::new(), unknown: BTreeSet::new() };
    let mut walk = Walk { document: Document(schema), caps, found };
    walk.table(schema, table, None, &Path::default());
    walk.found
}

/// Takes the keys out of a table that stand at one of these places.
pub(super) fn without(table: &mut DeTable<'_>, places: &BTreeSet<usize>) {
    let kept = std::mem::take(table).into_iter().filter(|(key, _)| !places.contains(&key.span().start));
    *table = kept
        .map(|(key, mut value)| {
            without_in(value.get_mut(), places);
            (key, value)
        })
        .collect();
}

fn without_in(value: &mut DeValue<'_>, places: &BTreeSet<usize>) {
    match value {
        DeValue::Table(table) => without(table, places),
        DeValue::Array(items) => items.iter_mut().for_each(|item| without_in(item.get_mut(), places)),
        _ => {}
    }
}

struct Walk<'s> {
    document: Document<'s>,
    caps: &'s Caps,
    found: Walked,
}

impl<'s> Walk<'s> {
    fn fault(&mut self, path: &Path, span: Option<Range<usize>>, what: String, help: Option<String>) {
        // A hostile file could have a fault for every few bytes.
        if self.found.faults.len() < MOST_FAULTS {
            self.found.faults.push(Fault { path: path.clone(), span, what, help });
        }
    }

    fn value(&mut self, schema: &'s Value, value: &Spanned<DeValue<'_>>, path: &Path) {
        if path.0.len() > self.caps.depth {
            self.fault(path, Some(value.span()), format!("nested deeper than {} levels", self.caps.depth), None);
            return;
        }
        if let Some(text) = value.get_ref().as_str().filter(|text| text.len() > self.caps.string) {
            let what = format!("a text of {} bytes, {} are allowed", text.len(), self.caps.string);
            self.fault(path, Some(value.span()), what, None);
            return;
        }
        let alternatives = self.document.alternatives(schema);
        let fitting: Vec<&Value> =
            alternatives.iter().copied().filter(|one| fits(schema::types(one), value.get_ref())).collect();
        match *fitting.as_slice() {
            [] => self.wrong_type(&alternatives, value, path),
            [one] => self.fitting(one, value, path),
            _ => self.several(&fitting, value, path),
        }
    }

    fn wrong_type(&mut self, alternatives: &[&Value], value: &Spanned<DeValue<'_>>, path: &Path) {
        let mut expected: Vec<&str> = alternatives.iter().flat_map(|one| schema::types(one)).map(in_words).collect();
        expected.dedup();
        let choices: Vec<&str> = alternatives.iter().flat_map(|one| schema::choices(one)).collect();
        let found = found(value.get_ref());
        let what = format!("expected {}, found {found}", either(&expected));
        let help = match value.get_ref() {
            _ if !choices.is_empty() => Some(format!("one of: {}", choices.join(", "))),
            DeValue::Integer(_) | DeValue::Float(_) | DeValue::Datetime(_) | DeValue::Boolean(_)
                if expected.contains(&"a text") =>
            {
                Some("put it in quotes".to_owned())
            }
            DeValue::String(text) if expected == ["a whole number"] && text.trim().parse::<u64>().is_ok() => {
                Some("write it without quotes".to_owned())
            }
            DeValue::Table(_) if expected == ["a list"] => {
                let key = path.last_key().unwrap_or_default();
                Some(format!("each entry is headed by `[[{}]]`, in two pairs of brackets", shown(key)))
            }
            _ if expected == ["a list"] => Some("put it in square brackets".to_owned()),
            _ => None,
        };
        self.fault(path, Some(value.span()), what, help);
    }

    /// Several alternatives take this type of value.
    fn several(&mut self, fitting: &[&'s Value], value: &Spanned<DeValue<'_>>, path: &Path) {
        match value.get_ref() {
            DeValue::String(text) => {
                let choices: Vec<&str> = fitting.iter().flat_map(|one| schema::choices(one)).collect();
                if fitting.iter().all(|one| !schema::choices(one).is_empty()) {
                    self.choice(&choices, text, value.span(), path);
                }
            }
            DeValue::Table(table) => {
                let Some((key, tags)) = schema::tagged(self.document, fitting) else {
                    self.best_of(fitting, value, path);
                    return;
                };
                let Some(tag) = table.get(key) else {
                    let names: Vec<&str> = tags.iter().map(|(name, _)| *name).collect();
                    let help = Some(format!("one of: {}", names.join(", ")));
                    self.fault(&path.key(key), Some(value.span()), format!("missing key `{key}`"), help);
                    return;
                };
                match tag.get_ref().as_str().and_then(|tag| tags.iter().find(|(name, _)| *name == tag)) {
                    Some((_, one)) => self.fitting(one, value, path),
                    None => {
                        let names: Vec<&str> = tags.iter().map(|(name, _)| *name).collect();
                        let text = tag.get_ref().as_str().unwrap_or_default();
                        self.choice(&names, text, tag.span(), &path.key(key));
                    }
                }
            }
            _ => self.best_of(fitting, value, path),
        }
    }

    /// Keeps the faults of the alternative that has the fewest.
    fn best_of(&mut self, fitting: &[&'s Value], value: &Spanned<DeValue<'_>>, path: &Path) {
        let tried = fitting.iter().map(|one| {
            let found = Walked { faults: Vec::new(), unknown: BTreeSet::new() };
            let mut walk = Walk { document: self.document, caps: self.caps, found };
            walk.fitting(one, value, path);
            walk.found
        });
        if let Some(fewest) = tried.min_by_key(|found| found.faults.len()) {
            self.found.faults.extend(fewest.faults);
            self.found.unknown.extend(fewest.unknown);
        }
    }

    /// The value has a type that `schema` takes.
    fn fitting(&mut self, schema: &'s Value, value: &Spanned<DeValue<'_>>, path: &Path) {
        match value.get_ref() {
            DeValue::String(text) => {
                let choices = schema::choices(schema);
                if !choices.is_empty() {
                    self.choice(&choices, text, value.span(), path);
                }
            }
            DeValue::Integer(number) => self.number(schema, number, value.span(), path),
            DeValue::Array(items) => {
                let count = |key: &str| schema.get(key).and_then(Value::as_u64);
                let (least, most) = (count("minItems"), count("maxItems"));
                let len = items.len() as u64;
                if least.is_some_and(|least| len < least) || most.is_some_and(|most| len > most) {
                    let wanted = match (least, most) {
                        (Some(least), Some(most)) if least == most => format!("{least}"),
                        (Some(least), Some(most)) => format!("{least} to {most}"),
                        (Some(least), None) => format!("at least {least}"),
                        (None, most) => format!("at most {}", most.unwrap_or_default()),
                    };
                    let what = format!("expected a list of {wanted}, found {len}");
                    self.fault(path, Some(value.span()), what, None);
                }
                if let Some(each) = schema.get("items").filter(|each| each.is_object()) {
                    for (index, item) in items.iter().enumerate() {
                        self.value(each, item, &path.index(index));
                    }
                }
            }
            DeValue::Table(table) => self.table(schema, table, Some(value.span()), path),
            DeValue::Float(_) | DeValue::Boolean(_) | DeValue::Datetime(_) => {}
        }
    }

    fn choice(&mut self, choices: &[&str], text: &str, span: Range<usize>, path: &Path) {
        if choices.contains(&text) {
            return;
        }
        let what = match choices {
            [only] => format!("expected `{only}`, found `{}`", shown(text)),
            _ => format!("`{}` is not one of: {}", shown(text), choices.join(", ")),
        };
        let help = nearest(text, choices.iter().copied()).map(|near| format!("did you mean `{near}`?"));
        self.fault(path, Some(span), what, help);
    }

    fn number(&mut self, schema: &Value, number: &DeInteger<'_>, span: Range<usize>, path: &Path) {
        let (low, high) = schema::range(schema);
        let value = i128::from_str_radix(number.as_str(), number.radix()).ok();
        if value.is_none_or(|value| value < low || value > high) {
            let what = format!("{} is out of range: {low} to {high}", shown(&number.to_string()));
            self.fault(path, Some(span), what, None);
        }
    }

    fn table(&mut self, schema: &'s Value, table: &DeTable<'_>, span: Option<Range<usize>>, path: &Path) {
        let shape = self.document.table(schema);
        let mut meant: Vec<&str> = Vec::new();
        for (key, value) in table {
            let name = key.get_ref().as_ref();
            if let Some(inner) = shape.keys.get(name).copied().or(shape.others) {
                if name.len() > self.caps.string {
                    let what = format!("a key of {} bytes, {} are allowed", name.len(), self.caps.string);
                    self.fault(path, Some(key.span()), what, None);
                } else {
                    self.value(inner, value, &path.key(name));
                }
                continue;
            }
            self.found.unknown.insert(key.span().start);
            // Looking for what was meant takes its time, and a hostile file has many keys.
            if self.found.faults.len() >= MOST_FAULTS {
                continue;
            }
            // A key that is there already was not what the unknown one was meant to be.
            let free: Vec<&str> = shape.keys.keys().copied().filter(|known| !table.contains_key(*known)).collect();
            meant.extend(nearest(name, free.iter().copied()));
            let help = way_out(name, if free.is_empty() { shape.keys.keys().copied().collect() } else { free });
            self.fault(&path.key(name), Some(key.span()), format!("unknown key `{}`", shown(name)), help);
        }
        for required in &shape.required {
            if !table.contains_key(*required) && !meant.contains(required) {
                let help = shape.keys.get(required).and_then(|inner| self.describe(inner));
                self.fault(&path.key(required), span.clone(), format!("missing key `{required}`"), help);
            }
        }
    }

    /// What a key holds, in one line.
    fn describe(&self, schema: &Value) -> Option<String> {
        let own = schema.get("description").and_then(Value::as_str);
        own.and_then(|text| text.lines().next()).map(|line| format!("it holds: {line}"))
    }
}

/// Whether a value is of one of these JSON types; a schema that names none takes all.
fn fits(types: Vec<&str>, value: &DeValue<'_>) -> bool {
    types.is_empty()
        || types.iter().any(|name| {
            matches!(
                (*name, value),
                ("string", DeValue::String(_))
                    | ("integer" | "number", DeValue::Integer(_))
                    | ("number", DeValue::Float(_))
                    | ("boolean", DeValue::Boolean(_))
                    | ("array", DeValue::Array(_))
                    | ("object", DeValue::Table(_))
            )
        })
}

fn in_words(json_type: &str) -> &'static str {
    match json_type {
        "string" => "a text",
        "integer" => "a whole number",
        "number" => "a number",
        "boolean" => "true or false",
        "array" => "a list",
        "object" => "a table",
        _ => "something else",
    }
}

fn found(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number with a point",
        DeValue::Boolean(true) => "true",
        DeValue::Boolean(false) => "false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
