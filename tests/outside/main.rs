//! Checks against things that are not of our making, the source named beside each.

mod dsp0134;
mod isolate_reference;
mod model_table;
mod shared;
mod smbios_lib;
mod smbios_states;
mod smbios_tables;

#[path = "../reference/mod.rs"]
mod reference;

#[path = "../support/mod.rs"]
mod support;
