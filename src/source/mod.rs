//! Reading a file that a person wrote, and reporting every fault in it at once: in line order, each with file, line, key,
//! what was expected and the nearest known key, the source line drawn.
//!
//! One mechanism serves every format: the TOML tree with its spans is checked against the JSON Schema that the Rust type
//! itself yields, so the schema we publish and the reader we run cannot drift apart. What a schema cannot say (a slot
//! listed twice) each room checks through [`Checked`] and reports by path; the path finds the line.

mod caps;
mod drawn;
mod faults;
mod formats;
mod json;
mod read;
mod schema;
mod walk;
mod words;

pub use caps::Caps;
pub use faults::{Fault, Faults, MOST_FAULTS, Path, PathPart};
pub use formats::{called, recognized};
pub use json::{from_json, from_json_within};
pub use read::{Checked, Read, Text, check_below, from_toml, read_toml};
pub use schema::schema_of;
pub use words::{counted, either, nearest, way_out};
