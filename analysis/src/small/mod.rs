//! Small changes on a preload: the smallest that is told from none, the gain of a small sine, and how restless held torque is.

mod grain;
mod sine;
mod told;

pub use grain::{BANDS_HZ, Grain, STRETCH_S, grain};
pub use sine::{Response, SineRecord, sine};
pub use told::{Told, Trial, TrialOptions, told};
