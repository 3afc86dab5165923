//! Does a measured value keep its limits?
//!
//! A measured value is uncertain, so a decision near a limit may be wrong. JCGM 106:2012 gives the probabilities and
//! risks, ISO 14253-1:2017 the rule to shrink (for acceptance) or widen (for rejection) the limits by a guard band.
//! What lies between is undecided, and is said to be.

mod decision;
mod limits;
mod probability;
mod risk;

pub use decision::{Decision, GuardBand, Verdict, Zone, acceptance_zone, decide, rejection_zone};
pub use limits::Limits;
pub use probability::{Normal, posterior, probability_of_conformity};
pub use risk::{GlobalRisks, global_risks, guard_for_consumer_risk};
