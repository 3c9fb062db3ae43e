//! Reading a plan that carries its board and its order, or names their files.

use std::fmt;

use schemars::JsonSchema;
use serde::Deserialize;
use serde_json::Value;

use super::{PLAN_FORMAT, Plan, PlanSlot, Removal};
use crate::board::Board;
use crate::order::Order;
use crate::source::{Checked, Faults, Path, Text, from_toml, read_toml, schema_of};
use crate::text::shown;
use crate::units::Mts;

/// As [`Checked::check`] takes it.
type Reported<'r> = dyn FnMut(Path, String, Option<String>) + 'r;

/// Gives the bytes of a file that a plan names, relative to the plan.
pub type Resolve<'r> = dyn FnMut(&str) -> std::io::Result<Vec<u8>> + 'r;

/// Which module goes in which slot, what is moved, removed and inserted, and what the machine should report afterwards.
///
/// Slots that are not listed stay empty. Board and order stand in the file, or in files that `board_file` and
/// `order_file` name.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Plan")]
struct PlanFile {
    /// `slotwise-plan/1`.
    format: String,
    name: String,
    /// SHA-256 (hex) of the board it was made for; checked against `board`.
    board_sha256: Option<String>,
    /// What the machine should run its memory at, in MT/s, where it is known.
    mts: Option<Mts>,
    /// Why this plan, a line each.
    #[serde(default)]
    reasons: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    considered: Option<super::Considered>,
    #[serde(default)]
    slot: Vec<PlanSlot>,
    /// Modules that leave the machine.
    #[serde(default)]
    remove: Vec<Removal>,
    order: Option<Order>,
    /// A file that holds the order, in place of `order`.
    order_file: Option<String>,
    board: Option<Board>,
    /// A file that holds the board, in place of `board`.
    board_file: Option<String>,
}

/// The faults of a plan and of the files it names, each file with its own.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
#[serde(transparent)]
pub struct LoadError(pub Vec<Faults>);

impl std::error::Error for LoadError {}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, faults) in self.0.iter().enumerate() {
            if n > 0 {
                f.write_str("\n\n")?;
            }
            faults.fmt(f)?;
        }
        Ok(())
    }
}

/// The JSON Schema of a plan file, whichever way it gives board and order.
pub fn schema() -> Value {
    schema_of::<PlanFile>(PLAN_FORMAT)
}

/// Reads a plan; `resolve` reads the files it names.
///
/// # Errors
/// All faults of the plan; where board and order could not be had, theirs.
pub fn load(text: &Text<'_>, resolve: &mut Resolve<'_>) -> Result<Plan, LoadError> {
    load_checked(text, resolve, |plan, report| plan.check(report))
}

/// Reads a plan to judge it by the population rules: modules that the board does not take are for the rules to name.
///
/// # Errors
/// As [`load`], but for those modules.
pub fn load_to_judge(text: &Text<'_>, resolve: &mut Resolve<'_>) -> Result<Plan, LoadError> {
    load_checked(text, resolve, |plan, report| plan.check_to_judge(report))
}

fn load_checked(
    text: &Text<'_>,
    resolve: &mut Resolve<'_>,
    check: impl FnOnce(&Plan, &mut Reported<'_>),
) -> Result<Plan, LoadError> {
    let read = read_toml::<PlanFile>(text, PLAN_FORMAT).map_err(|faults| LoadError(vec![faults]))?;
    let file = &read.value;
    let mut wrong = Wrong::default();
    let board = part("board", file.board.as_ref(), file.board_file.as_deref(), resolve, &mut wrong);
    let order = part("order", file.order.as_ref(), file.order_file.as_deref(), resolve, &mut wrong);
    let (Some(board), Some(order)) = (board, order) else {
        let own = (!wrong.here.is_empty()).then(|| read.faults(wrong.here));
        return Err(LoadError(own.into_iter().chain(wrong.elsewhere).collect()));
    };
    let plan = Plan {
        format: file.format.clone(),
        name: file.name.clone(),
        board_sha256: file.board_sha256.clone(),
        mts: file.mts,
        reasons: file.reasons.clone(),
        considered: file.considered.clone(),
        slot: file.slot.clone(),
        remove: file.remove.clone(),
        order,
        board,
    };
    read.checked(|_, report| check(&plan, report)).map_err(|faults| LoadError(vec![faults]))?;
    Ok(plan)
}

/// Why board or order could not be had.
#[derive(Default)]
struct Wrong {
    /// Faults of the plan.
    here: Vec<(Path, String, Option<String>)>,
    /// Faults of the files it names.
    elsewhere: Vec<Faults>,
}

/// The part of a plan that stands in it or in a file of its own; adds to `wrong` why there is none.
fn part<T: Checked + Clone>(
    key: &str,
    inside: Option<&T>,
    file: Option<&str>,
    resolve: &mut Resolve<'_>,
    wrong: &mut Wrong,
) -> Option<T> {
    let own = Path::default().key(key);
    let named = Path::default().key(&format!("{key}_file"));
    let mut fault = |path, what, help: &str| wrong.here.push((path, what, Some(help.to_owned())));
    match (inside, file) {
        (Some(inside), None) => Some(inside.clone()),
        (Some(_), Some(_)) => {
            fault(named, format!("both `{key}` and `{key}_file`"), "keep one of the two");
            None
        }
        (None, None) => {
            let help = format!("the plan carries its {key} as [{key}], or names its file: {key}_file = \"...\"");
            fault(own, format!("missing key `{key}`"), &help);
            None
        }
        (None, Some(file)) => match resolve(file) {
            Ok(bytes) => match from_toml::<T>(&Text { file, bytes: &bytes }) {
                Ok(value) => Some(value),
                Err(faults) => {
                    wrong.elsewhere.push(faults);
                    None
                }
            },
            Err(error) => {
                let what = format!("cannot read `{}`: {}", shown(file), shown(&error.to_string()));
                fault(named, what, "the path starts at the folder of the plan");
                None
            }
        },
    }
}
