//! Friction of a drivetrain: how much, how it depends on speed, direction, position and rest, and how it holds.
//!
//! | what | from | function |
//! | --- | --- | --- |
//! | Coulomb by direction, viscous, Stribeck, breakaway | turning at several speeds, drag read by the sensor | [`drag_point`] or [`paired_drag`], [`fit_stribeck`] |
//! | Coulomb by direction, viscous | coasting down with a known inertia | [`fit_coast_down`] |
//! | inertia, Coulomb, viscous, offset | any motion with its torque | [`inverse_dynamics`] |
//! | whether such values agree | estimates of one quantity | [`agreement`] |
//! | breakaway by direction, position and rest | slow ramps | [`breakaway`], [`summarise_breakaway`] |
//! | friction over the angle of a turn | turning to and fro at several speeds | [`friction_over_angle`] |
//! | pre-sliding stiffness | small reversals | [`fit_presliding`] |
//!
//! Sign: torque is that which turns the rim, positive in the direction of a positive angle, so drag has the sign of
//! the speed. Linear axes are as good: give metres and newtons and say [`Axis::Linear`], which changes the units of
//! the results alone.
//!
//! A zero error of the torque sensor and a friction that differs by direction look the same. The mean of both
//! directions is free of it; values by direction carry the uncertainty of the zero that the caller declares.
//!
//! Models: Armstrong-Hélouvry, Dupont and Canudas de Wit, Automatica 30 (1994) 1083; Canudas de Wit, Olsson, Åström
//! and Lischinsky, IEEE Trans. Automatic Control 40 (1995) 419.

mod agreement;
mod axis;
mod breakaway;
mod coast;
mod inverse;
mod over_angle;
mod pairs;
mod points;
mod presliding;
mod stribeck;

pub use agreement::{Agreement, agreement};
pub use axis::{Axis, TorqueScale};
pub use breakaway::{
    Breakaway, BreakawayOptions, BreakawaySummary, Ramp, RampConditions, breakaway, summarise_breakaway,
};
pub(crate) use coast::travel;
pub use coast::{CoastDown, CoastFit, CoastOptions, fit_coast_down};
pub use inverse::{InverseFit, InverseOptions, Motion, inverse_dynamics};
pub use over_angle::friction_over_angle;
pub use pairs::{PairedDrag, paired_drag, points_of};
pub use points::{DragPoint, SteadyTurn, drag_point};
pub use presliding::{PreslidingFit, PreslidingOptions, Reversals, fit_presliding};
pub use stribeck::{StribeckFit, StribeckModel, StribeckOptions, fit_stribeck};
