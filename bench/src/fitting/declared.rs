//! What the rig file in a recording declares beyond the header.

use bench_core::rig::{FarSide, Rig};

use crate::recording::Recording;

/// Figures of the rig file; what it does not declare, or a recording that has no rig file, leaves `None`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Declared {
    /// Turns of the rotor for one of the rim.
    pub(crate) ratio: Option<f64>,
    /// Inertia of the disc on a free rim and its standard uncertainty, kg·m².
    pub(crate) disc_kg_m2: Option<(f64, f64)>,
    /// Fastest that a drive turns the rim, rad/s.
    pub(crate) drive_rad_s: Option<f64>,
}

impl Declared {
    /// Reads the rig file in force, in the mounting of the recording.
    pub(crate) fn of(recording: &Recording) -> Self {
        let header = recording.header();
        let rigs = header.files.iter();
        let Some(rig) = rigs
            .filter_map(|(name, text)| Rig::from_toml(name, text).ok())
            .next()
        else {
            return Self::default();
        };
        let mounted = rig
            .mountings
            .iter()
            .find(|m| m.mounting.word() == header.mounting);
        let mut found = Self {
            ratio: rig.wheelbase.ratio,
            ..Self::default()
        };
        match mounted.map(|m| &m.far_side) {
            Some(FarSide::Disc {
                inertia_kg_m2,
                uncertainty_kg_m2,
            }) => found.disc_kg_m2 = Some((*inertia_kg_m2, *uncertainty_kg_m2)),
            Some(FarSide::Drive { speed_rad_s, .. }) => found.drive_rad_s = Some(*speed_rad_s),
            _ => {}
        }
        found
    }
}
