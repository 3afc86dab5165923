//! Calibration of the torque sensor by dead weights, and of an angle by index or protractor.
//!
//! The torque quantities are those of the usual guideline for static torque measuring devices (EURAMET cg-14, after
//! DIN 51309): reversibility, repeatability b', reproducibility b, zero error, deviation of interpolation, relative
//! expanded uncertainty. Indications are in any unit that is linear in torque, less the indication at zero torque.
//!
//! | module | what it answers |
//! | --- | --- |
//! | [`weights`] | the torque of a dead weight on an arm: gravity, buoyancy, and how well it is known |
//! | [`series`] | readings of loading series, checked |
//! | [`torque`] | characteristics and uncertainty of a torque sensor from such series |
//! | [`class`] | the class that the characteristics fit |
//! | [`verify`] | one check weight against a calibration |
//! | [`angle`] | counts a turn from an index; offset, scale and once-per-turn error from a protractor |

pub mod angle;
pub mod class;
mod refusal;
pub mod series;
pub mod torque;
pub mod verify;
pub mod weights;

pub use refusal::CalibrationRefusal;
