//! An invented factory whose causes are known: what the statistics are tried on and shown with.
//!
//! Four models are measured for a year on three benches with four fixtures that wander between them. Planted, each on its
//! own: a firmware that answers later, a fixture whose bearing wears, a bad batch of belts, two odd units. Every number
//! follows from a seed; nothing here comes from a real product.

mod models;
mod year;

pub use models::{MODELS, Measured, Model};
pub use year::{BAD_BATCH, Check, Found, Planted, Record, WORN_FIXTURE, Year, year};
