//! The modules on hand or on offer.

mod lot;
mod read;

pub use lot::{Lot, Money, Stock};
pub use read::{StockError, from_csv};
