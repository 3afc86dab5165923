//! Values and units that do not belong.
//!
//! They are named, not removed.

mod deviate;
mod robust;
mod units;

pub use deviate::{Deviate, studentised_deviates};
pub use robust::{Robust, robust_estimates};
pub use units::{OddUnit, Oddity, odd_units};
