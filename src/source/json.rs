//! JSON that came from outside: the caps of [`Caps`], no key twice in one object, then the type itself.

use std::collections::BTreeSet;
use std::fmt;

use serde::de::{self, DeserializeOwned, DeserializeSeed, MapAccess, SeqAccess, Visitor};

use super::{Caps, Fault, Faults, Path, Text, caps, formats};

/// Reads JSON of a format whose first key names it, within [`Caps::CARRYING_BYTES`].
///
/// # Errors
/// The first fault of the file with its line and column.
pub fn from_json<T: DeserializeOwned>(text: &Text<'_>, format: &str) -> Result<T, Faults> {
    from_json_within(text, format, &Caps::CARRYING_BYTES)
}

/// [`from_json`] with caps of one's own.
///
/// # Errors
/// The first fault of the file with its line and column.
pub fn from_json_within<T: DeserializeOwned>(text: &Text<'_>, format: &str, caps: &Caps) -> Result<T, Faults> {
    let string = caps::text(text.bytes, caps).map_err(|fault| Faults::new(text.file, "", vec![fault]))?;
    let fail = |fault| Faults::new(text.file, string, vec![fault]);
    let mut found = None;
    let mut reader = serde_json::Deserializer::from_str(string);
    Strict { caps, depth: 0, format: Some(&mut found) }
        .deserialize(&mut reader)
        .and_then(|()| reader.end())
        .map_err(|error| fail(fault_of(string, &error)))?;
    let key = Path::default().key("format");
    match found {
        Some(found) => {
            if let Some((what, help)) = formats::mismatch(&found, format) {
                return Err(fail(Fault { path: key, span: None, what, help: Some(help) }));
            }
        }
        None => {
            let what = "missing key `format`".to_owned();
            return Err(fail(Fault { path: key, span: None, what, help: Some(format!("\"{format}\" is wanted")) }));
        }
    }
    serde_json::from_str(string).map_err(|error| fail(fault_of(string, &error)))
}

fn fault_of(text: &str, error: &serde_json::Error) -> Fault {
    // serde_json counts columns in bytes from 1, and line 0 means no place.
    let start = text.split_inclusive('\n').take(error.line().saturating_sub(1)).map(str::len).sum::<usize>();
    let at = (start + error.column().saturating_sub(1)).min(text.len());
    let message = error.to_string();
    let what = message.rsplit_once(" at line ").map_or(message.as_str(), |(what, _)| what);
    Fault {
        path: Path::default(),
        span: (error.line() > 0).then_some(at..at + 1),
        what: crate::text::shown_within(what, 400).to_string(),
        help: None,
    }
}

/// Walks a document without keeping it; fails on a key that stands twice, on depth and on long strings.
struct Strict<'c> {
    caps: &'c Caps,
    depth: usize,
    /// Where the outermost `format` is kept.
    format: Option<&'c mut Option<String>>,
}

impl<'de> DeserializeSeed<'de> for Strict<'_> {
    type Value = ();

    fn deserialize<D: de::Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl Strict<'_> {
    fn deeper<E: de::Error>(&self) -> Result<usize, E> {
        if self.depth >= self.caps.depth {
            return Err(E::custom(format_args!("nested deeper than {} levels", self.caps.depth)));
        }
        Ok(self.depth + 1)
    }
}

impl<'de> Visitor<'de> for Strict<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<(), E> {
        Ok(())
    }

    fn visit_bool<E>(self, _: bool) -> Result<(), E> {
        Ok(())
    }

    fn visit_i64<E>(self, _: i64) -> Result<(), E> {
        Ok(())
    }

    fn visit_u64<E>(self, _: u64) -> Result<(), E> {
        Ok(())
    }

    fn visit_f64<E>(self, _: f64) -> Result<(), E> {
        Ok(())
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<(), E> {
        if text.len() > self.caps.string {
            return Err(E::custom(format_args!("a text of {} bytes, {} are allowed", text.len(), self.caps.string)));
        }
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<(), A::Error> {
        let depth = self.deeper()?;
        while items.next_element_seed(Strict { caps: self.caps, depth, format: None })?.is_some() {}
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let depth = self.deeper()?;
        let Strict { caps, mut format, .. } = self;
        let mut seen = BTreeSet::new();
        while let Some(key) = map.next_key::<String>()? {
            if key.len() > Caps::WRITTEN.string {
                return Err(de::Error::custom(format_args!("a key of {} bytes", key.len())));
            }
            if seen.contains(&key) {
                return Err(de::Error::custom(format_args!("key `{}` stands twice", crate::text::shown(&key))));
            }
            match &mut format {
                Some(kept) if key == "format" => **kept = Some(map.next_value()?),
                _ => map.next_value_seed(Strict { caps, depth, format: None })?,
            }
            seen.insert(key);
        }
        Ok(())
    }
}
