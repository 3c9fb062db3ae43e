//! What the operating system may show of an amount of working memory.
//!
//! It shows less than is fitted: one 64-byte structure a 4 KiB page, what firmware and kernel keep, and a crash kernel of
//! unknown size. The window below holds all 16 measured x86 and ARM pairs of fitted and shown memory that were collected
//! for it (loss 1.43 % to 3.20 %); on Itanium and POWER it does not hold and is not used.

use crate::snapshot::Snapshot;
use crate::units::Size;

/// What firmware and kernel keep at most apart from page structures and crash kernel, in KiB: 2 GiB + 64 MiB …
const KEPT_KIB: u64 = (2048 + 64) * 1024;
/// … and 1/256 of the memory.
const KEPT_SHARE: u64 = 256;
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

/// The least and the most memory that works when the system shows `os_kib`, in KiB, where `capacity` is planned.
pub(super) fn working_kib(os_kib: u64, capacity: Size) -> (u64, u64) {
    // The window, turned round: least = kib × (1 − 1/64 − 1/256) − kept, most = kib × (1 − 56/4096).
    let most = (os_kib + KEPT_KIB + crash_kernel_kib(capacity)).saturating_mul(256) / 251;
    (os_kib.saturating_mul(4096) / 4040, most)
}

/// Whether the window holds for this machine at all.
pub(super) fn window_applies(snapshot: &Snapshot) -> bool {
    !snapshot.host.cpus.iter().any(|cpu| {
        let text =
            format!("{} {}", cpu.maker.as_deref().unwrap_or_default(), cpu.version.as_deref().unwrap_or_default());
        let text = text.to_ascii_uppercase();
        text.contains("ITANIUM") || text.contains("POWER")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

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
