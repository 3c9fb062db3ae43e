//! All there is to say of an answer, for the screen, for JSON and for the plan file.

use std::collections::BTreeSet;

use crate::module::Module;
use crate::plan::back_to;
use crate::plan::explain::{Told, why_worse};
use crate::plan::front::Front;
use crate::plan::interleave::{Estimate, bandwidth, estimate};
use crate::plan::moves::{Handling, order};
use crate::plan::rules::Verdict;
use crate::plan::search::{Found, From, Outcome, Problem};
use crate::plan::shortage::Shortage;
use crate::stock::{Money, Stock};
use crate::text::shown;

/// All there is to show.
pub struct Answer<'a> {
    pub problem: &'a Problem<'a>,
    pub stock: &'a Stock,
    pub outcome: Outcome,
    pub told: Vec<Told>,
    /// What the rules say of what is fitted.
    pub before: Verdict,
    pub front: Option<Front>,
    pub shortage: Option<Shortage>,
    pub modules: &'a [Option<Module>],
    /// What was taken for granted of what is fitted.
    pub notes: Vec<String>,
    /// The chassis tags, in the order of the units.
    pub units: Vec<String>,
}

impl Answer<'_> {
    pub(super) fn currency(&self) -> &str {
        self.stock.currency.as_deref().unwrap_or("")
    }

    /// An amount; a dash when no lot has a price.
    pub(super) fn amount(&self, money: Money) -> String {
        if self.priced() { money.to_string() } else { "-".to_owned() }
    }

    pub(super) fn priced(&self) -> bool {
        self.problem.lots.iter().any(|lot| lot.price.0 > 0)
    }

    pub(super) fn handlings(&self, found: &Found) -> Vec<Handling> {
        let fitted: Vec<bool> = self.modules.iter().map(Option::is_some).collect();
        order(&fitted, found)
    }

    pub(super) fn label(&self, slot: usize) -> String {
        self.problem.board.slots().nth(slot).map_or_else(String::new, |at| at.slot.label.to_string())
    }

    pub(super) fn handling(&self, found: &Found, handling: Handling) -> String {
        let fitted =
            |slot: usize| self.modules.get(slot).and_then(Option::as_ref).map_or_else(|| "module".to_owned(), in_words);
        match handling {
            Handling::Remove { slot } => {
                let module = self.modules.get(slot).and_then(Option::as_ref);
                let to = module.and_then(|module| back_to(self.problem, slot, module));
                let to = to.map_or_else(|| "it goes to the tray".to_owned(), |lot| format!("back to {}", shown(&lot)));
                format!("take the {} out of {}: {to}", fitted(slot), self.label(slot))
            }
            Handling::Move { from, to } => {
                format!("move the {} from {} to {}", fitted(from), self.label(from), self.label(to))
            }
            Handling::Park { slot } => format!("park the {} of {} in the tray", fitted(slot), self.label(slot)),
            Handling::Unpark { from, to } => {
                format!("seat the {} of {} from the tray in {}", fitted(from), self.label(from), self.label(to))
            }
            Handling::Insert { slot } => {
                let size = found.seats.get(slot).and_then(Option::as_ref).map(|seat| seat.spec.gib);
                let size = size.map_or_else(|| "module".to_owned(), |size| size.to_string());
                format!("seat {size} from {} in {}", self.source(found, slot), self.label(slot))
            }
        }
    }

    /// The lot a slot's module is taken from; the pick list tells it where units differ.
    pub(super) fn source(&self, found: &Found, slot: usize) -> String {
        match found.from.get(slot) {
            Some(Some(From::Lots(lots))) => match lots[..] {
                [only] => shown(&self.problem.lots[only].name).to_string(),
                _ => {
                    let names: BTreeSet<&str> = lots.iter().map(|lot| self.problem.lots[*lot].name.as_str()).collect();
                    let names: Vec<String> = names.into_iter().take(4).map(|name| shown(name).to_string()).collect();
                    format!("{}, unit by unit as listed", names.join(" or "))
                }
            },
            _ => "stock".to_owned(),
        }
    }

    /// What goes where: one line for each sort of module and where it comes from.
    pub(super) fn places(&self, found: &Found) -> Vec<String> {
        let label = |slot: &usize| self.label(*slot);
        let line = |(what, slots): (String, Vec<usize>)| {
            format!("{what}: {}", slots.iter().map(label).collect::<Vec<_>>().join(" "))
        };
        self.sorts(found, true).into_iter().map(line).collect()
    }

    /// Each sort of module, with its slots in board order; those of several lots apart where `by_lot` says so.
    pub(super) fn sorts(&self, found: &Found, by_lot: bool) -> Vec<(String, Vec<usize>)> {
        let mut same: Vec<(String, Vec<usize>)> = Vec::new();
        for at in self.problem.board.slots() {
            let (Some(from), Some(seat)) = (&found.from[at.index], &found.seats[at.index]) else { continue };
            let ranks = seat.spec.ranks.map_or_else(String::new, |ranks| format!(" {ranks}R"));
            let kind = seat.spec.kind.map_or_else(String::new, |kind| format!(" {kind}"));
            let from = match from {
                From::Fitted(was) if *was == at.index => "stays".to_owned(),
                From::Fitted(was) => format!("moved from {}", self.label(*was)),
                From::Lots(_) if by_lot => format!("from {}", self.source(found, at.index)),
                From::Lots(_) => "from stock".to_owned(),
            };
            // Only where it tells two modules apart.
            let volts = seat.volts_beyond_generation().map_or_else(String::new, |v| format!(" {} V", shown(&v)));
            let what = format!("{}{ranks}{kind}{volts}, {from}", seat.spec.gib);
            match same.iter_mut().find(|(known, _)| *known == what) {
                Some((_, slots)) => slots.push(at.index),
                None => same.push((what, vec![at.index])),
            }
        }
        same
    }

    /// Where measured machines left the estimate of a plan's bandwidth.
    pub(super) fn estimate(&self, found: &Found) -> Option<Estimate> {
        let (board, cpus) = (self.problem.board, self.problem.cpus);
        estimate(board, &found.seats, &bandwidth(board, cpus, &found.seats, found.score.mts))
    }

    /// Why plan `n` is not the first.
    pub(super) fn why_not(&self, n: usize) -> Option<String> {
        let (best, other) = (self.outcome.plans.first()?, self.outcome.plans.get(n).filter(|_| n > 0)?);
        Some(why_worse(self.problem, best, other, self.told.get(n)?, self.currency()))
    }

    pub(super) fn needed(&self, found: &Found, lot: usize) -> u32 {
        let units = self.problem.units;
        found
            .from
            .iter()
            .map(|from| match from {
                Some(From::Lots(lots)) if lots.len() == 1 && lots[0] == lot => units,
                Some(From::Lots(lots)) if lots.len() > 1 => lots.iter().filter(|l| **l == lot).count() as u32,
                _ => 0,
            })
            .sum()
    }
}

/// `32 GiB RDIMM, serial S2`.
fn in_words(module: &Module) -> String {
    let kind = module.spec.kind.map_or_else(String::new, |kind| format!(" {kind}"));
    let serial = module.identity.serial.as_ref().map_or_else(String::new, |s| format!(", serial {},", shown(s)));
    format!("{}{kind}{serial}", module.spec.gib)
}
