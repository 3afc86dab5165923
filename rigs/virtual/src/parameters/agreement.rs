//! Whether `[virtual]` fits the rest of the file: what `[rig]` declares of the same thing, and itself.
//!
//! `[rig]` is the bench's table and read there; this looks at a few of its values where they are given, and leaves
//! everything that is wrong in it to the bench.

use settings_file::{Acceleration, Inertia, Section, Settings, Speed, Stiffness, Torque, any};

use super::{Mounting, RigParameters};
use crate::plant::FarSide;

/// A data sheet's stiffness and the true one may differ by this share.
const STIFFNESS_TOLERANCE: f64 = 0.1;
/// A disc's inertia that is declared and the true one may differ by this share.
const INERTIA_TOLERANCE: f64 = 0.1;
/// Torques that are declared and simulated may differ by this share.
const TORQUE_TOLERANCE: f64 = 0.01;

/// How `[rig]` says that the rim is held; nothing where it does not say so in one of the known words.
pub(super) fn declared_mounting(file: &str, text: &str) -> Option<Mounting> {
    let apart = Settings::parse(file, text).ok()?;
    let rig = apart.root().optional_section("rig")?;
    Mounting::of(&rig.optional_text("mounting")?)
}

/// Reports into `virtual_table` what contradicts `[rig]`.
pub(super) fn with_rig(file: &str, text: &str, virtual_table: &Section<'_>, parameters: &RigParameters) {
    // Read apart: what is found wrong in the bench's table here is not this reader's to report.
    let Ok(apart) = Settings::parse(file, text) else {
        return;
    };
    let Some(rig) = apart.root().optional_section("rig") else {
        return;
    };
    let mounting = virtual_table.section("mounting");
    let plant = &parameters.plant;
    far_sides(&apart, &rig, virtual_table, parameters);
    let declared = |table: &str, key: &str| {
        let section = rig.optional_section(table)?;
        let before = apart.has_findings();
        let value = if key.ends_with("stiffness") {
            section.optional_quantity::<Stiffness>(key, any())?
        } else {
            section.optional_quantity::<Torque>(key, any())?
        };
        (!before && !apart.has_findings()).then_some(value)
    };
    let compare =
        |table: &Section<'_>, key: &str, value: f64, rig_key: [&str; 2], tolerance: f64, unit: &str| {
            if let Some(declared) = declared(rig_key[0], rig_key[1])
                && (value - declared).abs() > tolerance * declared.abs()
            {
                table.report(
                    key,
                    format!(
                        "rig.{}.{} says {declared} {unit}, which is more than {} % away",
                        rig_key[0],
                        rig_key[1],
                        100.0 * tolerance
                    ),
                    None,
                    "correct one of the two",
                );
            }
        };
    compare(
        &virtual_table.section("torque"),
        "peak",
        plant.torque.peak_nm,
        ["wheelbase", "peak_torque"],
        TORQUE_TOLERANCE,
        "N·m",
    );
    compare(
        &mounting,
        "sensor_stiffness",
        plant.mounting.sensor_nm_per_rad,
        ["torque_sensor", "stiffness"],
        STIFFNESS_TOLERANCE,
        "N·m/rad",
    );
    compare(
        &mounting,
        "fixture_stiffness",
        plant.mounting.fixture_nm_per_rad,
        ["fixture", "stiffness"],
        STIFFNESS_TOLERANCE,
        "N·m/rad",
    );
    compare(
        &virtual_table.section("sensors").section("torque"),
        "range",
        parameters.sensors.torque.range_nm,
        ["torque_sensor", "range"],
        TORQUE_TOLERANCE,
        "N·m",
    );
}

/// The far side in force against what the bench is told of it.
fn far_sides(apart: &Settings, rig: &Section<'_>, virtual_table: &Section<'_>, parameters: &RigParameters) {
    let word = parameters.mounting.word();
    let Some(declared) = rig
        .optional_section("mountings")
        .and_then(|mountings| mountings.optional_section(word))
    else {
        return;
    };
    let own = virtual_table.section("mountings").section(word);
    let before = apart.has_findings();
    match &parameters.plant.mounting.far_side {
        FarSide::Disc { inertia_kg_m2 } => {
            let told = declared.optional_quantity::<Inertia>("disc", any());
            if let Some(told) = told.filter(|_| !before && !apart.has_findings())
                && (inertia_kg_m2 - told).abs() > INERTIA_TOLERANCE * told
            {
                let share = 100.0 * INERTIA_TOLERANCE;
                let problem =
                    format!("rig.mountings.free.disc says {told} kg·m², which is more than {share} % away");
                own.report("disc", problem, None, "correct one of the two");
            }
        }
        FarSide::Drive(script) => {
            let speed = declared.optional_quantity::<Speed>("drive_speed", any());
            let acceleration = declared.optional_quantity::<Acceleration>("drive_acceleration", any());
            if before || apart.has_findings() {
                return;
            }
            let fastest = script
                .speeds_rad_s
                .iter()
                .fold(0.0_f64, |most, v| most.max(v.abs()));
            if let Some(told) = speed.filter(|told| fastest > *told) {
                let problem =
                    format!("faster than the {told} rad/s of rig.mountings.back-driven.drive_speed");
                own.report(
                    "speeds",
                    problem,
                    None,
                    "lower it, or correct what the bench is told",
                );
            }
            if let Some(told) = acceleration.filter(|told| script.acceleration_rad_s2 > *told) {
                let problem =
                    format!("above the {told} rad/s² of rig.mountings.back-driven.drive_acceleration");
                own.report(
                    "acceleration",
                    problem,
                    None,
                    "lower it, or correct what the bench is told",
                );
            }
        }
        FarSide::Ground { .. } => {}
    }
}

/// Reports a drive that would turn the hub into its end stops.
pub(super) fn with_itself(virtual_table: &Section<'_>, parameters: &RigParameters) {
    let plant = &parameters.plant;
    let (FarSide::Drive(script), Some(stops)) = (&plant.mounting.far_side, plant.end_stops) else {
        return;
    };
    let ([least, greatest], end) = script.excursion_rad();
    let wanders = script.repeats && end.abs() > 1e-9;
    let furthest = greatest.max(-least);
    if wanders || furthest > 0.5 * stops.travel_rad {
        let problem = if wanders {
            "does not come back to where it began, so repeating it ends in the end stops".to_owned()
        } else {
            format!(
                "turns the rim to {:.1} deg, beyond the end stops at {:.1} deg",
                furthest.to_degrees(),
                0.5 * stops.travel_rad.to_degrees()
            )
        };
        virtual_table.section("mountings").section("back-driven").report(
            "speeds",
            problem,
            None,
            "let the directions take turns, or lower `angle`",
        );
    }
}
