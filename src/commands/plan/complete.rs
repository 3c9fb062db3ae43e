//! What is not known of a fitted module and follows from another one of the same part number.
//!
//! A snapshot never tells the width, and many a list leaves facts out. The rules count what is not known as alike; a part
//! number that stands in the stock list with all facts says more.

use super::input::Fitted;
use crate::board::Board;
use crate::module::{Module, ModuleSpec};
use crate::plan::Seat;
use crate::stock::Lot;
use crate::text::shown;

/// A module of the same part number, and whose it is.
struct Known<'a> {
    part: &'a str,
    maker: Option<&'a str>,
    spec: &'a ModuleSpec,
    /// `lot tray 12`, `the module in F1-1`.
    whose: String,
}

/// Completes the facts of fitted modules; notes say which, and from where.
pub fn complete(board: &Board, fitted: &mut Fitted, lots: &[Lot]) {
    let before = fitted.modules.clone();
    let mut known: Vec<Known<'_>> = Vec::new();
    for lot in lots {
        let Some(part) = part(lot.part.as_deref()) else { continue };
        known.push(Known { part, maker: None, spec: &lot.spec, whose: format!("lot {}", shown(&lot.name)) });
    }
    for at in board.slots() {
        let Some(module) = before.get(at.index).and_then(Option::as_ref) else { continue };
        let Some(part) = part(module.identity.part.as_deref()) else { continue };
        let (maker, whose) = (module.identity.maker.as_deref(), format!("the module in {}", at.slot.label));
        known.push(Known { part, maker, spec: &module.spec, whose });
    }
    // What was completed, and from what, with the slots.
    let mut done: Vec<((String, String), Vec<String>)> = Vec::new();
    for at in board.slots() {
        let Some(Some(module)) = fitted.modules.get_mut(at.index) else { continue };
        let from: Vec<&Known<'_>> = known.iter().filter(|known| same_part(module, known)).collect();
        let mut facts: Vec<&'static str> = Vec::new();
        let mut whose = String::new();
        let mut note = |fact: Option<&'static str>, from: Option<&String>| {
            if let (Some(fact), Some(from)) = (fact, from) {
                facts.push(fact);
                if whose.is_empty() {
                    whose.clone_from(from);
                }
            }
        };
        let spec = &mut module.spec;
        note(fill(&mut spec.kind, &from, |s| s.kind).map(|()| "kind"), whose_of(&from, |s| s.kind.is_some()));
        note(fill(&mut spec.ranks, &from, |s| s.ranks).map(|()| "ranks"), whose_of(&from, |s| s.ranks.is_some()));
        note(fill(&mut spec.width, &from, |s| s.width).map(|()| "width"), whose_of(&from, |s| s.width.is_some()));
        note(fill(&mut spec.mts, &from, |s| s.mts).map(|()| "rate"), whose_of(&from, |s| s.mts.is_some()));
        if facts.is_empty() {
            continue;
        }
        let spec = module.spec.clone();
        let words = facts.join(", ");
        if let Some(Some(seat)) = fitted.seats.get_mut(at.index) {
            seat.seat.spec = spec;
        }
        match done.iter_mut().find(|(key, _)| key.0 == words && key.1 == whose) {
            Some((_, slots)) => slots.push(at.slot.label.to_string()),
            None => done.push(((words, whose), vec![at.slot.label.to_string()])),
        }
    }
    for ((facts, whose), slots) in done {
        let slots = slots.join(", ");
        fitted.notes.push(format!("what is fitted in {slots}: {facts} taken from {whose}, of the same part number"));
    }
}

/// Takes what is fitted as modules of the board ([`Seat::on`]); notes say where nothing else told it.
pub fn on_board(board: &Board, fitted: &mut Fitted) {
    let mut open = Open::default();
    for at in board.slots() {
        let (Some(Some(module)), Some(Some(seat))) = (fitted.modules.get_mut(at.index), fitted.seats.get_mut(at.index))
        else {
            continue;
        };
        let before = seat.seat.clone();
        seat.seat = before.clone().on(board);
        module.spec.generation = seat.seat.spec.generation;
        open.take(board, &before, &seat.seat, at.slot.label.as_str());
    }
    fitted.notes.extend(open.notes(board, "what is fitted in", "what is fitted in"));
}

