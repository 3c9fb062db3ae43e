//! Checks against things that are not of our making; each names its source.

mod dsp0134;
mod shared;
mod smbios_lib;
mod smbios_states;
mod smbios_tables;
