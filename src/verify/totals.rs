//! What the totals show, and what they cannot.
//!
//! More is proof, less is only a hint: memory that the system uses is there, whatever another source says of it. So a
//! total that only all modules together give outweighs a smaller one, and the contradiction is a note.

use std::collections::BTreeMap;

use crate::plan::Plan;
use crate::snapshot::{SlotReport, SlotState, Snapshot, shortfall_of_a_module};
use crate::units::Size;

use super::finding::{Finding, FindingKind, Grave};
use super::window::{Window, window_applies, working_kib};

const MAPPED: &str = "smbios type 19, ending address";
const BLOCKS: &str = "memory blocks, online";
const MEM_TOTAL: &str = "proc/meminfo, MemTotal";

/// Blocks near the top or around reserved ranges may be there in part; a block has at most 2 GiB on x86 (linux 6.1,
/// arch/x86/mm/init_64.c).
const BLOCK_MIB: u64 = 2048;

/// One way to explain a shortfall: how many modules of each size are not there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Explanation(pub Vec<(Size, u32)>);

impl Explanation {
    fn count(&self) -> u32 {
        self.0.iter().map(|(_, count)| count).sum()
    }
}

impl std::fmt::Display for Explanation {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (n, (size, count)) in self.0.iter().enumerate() {
            let and = if n > 0 { " and " } else { "" };
            write!(f, "{and}{count} x {size}")?;
        }
        Ok(())
    }
}

/// Which numbers of which planned modules make up a shortfall between `least` and `most`, fewest modules first, four at
/// most. `None` when there are too many combinations to go through.
pub fn explain(planned: &BTreeMap<Size, u32>, least: Size, most: Size) -> Option<Vec<Explanation>> {
    const MOST_COMBINATIONS: u64 = 1 << 16;
    let combinations = planned.values().try_fold(1u64, |all, count| all.checked_mul(u64::from(*count) + 1))?;
    if combinations > MOST_COMBINATIONS {
        return None;
    }
    let kinds: Vec<(Size, u32)> = planned.iter().map(|(size, count)| (*size, *count)).collect();
    let mut found = Vec::new();
    for mut code in 1..combinations {
        let mut taken = Vec::new();
        for (size, count) in kinds.iter().rev() {
            let radix = u64::from(*count) + 1;
            let n = (code % radix) as u32;
            code /= radix;
            if n > 0 {
                taken.push((*size, n));
            }
        }
        let sum: u64 = taken.iter().map(|(size, n)| size.mib() * u64::from(*n)).sum();
        if (least.mib()..=most.mib()).contains(&sum) {
            found.push(Explanation(taken));
        }
    }
    found.sort_by_key(Explanation::count);
    found.truncate(4);
    Some(found)
}

/// One total, against the sum of the modules that should make it.
struct Total {
    source: &'static str,
    mib: u64,
    /// At least one module less than the sum, as far as this source can show it.
    short: bool,
    /// More than the modules give when any one of them does not work, and in use.
    proves_all: bool,
}

impl std::fmt::Display for Total {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} ({})", Size::from_mib(self.mib), self.source)
    }
}

/// The totals of a snapshot against modules of `sum` MiB, the smallest of `smallest`.
fn totals(snapshot: &Snapshot, sum: u64, smallest: u64) -> Vec<Total> {
    let short_by = shortfall_of_a_module(smallest);
    let mapped = snapshot.totals.mapped_mib.map(|mib| Total {
        source: MAPPED,
        mib,
        short: mib.saturating_add(short_by) <= sum,
        proves_all: false,
    });
    // One block at the top and one at the hole may count in full and be there in part.
    let blocks = snapshot.totals.blocks_mib.map(|mib| Total {
        source: BLOCKS,
        mib,
        short: mib.saturating_add(short_by.max(BLOCK_MIB).max(smallest.saturating_sub(BLOCK_MIB))) <= sum,
        proves_all: mib.saturating_add(smallest / 2) > sum.saturating_add(BLOCK_MIB),
    });
    let os = snapshot.totals.os_kib.filter(|_| window_applies(snapshot)).map(|kib| Total {
        source: MEM_TOTAL,
        mib: kib / 1024,
        short: kib < Window::with_unknown_crash_kernel(Size::from_mib(sum)).least_kib,
        proves_all: kib > Window::of(Size::from_mib(sum.saturating_sub(smallest)), 0).most_kib,
    });
    // What the system has in use says most.
    [os, blocks, mapped].into_iter().flatten().collect()
}

