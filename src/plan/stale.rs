//! What a plan says of itself that does not follow from its modules any more: for a plan that was edited after it was made.
//!
//! What can be worked out from the file alone is worked out: memory, rate, bandwidth, what is taken from which lot, the budget.
//! A proof cannot: it goes with a mark of what it was for, and holds for that alone.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::interleave::bandwidth;
use super::seat::{Cpus, Seat, Seats};
use super::speed::speed;
use super::{Action, Considered, Plan};
use crate::source::counted;
use crate::stock::Money;
use crate::text::shown;
use crate::units::{Mts, Size};

/// What a search was for: the first 16 characters (hex) of a SHA-256 each. No seal: who edits a plan can write them anew.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MadeFor {
    /// Of what is in which slot, how it gets there and what leaves. Serials, makers and dates are left out: they change no plan.
    pub modules: String,
    /// Of the target, the number of units, their processors and what is fitted. Tags are left out.
    pub order: String,
    pub board: String,
}

impl MadeFor {
    /// The marks of a plan as it stands.
    pub fn of(plan: &Plan) -> Self {
        let mut slots: Vec<String> = plan
            .slot
            .iter()
            .map(|s| {
                let what = (&s.slot, s.action, &s.from, &s.module.spec, &s.module.identity.part, &s.volts, &s.lot);
                as_text("slot", &what)
            })
            .chain(plan.remove.iter().map(|r| as_text("remove", &(&r.slot, &r.module.spec, &r.volts, &r.to))))
            .collect();
        slots.sort_unstable();
        let order = &plan.order;
        let mut asked: Vec<String> =
            order.fitted.iter().map(|f| as_text("fitted", &(&f.slot, &f.module.spec, &f.volts, f.stays))).collect();
        asked.sort_unstable();
        asked.push(as_text("gib", &order.gib));
        asked.extend(order.unit.iter().map(|unit| as_text("unit", &unit.processor)));
        let mut board = plan.board.sha256();
        board.truncate(MARK);
        Self { modules: mark(&slots), order: mark(&asked), board }
    }
}

/// Characters of a mark.
const MARK: usize = 16;

fn as_text(name: &str, what: &impl Serialize) -> String {
    // Types of a plan file are written as JSON without fail; a fault would show as a mark that differs.
    format!("{name} {}", serde_json::to_string(what).unwrap_or_default())
}

fn mark(lines: &[String]) -> String {
    let mut hash = Sha256::new();
    for line in lines {
        hash.update(line.as_bytes());
        hash.update(b"\n");
    }
    hash.finalize().iter().take(MARK / 2).map(|byte| format!("{byte:02x}")).collect()
}

/// One statement of a plan file that does not hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Stale {
    /// Its key in the file: `considered.proof`.
    pub statement: String,
    /// What it says and what holds, in one line.
    pub what: String,
}

/// What is wrong with the statements of a plan, and what could not be judged.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Statements {
    pub stale: Vec<Stale>,
    pub unjudged: Vec<String>,
}

impl Statements {
    fn stale(&mut self, statement: &str, what: String) {
        self.stale.push(Stale { statement: statement.to_owned(), what });
    }
}

/// Holds what a plan says against its modules; `cpus` are the processors of its units.
pub fn statements(plan: &Plan, cpus: &Cpus) -> Statements {
    let mut out = Statements::default();
    let seats: Seats =
        plan.board.slots().map(|at| plan.module_at(at.slot.label.as_str()).map(super::PlanSlot::seat)).collect();
    target(plan, &mut out);
    name(plan, &mut out);
    let unknown = reasons(plan, cpus, &seats, &mut out);
    if let Some(considered) = &plan.considered {
        purchase(plan, considered, &mut out);
        picks(plan, considered, &mut out);
        made_for(plan, considered, &mut out);
    } else if unknown > 0 {
        out.unjudged.push(format!("{} in words of their own", counted(unknown, "reason")));
    }
    out
}

fn target(plan: &Plan, out: &mut Statements) {
    let Some(asked) = plan.order.gib else { return };
    let (held, exactly) = (plan.capacity(), plan.considered.as_ref().is_some_and(|considered| considered.exactly));
    if held < asked {
        out.stale("order.gib", format!("{asked} is asked for, and these modules make {held}"));
    } else if exactly && held != asked {
        out.stale("order.gib", format!("exactly {asked} was asked for, and these modules make {held}"));
    }
}

/// A name that `plan` made up tells the memory.
fn name(plan: &Plan, out: &mut Statements) {
    let said = plan.name.strip_prefix(&format!("{}, ", plan.board.name)).and_then(Size::parse);
    if let Some(said) = said.filter(|said| *said != plan.capacity()) {
        out.stale("name", format!("it says {said}, and these modules make {}", plan.capacity()));
    }
}

