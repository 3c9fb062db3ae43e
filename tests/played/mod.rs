//! Practice records that were played once for all tests of one binary.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::panic,
    reason = "each test binary uses its own part of it, and a check that cannot go on has failed"
)]

use std::path::PathBuf;
use std::sync::OnceLock;

use serde_json::Value;
use slotwise::draw::Look;
use slotwise::report::Wish;

use crate::program::{Bench, Ran};
use crate::told::screen;

/// Everything, in plain text.
pub const ALL: Wish = Wish { look: Look::PLAIN, items: true };
/// The module that the practice faults of seed 7 strike, and its slot.
pub const STRUCK: &str = "7A410C9A";

/// A practice record of each fault, played once for all tests.
pub struct Played {
    bench: Bench,
}

impl Played {
    pub fn get() -> &'static Self {
        static PLAYED: OnceLock<Played> = OnceLock::new();
        PLAYED.get_or_init(|| {
            let bench = Bench::new();
            for fault in ["none", "seating", "module"] {
                let args =
                    ["practice", "--auto", "--fault", fault, "--seed", "7", "--records", fault, "--spare", "none"];
                let code = bench.run(&args, b"").code;
                assert_eq!(code, i32::from(fault == "module"), "{fault}");
            }
            Self { bench }
        })
    }

    pub fn record(&self, fault: &str) -> PathBuf {
        let mut entries = std::fs::read_dir(self.bench.path(fault)).unwrap();
        entries
            .find_map(|entry| Some(entry.unwrap().path()).filter(|p| p.extension().is_some_and(|e| e == "jsonl")))
            .unwrap()
    }

    pub fn run(&self, command: &str, fault: &str, more: &[&str]) -> Ran {
        let record = self.record(fault);
        let mut args = vec![command, record.to_str().unwrap()];
        args.extend(more);
        self.bench.run(&args, b"")
    }

    pub fn json(&self, command: &str, fault: &str, more: &[&str]) -> Value {
        let mut args = more.to_vec();
        args.push("--json");
        let ran = self.run(command, fault, &args);
        screen::is_clean(ran.stdout.as_bytes(), false);
        serde_json::from_str(&ran.stdout).unwrap()
    }
}

/// Where a part stands in a text that has it.
pub fn position(text: &str, part: &str) -> usize {
    text.find(part).unwrap_or_else(|| panic!("{part:?} is not in:\n{text}"))
}
