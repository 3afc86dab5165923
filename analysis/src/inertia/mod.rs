//! Inertia from two discs, ratio from both angles, and what changed in a belt.
//!
//! Inertia from torque and motion is [`inverse_dynamics`](crate::friction::inverse_dynamics) with the sensor between
//! shaft and disc; here it comes from accelerations under the same torque with two known discs in turn.

mod belt;
mod discs;
mod knee;
mod ratio;

pub use belt::{
    BeltChange, BeltComparison, BeltState, Direction, compare_belt, span_frequency_hz, span_tension,
};
pub use discs::{RunUp, acceleration, two_discs};
pub use knee::{KneeFit, fit_knee};
pub use ratio::{RatioFit, fit_ratio};
