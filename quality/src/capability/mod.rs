//! Capability: how a product's spread fits its limits (ISO 22514-2; NIST/SEMATECH e-Handbook 6.1.6).
//!
//! Pp and Ppk take the whole spread; Cp and Cpk that from within, and mean something only where a chart shows control.

mod indices;
mod percentiles;

pub use indices::{
    Capability, Index, Indices, Spread, capability, cp_interval, cpk_interval, from_moments, product_spread,
    targeted_index,
};
pub use percentiles::{Percentiles, percentile_indices, percentiles_of};
