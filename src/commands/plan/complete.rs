//! What is not known of a fitted module and follows from another one of the same part number.
//!
//! A snapshot never tells the width, and many a list leaves facts out. The rules count what is not known as alike; a part
//! number that stands in the stock list with all facts says more.

use super::input::Fitted;
use crate::board::Board;
use crate::module::{Module, ModuleSpec};
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
