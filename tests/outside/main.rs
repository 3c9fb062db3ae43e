//! Checks against things that are not of our making, the source named beside each.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout, clippy::print_stderr)]

mod capacity;
mod code128;
mod collected;
mod dsp0134;
mod esd;
mod isolate_examples;
mod isolate_reference;
mod labels;
mod machine_tables;
mod model_table;
mod population;
mod population_measured;
mod population_worked;

mod rfc3339;
mod sha256;
mod signatures;
mod signers;
mod signers_odd;
mod smbios_lib;
mod smbios_states;
mod smbios_tables;

#[path = "../reference/mod.rs"]
mod reference;

#[path = "../support/mod.rs"]
mod support;
mod totals;
mod verify_real;

#[path = "../sealed/mod.rs"]
mod sealed;
