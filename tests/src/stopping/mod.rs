//! How far a rim goes on turning after its motor is stopped, by coasting and by braking and then coasting: the virtual
//! plant beside a closed form.
//!
//! The rim is free and carries what a driver's would: the disc of the unit's free mounting. It turns at a speed, no
//! current flows, and the stop acts at that instant; what detection and reaction add comes on top.

mod closed;
mod plant;
mod table;

pub use closed::{Coasting, Unit, braking_rad, coasting_rad};
pub use plant::{Stop, Travel, settle};
pub use table::{Row, Way, rows, table};

/// Speeds at which the rim is stopped, rad/s.
pub const SPEEDS_RAD_S: [f64; 3] = [5.0, 10.0, 20.0];

/// The wheelbases with their rig files, from the one that is easiest to stop.
pub const UNITS: [(&str, &str); 3] = [
    ("geared", include_str!("../../../rigs/geared.toml")),
    ("belt", include_str!("../../../rigs/belt.toml")),
    ("direct", include_str!("../../../rigs/direct.toml")),
];
