//! Which line of the report is which slot of the board.

use std::collections::BTreeMap;

use crate::board::{Board, ReportsAs, SlotRef};
use crate::snapshot::SlotReport;

/// For each slot in board order the index of its line in the report; and the lines that are no slot of the board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Matched {
    pub report_of: Vec<Option<usize>>,
    pub strangers: Vec<usize>,
}

/// Finds each slot's line: by locator where the report has it once, by locator and bank, and by the order of the handles
/// among lines that are named alike.
pub(super) fn match_slots(board: &Board, reports: &[SlotReport]) -> Matched {
    let slots: Vec<SlotRef<'_>> = board.slots().collect();
    let mut report_of = vec![None; slots.len()];
    let mut taken = vec![false; reports.len()];
    // Slots whose name several lines carry, by the name they share.
    let mut alike: BTreeMap<(String, Option<String>), Vec<usize>> = BTreeMap::new();
    for at in &slots {
        let own = [ReportsAs::Locator(at.slot.label.as_str().to_owned())];
        let names = if at.slot.reports_as.is_empty() { own.as_slice() } else { at.slot.reports_as.as_slice() };
        for name in names {
            let lines: Vec<usize> = (0..reports.len()).filter(|line| carries(&reports[*line], name)).collect();
            match lines.as_slice() {
                [] => continue,
                [line] if !taken[*line] => {
                    taken[*line] = true;
                    report_of[at.index] = Some(*line);
                }
                [_] => continue,
                _ => {
                    let key = (name.locator().trim().to_owned(), name.bank().map(|bank| bank.trim().to_owned()));
                    alike.entry(key).or_default().push(at.index);
                }
            }
            break;
        }
    }
    for ((locator, bank), indexes) in alike {
        let mut lines: Vec<usize> = (0..reports.len())
            .filter(|line| !taken[*line] && is_named(&reports[*line], &locator, bank.as_deref()))
            .collect();
        lines.sort_by_key(|line| (reports[*line].handle, *line));
        for (index, line) in indexes.into_iter().zip(lines) {
            taken[line] = true;
            report_of[index] = Some(line);
        }
    }
    let strangers = (0..reports.len()).filter(|line| !taken[*line]).collect();
    Matched { report_of, strangers }
}

fn carries(report: &SlotReport, name: &ReportsAs) -> bool {
    is_named(report, name.locator(), name.bank())
}

fn is_named(report: &SlotReport, locator: &str, bank: Option<&str>) -> bool {
    let trimmed = |text: &Option<String>| text.as_deref().unwrap_or_default().trim().to_owned();
    trimmed(&report.locator) == locator.trim() && bank.is_none_or(|bank| trimmed(&report.bank) == bank.trim())
}

/// For each slot of a board in its order, the index of its line among those a machine reports.
pub fn lines_of_slots(board: &Board, reports: &[SlotReport]) -> Vec<Option<usize>> {
    match_slots(board, reports).report_of
}
