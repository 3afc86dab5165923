//! Are values normal? Capability and tolerance intervals rest on it.

mod anderson_darling;
mod shapiro_wilk;

pub use anderson_darling::{AndersonDarling, anderson_darling};
pub use shapiro_wilk::{LARGEST, ShapiroWilk, shapiro_wilk};
