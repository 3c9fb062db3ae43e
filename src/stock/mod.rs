//! The modules on hand or on offer.

mod fitted;
mod lot;
mod read;

pub use fitted::fitted_from_csv;
pub use lot::{Lot, Money, Stock};
pub use read::{StockError, from_csv};