/// Judges the totals against what the slots report. A total that is short by clearly less than the smallest fitted module
/// is common (holes, reserved memory); one that is larger than the sum is firmware nonsense and a note.
pub(super) fn against_slots(snapshot: &Snapshot, notes: &mut Vec<String>) -> Option<Finding> {
    let fitted = || snapshot.slots.iter().filter(|slot| slot.state == SlotState::Fitted);
    if fitted().any(|slot| slot.kind == Some(crate::module::Kind::NVDIMM)) {
        notes.push("totals not judged: non-volatile modules may be mapped in part or not at all".to_owned());
        return None;
    }
    let working: u64 = fitted().filter_map(|slot| slot.size_mib).sum();
    let smallest = fitted().filter_map(|slot| slot.size_mib).filter(|mib| *mib > 0).min()?;
    let all = totals(snapshot, working, smallest);
    let mapped = all.iter().find(|total| total.source == MAPPED);
    if let Some(mapped) = mapped.filter(|mapped| mapped.mib > working) {
        notes.push(format!(
            "the firmware maps {}, more than the {} it reports in slots: known from sound machines",
            Size::from_mib(mapped.mib),
            Size::from_mib(working)
        ));
    }
    let mut short: Vec<&Total> = all.iter().filter(|total| total.short).collect();
    if let Some(proof) = all.iter().find(|total| total.proves_all) {
        let weaker: Vec<String> =
            short.iter().rev().filter(|total| total.source != MEM_TOTAL).map(ToString::to_string).collect();
        if !weaker.is_empty() {
            notes.push(format!(
                "the totals contradict each other: {}, but {proof}; the system cannot use that much unless every module \
                 works, so the smaller total is not a finding",
                weaker.join(", ")
            ));
        }
        short.retain(|total| total.source == MEM_TOTAL);
    }
    let first = *short.last()?;
    let shown: Vec<String> = short.iter().rev().map(ToString::to_string).collect();
    let cause = cause_of(working, first.mib, &snapshot.slots);
    Some(Finding {
        kind: FindingKind::ShortTotal,
        slot: None,
        module: None,
        planned: Some(format!("{}, the sum of the slots reported as working", Size::from_mib(working))),
        reported: Some(shown.join(", ")),
        source: first.source.to_owned(),
        grave: Grave::Stop,
        next: match cause {
            Some(cause) => format!("{cause} Look it up in the firmware's setup; if it is off, look at the error log for a module that is shut off."),
            None if mapped.is_some_and(|mapped| !mapped.short) => {
                "The firmware maps all of it and the system uses less: look for a mem= limit on the kernel's command line \
                 and for offline memory."
                    .to_owned()
            }
            None if first.source != MAPPED => "The system uses less than the slots hold: look at the firmware's error log for \
                          a module that is shut off, and for a mem= limit on the kernel's command line."
                .to_owned(),
            None => "The firmware uses less than it reports in the slots: look at its error log for a module that is shut \
                     off, and in its setup for mirroring or sparing."
                .to_owned(),
        },
    })
}

/// Whether the system uses more than it can without the modules that are reported as not used, in words.
pub(super) fn used_though_off(snapshot: &Snapshot) -> Option<String> {
    let holding = || snapshot.slots.iter().filter(|slot| matches!(slot.state, SlotState::Fitted | SlotState::ShutOff));
    let sizes: Vec<u64> = holding().map(|slot| slot.size_mib.filter(|mib| *mib > 0)).collect::<Option<_>>()?;
    let off = holding().filter(|slot| slot.state == SlotState::ShutOff).filter_map(|slot| slot.size_mib).min()?;
    let proof = totals(snapshot, sizes.iter().sum(), off).into_iter().find(|total| total.proves_all)?;
    Some(format!("the sources contradict each other: the system has {proof}, which it cannot have without this module"))
}

/// Mirroring halves the memory; sparing keeps back one rank a channel. Channels are not known to the report, so sparing
/// is told by the shortfall being a whole number of ranks.
fn cause_of(working: u64, total: u64, slots: &[SlotReport]) -> Option<&'static str> {
    let near = |a: u64, b: u64| a.abs_diff(b) <= working / 64;
    if near(total * 2, working) {
        return Some("The total is half of what is fitted, as with memory mirroring.");
    }
    let short = working.saturating_sub(total);
    let mut ranks = slots
        .iter()
        .filter(|slot| slot.state == SlotState::Fitted)
        .filter_map(|slot| Some(slot.size_mib? / u64::from(slot.ranks.filter(|ranks| *ranks > 1)?)));
    let rank = ranks.next()?;
    let count = slots.iter().filter(|slot| slot.state == SlotState::Fitted).count() as u64;
    let alike = rank > 0 && ranks.all(|other| other == rank);
    // One rank a channel of one to three modules each.
    let spares = |per_channel: u64| count.is_multiple_of(per_channel) && near(short, rank * (count / per_channel));
    (alike && (1..=3).any(spares)).then_some("The total is short by one rank a channel, as with rank sparing.")
}

