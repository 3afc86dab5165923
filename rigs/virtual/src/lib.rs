//! A simulated wheelbase on a rig: plant, sensors and rig controller.
//!
//! - [`plant`]: motor, drive, friction, ripple, mounting and heat, one block a file, in fixed steps.
//! - [`parameters`]: all of it from the `[virtual]` table of a rig file, checked.
//! - [`sensors`]: what can be seen of it, as raw counts.

pub mod parameters;
pub mod plant;
pub mod random;
pub mod sensors;
