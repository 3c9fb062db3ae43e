//! From text to a checked value.

use schemars::JsonSchema;
use serde::de::DeserializeOwned;

use super::{Fault, Faults, Path};

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

    /// Reports what is wrong with a value that is well formed. `at` finds the line from the path.
    fn check(&self, report: &mut dyn FnMut(Path, String, Option<String>));
}

/// Reads a TOML file of format `T`.
///
/// # Errors
/// All faults of the file, in line order.
pub fn from_toml<T: Checked>(text: &Text<'_>) -> Result<T, Faults> {
    let string = String::from_utf8_lossy(text.bytes).into_owned();
    let fail = |faults| Faults { file: text.file.to_owned(), text: string.clone(), faults };
    let value: T = toml::from_str(&string).map_err(|error| {
        fail(vec![Fault { path: Path::default(), span: error.span(), what: error.message().to_owned(), help: None }])
    })?;
    let mut faults = Vec::new();
    value.check(&mut |path, what, help| faults.push(Fault { path, span: None, what, help }));
    if faults.is_empty() { Ok(value) } else { Err(fail(faults)) }
}
