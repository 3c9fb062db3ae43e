//! What the totals show, and what they cannot.
//!
//! The operating system shows less than is fitted: one 64-byte structure a 4 KiB page, what firmware and kernel keep,
//! and a crash kernel of unknown size. The window below holds all 16 measured x86 and ARM pairs of fitted and shown
//! memory that were collected for it (loss 1.43 % to 3.20 %); on Itanium and POWER it does not hold and is not used.

use std::collections::BTreeMap;

use crate::plan::Plan;
use crate::snapshot::{SlotReport, SlotState, Snapshot};
use crate::units::Size;

use super::finding::{Finding, FindingKind, Grave};

/// What firmware and kernel keep at most apart from page structures and crash kernel, in KiB: 2 GiB + 64 MiB …
const KEPT_KIB: u64 = (2048 + 64) * 1024;
/// … and 1/256 of the memory.
const KEPT_SHARE: u64 = 256;
/// Blocks near the top or around reserved ranges may be there in part; a block has at most 2 GiB on x86 (linux 6.1,
/// arch/x86/mm/init_64.c).
const BLOCK_MIB: u64 = 2048;

/// What `MemTotal` may be for an amount of working memory, in KiB.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    pub least_kib: u64,
    pub most_kib: u64,
}

impl Window {
    /// The window for `fitted`, with a crash kernel of `crash_kib` KiB at most.
    pub fn of(fitted: Size, crash_kib: u64) -> Self {
        let kib = fitted.mib() * 1024;
        let kept = KEPT_KIB + kib / KEPT_SHARE + crash_kib;
        Self {
            least_kib: (kib - kib / 64).saturating_sub(kept),
            // 56 bytes a page was the smallest page structure.
            most_kib: kib - kib / 4096 * 56,
        }
    }

    /// The window for `fitted` when nobody says how large the crash kernel is.
    pub fn with_unknown_crash_kernel(fitted: Size) -> Self {
        Self::of(fitted, crash_kernel_kib(fitted))
    }

    /// Whether `kib` is in it.
    pub fn holds(&self, kib: u64) -> bool {
        (self.least_kib..=self.most_kib).contains(&kib)
    }
}

/// The largest crash kernel that a distribution's default sets aside for so much memory, in KiB.
/// Source: the `crashkernel=` ranges of an Ubuntu host, the largest of those collected.
fn crash_kernel_kib(fitted: Size) -> u64 {
    const STEPS: [(u64, u64); 5] = [(2, 0), (4, 320), (32, 512), (64, 1024), (128, 2048)];
    let gib = fitted.mib() / 1024;
    STEPS.iter().find(|(below, _)| gib < *below).map_or(4096, |(_, mib)| *mib) * 1024
}

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

/// Whether the window holds for this machine at all.
fn window_applies(snapshot: &Snapshot) -> bool {
    !snapshot.host.cpus.iter().any(|cpu| {
        let text =
            format!("{} {}", cpu.maker.as_deref().unwrap_or_default(), cpu.version.as_deref().unwrap_or_default());
        let text = text.to_ascii_uppercase();
        text.contains("ITANIUM") || text.contains("POWER")
    })
}

/// Judges the totals against what the slots report. A total that is short by less than the smallest fitted module is
/// common (holes, reserved memory); one that is larger than the sum is firmware nonsense and a note.
pub(super) fn against_slots(snapshot: &Snapshot, notes: &mut Vec<String>) -> Option<Finding> {
    let fitted = || snapshot.slots.iter().filter(|slot| slot.state == SlotState::Fitted);
    if fitted().any(|slot| slot.kind == Some(crate::module::Kind::NVDIMM)) {
        notes.push("totals not judged: non-volatile modules may be mapped in part or not at all".to_owned());
        return None;
    }
    let working: u64 = fitted().filter_map(|slot| slot.size_mib).sum();
    let smallest = fitted().filter_map(|slot| slot.size_mib).filter(|mib| *mib > 0).min()?;
    let totals = &snapshot.totals;
    let mut short = Vec::new();
    if let Some(mapped) = totals.mapped_mib {
        if mapped + smallest <= working {
            short.push(("smbios type 19, ending address", mapped));
        } else if mapped > working {
            notes.push(format!(
                "the firmware maps {}, more than the {} it reports in slots: known from sound machines",
                Size::from_mib(mapped),
                Size::from_mib(working)
            ));
        }
    }
    if let Some(blocks) = totals.blocks_mib
        && blocks + smallest.max(BLOCK_MIB) <= working
    {
        short.push(("memory blocks, online", blocks));
    }
    if let Some(os) = totals.os_kib
        && window_applies(snapshot)
        && os < Window::with_unknown_crash_kernel(Size::from_mib(working)).least_kib
    {
        short.push(("proc/meminfo, MemTotal", os / 1024));
    }
    let (source, total) = *short.first()?;
    let all: Vec<String> = short.iter().map(|(from, mib)| format!("{} ({from})", Size::from_mib(*mib))).collect();
    let cause = cause_of(working, total, &snapshot.slots);
    Some(Finding {
        kind: FindingKind::ShortTotal,
        slot: None,
        module: None,
        planned: Some(format!("{}, the sum of the slots reported as working", Size::from_mib(working))),
        reported: Some(all.join(", ")),
        source: source.to_owned(),
        grave: Grave::Stop,
        next: match (cause, source) {
            (Some(cause), _) => format!("{cause} Look it up in the firmware's setup; if it is off, look at the error log for a module that is shut off."),
            (None, "proc/meminfo, MemTotal" | "memory blocks, online") => {
                "The firmware maps all of it and the system uses less: look for a mem= limit on the kernel's command line \
                 and for offline memory."
                    .to_owned()
            }
            (None, _) => "The firmware uses less than it reports in the slots: look at its error log for a module that \
                          is shut off, and in its setup for mirroring or sparing."
                .to_owned(),
        },
    })
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
    let total = format!("{} ({})", Size::from_mib(read.shown_mib), read.source);
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
    shown_mib: u64,
    source: &'static str,
}

fn installed(snapshot: &Snapshot, capacity: Size) -> Option<Bounds> {
    // Blocks are near to the physical size; the kernel's total is the last resort.
    if let Some(blocks) = snapshot.totals.blocks_mib {
        return Some(Bounds {
            least_mib: blocks.saturating_sub(BLOCK_MIB),
            most_mib: blocks + BLOCK_MIB,
            shown_mib: blocks,
            source: "memory blocks, online",
        });
    }
    let os = snapshot.totals.os_kib.filter(|_| window_applies(snapshot))?;
    let crash = crash_kernel_kib(capacity);
    // The window, turned round: least = kib × (1 − 1/64 − 1/256) − kept, most = kib × (1 − 56/4096).
    let most = (os + KEPT_KIB + crash).saturating_mul(256) / 251;
    let least = os.saturating_mul(4096) / 4040;
    Some(Bounds {
        least_mib: least / 1024,
        most_mib: most / 1024,
        shown_mib: os / 1024,
        source: "proc/meminfo, MemTotal",
    })
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

    #[test]
    fn one_of_many_cannot_be_proven_by_the_kernels_total() {
        // 1.5 TiB with one module of 8 GiB: the window is wider than the module.
        let full = Window::with_unknown_crash_kernel(Size::from_gib(1536));
        let kib = (1536 - 8) * 1024 * 1024 / 64 * 63;
        assert!(full.holds(kib));
        // 8 modules of 32 GiB: one missing is outside.
        let full = Window::with_unknown_crash_kernel(Size::from_gib(256));
        assert!(!full.holds((256 - 32) * 1024 * 1024 / 64 * 63));
    }
}
