//! The yardstick for fault isolation, written from its own definitions.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(dead_code)] // The test and the bench each use their part.

use std::sync::OnceLock;
use std::time::{Duration, Instant};

pub mod bounds;
pub mod exact;
pub mod job;
pub mod least;
pub mod machine;
pub mod policies;
pub mod sampled;

/// Time this program spent on a processor, which others on a busy machine do not add to; where the system does not tell,
/// time since the first call.
pub fn on_processor() -> Duration {
    static FIRST: OnceLock<Instant> = OnceLock::new();
    let told = std::fs::read_to_string("/proc/self/schedstat").ok();
    let spent = told.and_then(|text| text.split(' ').next()?.parse().ok()).map(Duration::from_nanos);
    spent.unwrap_or_else(|| FIRST.get_or_init(Instant::now).elapsed())
}
