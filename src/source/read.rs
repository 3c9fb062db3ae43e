//! From text to a checked value.

use std::ops::Range;

use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::walk::Walked;
use super::{Caps, Fault, Faults, MOST_FAULTS, Path, PathPart, caps, formats, schema, walk};

/// A file's name as the person gave it, and its bytes.
#[derive(Debug, Clone)]
pub struct Text<'a> {
    pub file: &'a str,
    pub bytes: &'a [u8],
}

/// A format whose values have rules that a schema cannot say.
pub trait Checked: DeserializeOwned + JsonSchema {
    /// The value of the `format` key this reader understands.
    const FORMAT: &'static str;

    /// Reports what is wrong with a value that is well formed: where, what, and the way out. The path finds the line.
    fn check(&self, report: &mut dyn FnMut(Path, String, Option<String>));
}

/// Reads a TOML file of format `T`.
///
/// # Errors
/// All faults of the file, in line order.
pub fn from_toml<T: Checked>(text: &Text<'_>) -> Result<T, Faults> {
    let read: Read<'_, T> = read_toml(text, T::FORMAT)?;
    read.checked(T::check)
}

/// Runs the checks of a value that sits in another one under `key`.
pub fn check_below<T: Checked>(value: &T, key: &str, report: &mut dyn FnMut(Path, String, Option<String>)) {
    let above = Path::default().key(key);
    value.check(&mut |path, what, help| report(path.below(&above), what, help));
}

/// A well-formed value with the tree it came from, which finds the line of a path.
#[derive(Debug)]
pub struct Read<'a, T> {
    pub value: T,
    file: &'a str,
    text: &'a str,
    tree: Spanned<DeTable<'a>>,
    /// Unknown keys, which do not stand in the way of the checks behind them.
    unknown: Vec<Fault>,
}

impl<T> Read<'_, T> {
    /// The value, when neither `check` nor the reading before it found a fault.
    ///
    /// # Errors
    /// All faults of the file, in line order.
    pub fn checked(self, check: impl FnOnce(&T, &mut dyn FnMut(Path, String, Option<String>))) -> Result<T, Faults> {
        let mut found = Vec::new();
        check(&self.value, &mut |path, what, help| {
            if found.len() < MOST_FAULTS {
                found.push((path, what, help));
            }
        });
        if found.is_empty() && self.unknown.is_empty() { Ok(self.value) } else { Err(self.faults(found)) }
    }

    /// Faults of this file, each placed by its path.
    pub fn faults(&self, found: Vec<(Path, String, Option<String>)>) -> Faults {
        let place = |(path, what, help): (Path, String, Option<String>)| {
            let span = find(self.tree.get_ref(), &path);
            Fault { path, span, what, help }
        };
        self.all(found.into_iter().take(MOST_FAULTS).map(place).collect())
    }

    fn all(&self, mut faults: Vec<Fault>) -> Faults {
        faults.extend(self.unknown.iter().cloned());
        Faults::new(self.file, self.text, faults)
    }
}

