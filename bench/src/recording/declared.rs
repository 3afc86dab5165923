//! What the rig file in a recording declares beyond the header; of imported data, what their map declares.

use bench_core::rig::{Drivetrain, FarSide, Rig};

use super::Recording;

/// Standard uncertainty of an imported disc's inertia, as a share of it: maps tell none, and discs are known to 0.3 to 3 %
/// (common practice).
const IMPORTED_DISC: f64 = 0.01;

/// Figures of the rig file or the map; what neither declares leaves `None`.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Declared {
    /// Turns of the rotor for one of the rim.
    pub(crate) ratio: Option<f64>,
    /// Peak torque, N·m.
    pub(crate) peak_nm: Option<f64>,
    /// Torque held for good, N·m.
    pub(crate) sustained_nm: Option<f64>,
    /// Gears and belts between motor and rim, one after the other; none for a direct drive.
    pub(crate) stages: Option<usize>,
    /// Motor, gears and belt.
    pub(crate) drivetrain: Option<Drivetrain>,
    /// Inertia of the disc on a free rim and its standard uncertainty, kg·m².
    pub(crate) disc_kg_m2: Option<(f64, f64)>,
}

impl Declared {
    /// Reads what an import noted beside the header.
    fn imported(recording: &Recording) -> Self {
        let extra = &recording.header().extra;
        let number = |name: &str| {
            let (_, text) = extra.iter().find(|(known, _)| known == name)?;
            text.parse::<f64>().ok().filter(|v| v.is_finite() && *v > 0.0)
        };
        Self {
            ratio: number("motor_ratio"),
            peak_nm: None,
            sustained_nm: None,
            stages: extra
                .iter()
                .find(|(known, _)| known == "drive_stages")
                .and_then(|(_, text)| text.parse().ok()),
            drivetrain: None,
            disc_kg_m2: number("disc_inertia_kgm2").map(|inertia| (inertia, IMPORTED_DISC * inertia)),
        }
    }

    /// Reads the rig file in force, in the mounting of the recording.
    pub(crate) fn of(recording: &Recording) -> Self {
        let header = recording.header();
        let mut files = header.files.iter();
        let Some(rig) = files.find_map(|(name, text)| Rig::from_toml(name, text).ok()) else {
            return Self::imported(recording);
        };
        let mounted = rig
            .mountings
            .iter()
            .find(|m| m.mounting.word() == header.mounting);
        Self {
            ratio: rig.wheelbase.ratio,
            peak_nm: Some(rig.wheelbase.peak_torque_nm),
            sustained_nm: rig.wheelbase.sustained_torque_nm,
            stages: rig.drivetrain.as_ref().map(|drivetrain| drivetrain.stages.len()),
            drivetrain: rig.drivetrain.clone(),
            disc_kg_m2: match mounted.map(|m| &m.far_side) {
                Some(FarSide::Disc {
                    inertia_kg_m2,
                    uncertainty_kg_m2,
                }) => Some((*inertia_kg_m2, *uncertainty_kg_m2)),
                _ => None,
            },
        }
    }
}