/// Notes on lots that are taken as modules of the board; their voltages where the list itself tells none.
pub fn lots_on_board(board: &Board, lots: &[Lot]) -> Vec<String> {
    let mut open = Open::default();
    for lot in lots {
        let seat = Seat { spec: lot.spec.clone(), volts: lot.volts.clone() };
        open.take(board, &seat, &seat.clone().on(board), &lot.name);
    }
    open.notes(board, "lot", "lots")
}

/// What was taken from the board.
#[derive(Default)]
struct Open {
    generation: Vec<String>,
    volts: Vec<String>,
}

impl Open {
    fn take(&mut self, board: &Board, before: &Seat, after: &Seat, name: &str) {
        if before.spec.generation.is_none() {
            self.generation.push(name.to_owned());
        }
        // A voltage that no limit is held against changes nothing.
        if board.limits.volts.is_some() && before.volts.is_none() && after.volts.is_some() {
            self.volts.push(name.to_owned());
        }
    }

    fn notes(&self, board: &Board, one: &str, several: &str) -> Vec<String> {
        let named = |names: &[String]| {
            let first: Vec<String> = names.iter().take(8).map(|name| shown(name).to_string()).collect();
            let more = if names.len() > 8 { format!(" and {} more", names.len() - 8) } else { String::new() };
            format!("{} {}{more}", if names.len() == 1 { one } else { several }, first.join(", "))
        };
        let mut notes = Vec::new();
        if !self.generation.is_empty() {
            let (names, slots) = (named(&self.generation), board.generation);
            notes.push(format!("no generation is given for {names}: taken to be {slots}, which alone fits the slots"));
        }
        if let (false, Some(volts)) = (self.volts.is_empty(), board.generation.volts()) {
            let names = named(&self.volts);
            notes.push(format!("no voltage is given for {names}: taken from the generation, {volts} V"));
        }
        notes
    }
}

/// A part number, without the blanks firmware pads it with.
fn part(text: Option<&str>) -> Option<&str> {
    text.map(str::trim).filter(|part| !part.is_empty())
}

/// Whether it is the same part by all that both say of themselves.
fn same_part(module: &Module, known: &Known<'_>) -> bool {
    let (a, b) = (&module.spec, known.spec);
    let maker = match (module.identity.maker.as_deref(), known.maker) {
        (Some(a), Some(b)) => a.trim().eq_ignore_ascii_case(b.trim()),
        _ => true,
    };
    part(module.identity.part.as_deref()) == Some(known.part)
        && maker
        && a.gib == b.gib
        && agree(a.generation, b.generation)
        && agree(a.kind, b.kind)
        && agree(a.ranks, b.ranks)
        && agree(a.width, b.width)
}

fn agree<T: PartialEq>(a: Option<T>, b: Option<T>) -> bool {
    a.is_none() || b.is_none() || a == b
}

/// Fills in a fact all that know it agree on; `Some` when it did.
fn fill<T: PartialEq + Copy>(
    fact: &mut Option<T>,
    from: &[&Known<'_>],
    of: fn(&ModuleSpec) -> Option<T>,
) -> Option<()> {
    if fact.is_some() {
        return None;
    }
    let mut values = from.iter().filter_map(|known| of(known.spec));
    let first = values.next()?;
    if !values.all(|other| other == first) {
        return None;
    }
    *fact = Some(first);
    Some(())
}

fn whose_of<'k>(from: &[&'k Known<'_>], knows: fn(&ModuleSpec) -> bool) -> Option<&'k String> {
    from.iter().find(|known| knows(known.spec)).map(|known| &known.whose)
}
