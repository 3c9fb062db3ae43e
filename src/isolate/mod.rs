//! Seating, module, slot, channel or processor: which it is, with the fewest power cycles and without sending a good
//! module back.
//!
//! The belief ([`belief`]) is exact for the model it states: one root fault (two where the evidence asks for it), every
//! insertion may clear a bad seating or make one, a failing unit is reported with a probability.

pub mod action;
pub mod advice;
pub mod belief;
pub mod candidates;
pub mod choose;
mod doubt;
pub mod evidence;
pub mod fault;
pub mod house;
mod joint;
pub mod layout;
pub mod learnt;
pub mod outlook;
pub mod rates;
mod repeats;
mod replay;
pub mod slip;
mod starts;
pub mod state;
mod whole;
mod why;
mod words;

pub use advice::{
    Answer, Explanation, JOINED, Trial, Verdict, answer, explanations, likeliest, named_as, next_trial, verdict,
};
pub use evidence::{Finding, Stood};
pub use slip::{Slip, slips};
pub use state::{Done, IsolateError, Seen, State, Step};
pub use words::{change_words, mode_words, per_cent, seen_words, stood_words, sure_words, trial_told, trial_words};
