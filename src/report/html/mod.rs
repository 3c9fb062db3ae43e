//! One record, and one slip, as a page.

use super::slip::Slip;
use super::story::Story;
use crate::board::Board;

/// The record as a page.
pub fn page(story: &Story, _board: &Board) -> String {
    story.record.job.clone()
}

/// The slip as a page.
pub fn slip_page(slip: &Slip) -> String {
    slip.serial.clone()
}
