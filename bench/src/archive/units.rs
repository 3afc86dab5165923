//! SI units as people read them, and as settings files write them.

use std::f64::consts::PI;

/// SI unit, on a page, in a settings file, by what an SI value is multiplied for both.
const UNITS: [(&str, &str, &str, f64); 11] = [
    ("s", "ms", "ms", 1e3),
    ("Hz", "Hz", "Hz", 1.0),
    ("N.m", "N·m", "N·m", 1.0),
    ("N.m/s", "N·m/ms", "N·m/ms", 1e-3),
    ("N.m/rad", "N·m/rad", "N·m/rad", 1.0),
    ("N.m.s/rad", "N·m·s/rad", "N·m·s/rad", 1.0),
    ("kg.m2", "kg·m²", "kg·m²", 1.0),
    ("rad", "°", "deg", 180.0 / PI),
    ("rad/s", "rad/s", "rad/s", 1.0),
    ("N", "N", "N", 1.0),
    ("1", "%", "%", 1e2),
];

/// The unit that people read and by what an SI value is multiplied; one that is not known stays as it is.
pub(super) fn shown(unit: &str) -> (&str, f64) {
    let known = UNITS.iter().find(|(si, ..)| *si == unit);
    known.map_or((unit, 1.0), |(_, page, _, factor)| (*page, *factor))
}

/// How a settings file writes it and by what an SI value is multiplied, if it has one.
pub(super) fn written(unit: &str) -> Option<(&'static str, f64)> {
    let known = UNITS.iter().find(|(si, ..)| *si == unit);
    known.map(|(_, _, file, factor)| (*file, *factor))
}
