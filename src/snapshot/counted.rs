//! What is known of errors: a number only where a counter was read. No counter is "not known", never zero.

use serde::Serialize;

use super::merge::source_name;
use super::{ErrorCount, SlotReport, SlotState, Snapshot};

/// Errors counted at one slot. `None`: not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counted {
    pub corrected: Option<u64>,
    pub uncorrected: Option<u64>,
}

/// For how many modules the error counters were read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Watched {
    pub modules: usize,
    pub of: usize,
}

impl ErrorCount {
    /// Whether it is of a counter. The firmware's table records single errors, so what it does not record may have happened.
    fn is_counter(&self) -> bool {
        self.source != source_name::SMBIOS
    }

    fn known(&self, count: Option<u64>) -> Option<u64> {
        count.filter(|count| *count > 0 || self.is_counter())
    }

    /// Whether any error was counted.
    pub fn any(&self) -> bool {
        self.corrected.max(self.uncorrected) > Some(0)
    }

    /// `12 corrected, 0 uncorrected`, as far as it is known.
    pub fn words(&self) -> String {
        let words = |count: Option<u64>, word| match self.known(count) {
            Some(count) => format!("{count} {word}"),
            None => format!("{word} not known"),
        };
        format!("{}, {}", words(self.corrected, "corrected"), words(self.uncorrected, "uncorrected"))
    }
}

impl Snapshot {
    /// What was counted at a slot. A locator that several slots share names none of them.
    pub fn counted_at(&self, slot: &SlotReport) -> Counted {
        let same = |name: &str| slot.locator.as_deref() == Some(name);
        let alone = self.slots.iter().filter(|other| other.locator.as_deref().is_some_and(same)).count() == 1;
        let sum = |of: fn(&ErrorCount) -> Option<u64>| {
            let own = self.counts.iter().filter(|count| alone && same(&count.locator));
            own.filter_map(|count| count.known(of(count))).reduce(u64::saturating_add)
        };
        Counted { corrected: sum(|count| count.corrected), uncorrected: sum(|count| count.uncorrected) }
    }

    /// How many modules have their errors counted; which slot a counter belongs to need not be known for that.
    pub fn watched(&self) -> Watched {
        let fitted = self.slots.iter().filter(|slot| slot.state == SlotState::Fitted).count();
        let read = |count: &&ErrorCount| count.is_counter() && count.corrected.is_some() && count.uncorrected.is_some();
        let modules = self.counts.iter().filter(read).count();
        Watched { modules, of: fitted.max(modules) }
    }
}

impl Watched {
    /// What is not known, in words.
    pub fn unknown(&self) -> Option<String> {
        match self.of - self.modules {
            _ if self.modules == 0 => Some("errors are not known: no error counter could be read".to_owned()),
            0 => None,
            left => Some(format!(
                "errors are not known for {left} of {} modules: their error counters could not be read",
                self.of
            )),
        }
    }
}
