//! What one confirmed step costs the disk in a real run: one write and one sync, no more and no less.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr, reason = "a check that cannot go on has failed")]

mod program;

use std::process::{Command, Stdio};

use program::{Bench, joined, whole};
use slotwise::machine::Fault;
use slotwise::record::{Event, read};

const TEST: &str = "each_confirmed_step_is_one_write_and_one_sync_before_it_is_said_to_be_saved";

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Call {
    /// A line written to the record.
    Line,
    Sync,
    /// `SAVED` written to the person.
    Saved,
}

#[test]
fn each_confirmed_step_is_one_write_and_one_sync_before_it_is_said_to_be_saved() {
    let bench = Bench::new();
    let steps = bench.steps();
    bench.machine("tree", Fault::None, 1);
    let mut command = Command::new("strace");
    command.args(["-f", "-s", "12", "-e", "trace=write,writev,fsync,fdatasync,sync,syncfs,msync,sync_file_range"]);
    command.args(["-o", "trace", env!("CARGO_BIN_EXE_slotwise")]).args(Bench::install_args());
    command
        .current_dir(bench.path("."))
        .stdin(Stdio::from(std::fs::File::open(bench.file("input", joined(&whole(&steps, "tree")))).unwrap()));
    let output = match command.output() {
        Ok(output) => output,
        Err(error) => {
            eprintln!("SKIPPED {TEST}: no strace here: {error}");
            return;
        }
    };
    let said = String::from_utf8_lossy(&output.stderr);
    if said.contains("PTRACE") || said.contains("Operation not permitted") {
        eprintln!("SKIPPED {TEST}: tracing is not permitted here");
        return;
    }
    assert_eq!(output.status.code(), Some(0), "{said}");
    let trace = std::fs::read_to_string(bench.path("trace")).unwrap();
    let calls: Vec<Call> = trace
        .lines()
        .filter_map(|line| {
            if line.contains("write(") && line.contains("\"{\\\"n\\\":") {
                Some(Call::Line)
            } else if line.contains("sync") && line.contains("(") && !line.contains("write(") {
                Some(Call::Sync)
            } else if line.contains("write(2, \"SAVED") {
                Some(Call::Saved)
            } else {
                None
            }
        })
        .collect();
    let events: Vec<Event> = read::Lines::open(&bench.record()).unwrap().map(|line| line.unwrap().line.event).collect();
    let lines = calls.iter().filter(|call| **call == Call::Line).count();
    assert_eq!(lines, events.len(), "a line is one write");
    // The folder's entry for the new record is synced once more.
    assert_eq!(calls.iter().filter(|call| **call == Call::Sync).count(), lines + 1, "{calls:?}");
    let answered = events.iter().filter(|event| matches!(event, Event::Answered { .. })).count();
    assert_eq!(answered, steps.iter().count());
    // All other lines: the opening, the snapshot with its comparison, and the sign-off.
    assert_eq!(lines - answered, 4);
    let mut unsynced = 0;
    let mut saved = 0;
    for call in &calls {
        match call {
            Call::Line => unsynced += 1,
            Call::Sync => unsynced = 0,
            Call::Saved => {
                saved += 1;
                assert_eq!(unsynced, 0, "said to be saved before it is on disk");
            }
        }
        assert!(unsynced <= 1, "two lines without a sync between them");
    }
    assert_eq!(saved, answered + 1, "each answer and the sign-off is said to be saved");
}
