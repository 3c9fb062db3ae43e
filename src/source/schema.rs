//! The JSON Schema of a format, as published and as walked.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde_json::Value;

/// The JSON Schema (2020-12) of a file that a person writes: as the type yields it, every table closed, and the
/// `format` key pinned to `format`.
///
/// Tables are closed here as well since serde cannot deny unknown keys where one struct is flattened into another.
pub fn schema_of<T: JsonSchema>(format: &str) -> Value {
    let mut schema = schemars::SchemaGenerator::default().into_root_schema_for::<T>().to_value();
    close(&mut schema);
    if let Some(Value::Object(key)) = schema.pointer_mut("/properties/format") {
        key.insert("const".to_owned(), Value::String(format.to_owned()));
    }
    schema
}

fn close(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            let composed = ["$ref", "allOf", "oneOf", "anyOf"].iter().any(|key| map.contains_key(*key));
            if map.get("properties").is_some_and(Value::is_object) && !composed {
                map.entry("additionalProperties").or_insert(Value::Bool(false));
            }
            map.values_mut().for_each(close);
        }
        Value::Array(items) => items.iter_mut().for_each(close),
        _ => {}
    }
}

/// A schema document and the way through its references.
#[derive(Debug, Clone, Copy)]
pub(super) struct Document<'s>(pub &'s Value);

impl<'s> Document<'s> {
    /// Follows `$ref` where it stands alone; a `$ref` beside `properties` is left for [`Document::table`].
    pub fn resolve(self, mut schema: &'s Value) -> &'s Value {
        // Bounded, since a reference could name itself.
        for _ in 0..16 {
            if schema.get("properties").is_some() {
                break;
            }
            match self.referred(schema) {
                Some(target) => schema = target,
                None => break,
            }
        }
        schema
    }

    fn referred(self, schema: &'s Value) -> Option<&'s Value> {
        let reference = schema.get("$ref")?.as_str()?.strip_prefix('#')?;
        self.0.pointer(reference)
    }

    /// The alternatives of a schema, nested ones unrolled, `null` left out since TOML has none. A schema without
    /// alternatives is its own only one.
    pub fn alternatives(self, schema: &'s Value) -> Vec<&'s Value> {
        let schema = self.resolve(schema);
        match schema.get("anyOf").or_else(|| schema.get("oneOf")).and_then(Value::as_array) {
            Some(list) => list.iter().flat_map(|one| self.alternatives(one)).collect(),
            None if schema.get("type").and_then(Value::as_str) == Some("null") => Vec::new(),
            None => vec![schema],
        }
    }

    /// The keys of a table, those of what it is composed from with it.
    pub fn table(self, schema: &'s Value) -> Table<'s> {
        let mut table = Table { keys: BTreeMap::new(), required: Vec::new(), others: None };
        self.gather(schema, &mut table, 0);
        table
    }

    fn gather(self, schema: &'s Value, table: &mut Table<'s>, level: usize) {
        if let Some(properties) = schema.get("properties").and_then(Value::as_object) {
            table.keys.extend(properties.iter().map(|(key, value)| (key.as_str(), value)));
        }
        if let Some(required) = schema.get("required").and_then(Value::as_array) {
            table.required.extend(required.iter().filter_map(Value::as_str));
        }
        if let Some(others @ Value::Object(_)) = schema.get("additionalProperties") {
            table.others = Some(others);
        }
        if level < 8 {
            let parts = schema.get("allOf").and_then(Value::as_array).into_iter().flatten();
            for part in parts.chain(self.referred(schema)) {
                self.gather(part, table, level + 1);
            }
        }
    }
}

/// The keys a table may have.
#[derive(Debug)]
pub(super) struct Table<'s> {
    pub keys: BTreeMap<&'s str, &'s Value>,
    pub required: Vec<&'s str>,
    /// What any other key holds; `None` when there may be no other.
    pub others: Option<&'s Value>,
}

/// The JSON types a schema takes, `null` left out.
pub(super) fn types(schema: &Value) -> Vec<&str> {
    let named: Vec<&str> = match schema.get("type") {
        Some(Value::String(one)) => vec![one.as_str()],
        Some(Value::Array(several)) => several.iter().filter_map(Value::as_str).collect(),
        _ if schema.get("properties").is_some() => vec!["object"],
        _ if schema.get("const").is_some_and(Value::is_string) || schema.get("enum").is_some() => vec!["string"],
        _ => Vec::new(),
    };
    named.into_iter().filter(|name| *name != "null").collect()
}

/// The strings a schema is limited to; empty when it is not.
pub(super) fn choices(schema: &Value) -> Vec<&str> {
    let one = schema.get("const").and_then(Value::as_str);
    let several = schema.get("enum").and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_str);
    one.into_iter().chain(several).collect()
}

/// The whole numbers a schema takes, both ends included; the Rust type bounds what the schema leaves open.
pub(super) fn range(schema: &Value) -> (i128, i128) {
    let (low, high) = match schema.get("format").and_then(Value::as_str) {
        Some("uint8") => (0, i128::from(u8::MAX)),
        Some("uint16") => (0, i128::from(u16::MAX)),
        Some("uint32") => (0, i128::from(u32::MAX)),
        Some("uint64" | "uint") => (0, i128::from(u64::MAX)),
        Some("int8") => (i128::from(i8::MIN), i128::from(i8::MAX)),
        Some("int16") => (i128::from(i16::MIN), i128::from(i16::MAX)),
        Some("int32") => (i128::from(i32::MIN), i128::from(i32::MAX)),
        _ => (i128::from(i64::MIN), i128::from(i64::MAX)),
    };
    let bound = |key: &str| schema.get(key).and_then(Value::as_i64).map(i128::from);
    (bound("minimum").unwrap_or(low).max(low), bound("maximum").unwrap_or(high).min(high))
}

/// The key whose constant tells the alternatives apart, and the alternatives by that constant.
pub(super) fn tagged<'s>(document: Document<'s>, alternatives: &[&'s Value]) -> Option<(&'s str, Tags<'s>)> {
    let first = document.table(alternatives.first()?);
    first.keys.keys().find_map(|key| {
        let tags: Option<Tags<'s>> = alternatives
            .iter()
            .map(|one| Some((document.table(one).keys.get(key)?.get("const")?.as_str()?, *one)))
            .collect();
        tags.map(|tags| (*key, tags))
    })
}

/// Alternatives by the constant that names them.
pub(super) type Tags<'s> = Vec<(&'s str, &'s Value)>;