/// Judges the totals against the plan when the report has no slots. Always a finding: what was not compared is not as
/// planned.
pub(super) fn against_plan(plan: &Plan, snapshot: &Snapshot) -> Finding {
    let capacity = plan.capacity();
    let mut sizes: BTreeMap<Size, u32> = BTreeMap::new();
    for slot in &plan.slot {
        *sizes.entry(slot.module.spec.gib).or_default() += 1;
    }
    let Some(read) = installed(snapshot, capacity) else {
        return no_slots(plan, "no total could be read either".to_owned(), "snapshot, slots".to_owned());
    };
    let short_least = Size::from_mib(capacity.mib().saturating_sub(read.most_mib));
    let short_most = Size::from_mib(capacity.mib().saturating_sub(read.least_mib));
    let total = &read.shown;
    if short_least.mib() == 0 {
        let provable = sizes.keys().next().is_none_or(|smallest| short_most < *smallest);
        let says = if provable {
            format!("a total of {total} fits only if all planned modules work; which slot each is in is not shown")
        } else {
            format!("a total of {total} fits the plan, and cannot tell whether one module is missing")
        };
        return no_slots(plan, says, read.source.to_owned());
    }
    let words = match explain(&sizes, short_least, short_most) {
        None => "too many combinations of planned modules would explain it".to_owned(),
        Some(ways) if ways.is_empty() => "no number of planned modules explains it".to_owned(),
        Some(ways) => {
            let ways: Vec<String> = ways.iter().map(ToString::to_string).collect();
            format!("explained by {} not working", ways.join(", or "))
        }
    };
    Finding {
        kind: FindingKind::ShortTotal,
        slot: None,
        module: None,
        planned: Some(capacity.to_string()),
        reported: Some(format!("{total}; {words}")),
        source: read.source.to_owned(),
        grave: Grave::Stop,
        next:
            "Nothing here says which module it is, so open nothing yet. Capture again with the right to read the firmware's \
             table (as root), which names the slots; where there is none, its setup pages or its error log name them."
                .to_owned(),
    }
}

/// Bounds of the working memory that a total allows.
struct Bounds {
    least_mib: u64,
    most_mib: u64,
    shown: String,
    source: &'static str,
}

fn installed(snapshot: &Snapshot, capacity: Size) -> Option<Bounds> {
    let blocks = snapshot.totals.blocks_mib.map(|mib| Bounds {
        least_mib: mib.saturating_sub(BLOCK_MIB),
        most_mib: mib + BLOCK_MIB,
        shown: format!("{} ({BLOCKS})", Size::from_mib(mib)),
        source: BLOCKS,
    });
    let os = snapshot.totals.os_kib.filter(|_| window_applies(snapshot)).map(|kib| {
        let (least, most) = working_kib(kib, capacity);
        Bounds {
            least_mib: least / 1024,
            most_mib: most / 1024,
            shown: format!("{} ({MEM_TOTAL})", Size::from_mib(kib / 1024)),
            source: MEM_TOTAL,
        }
    });
    match (blocks, os) {
        (Some(blocks), Some(os)) if os.least_mib > blocks.most_mib => {
            Some(Bounds { shown: format!("{}, contradicted by {},", os.shown, blocks.shown), ..os })
        }
        // Blocks are near to the physical size; the kernel's total is the last resort.
        (blocks, os) => blocks.or(os),
    }
}

fn no_slots(plan: &Plan, says: String, source: String) -> Finding {
    let why = "Capture again with the right to read the firmware's table (as root), which names the slots.";
    Finding {
        kind: FindingKind::UnknownSlot,
        slot: None,
        module: None,
        planned: Some(format!("{} modules, {}", plan.slot.len(), plan.capacity())),
        reported: Some(format!("no slots; {says}")),
        source,
        grave: Grave::Look,
        next: why.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sizes(of: &[(u64, u32)]) -> BTreeMap<Size, u32> {
        of.iter().map(|(gib, count)| (Size::from_gib(*gib), *count)).collect()
    }

    fn explained(of: &[(u64, u32)], least: u64, most: u64) -> Vec<String> {
        let ways = explain(&sizes(of), Size::from_gib(least), Size::from_gib(most)).unwrap();
        ways.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_shortfall_is_explained_by_the_fewest_modules() {
        assert_eq!(explained(&[(32, 8)], 30, 40), ["1 x 32 GiB"]);
        assert_eq!(explained(&[(16, 4), (64, 4)], 60, 66), ["1 x 64 GiB", "4 x 16 GiB"]);
        assert_eq!(explained(&[(32, 8)], 33, 60), Vec::<String>::new());
        assert_eq!(explained(&[(16, 2), (32, 1)], 48, 48), ["1 x 32 GiB and 1 x 16 GiB"]);
    }

    #[test]
    fn too_many_combinations_are_not_gone_through() {
        let many: Vec<(u64, u32)> = (1..=9).map(|gib| (gib, 9)).collect();
        assert_eq!(explain(&sizes(&many), Size::from_gib(1), Size::from_gib(2)), None);
    }
}
