//! `slotwise plan check`.

use std::path::PathBuf;

use serde_json::json;

use super::super::{CommandError, Exit, files, wrap};
use super::show::unjudged;
use crate::env::Env;
use crate::plan::interleave::{bandwidth, estimate};
use crate::plan::rules::{check, not_fitted};
use crate::plan::speed::speed;
use crate::plan::{Plan, PlanSlot, Seats, Statements, cpus_of, statements};
use crate::snapshot::ascii_json;
use crate::source::counted;
use crate::text::shown_within;
use crate::units::{Mts, Size};

/// Judges a plan, hand-made or not, by the board's rules, and names every broken one with its slots and source
///
/// It also says which statements of an edited plan (proof, reasons, target, rate, purchase) hold no more. Exit code 0: no
/// rule is broken and all holds; 1: at least one is, or the plan says what its modules do not bear out.
#[derive(Debug, Clone, clap::Args)]
pub struct CheckArgs {
    /// The plan file
    #[arg(value_name = "PLAN")]
    pub plan: PathBuf,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Judges a plan.
///
/// # Errors
/// A plan that cannot be read or is wrong.
pub fn run(env: &mut Env, args: &CheckArgs) -> Result<Exit, CommandError> {
    let plan = files::read_plan_to_judge(env, &args.plan)?;
    let mut exit = Exit::Done;
    let mut seats: Seats = vec![None; plan.board.slots().count()];
    for slot in &plan.slot {
        if let Some(at) = plan.board.slot(slot.slot.as_str()) {
            seats[at.index] = Some(slot.seat().on(&plan.board));
        }
    }
    let held: Size = seats.iter().flatten().map(|seat| seat.spec.gib).sum();
    let mut units = Vec::new();
    let mut lines = Vec::new();
    // Units may hold different processors; an order without units stands for one of any.
    let listed: Vec<Option<&crate::order::Unit>> =
        if plan.order.unit.is_empty() { vec![None] } else { plan.order.unit.iter().map(Some).collect() };
    let mut before: Vec<crate::plan::Cpus> = Vec::new();
    let mut said = Statements::default();
    for unit in listed {
        let cpus = cpus_of(&plan.board, unit).map_err(|e| CommandError::new(Exit::BadData, e.to_string()))?;
        let tag = unit.map_or("", |unit| unit.chassis.as_str());
        if before.contains(&cpus) {
            continue;
        }
        let mut verdict = check(&plan.board, &cpus, &seats);
        verdict.breaches.extend(not_fitted(&plan));
        let speed = speed(&plan.board, &cpus, &seats);
        let bandwidth = bandwidth(&plan.board, &cpus, &seats, speed.mts.unwrap_or(Mts(0)));
        let estimate = estimate(&plan.board, &seats, &bandwidth);
        if before.is_empty() {
            said = statements(&plan, &cpus);
        }
        let stated = plan.mts.zip(speed.mts).filter(|(stated, runs)| stated != runs);
        if !verdict.breaches.is_empty() || stated.is_some() {
            exit = Exit::Findings;
        }
        if args.json {
            let breaches: Vec<_> = verdict
                .breaches
                .iter()
                .map(|b| json!({ "rule": b.rule, "slots": b.slots, "what": b.what, "source": b.source }))
                .collect();
            units.push(json!({
                "unit": tag, "breaches": breaches, "stated_mts": plan.mts, "gib": held, "unknown": verdict.unknown, "mts": speed.mts,
                "limited_by": speed.limited_by.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "effective_percent": bandwidth.percent(),
                "estimate": estimate.as_ref().map(|e| json!({
                    "low": e.low_percent, "high": e.high_percent, "why": e.why,
                })),
            }));
        } else {
            if !tag.is_empty() {
                lines.push(format!("unit {}", shown_within(tag, 60)));
            }
            match verdict.breaches.len() {
                0 => lines.push("no rule is broken".to_owned()),
                n => lines.push(format!("{} broken", counted(n, "rule"))),
            }
            for breach in &verdict.breaches {
                lines.push(format!("  {}: {}", breach.rule, breach.what));
                lines.push(format!("      source: {}", breach.source));
            }
            lines.push(format!("{held} in {}", counted(plan.slot.len(), "module")));
            if let Some((stated, runs)) = stated {
                // The report of the machine is held against what the plan says.
                lines.push(format!("the plan says {stated}, but its modules run at {runs}: correct `mts` in the plan"));
            }
            if let Some(mts) = speed.mts {
                let by: Vec<String> = speed.limited_by.iter().map(ToString::to_string).collect();
                lines.push(format!("runs at {mts}, held there by {}", by.join(" and ")));
            }
            let band =
                estimate.as_ref().map_or_else(String::new, |e| format!("; measured machines let expect {}", e.band()));
            lines.push(format!("about {} % of this board's best bandwidth (estimate{band})", bandwidth.percent()));
            lines.extend(estimate.iter().flat_map(|e| &e.why).map(|why| format!("estimate: {why}")));
            lines.extend(unjudged(&verdict.unknown));
            lines.extend(taken_from_the_board(&plan));
        }
        before.push(cpus);
    }
    if !said.stale.is_empty() {
        exit = Exit::Findings;
        lines.push(match said.stale.len() {
            1 => "1 statement of the plan holds no more:".to_owned(),
            n => format!("{n} statements of the plan hold no more:"),
        });
        lines.extend(
            said.stale.iter().map(|stale| format!("  {}: {}", stale.statement, shown_within(&stale.what, 400))),
        );
    }
    lines.extend(said.unjudged.iter().map(|what| format!("not judged: {}", shown_within(what, 400))));
    if args.json {
        let all = json!({ "units": units, "stale": said.stale, "statements_unknown": said.unjudged });
        writeln!(env.stdout, "{}", ascii_json(&format!("{all:#}")))?;
        lines.clear();
    }
    let columns = wrap::columns(env, env.terminal.stdout_is_terminal);
    for line in lines {
        writeln!(env.stdout, "{}", wrap::wrapped(&line, columns, 8))?;
    }
    env.stdout.flush()?;
    Ok(exit)
}

/// What the plan does not say of its modules and was taken as [`crate::plan::Seat::on`] takes it.
fn taken_from_the_board(plan: &Plan) -> Vec<String> {
    let board = &plan.board;
    let mut notes = Vec::new();
    let of = plan.slot.iter().filter(|slot| slot.module.spec.generation.is_none()).count();
    if of > 0 {
        let (of, slots) = (counted(of, "module"), board.generation);
        notes.push(format!(
            "note: {of} without `generation` in the plan: taken to be {slots}, which alone fits the slots"
        ));
    }
    let other = |slot: &&PlanSlot| slot.module.spec.generation.is_none_or(|generation| generation == board.generation);
    let of = plan.slot.iter().filter(|slot| slot.volts.is_none()).filter(other).count();
    if let (Some(volts), true) = (board.generation.volts(), board.limits.volts.is_some() && of > 0) {
        let of = counted(of, "module");
        notes.push(format!("note: {of} without `volts` in the plan: taken from the generation, {volts} V"));
    }
    notes
}
