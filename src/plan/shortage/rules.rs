//! Rules of the board that are in the way: each is lifted by itself and the search asked again.

use crate::board::{Board, Mixing};
use crate::module::Kind;
use crate::plan::CpuLimit;
use crate::plan::search::{FittedSeat, Problem, SearchError, search};
use crate::stock::Money;

/// A rule in the buyer's words, its key, and the board without it.
struct Lifted {
    says: String,
    key: &'static str,
    board: Board,
}

/// A sentence for each rule without which there would be a plan. `problem` is without a budget, cheapest plans first; `within`
/// says of a plan's cost that it is more than the budget, where it is.
///
/// # Errors
/// Those of the search.
pub fn in_the_way(
    problem: &Problem<'_>,
    within: &dyn Fn(Money) -> String,
    stop: &mut dyn FnMut() -> bool,
) -> Result<Vec<String>, SearchError> {
    let mut out = Vec::new();
    let without = |changed: &Problem<'_>, stop: &mut dyn FnMut() -> bool| -> Result<Option<String>, SearchError> {
        Ok(search(changed, stop)?.plans.first().map(|plan| within(plan.score.cost)))
    };
    for Lifted { says, key, board } in lifted(problem.board) {
        if stop() {
            break;
        }
        if let Some(within) = without(&Problem { board: &board, ..problem.clone() }, stop)? {
            out.push(format!("the rule `{key}` is in the way: {says}; without it there would be a plan{within}"));
        }
    }
    let any: Vec<_> = problem.cpus.iter().map(|_| Some(CpuLimit::default())).collect();
    let changed = Problem { cpus: &any, ..problem.clone() };
    if any != *problem.cpus
        && let Some(within) = without(&changed, stop)?
    {
        let text = if problem.cpus.iter().any(Option::is_none) {
            "a processor in every socket, and none that limits the memory, would make a plan possible"
        } else {
            "the memory the processors address is in the way: with larger ones there would be a plan"
        };
        out.push(format!("{text}{within}"));
    }
    let stays: Vec<String> = problem
        .board
        .slots()
        .filter(|at| problem.fitted.get(at.index).is_some_and(|f| f.as_ref().is_some_and(|f| f.stays)))
        .map(|at| at.slot.label.to_string())
        .collect();
    let free: Vec<_> = problem.fitted.iter().map(|f| f.clone().map(|f| FittedSeat { stays: false, ..f })).collect();
    let changed = Problem { fitted: &free, ..problem.clone() };
    if !stays.is_empty()
        && !stop()
        && let Some(within) = without(&changed, stop)?
    {
        out.push(format!("what must stay is in the way ({}): if it may go there is a plan{within}", stays.join(", ")));
    }
    Ok(out)
}

/// Every limit the board has, lifted by itself.
fn lifted(board: &Board) -> Vec<Lifted> {
    let limits = &board.limits;
    let mut out = Vec::new();
    let mut lift = |on: bool, key: &'static str, says: &str, change: &dyn Fn(&mut Board)| {
        if on {
            let mut board = board.clone();
            change(&mut board);
            out.push(Lifted { says: says.to_owned(), key, board });
        }
    };
    let mixing = match limits.mixing {
        Some(Mixing::None) => "this board wants all modules alike",
        _ => "this board wants the same module at the same place of every channel",
    };
    lift(limits.mixing.is_some_and(|m| m != Mixing::Free), "limits.mixing", mixing, &|b| {
        b.limits.mixing = Some(Mixing::Free);
    });
    lift(limits.sockets_match == Some(true), "limits.sockets_match", "its sockets are filled alike", &|b| {
        b.limits.sockets_match = None;
    });
    if let Some(ranks) = limits.ranks_per_channel {
        let says = format!("a channel carries {ranks} ranks at most");
        lift(true, "limits.ranks_per_channel", &says, &|b| b.limits.ranks_per_channel = None);
    }
    lift(
        limits.more_ranks_first == Some(true),
        "limits.more_ranks_first",
        "a module with more ranks goes before one with fewer",
        &|b| b.limits.more_ranks_first = None,
    );
    lift(limits.same_ranks == Some(true), "limits.same_ranks", "all modules have the same ranks", &|b| {
        b.limits.same_ranks = None;
    });
    lift(limits.same_depth == Some(true), "limits.same_depth", "channels in use are filled equally deep", &|b| {
        b.limits.same_depth = None;
    });
    lift(limits.same_width == Some(true), "limits.same_width", "all modules have chips of one width", &|b| {
        b.limits.same_width = None;
    });
    let largest: Vec<String> = limits.largest.iter().map(|l| format!("{} of {}", l.kind, l.gib)).collect();
    let says = format!("the largest modules it takes are {}", largest.join(", "));
    lift(!limits.largest.is_empty(), "limits.largest", &says, &|b| b.limits.largest.clear());
    let counts: Vec<String> = limits.counts_per_socket.iter().map(u32::to_string).collect();
    let says = format!("a socket holds {} modules", counts.join(", "));
    lift(!limits.counts_per_socket.is_empty(), "limits.counts_per_socket", &says, &|b| {
        b.limits.counts_per_socket.clear();
    });
    if let Some(volts) = &limits.volts {
        let says = format!("it supplies {} V", crate::text::shown(volts));
        lift(true, "limits.volts", &says, &|b| b.limits.volts = None);
    }
    let table = "its table has no rate for some numbers of modules per channel, by kind and ranks";
    lift(!board.speed.is_empty(), "speed", table, &|b| b.speed.clear());
    let all = [Kind::UDIMM, Kind::EccUdimm, Kind::RDIMM, Kind::LRDIMM, Kind::Rdimm3ds, Kind::Lrdimm3ds].to_vec();
    let kinds: Vec<&str> = limits.kinds.iter().map(|kind| kind.name()).collect();
    let says = format!("it takes {} only", kinds.join(", "));
    lift(true, "limits.kinds", &says, &|b| b.limits.kinds.clone_from(&all));
    out
}
