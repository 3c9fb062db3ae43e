//! Modules of which something is not known that the board's rules ask for.
//!
//! The rules count what is not known as alike. The search sorts modules by what is known: a module whose width is not known
//! is of another sort than those whose width is. Where the two might stand together, a few ways of taking them for alike are
//! searched too; that there is no other is not proven, and that is said.

use super::build::Shared;
use super::problem::{FittedSeat, Problem};
use crate::board::Mixing;
use crate::module::ModuleSpec;
use crate::text::shown;
use crate::units::Mts;

/// A module the search may use: its slot or lot, and whether it is fitted.
struct One<'a> {
    spec: &'a ModuleSpec,
    name: String,
    fitted: bool,
}

/// A sentence for each fact that is not known, with what it is not known of and how to give it; empty where all that counts
/// is known.
pub fn unlike(problem: &Problem<'_>) -> Vec<String> {
    let Ok(shared) = Shared::new(problem) else { return Vec::new() };
    let (board, limits) = (problem.board, &problem.board.limits);
    let any = |spec: &ModuleSpec, volts: Option<&str>, fitted: bool| {
        limits.kinds.iter().any(|&kind| shared.fits(spec, volts, kind, Mts(0), fitted))
    };
    let mut all: Vec<One<'_>> = Vec::new();
    let mut out = Vec::new();
    let mut kinds = Vec::new();
    for at in board.slots() {
        let Some(Some(fitted)) = problem.fitted.get(at.index) else { continue };
        let (spec, name) = (&fitted.seat.spec, at.slot.label.to_string());
        if spec.kind.is_none() && limits.kinds.len() > 1 {
            kinds.push(name);
        } else if any(spec, fitted.seat.volts.as_deref(), true) {
            all.push(One { spec, name, fitted: true });
        }
    }
    for lot in problem.lots.iter().filter(|lot| lot.count > 0 && any(&lot.spec, lot.volts.as_deref(), false)) {
        all.push(One { spec: &lot.spec, name: shown(&lot.name).to_string(), fitted: false });
    }
    if !kinds.is_empty() {
        out.push(format!(
            "the kind of what is fitted in {} is not known, so plans that keep it were not looked at: give `kind` with \
             --fitted",
            few(&kinds)
        ));
    }
    let by_org = shared.matched || matches!(limits.mixing, Some(Mixing::None | Mixing::ByPosition));
    let ranks = (by_org, limits.same_ranks == Some(true), (|s| s.ranks) as fn(&ModuleSpec) -> Option<u8>, "ranks");
    let width = (by_org, limits.same_width == Some(true), (|s| s.width) as fn(&ModuleSpec) -> Option<u8>, "width");
    for (by_org, same, of, fact) in [ranks, width] {
        // Another module it may stand with if it is alike, and of which the fact is known.
        let open = |one: &&One<'_>| {
            of(one.spec).is_none()
                && all
                    .iter()
                    .any(|other| of(other.spec).is_some() && (same || by_org && other.spec.gib == one.spec.gib))
        };
        for (fitted, of_what, how) in
            [(true, "what is fitted in", "with --fitted"), (false, "lot", "in the stock list")]
        {
            let names: Vec<String> =
                all.iter().filter(open).filter(|o| o.fitted == fitted).map(|o| o.name.clone()).collect();
            if !names.is_empty() {
                out.push(format!(
                    "the {fact} of {of_what} {} is not known: the rules count it as alike, and plans that put it with \
                     modules of known {fact} were not all looked at; give `{fact}` {how}",
                    few(&names)
                ));
            }
        }
    }
    out
}

/// Ways of completing what is fitted that are tried.
const WAYS: usize = 12;

/// What is fitted as if it were known: ranks and width that are not are those of other modules it might stand with. The same
/// for all modules of which the same is known, and no more than a few ways of them.
pub fn as_if(problem: &Problem<'_>) -> Vec<Vec<Option<FittedSeat>>> {
    let limits = &problem.board.limits;
    let same = limits.same_ranks == Some(true) || limits.same_width == Some(true);
    let open = |spec: &ModuleSpec| spec.ranks.is_none() || spec.width.is_none();
    let fitted = || problem.fitted.iter().flatten().map(|fitted| &fitted.seat.spec);
    let lots = problem.lots.iter().filter(|lot| lot.count > 0).map(|lot| &lot.spec);
    let others: Vec<&ModuleSpec> = lots.chain(fitted()).collect();
    let mut sorts: Vec<&ModuleSpec> = Vec::new();
    for spec in fitted().filter(|spec| open(spec)) {
        if !sorts.contains(&spec) {
            sorts.push(spec);
        }
    }
    // For each way so far, each way of completing the next sort.
    let mut ways: Vec<Vec<Option<FittedSeat>>> = vec![problem.fitted.to_vec()];
    for sort in sorts {
        let mut as_others: Vec<ModuleSpec> = vec![sort.clone()];
        for other in others.iter().filter(|other| same || other.gib == sort.gib) {
            let whole =
                ModuleSpec { ranks: sort.ranks.or(other.ranks), width: sort.width.or(other.width), ..sort.clone() };
            if !as_others.contains(&whole) {
                as_others.push(whole);
            }
        }
        let mut next = Vec::new();
        for (way, whole) in ways.iter().flat_map(|way| as_others.iter().map(move |whole| (way, whole))) {
            let mut way = way.clone();
            way.iter_mut().flatten().filter(|f| f.seat.spec == *sort).for_each(|f| f.seat.spec = whole.clone());
            next.push(way);
        }
        next.truncate(WAYS + 1);
        ways = next;
    }
    // The first leaves all as it is, which is searched anyway.
    ways.into_iter().skip(1).collect()
}

/// The first eight names, and how many there are more.
fn few(names: &[String]) -> String {
    match names.len() {
        ..=9 => names.join(", "),
        n => format!("{} and {} more", names[..8].join(", "), n - 8),
    }
}