/// The figures that open the reasons `plan` writes. Gives the number of reasons in other words.
fn reasons(plan: &Plan, cpus: &Cpus, seats: &[Option<Seat>], out: &mut Statements) -> usize {
    let seats = seats.to_vec();
    let speed = speed(&plan.board, cpus, &seats);
    let percent = bandwidth(&plan.board, cpus, &seats, speed.mts.unwrap_or(Mts(0))).percent();
    let size = format!("{} in {}", plan.capacity(), counted(plan.slot.len(), "module"));
    let rate = speed.mts.map(|mts| format!("runs at {mts}"));
    let share = format!("about {percent} % of this board's best bandwidth");
    let mut unknown = 0;
    for (n, reason) in plan.reasons.iter().enumerate() {
        let (holds, now) = if reason.contains(" in ") && reason.contains(" module") && reason.ends_with(" channels") {
            (reason.starts_with(&size), size.clone())
        } else if reason.starts_with("runs at ") {
            let now = rate.clone().unwrap_or_else(|| "the rate is not known".to_owned());
            (rate.as_ref().is_some_and(|rate| reason.starts_with(rate)), now)
        } else if reason.starts_with("rated ") && reason.contains(" limit ") {
            let now = speed.remark().unwrap_or_else(|| "the modules run at their rating".to_owned());
            (now == *reason, now)
        } else if reason.starts_with("socket") && reason.contains(" of this board's best bandwidth") {
            (reason.contains(&share), share.clone())
        } else {
            unknown += 1;
            continue;
        };
        if !holds {
            let what = format!("it says \"{}\"; what holds now: {now}", shown(reason));
            out.stale(&format!("reasons[{n}]"), what);
        }
    }
    unknown
}

/// What is taken from which lot, for all units, and the budget.
fn purchase(plan: &Plan, considered: &Considered, out: &mut Statements) {
    let units = (plan.order.unit.len() as u64).max(1);
    let mut taken: BTreeMap<&str, u64> = BTreeMap::new();
    for slot in plan.slot.iter().filter(|slot| slot.action == Action::Insert) {
        if let Some(lot) = &slot.lot {
            *taken.entry(lot).or_default() += units;
        }
    }
    for pick in &considered.pick {
        *taken.entry(&pick.lot).or_default() += 1;
    }
    for (n, one) in considered.purchase.iter().enumerate() {
        let needed = taken.remove(one.lot.as_str()).unwrap_or(0);
        let key = format!("considered.purchase[{n}]");
        let lot = shown(&one.lot);
        if needed != u64::from(one.needed) {
            let cost = one.cost.as_ref().map_or_else(String::new, |cost| format!(" and its cost of {}", shown(cost)));
            let said = counted(one.needed as usize, "module");
            out.stale(&key, format!("{said} of lot {lot}{cost}: the slots take {needed}"));
        } else if one.taken < one.needed {
            out.stale(&key, format!("{} of lot {lot} taken, and {needed} needed", one.taken));
        } else if one.taken > one.there {
            out.stale(&key, format!("{} of lot {lot} taken, and {} there", one.taken, one.there));
        }
    }
    for (lot, needed) in taken {
        out.stale(
            "considered.purchase",
            format!("the slots take {needed} of lot {}, which it does not list", shown(lot)),
        );
    }
    let costs: Option<Vec<u64>> =
        considered.purchase.iter().map(|one| one.cost.as_deref().map_or(Some(0), amount)).collect();
    let budget = considered.budget.as_deref().and_then(amount);
    if let (Some(budget), Some(costs)) = (budget, costs) {
        let cost = costs.iter().fold(0u64, |sum, cost| sum.saturating_add(*cost));
        if cost > budget {
            let what = format!("{} may be spent, and what is taken costs {}", Money(budget), Money(cost));
            out.stale("considered.budget", what);
        }
    }
}

/// `492.00 EUR` in hundredths.
fn amount(text: &str) -> Option<u64> {
    Money::parse(text.split_whitespace().next()?).map(|money| money.0)
}

/// Every unit of a pick is one of the order's: tags may have been put in since.
fn picks(plan: &Plan, considered: &Considered, out: &mut Statements) {
    let tags: BTreeSet<&str> = plan.order.unit.iter().map(|unit| unit.chassis.as_str()).collect();
    let strange: BTreeSet<&str> =
        considered.pick.iter().map(|pick| pick.unit.as_str()).filter(|unit| !tags.contains(unit)).collect();
    if let Some(first) = strange.first() {
        let more = if strange.len() > 1 { format!(" and {} more", strange.len() - 1) } else { String::new() };
        let what = format!("unit {}{more} is no unit of the order: its tag is another now", shown(first));
        out.stale("considered.pick", what);
    }
}

/// The statements that only a search can bear out.
fn made_for(plan: &Plan, considered: &Considered, out: &mut Statements) {
    let Some(said) = &considered.made_for else {
        if out.stale.is_empty() {
            let what =
                "the proof and the alternatives: the plan does not carry what they were for (considered.made_for)";
            out.unjudged.push(what.to_owned());
        } else {
            let what = "it was for the plan as its statements tell it, and not all of them hold; make the plan anew";
            out.stale("considered.proof", what.to_owned());
        }
        return;
    };
    let now = MadeFor::of(plan);
    let parts = [
        (said.modules != now.modules, "other modules or other places than the plan holds"),
        (said.order != now.order, "another order: other units, processors, target or other modules fitted"),
        (said.board != now.board, "another board"),
    ];
    let other: Vec<&str> = parts.iter().filter(|(differs, _)| *differs).map(|(_, what)| *what).collect();
    if other.is_empty() {
        return;
    }
    let other = other.join(", and for ");
    out.stale("considered.proof", format!("it was for {other}"));
    let rest: Vec<&str> = [
        (!considered.alternative.is_empty(), "alternatives"),
        (!considered.front.is_empty(), "trade-off"),
        (!considered.handling.is_empty(), "handlings"),
        (!plan.reasons.is_empty(), "reasons about one module more or fewer"),
    ]
    .into_iter()
    .filter_map(|(there, what)| there.then_some(what))
    .collect();
    if !rest.is_empty() {
        let what = format!(
            "{} go with that proof; make the plan anew, or take `considered` and `reasons` out",
            rest.join(", ")
        );
        out.stale("considered", what);
    }
}
