//! `[virtual.mounting]`: what the rim is fastened to.

use settings_file::{Acceleration, Angle, Damping, Inertia, Section, Speed, Stiffness, Time, Torque};

use crate::plant::{FarSide, MountingParameters, TurningParameters};

/// Most legs of a script.
const LEGS: usize = 32;

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Clamped,
    Free,
    BackDriven,
}

const KINDS: [(&str, Kind); 3] = [
    ("clamped", Kind::Clamped),
    ("free", Kind::Free),
    ("back-driven", Kind::BackDriven),
];

/// The word for a far side in rig files.
pub(super) fn word(far_side: &FarSide) -> &'static str {
    match far_side {
        FarSide::Ground { .. } => "clamped",
        FarSide::Disc { .. } => "free",
        FarSide::Drive(_) => "back-driven",
    }
}

pub(super) fn read(table: &Section<'_>) -> MountingParameters {
    let far_side = match table.choice("kind", &KINDS).unwrap_or(Kind::Clamped) {
        Kind::Clamped => FarSide::Ground {
            holding_nm: table.quantity::<Torque>("clamp_holds", 0.1..=1000.0),
        },
        Kind::Free => FarSide::Disc {
            inertia_kg_m2: table.quantity::<Inertia>("disc", 1e-5..=1.0),
        },
        Kind::BackDriven => FarSide::Drive(turning(&table.section("drive"))),
    };
    MountingParameters {
        sensor_nm_per_rad: table.quantity::<Stiffness>("sensor_stiffness", 100.0..=1e6),
        fixture_nm_per_rad: table.quantity::<Stiffness>("fixture_stiffness", 100.0..=1e6),
        damping_nm_s_per_rad: table.quantity::<Damping>("damping", 0.0..=50.0),
        far_side,
    }
}

fn turning(table: &Section<'_>) -> TurningParameters {
    let turning = TurningParameters {
        start_s: table.quantity_or::<Time>("start", 0.0..=3600.0, 0.0),
        speeds_rad_s: table.quantities::<Speed>("speeds", -60.0..=60.0, 1..=LEGS),
        angle_rad: table.quantity::<Angle>("angle", 1e-3..=60.0),
        acceleration_rad_s2: table.quantity::<Acceleration>("acceleration", 0.01..=1e4),
        pause_s: table.quantity_or::<Time>("pause", 0.0..=600.0, 0.0),
        repeats: table.boolean_or("repeats", false),
    };
    let fastest = turning
        .speeds_rad_s
        .iter()
        .fold(0.0_f64, |most, v| most.max(v.abs()));
    if turning.speeds_rad_s.iter().any(|v| v.abs() < 1e-4) {
        table.report(
            "speeds",
            "a leg slower than 0.0001 rad/s never ends",
            None,
            "rest with `pause` instead",
        );
    }
    let needs = fastest * fastest / turning.acceleration_rad_s2;
    if turning.angle_rad < needs {
        table.report(
            "angle",
            format!(
                "too short: {fastest} rad/s is only reached and left again within {:.3} deg at this acceleration",
                needs.to_degrees()
            ),
            Some(format!("{:.3} deg or more", needs.to_degrees())),
            "raise `angle` or `acceleration`, or lower the greatest of `speeds`",
        );
    }
    turning
}
