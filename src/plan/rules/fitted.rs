//! Lines of a plan about modules that nobody fitted.

use super::{Breach, Rule};
use crate::plan::{Action, Plan};
use crate::text::shown;

/// Lines that keep, move or take out a module while the order lists nothing fitted. Where it lists something, each line is held
/// against it when the plan is read. A plan with such lines can be worked through all the same: the plan of a trial has them.
pub fn not_fitted(plan: &Plan) -> Vec<Breach> {
    if !plan.order.fitted.is_empty() {
        return Vec::new();
    }
    let placed = plan.slot.iter().enumerate().filter_map(|(n, one)| match (one.action, &one.from) {
        (Action::Keep, _) => Some((format!("slot[{n}]"), "keeps the module in", &one.slot)),
        (Action::Move, Some(from)) => Some((format!("slot[{n}]"), "moves the module in", from)),
        _ => None,
    });
    let leaves =
        plan.remove.iter().enumerate().map(|(n, one)| (format!("remove[{n}]"), "takes the module out of", &one.slot));
    placed
        .chain(leaves)
        .map(|(line, does, slot)| Breach {
            rule: Rule::NotFitted,
            slots: vec![slot.clone()],
            what: format!("{slot}: the plan {does} {slot}, and its order lists no module fitted"),
            source: format!("{line} and {} of plan {}", Rule::NotFitted.key(), shown(&plan.name)),
        })
        .collect()
}
