//! Checks against things that are not of our making, the source named beside each.

mod isolate_reference;

#[path = "../reference/mod.rs"]
mod reference;
