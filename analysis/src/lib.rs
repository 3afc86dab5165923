//! Typed estimates from arrays: what a recording of a wheelbase says, with its uncertainty.
//!
//! Arrays go in, [`estimate::Outcome`]s come out; nothing here reads a file or a clock or prints. Every result is
//! either an [`estimate::Estimate`] (value, standard uncertainty, interval, budget, checks passed) or a typed
//! [`estimate::Refusal`] that says why the data cannot support one. All of it is deterministic: the same arrays give
//! the same bits.
//!
//! | module | what it answers |
//! | --- | --- |
//! | [`around`] | whether a quantity varies around the turn, by how much, and where |
//! | [`calibration`] | torque sensor by dead weights, angle by index or protractor, a check weight |
//! | [`clamp`] | the rig's own part in a clamped response, and the response on an ideal clamp |
//! | [`estimate`] | how contributions combine into one uncertainty and interval (JCGM 100) |
//! | [`least_squares`] | parameters of a non-linear model, bounded, with covariance |
//! | [`step`] | levels, transition, overshoot and settling of a step (IEEE Std 181) |
//! | [`latency`] | pure delay from the setpoint coming into force to torque onset, and its spread |
//! | [`spectra`] | averaged auto- and cross-spectra, coherence |
//! | [`frequency`] | frequency response from repeated chirps: bandwidth, delay, first resonance |
//! | [`modes`] | all resonances, by poles and by circles |
//! | [`multisine`] | best linear approximation, noise, odd and even distortion; lines and phases of a multisine |
//! | [`rational`] | delay and rational transfer function of a response, with poles, zeros and their uncertainties |
//! | [`trace`] | what of a steering trace arrives: delay, error, gain by octave, distortion, contrast at the grip limit |
//! | [`friction`] | breakaway, Coulomb, viscous and Stribeck friction, three ways, and pre-sliding stiffness |
//! | [`backlash`] | gap, lost motion, hysteresis and stiffness from slow reversals |
//! | [`cogging`] | torque that repeats with the angle: orders, names, skew, ripple under load |
//! | [`end_stop`] | end stops from slow presses: contact, stiffness, travel, centre |
//! | [`inertia`] | inertia from two discs, ratio, and what changed in a belt |
//! | [`shock`] | half-sine pulses and trains of them: the share that arrives, how late, how wide, what is left |
//! | [`small`] | small changes on a preload: the smallest that is told from none, small sines, how restless held torque is |
//! | [`heat`] | warming: time constants, what torque loses, what can be held for good |
//! | [`position`] | step and noise of a position sensor |
//! | [`static_map`] | steady torque against command: gain, offset, deadband, hysteresis, deviations from a line |
//! | [`regression`] | linear least squares, and what its columns can tell apart |
//! | [`zero_phase`] | low-pass filtering without shift in time |
//! | [`statistics`] | means, spreads and quantiles used by the others |

pub mod around;
pub mod backlash;
pub mod calibration;
pub mod clamp;
pub mod cogging;
pub mod end_stop;
pub mod estimate;
pub mod frequency;
pub mod friction;
pub mod heat;
pub mod inertia;
pub mod latency;
pub mod least_squares;
mod linear;
pub mod modes;
pub mod multisine;
pub mod position;
pub mod rational;
pub mod regression;
pub mod shock;
pub mod small;
pub mod spectra;
pub mod static_map;
pub mod statistics;
pub mod step;
pub mod trace;
mod turning;
pub mod zero_phase;
