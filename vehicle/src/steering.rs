//! Forces at the front wheels to torque at the rim, without assistance: moments about the steering axes of both wheels
//! (Gillespie, Fundamentals of Vehicle Dynamics, ch. 8; from memory), carried to the rim by the ratio. Both wheels are turned
//! by one angle; nothing is lost on the way.

use crate::{car::Steering, tyre::Grip};

/// What the road does to one wheel.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wheel {
    /// Side force and aligning torque.
    pub grip: Grip,
    /// Load, N.
    pub load_n: f64,
    /// Force along the car, forward, N.
    pub along_n: f64,
}

/// Torque at the rim, N·m, clockwise, of the wheels on the left and on the right turned to the right by `turned_rad`.
pub fn rim_torque_nm(geometry: &Steering, turned_rad: f64, [left, right]: &[Wheel; 2]) -> f64 {
    let (caster, inclination) = (geometry.caster_rad, geometry.inclination_rad);
    let side_nm = (left.grip.side_n + right.grip.side_n) * geometry.mechanical_trail_m();
    let tilt = libm::cos(libm::sqrt(caster * caster + inclination * inclination));
    let aligning_nm = (left.grip.aligning_nm + right.grip.aligning_nm) * tilt;
    // Turned either way, the body is lifted.
    let lifting_nm =
        (left.load_n + right.load_n) * geometry.scrub_m * libm::sin(inclination) * libm::sin(turned_rad);
    let uneven_nm =
        (left.load_n - right.load_n) * geometry.scrub_m * libm::sin(caster) * libm::cos(turned_rad);
    let along_nm = (left.along_n - right.along_n) * geometry.scrub_m;
    (uneven_nm + along_nm - side_nm - aligning_nm - lifting_nm) / geometry.ratio
}
