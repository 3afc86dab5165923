//! Steering torque of a car, computed from first principles: what the rim of a car without assistance would do to the
//! hands, to be played by a wheelbase.
//!
//! Values go in, values come out: no file, no clock, and nothing random but by a seed, so that the same input gives the
//! same trace to the last bit on every machine.
//!
//! | module | what it holds |
//! | --- | --- |
//! | [`tyre`] | the brush tyre: side force, aligning torque, pneumatic trail; the lag over a relaxation length |
//! | [`car`] | masses, axles and springs of a car, and its steering geometry |
//! | [`steering`] | forces at both front wheels to torque at the rim |
//! | [`road`] | roughness by the classes of ISO 8608 |
//! | [`kerb`] | kerbs of a stated shape and spacing |
//! | [`manoeuvre`] | what the driver does |
//! | [`motion`] | the car's state and its rate of change |
//! | [`drive`] | a whole drive, moment by moment |
//!
//! Signs: the rim turned clockwise, the car turning right and forces to the right are positive; torque is positive where it
//! turns the rim clockwise, so it is negative in a steady right-hand corner.
//!
//! Left out, and so not in any trace: roll and load transfer by cornering, camber, tyre width and heat, compliance and
//! friction of the steering, and any assistance.

#![no_std]

extern crate alloc;

pub mod car;
pub mod drive;
pub mod kerb;
pub mod manoeuvre;
pub mod motion;
pub mod road;
pub mod steering;
pub mod tyre;

/// Acceleration of free fall, m/s² (standard value, CGPM 1901).
pub const GRAVITY_M_PER_S2: f64 = 9.806_65;
