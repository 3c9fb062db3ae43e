//! The modules on hand or on offer.

mod error;
mod lot;
mod read;
mod table;

pub use error::{RowError, StockError};
pub use lot::{Lot, Money, Stock};
pub use read::{fitted_from_csv, from_csv, is_list};
