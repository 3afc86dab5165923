//! A simulated wheelbase on a rig: plant, sensors and rig controller.
//!
//! - [`plant`]: motor, drive, friction, ripple, mounting and heat, one block a file, in fixed steps.
//! - [`parameters`]: all of it from the `[virtual]` table of a rig file, checked.
//! - [`sensors`]: what can be seen of it, as raw counts.
//! - [`controller`]: the rig controller: protocol, setpoint queue, own limits. No physics.
//! - [`faults`]: what can go wrong, by script.
//! - [`describe`]: what a perfect measurement of a rig would find.
//! - [`VirtualRig`]: the three together in lock-step; bytes in, bytes out, time as an argument.
//! - `serve` (Unix): the same on a pseudo-terminal in real time.

pub mod controller;
pub mod describe;
pub mod faults;
pub mod parameters;
pub mod plant;
pub mod random;
pub mod sensors;

mod clock;
mod line_faults;
mod rig;
#[cfg(unix)]
pub mod serve;

pub use faults::{Fault, FaultKind};
pub use parameters::{ControllerParameters, Mounting, RigParameters};
pub use rig::{Truth, VirtualRig};
