//! QA records: who measured which unit, when, on what, under which calibration, with what result, for years.
//!
//! Records are entries that are only ever added; a correction is a new entry that names the old one. Each entry is bound to all
//! before it by a chain of digests ([`entry`]), so that a changed, removed, moved or slipped-in one is found. They lie in a file
//! of SQLite or in PostgreSQL ([`Address`]), with the same tables in both.
//!
//! Nothing here reads a clock: who adds says when ([`Stamp`]).

mod act;
mod address;
mod backend;
mod canonical;
mod change;
pub mod content;
mod derive;
pub mod entry;
mod error;
mod instant;
pub mod limits;
mod lists;
mod read;
mod schema;
mod store;
mod verify;

pub use act::{About, Correcting, JudgedFit};
pub use address::Address;
pub use canonical::{canonical, sha256};
pub use entry::{Entry, Stamp};
pub use error::RecordsError;
pub use instant::{seconds_of, text_of};
pub use lists::{
    Filter, Group, Measurement, ModelData, Point, Series, UnitSummary, by_bench, by_model, units,
};
pub use read::{Chain, Difference, Item, Refit, Said, UnitName, differences, refits};
pub use store::{Added, Placed, Store};
pub use verify::{Finding, Noted, Verified};
