//! What every advice says that needs hands in a machine. Worded here alone; what the steps are, the procedure says.

/// For advice to open the machine or to handle its modules.
pub const HANDS: &str = "Open the machine only by the opening and closing cards of the procedure (cords, wait, strap, \
                         covers): `slotwise install PLAN`, `resume RECORD` or `isolate RECORD`.";

/// For advice about a processor or its contacts.
pub const PROCESSOR: &str =
    "Only people qualified for it work on a processor or its socket, by the machine's service manual.";

/// Advice that needs hands in the machine, with the cards to do it by.
pub fn by_hand(advice: &str) -> String {
    format!("{advice} {HANDS}")
}
