//! Checks against things that are not of our making, the source named beside each.

mod isolate_reference;
mod model_table;

#[path = "../reference/mod.rs"]
mod reference;
#[path = "../support/mod.rs"]
mod support;
