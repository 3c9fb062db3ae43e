//! When two identities are the same.

/// Whether two serials name the same module: equal texts after trimming, or both exactly eight hexadecimal digits of the
/// same value. Serials are text: leading zeros count, and nothing is guessed.
pub fn serials_equal(one: &str, other: &str) -> bool {
    let (one, other) = (one.trim(), other.trim());
    one == other || (is_eeprom_form(one) && is_eeprom_form(other) && one.eq_ignore_ascii_case(other))
}

/// Whether two part numbers are the same: equal after trimming, letter case aside.
pub fn parts_equal(one: &str, other: &str) -> bool {
    one.trim().eq_ignore_ascii_case(other.trim())
}

/// Whether a serial is written as the four bytes of a module's EEPROM.
pub(super) fn is_eeprom_form(serial: &str) -> bool {
    let serial = serial.trim();
    serial.len() == 8 && serial.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// A serial in the form that equal serials share.
pub(super) fn serial_key(serial: &str) -> String {
    let serial = serial.trim();
    if is_eeprom_form(serial) { serial.to_ascii_uppercase() } else { serial.to_owned() }
}

/// A part number in the form that equal ones share.
pub(super) fn part_key(part: &str) -> String {
    part.trim().to_ascii_uppercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn serials_are_equal_by_text_or_as_the_same_four_bytes() {
        for (one, other) in [("0C0DE001", "0c0de001"), (" S1 ", "S1"), ("0012", "0012")] {
            assert!(serials_equal(one, other), "{one} {other}");
            assert_eq!(serial_key(one), serial_key(other));
        }
        for (one, other) in [("0012", "12"), ("abc", "ABC"), ("0C0DE001", "0C0DE00l"), ("0x0C0DE001", "0C0DE001")] {
            assert!(!serials_equal(one, other), "{one} {other}");
            assert_ne!(serial_key(one), serial_key(other));
        }
    }

    #[test]
    fn parts_are_equal_but_for_case_and_padding() {
        assert!(parts_equal("om4r32-2R4 ", "OM4R32-2R4"));
        assert!(!parts_equal("OM4R32-2R4", "OM4R32-2R4-A"));
    }
}
