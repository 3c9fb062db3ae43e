//! The search as the plan file carries it.

use super::answer::Answer;
use super::show::{others, proof};
use crate::plan::search::{Found, From, Target};
use crate::plan::{Considered, Measured, Pick, Taken};
use crate::source::counted;
use crate::stock::Money;
use crate::text::shown;

/// The search as the plan file carries it.
pub fn considered(answer: &Answer<'_>) -> Option<Considered> {
    let best = answer.outcome.plans.first()?;
    let scale = answer.told.first().map_or(0, |told| told.bandwidth.best_mb_s);
    let slots = answer.problem.board.slots().count() as u32;
    let cost =
        |money: Money| answer.priced().then(|| format!("{money} {}", shown(answer.currency())).trim_end().to_owned());
    let measured = |found: &Found, why_not: Option<String>| Measured {
        memory: found.score.capacity.to_string(),
        modules: found.score.modules,
        mts: found.score.mts.0,
        bandwidth_percent: u32::try_from((found.score.mb_s * 100).checked_div(scale).unwrap_or(0)).unwrap_or(0),
        cost: cost(found.score.cost),
        moves: found.score.moves,
        free_slots: slots.saturating_sub(found.score.modules),
        estimate: answer.estimate(found).map(|e| format!("measured machines let expect {}", e.band())),
        why_not,
    };
    let why = |n: usize| answer.why_not(n);
    let taken = |&(lot, n): &(usize, u32)| {
        let here = &answer.problem.lots[lot];
        Taken {
            lot: here.name.clone(),
            part: here.part.clone(),
            there: here.count,
            needed: answer.needed(best, lot),
            taken: n,
            packs: packs(n, here.pack.max(1)),
            cost: cost(Money(here.price.0 * u64::from(n))),
        }
    };
    Some(Considered {
        proof: [Some(proof(answer).as_str()), others(answer)].into_iter().flatten().collect::<Vec<_>>().join("; "),
        // Put in once the plan is whole.
        made_for: None,
        exactly: matches!(answer.problem.target, Target::Exactly(_)),
        budget: answer
            .problem
            .budget
            .map(|money| format!("{money} {}", shown(answer.currency())).trim_end().to_owned()),
        handling: answer.handlings(best).iter().map(|handling| answer.handling(best, *handling)).collect(),
        alternative: answer.outcome.plans.iter().enumerate().skip(1).map(|(n, p)| measured(p, why(n))).collect(),
        front: answer.front.iter().flat_map(|front| &front.plans).map(|plan| measured(plan, None)).collect(),
        purchase: best.bought.iter().map(taken).collect(),
        pick: picks(answer, best),
    })
}

/// Which unit takes from which lot, slot by slot, where units differ.
pub(super) fn picks(answer: &Answer<'_>, best: &Found) -> Vec<Pick> {
    let mut picks = Vec::new();
    for at in answer.problem.board.slots() {
        let Some(From::Lots(lots)) = &best.from[at.index] else { continue };
        if lots.len() < 2 {
            continue;
        }
        for (n, lot) in lots.iter().enumerate() {
            let unit = answer.units.get(n).cloned().unwrap_or_else(|| format!("unit {}", n + 1));
            picks.push(Pick { unit, slot: at.slot.label.clone(), lot: answer.problem.lots[*lot].name.clone() });
        }
    }
    picks.sort_by(|a, b| a.unit.cmp(&b.unit));
    picks
}

/// `8 single`, `1 pack of 4`, `2 packs of 4`.
pub(super) fn packs(modules: u32, pack: u32) -> String {
    if pack == 1 {
        format!("{modules} single")
    } else {
        format!("{} of {pack}", counted((modules / pack) as usize, "pack"))
    }
}
