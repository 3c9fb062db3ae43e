//! The answer as JSON.

use serde_json::{Value, json};

use super::answer::Answer;
use crate::plan::explain::rates;
use crate::plan::search::{Criterion, Found, From};
use crate::stock::Money;

/// The answer as JSON. Stable: keys are added, never renamed.
pub fn json(answer: &Answer<'_>) -> Value {
    let plans: Vec<Value> = answer
        .outcome
        .plans
        .iter()
        .zip(&answer.told)
        .enumerate()
        .map(|(n, (found, told))| {
            let mut value = measures(answer, found, told.bandwidth.best_mb_s);
            let why = answer.why_not(n);
            let more = json!({
                "limited_by": told.speed.limited_by.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "currency": answer.stock.currency,
                "channels_used": told.channels.0,
                "channels": told.channels.1,
                "slots": slots(answer, found),
                "rates": rates(answer.problem, found).into_iter().map(|(mts, units)| json!({
                    "mts": mts, "units": units.iter().filter_map(|unit| answer.units.get(*unit)).collect::<Vec<_>>(),
                })).collect::<Vec<_>>(),
                "regions": told.bandwidth.sockets.iter().flat_map(|socket| socket.regions.iter().map(|r| json!({
                    "socket": socket.label, "gib": r.size, "ways": r.ways,
                }))).collect::<Vec<_>>(),
                "peak_mb_s": told.bandwidth.sockets.iter()
                    .map(|s| json!({ "socket": s.label, "mb_s": s.peak_mb_s })).collect::<Vec<_>>(),
                "narrowest_ways": told.bandwidth.narrowest,
                "reasons": told.reasons,
                "why_not_first": why,
                "unknown": told.unknown,
                "purchase": found.bought.iter().map(|&(lot, n)| {
                    let here = &answer.problem.lots[lot];
                    json!({
                        "lot": here.name, "part": here.part, "there": here.count, "needed": answer.needed(found, lot),
                        "taken": n, "pack": here.pack, "packs": n / here.pack.max(1),
                        "cost": answer.priced().then(|| Money(here.price.0 * u64::from(n)).to_string()),
                    })
                }).collect::<Vec<_>>(),
                "handlings": answer.handlings(found).iter().map(|h| answer.handling(found, *h)).collect::<Vec<_>>(),
            });
            if let (Some(value), Value::Object(more)) = (value.as_object_mut(), more) {
                value.extend(more);
            }
            value
        })
        .collect();
    let scale = answer.told.first().map_or(0, |t| t.bandwidth.best_mb_s);
    let front = answer.front.as_ref();
    json!({
        "plans": plans,
        "front": front.map_or_else(Vec::new, |f| f.plans.iter().map(|p| measures(answer, p, scale)).collect::<Vec<_>>()),
        "front_complete": front.is_some_and(|f| f.complete),
        "exhausted": answer.outcome.exhausted,
        "alternatives_exhausted": answer.outcome.alternatives_exhausted,
        "bound": bound(answer).map(|bound| bound.1),
        "bound_of": bound(answer).map(|bound| bound.0),
        "fitted_breaches": answer.before.breaches.iter()
            .map(|b| json!({ "rule": b.rule, "slots": b.slots, "what": b.what, "source": b.source })).collect::<Vec<_>>(),
        "shortage": answer.shortage.as_ref().map(|s| json!({
            "reasons": s.reasons, "nearest_below_gib": s.below, "nearest_above_gib": s.above, "nearest_certain": s.certain,
        })),
        "notes": answer.outcome.unlike.iter().chain(&answer.outcome.notes).chain(&answer.stock.notes).chain(&answer.notes).collect::<Vec<_>>(),
    })
}

/// What no plan beats when the search was cut short, and the key of a plan it is to be compared with. Money is a decimal string,
/// as everywhere; all other figures are numbers.
fn bound(answer: &Answer<'_>) -> Option<(&'static str, Value)> {
    let whole = u64::try_from(answer.outcome.bound?).unwrap_or(0);
    Some(match answer.problem.prefer.order()[0] {
        Criterion::Bandwidth => ("effective_mb_s", json!(whole)),
        Criterion::Cost => ("cost", json!(Money(whole).to_string())),
        _ => ("modules", json!(whole)),
    })
}

fn measures(answer: &Answer<'_>, found: &Found, best_mb_s: u64) -> Value {
    let s = found.score;
    json!({
        "capacity_gib": s.capacity,
        "modules": s.modules,
        "mts": s.mts,
        // What the search compares, MB/s. Not more exact for that: the estimate deserves whole per cent.
        "effective_mb_s": s.mb_s,
        // Whole per cent of the board's best.
        "effective_bandwidth": (s.mb_s * 100).checked_div(best_mb_s).unwrap_or(0),
        "estimate": answer.estimate(found).map(|e| json!({
            "low": e.low_percent, "high": e.high_percent, "why": e.why,
        })),
        "cost": answer.priced().then(|| s.cost.to_string()),
        "moves": s.moves,
        "free_slots": answer.problem.board.slots().count() - s.modules as usize,
    })
}

fn slots(answer: &Answer<'_>, found: &Found) -> Vec<Value> {
    let mut serials: Vec<Vec<&String>> = answer.problem.lots.iter().map(|l| l.serials.iter().rev().collect()).collect();
    answer
        .problem
        .board
        .slots()
        .filter_map(|at| {
            let (from, seat) = (found.from[at.index].as_ref()?, found.seats[at.index].as_ref()?);
            let (part, serial, lots) = match from {
                From::Fitted(was) => {
                    let module = answer.modules.get(*was).and_then(Option::as_ref);
                    let identity = module.map(|m| m.identity.clone()).unwrap_or_default();
                    (identity.part, identity.serial, Vec::new())
                }
                From::Lots(lots) => {
                    let one = if let [only] = lots[..] { Some(only) } else { None };
                    let serial = one.filter(|_| answer.problem.units == 1).and_then(|l| serials[l].pop().cloned());
                    let names = lots.iter().map(|l| answer.problem.lots[*l].name.clone()).collect();
                    (one.and_then(|l| answer.problem.lots[l].part.clone()), serial, names)
                }
            };
            let was = match from {
                From::Fitted(was) => Some(answer.label(*was)),
                From::Lots(_) => None,
            };
            Some(json!({
                "slot": at.slot.label, "part": part, "gib": seat.spec.gib, "kind": seat.spec.kind,
                "ranks": seat.spec.ranks, "volts": seat.volts, "serial": serial, "from": was, "lots": lots,
            }))
        })
        .collect()
}
