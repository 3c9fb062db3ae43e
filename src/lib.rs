//! slotwise takes one technician and one server from a box of memory modules and a work order to a machine whose
//! every module is proven present, seated and running at the right speed, and a record that shows it.
//!
//! The rooms, from the top down; a room uses only rooms below it:
//!
//! | room | job |
//! | --- | --- |
//! | [`commands`] | one file per command: reads files, calls a room, shows the result |
//! | [`runner`] | walks a technician through the steps of a job and writes the record |
//! | [`prompt`] | how a question reaches a person and how the answer comes back |
//! | [`report`] | one record told for people who were not there: terminal, page, slip |
//! | [`draw`] | pictures in a terminal: slot map, tables, bars |
//! | [`record`] | events, journal, chain, replay: a job is a fold over its events |
//! | [`isolate`] | hypotheses, trials, the next best trial, the verdict |
//! | [`verify`] | snapshot against plan gives findings |
//! | [`machine`] | a model of a machine: what its firmware would report of what was inserted |
//! | [`snapshot`] | what one machine reports about its memory, one file per source |
//! | [`checklist`] | checklist file, plan and board give steps |
//! | [`plan`] | which module goes in which slot |
//! | [`stock`] | the modules on hand or on offer: lots with counts, packs and prices |
//! | [`order`] | what is asked for: units, processors, capacity |
//! | [`board`] | the memory layout of one kind of machine |
//! | [`module`] | what a module is and how it tells you |
//! | [`source`] | reading a person's file and reporting every fault in it at once |
//! | [`text`], [`units`] | cleaned text; sizes and rates |

#[cfg(test)]
extern crate self as slotwise;

#[cfg(test)]
#[path = "../tests/support/mod.rs"]
mod support;

/// Here and not in the program's own file, so that tests and benches run with what the program runs with.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

pub mod board;
pub mod checklist;
pub mod commands;
pub mod draw;
pub mod env;
pub mod isolate;
pub mod machine;
pub mod module;
pub mod order;
pub mod plan;
pub mod prompt;
pub mod record;
pub mod report;
pub mod runner;
pub mod snapshot;
pub mod source;
pub mod stock;
pub mod text;
pub mod units;
pub mod verify;
