//! The fault campaign: seeded runs in which one thing goes wrong, in lock-step virtual time, over every kind of fault
//! that the virtual rig knows, every wheelbase, every mounting and every moment of a run; and runs in which nothing goes
//! wrong, which must not trip.
//!
//! A case is decided by its seed alone (and by what the caller pins), so that each is repeated by one command. Sizes are
//! drawn from the ranges in [`sizes`], budgets for the rim's travel are derived in [`budget`], and what counts as
//! harmless is decided by the rule in [`verdict`], from what the rim and the motor really did.

#![allow(clippy::panic)] // shipped files that cannot be read end the campaign

pub mod budget;
pub mod case;
pub mod line;
pub mod play;
pub mod quiet;
pub mod scripts;
pub mod sizes;
pub mod table;
pub mod units;
pub mod verdict;
pub mod work;

pub use case::{Case, Moment, Only};
pub use play::{Played, play};
pub use verdict::{Class, Verdict};
