//! Snapshot against plan gives findings.
//!
//! The rules, in one place:
//!
//! - **One cause, one finding.** A missing module makes its channel uneven, the totals smaller and perhaps the rate
//!   higher; it is still one finding. Totals are therefore judged against what the slots report, not against the plan
//!   (a total that only all modules give outweighs one that is short of a module: see `totals`), and uneven sockets are a finding of their own only where no slot explains them. A snapshot of another machine or
//!   of an earlier boot is one finding and nothing else: it is no evidence of anything else.
//! - **Slots** are found by what the board's file says its firmware calls them: by locator where that is unique, by
//!   locator and bank, and by the order of the handles among slots that are named alike.
//! - **Modules** are told by serial where plan or scan know it and the firmware can read it, else by part number, else
//!   by size, kind and ranks.
//! - **Serials** are equal when their trimmed texts are equal, or when both are exactly eight hexadecimal digits of the
//!   same value (the four bytes of the module's EEPROM). Nothing else: no prefix, no similar letters.
//! - **Parts** are equal when their trimmed texts are equal, letter case aside.

mod compare;
mod exchange;
mod finding;
mod identities;
mod identity;
mod input;
mod machine_wide;
mod matching;
mod place;
mod rates;
mod reported_plan;
mod slots;
mod stale;
mod totals;
mod window;
mod wording;

pub use compare::{Compared, Comparison, compare, compare_all};
pub use finding::*;
pub use identity::{parts_equal, serials_equal};
pub use input::{Earlier, Input};
pub use matching::lines_of_slots;
pub use reported_plan::{ShutOffModules, plan_from_snapshot};
pub use totals::{Explanation, explain};
pub use window::Window;