/// Reads a TOML file against the schema of `T`, without the rules a schema cannot say.
///
/// # Errors
/// All faults of the file, in line order. A fault of the TOML itself is reported alone: what follows one cannot be
/// trusted to be what was meant.
pub fn read_toml<'a, T: DeserializeOwned + JsonSchema>(text: &Text<'a>, format: &str) -> Result<Read<'a, T>, Faults> {
    let caps = Caps::WRITTEN;
    let string = caps::text(text.bytes, &caps).map_err(|fault| Faults::new(text.file, "", vec![fault]))?;
    let fail = |faults| Faults::new(text.file, string, faults);
    if let Some(at) = caps::too_deep(string, caps.depth) {
        let what = format!("nested deeper than {} levels", caps.depth);
        return Err(fail(vec![Fault { path: Path::default(), span: Some(at..at + 1), what, help: None }]));
    }
    let (tree, errors) = DeTable::parse_recoverable(string);
    if let Some(error) = errors.iter().min_by_key(|error| error.span().map(|span| span.start)) {
        let what = format!("not TOML: {}", error.message());
        let help = hint(string, error.span());
        return Err(fail(vec![Fault { path: Path::default(), span: error.span(), what, help }]));
    }
    if let Some(fault) = formats::other(tree.get_ref(), format) {
        return Err(fail(vec![fault]));
    }
    let schema = schema::schema_of::<T>(format);
    let Walked { mut faults, unknown } = walk::walk(&schema, tree.get_ref(), &caps);
    faults.extend(formats::not_first(tree.get_ref(), format));
    if faults.len() > unknown.len() {
        return Err(fail(faults));
    }
    let mut known = tree.clone();
    walk::without(known.get_mut(), &unknown);
    // The schema cannot say all that a type's own reading does (a size of 0.3 MiB), so this may still fail.
    match T::deserialize(toml::Deserializer::from(known)) {
        Ok(value) => Ok(Read { value, file: text.file, text: string, tree, unknown: faults }),
        Err(error) => {
            // A key that was left out because an unknown one seems to be meant is no fault of its own.
            if error.span().is_some() && (unknown.is_empty() || !error.message().starts_with("missing field")) {
                let path = error.span().and_then(|span| path_to(tree.get_ref(), &span)).unwrap_or_default();
                let what = crate::text::shown_within(error.message(), 400).to_string();
                faults.push(Fault { path, span: error.span(), what, help: None });
            }
            Err(fail(faults))
        }
    }
}

/// What commonly stands behind a fault of the TOML itself.
fn hint(text: &str, span: Option<Range<usize>>) -> Option<String> {
    let rest = text.get(span?.start..)?;
    if rest.starts_with(['\u{201c}', '\u{201d}', '\u{2018}', '\u{2019}']) {
        return Some("these are typographic quotes; use plain ones".to_owned());
    }
    None
}

/// The bytes a path is about: the value where it is on one line, else its key. The deepest part that exists counts.
fn find(tree: &DeTable<'_>, path: &Path) -> Option<Range<usize>> {
    let (first, rest) = path.0.split_first()?;
    let PathPart::Key(key) = first else { return None };
    let (key, value) = tree.iter().find(|(name, _)| name.get_ref() == key)?;
    let own = if matches!(value.get_ref(), DeValue::Table(_) | DeValue::Array(_)) { key.span() } else { value.span() };
    Some(inside(value, rest).unwrap_or(own))
}

fn inside(value: &Spanned<DeValue<'_>>, path: &[PathPart]) -> Option<Range<usize>> {
    let (first, rest) = path.split_first()?;
    match (first, value.get_ref()) {
        (PathPart::Key(_), DeValue::Table(table)) => find(table, &Path(path.to_vec())),
        (PathPart::Index(index), DeValue::Array(items)) => {
            let item = items.get(*index)?;
            Some(inside(item, rest).unwrap_or_else(|| item.span()))
        }
        _ => None,
    }
}

/// The way to the smallest value that holds `span`.
fn path_to(tree: &DeTable<'_>, span: &Range<usize>) -> Option<Path> {
    fn within(value: &Spanned<DeValue<'_>>, span: &Range<usize>, path: &Path) -> Option<Path> {
        let deeper = match value.get_ref() {
            DeValue::Table(table) => {
                table.iter().find_map(|(key, value)| within(value, span, &path.key(key.get_ref())))
            }
            DeValue::Array(items) => {
                items.iter().enumerate().find_map(|(index, item)| within(item, span, &path.index(index)))
            }
            _ => None,
        };
        let own = value.span();
        deeper.or_else(|| (own.start <= span.start && span.end <= own.end).then(|| path.clone()))
    }
    tree.iter().find_map(|(key, value)| within(value, span, &Path::default().key(key.get_ref())))
}
