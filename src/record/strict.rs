//! JSON as a record allows it: no duplicate keys, no fractions, no whole number a common reader would round.
//!
//! serde_json keeps the last of two equal keys without a word, and readers that hold numbers as doubles turn
//! 9007199254740993 into 9007199254740992; a record that reads differently in two programs proves nothing.

use std::cell::RefCell;
use std::collections::HashSet;
use std::fmt;

use serde::de::{self, DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};

use super::Wrong;

/// 2^53 - 1, the largest whole number every JSON reader keeps exact (RFC 8259 section 6).
pub const LARGEST_NUMBER: u64 = (1 << 53) - 1;

/// Checks that `bytes` are one JSON value within the rules and nothing behind it.
pub(super) fn check(bytes: &[u8]) -> Result<(), Wrong> {
    let found = RefCell::new(None);
    let mut json = serde_json::Deserializer::from_slice(bytes);
    let result = Value { found: &found }.deserialize(&mut json).and_then(|()| json.end());
    match (result, found.into_inner()) {
        (Ok(()), _) => Ok(()),
        (Err(_), Some(wrong)) => Err(wrong),
        (Err(error), None) => Err(Wrong::NotJson { column: error.column(), why: error.to_string() }),
    }
}

/// Any value; the first broken rule is left in `found`, since serde errors are only text.
#[derive(Clone, Copy)]
struct Value<'a> {
    found: &'a RefCell<Option<Wrong>>,
}

impl Value<'_> {
    fn refuse<T, E: de::Error>(&self, wrong: Wrong) -> Result<T, E> {
        *self.found.borrow_mut() = Some(wrong);
        Err(E::custom("outside the rules of a record"))
    }
}

impl<'de> DeserializeSeed<'de> for Value<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Value<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_bool<E: de::Error>(self, _: bool) -> Result<(), E> {
        Ok(())
    }

    fn visit_i64<E: de::Error>(self, number: i64) -> Result<(), E> {
        if number.unsigned_abs() > LARGEST_NUMBER {
            return self.refuse(Wrong::BigNumber);
        }
        Ok(())
    }

    fn visit_u64<E: de::Error>(self, number: u64) -> Result<(), E> {
        if number > LARGEST_NUMBER {
            return self.refuse(Wrong::BigNumber);
        }
        Ok(())
    }

    fn visit_f64<E: de::Error>(self, _: f64) -> Result<(), E> {
        self.refuse(Wrong::Fraction)
    }

    fn visit_str<E: de::Error>(self, _: &str) -> Result<(), E> {
        Ok(())
    }

    fn visit_unit<E: de::Error>(self) -> Result<(), E> {
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<(), A::Error> {
        while items.next_element_seed(self)?.is_some() {}
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let mut keys = HashSet::new();
        while let Some(key) = map.next_key::<String>()? {
            if keys.contains(&key) {
                return self.refuse(Wrong::DuplicateKey { key });
            }
            keys.insert(key);
            map.next_value_seed(self)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_a_record_may_hold_pass() {
        for json in [r#"{"a":[1,-2,null,true,"x"],"b":{"a":9007199254740991}}"#, "[]", r#"{"a":-9007199254740991}"#] {
            assert_eq!(check(json.as_bytes()), Ok(()), "{json}");
        }
    }

    #[test]
    fn equal_keys_are_refused_even_when_one_is_escaped() {
        let wrong = || Wrong::DuplicateKey { key: "seq".to_owned() };
        assert_eq!(check(br#"{"seq":1,"seq":2}"#), Err(wrong()));
        assert_eq!(check(br#"{"seq":1,"\u0073eq":2}"#), Err(wrong()));
        assert_eq!(check(br#"{"x":[{"seq":1,"seq":1}]}"#), Err(wrong()));
    }

    #[test]
    fn numbers_that_readers_disagree_on_are_refused() {
        for json in ["9007199254740992", "-9007199254740992"] {
            assert_eq!(check(json.as_bytes()), Err(Wrong::BigNumber), "{json}");
        }
        for json in ["0.1", "1.0", "-0.0", "-0", "1e3", "99999999999999999999999"] {
            assert_eq!(check(json.as_bytes()), Err(Wrong::Fraction), "{json}");
        }
    }

    #[test]
    fn what_is_no_json_is_refused() {
        let deep = "[".repeat(100_000);
        for json in ["", "NaN", r#"{"s":"\ud800"}"#, r#"{"a":1,}"#, r#"{"a":1}{"b":2}"#, "1e400", deep.as_str()] {
            assert!(matches!(check(json.as_bytes()), Err(Wrong::NotJson { .. })), "{}", &json[..json.len().min(20)]);
        }
    }
}
