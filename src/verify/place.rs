//! One slot with what the plan wants in it and what the report says of it.

use crate::board::{SlotLabel, SlotRef};
use crate::module::{Identity, Kind};
use crate::plan::PlanSlot;
use crate::snapshot::{SlotReport, SlotState};

use super::identity::{is_eeprom_form, part_key, parts_equal, serial_key, serials_equal};

/// One slot of the board.
#[derive(Debug, Clone)]
pub(super) struct Place<'a> {
    pub at: SlotRef<'a>,
    pub planned: Option<&'a PlanSlot>,
    pub scanned: Option<&'a Identity>,
    pub report: Option<&'a SlotReport>,
    /// Whether its expected serial is expected in this slot alone; one that is expected twice tells nothing.
    pub serial_tells: bool,
    /// Whether the module that is in it belongs elsewhere and a finding says so.
    pub displaced: bool,
    /// Whether its own module was found elsewhere and a finding says so.
    pub found_elsewhere: bool,
}

/// How expected and reported serial compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Serials {
    Same,
    Differ,
    /// The part is the same, and one serial is written as EEPROM bytes while the other is not.
    OtherForm,
    /// Expected, and the firmware does not say.
    Unreadable,
    /// Neither plan nor scan name one.
    NotExpected,
}

impl<'a> Place<'a> {
    pub fn label(&self) -> &'a SlotLabel {
        &self.at.slot.label
    }

    pub fn state(&self) -> Option<SlotState> {
        self.report.map(|report| report.state)
    }

    /// Reported as empty, or not at all.
    pub fn shows_no_module(&self) -> bool {
        matches!(self.state(), None | Some(SlotState::Empty))
    }

    pub fn is_fitted(&self) -> bool {
        self.state() == Some(SlotState::Fitted)
    }

    /// The serial that should be here and in no other slot: scanned, else planned.
    pub fn expected_serial(&self) -> Option<&'a str> {
        self.wanted_serial().filter(|_| self.serial_tells)
    }

    /// The serial that should be here, be it expected elsewhere too.
    pub fn wanted_serial(&self) -> Option<&'a str> {
        let planned = self.planned?;
        let scanned = self.scanned.and_then(|scanned| scanned.serial.as_deref());
        named(scanned.or(planned.module.identity.serial.as_deref()))
    }

    /// The part that should be here: scanned, else planned.
    pub fn expected_part(&self) -> Option<&'a str> {
        let planned = self.planned?;
        let scanned = self.scanned.and_then(|scanned| scanned.part.as_deref());
        named(scanned.or(planned.module.identity.part.as_deref()))
    }

    pub fn reported_serial(&self) -> Option<&'a str> {
        named(self.report?.serial.as_deref())
    }

    pub fn reported_part(&self) -> Option<&'a str> {
        named(self.report?.part.as_deref())
    }

    /// Expected and reported identity, in the form equal ones share, at one level.
    pub fn key(&self, level: Level) -> (Option<String>, Option<String>) {
        match level {
            Level::Serial => (self.expected_serial().map(serial_key), self.reported_serial().map(serial_key)),
            Level::Part => (self.expected_part().map(part_key), self.reported_part().map(part_key)),
            Level::Size => (
                self.planned.map(|planned| planned.module.spec.gib.mib().to_string()),
                self.report.and_then(|report| report.size_mib).map(|mib| mib.to_string()),
            ),
        }
    }

    pub fn serials(&self) -> Serials {
        match (self.expected_serial(), self.reported_serial()) {
            (None, _) => Serials::NotExpected,
            (Some(_), None) => Serials::Unreadable,
            (Some(expected), Some(reported)) if serials_equal(expected, reported) => Serials::Same,
            (Some(expected), Some(reported)) => {
                let same_part = matches!((self.expected_part(), self.reported_part()),
                    (Some(expected), Some(reported)) if parts_equal(expected, reported));
                if same_part && is_eeprom_form(expected) != is_eeprom_form(reported) {
                    Serials::OtherForm
                } else {
                    Serials::Differ
                }
            }
        }
    }

    /// Planned and reported size in MiB, where both are known and differ.
    pub fn sizes_differ(&self) -> Option<(u64, u64)> {
        let planned = self.planned?.module.spec.gib.mib();
        let reported = self.report?.size_mib?;
        (planned != reported).then_some((planned, reported))
    }

    pub fn parts_differ(&self) -> bool {
        matches!((self.expected_part(), self.reported_part()), (Some(e), Some(r)) if !parts_equal(e, r))
    }

    pub fn kinds_differ(&self) -> bool {
        let (Some(planned), Some(report)) = (self.planned, self.report) else { return false };
        let spec = &planned.module.spec;
        let generation = matches!((spec.generation, report.generation), (Some(p), Some(r)) if p != r);
        let kind = matches!((spec.kind, report.kind), (Some(p), Some(r)) if !shown_alike(p, r));
        generation || kind
    }

    pub fn ranks_differ(&self) -> bool {
        let (Some(planned), Some(report)) = (self.planned, self.report) else { return false };
        matches!((planned.module.spec.ranks, report.ranks), (Some(p), Some(r)) if p != r)
    }
}

/// How modules are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Level {
    Serial,
    Part,
    Size,
}

fn named(text: Option<&str>) -> Option<&str> {
    text.map(str::trim).filter(|text| !text.is_empty())
}

/// Whether firmware shows a planned kind as the reported one: no field of SMBIOS type 17 tells a stacked or a
/// multiplexed-rank module from a plain one (DSP0134 7.18.3).
fn shown_alike(planned: Kind, reported: Kind) -> bool {
    let plain = |kind| match kind {
        Kind::Rdimm3ds | Kind::MRDIMM => Kind::RDIMM,
        Kind::Lrdimm3ds => Kind::LRDIMM,
        other => other,
    };
    plain(planned) == plain(reported)
}
