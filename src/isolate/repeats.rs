//! An end to what is asked again and again: where a fault shows more rarely than the rates say, a plan may ask for the same
//! change without end, and each of them is handled.

use super::action::Action;
use super::advice::{Trial, trial};
use super::fault::Mode;
use super::state::State;

/// Times one change is done; beyond it a start untouched tells as much of a fault that comes and goes, and wears nothing.
/// Assumed.
const SAME: usize = 6;

/// Starts untouched in a row, for what comes and goes: one that shows in half of them is missed by all in 0.4 %. Assumed.
const UNTOUCHED: usize = 8;

/// The trial that is due, unless it was done so often: then a start untouched, and after some of these none.
pub(super) fn unless_repeated(state: &State, due: Trial) -> Option<Trial> {
    let done = state.trials.iter().filter(|trial| trial.done == due.changes).count();
    if due.changes.is_empty() {
        return (untouched(state) < UNTOUCHED).then_some(due);
    }
    if done < SAME {
        return Some(due);
    }
    let because =
        "the changes left to try were done again and again and told no more, so what is wrong may seldom show";
    let waits = untouched(state) < UNTOUCHED && state.model.mode != Mode::Blind;
    waits.then(|| trial(state, Action::new(), Some(because)))
}

/// What is to be said of a search that ended so.
pub(super) fn ended(state: &State) -> Option<String> {
    let most = state.trials.iter().map(|one| state.trials.iter().filter(|other| one.done == other.done).count()).max();
    (most >= Some(SAME)).then(|| {
        "Undecided: the same was done again and again and told no more. What is wrong may show at fewer starts than the rates \
         take it to; `--rates` takes those of the house, and a known-good spare or a longer test of the memory may tell more. \
         No module goes back on this."
            .to_owned()
    })
}

/// Starts untouched at the end of the search.
pub(super) fn untouched(state: &State) -> usize {
    state.actions.iter().rev().take_while(|action| action.is_empty()).count()
}
