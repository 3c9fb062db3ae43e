//! The `format` key: which file this is, and whether this program reads it.

use toml::de::{DeTable, DeValue};

use super::{Fault, Path};
use crate::text::shown;

/// The formats that exist, with what such a file is called.
const KNOWN: [(&str, &str); 9] = [
    ("slotwise-board", "a board file"),
    ("slotwise-order", "an order file"),
    ("slotwise-plan", "a plan file"),
    ("slotwise-checklist", "a checklist file"),
    ("slotwise-snapshot", "a snapshot file"),
    ("slotwise-record", "a record"),
    ("slotwise-site", "a site file"),
    ("slotwise-answers", "an answers file"),
    ("slotwise-rates", "a rates file"),
];

/// What a file of this format is called: `a board file`.
pub fn called(format: &str) -> &'static str {
    let (name, _) = split(format);
    KNOWN.iter().find(|(known, _)| *known == name).map_or("a slotwise file", |(_, called)| called)
}

/// The format a text names, also if the rest of it cannot be read: `slotwise-...` behind a key `format`, or in the first line
/// that is no comment. `None` for a file that is not ours.
pub fn recognized(text: &str) -> Option<&str> {
    let lines = text.trim_start_matches('\u{feff}').lines().map(|line| line.trim_start_matches([' ', '\t', '{']));
    lines.filter(|line| !line.is_empty() && !line.starts_with('#')).enumerate().find_map(|(n, line)| {
        let format = &line[line.find("slotwise-")?..];
        let format = format.split(|c: char| !c.is_ascii_alphanumeric() && !"-/.".contains(c)).next()?;
        let is_key = line.trim_start_matches(['"', '\'']).starts_with("format");
        (is_key || (n == 0 && format.contains('/'))).then_some(format)
    })
}

/// What is wrong with `found` where `wanted` is read; `None` when it is the one.
pub(super) fn mismatch(found: &str, wanted: &str) -> Option<(String, String)> {
    if found == wanted {
        return None;
    }
    let (name, version) = split(found);
    let (wanted_name, wanted_version) = split(wanted);
    let known = KNOWN.iter().any(|(known, _)| *known == name);
    let number = version.and_then(|version| version.parse::<u32>().ok());
    let wanted_number = wanted_version.and_then(|version| version.parse::<u32>().ok());
    Some(match (known, number) {
        (true, _) if name != wanted_name => {
            (format!("this is {}; {} is wanted", called(found), called(wanted)), "name another file".to_owned())
        }
        (true, Some(number)) if Some(number) > wanted_number => (
            format!(
                "this is {} of version {number}; this program reads version {}",
                called(found),
                wanted_version.unwrap_or("1")
            ),
            "take a newer slotwise".to_owned(),
        ),
        _ => (
            format!("unknown format `{}`", shown(found)),
            format!("{} begins with: format = \"{wanted}\"", called(wanted)),
        ),
    })
}

/// The fault that makes all others meaningless: the file is of another format or version.
pub(super) fn other(tree: &DeTable<'_>, wanted: &str) -> Option<Fault> {
    let Some(value) = tree.get("format") else {
        let help = Some(format!("{} begins with: format = \"{wanted}\"", called(wanted)));
        return Some(Fault {
            path: Path::default().key("format"),
            span: None,
            what: "missing key `format`".to_owned(),
            help,
        });
    };
    let DeValue::String(found) = value.get_ref() else { return None };
    let (what, help) = mismatch(found, wanted)?;
    Some(Fault { path: Path::default().key("format"), span: Some(value.span()), what, help: Some(help) })
}

/// The fault that `format` is there but not first.
pub(super) fn not_first(tree: &DeTable<'_>, wanted: &str) -> Option<Fault> {
    let (first, _) = tree.iter().min_by_key(|(key, _)| key.span().start)?;
    (first.get_ref() != "format").then(|| Fault {
        path: Path::default().key("format"),
        span: Some(first.span()),
        what: "`format` is not the first key".to_owned(),
        help: Some(format!("move format = \"{wanted}\" to the top")),
    })
}

fn split(format: &str) -> (&str, Option<&str>) {
    format.split_once('/').map_or((format, None), |(name, version)| (name, Some(version)))
}
