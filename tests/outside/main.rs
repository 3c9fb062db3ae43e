//! Checks against things that are not of our making; each names its source.

mod shared;
mod smbios_tables;
