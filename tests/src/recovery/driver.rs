//! What a perfect measurement finds of what a driver gets: figures of independent integrations, read from
//! `tests/reference/plant/driver-UNIT.json` and `trace-UNIT.json`.

use serde_json::Value;
use truerim::fitting::Quantity;

use super::Truth;
use super::scene::Scene;
use super::tenfold::{SHARE, TENFOLD};
use crate::campaign::units::Unit;

const PLAYED: &str = "independent integration, tests/reference/plant/driver.py";
const TRACED: &str = "independent integration, tests/reference/plant/trace.py";

/// Procedures that have truths here.
pub(super) const PROCEDURES: [&str; 6] = ["static", "shock", "resolution", "heat", TENFOLD, "limit"];

/// The known values of a unit by one of them.
pub(super) fn truths(scene: &Scene) -> Result<Vec<Truth>, String> {
    let name = if scene.procedure == "limit" {
        "trace"
    } else {
        "driver"
    };
    let known = known(name, scene.wheelbase)?;
    let all = match scene.procedure {
        "static" => of(&known["static"], "", &STATIC, PLAYED),
        "heat" => of(&known["heat"], "", &HEAT, PLAYED),
        TENFOLD => {
            let times = [Quantity::HeatFast, Quantity::HeatSlow, Quantity::HeatRecovery];
            let mut all = of(&known["heat"], "", &HEAT, PLAYED);
            all.iter_mut()
                .filter(|truth| times.contains(&truth.quantity))
                .for_each(|truth| truth.value *= SHARE);
            all
        }
        "shock" => shock(&known),
        "resolution" => resolution(&known),
        "limit" => {
            let rough = of(&known["rough-corner"], "limit on a rough road", &LIMIT, TRACED);
            [of(&known["corner"], "corner to the limit", &LIMIT, TRACED), rough].concat()
        }
        other => return Err(format!("{other} has no known values here")),
    };
    if all.is_empty() {
        return Err(format!(
            "{name}-{}.json holds nothing for {}",
            scene.wheelbase.word(),
            scene.procedure
        ));
    }
    Ok(all)
}

/// Small sines of a unit that has not warmed by what was played before.
///
/// # Errors
/// When they cannot be read.
pub fn cold_sines(unit: Unit) -> Result<Vec<Truth>, String> {
    Ok(sines(&known("driver", unit)?["cold_sines"]))
}

/// A file of known values.
fn known(name: &str, unit: Unit) -> Result<Value, String> {
    super::known(&format!("{name}-{}.json", unit.word()))
}

const STATIC: [(Quantity, &str); 8] = [
    (Quantity::StaticGain, "gain"),
    (Quantity::StaticOffset, "offset_nm"),
    (Quantity::Deadband, "deadband_nm"),
    (Quantity::StaticHysteresis, "hysteresis_nm"),
    (Quantity::Linearity, "independent"),
    (Quantity::LinearityTerminal, "terminal"),
    (Quantity::TorquePositive, "largest_nm"),
    (Quantity::TorqueNegative, "lowest_nm"),
];
const HEAT: [(Quantity, &str); 5] = [
    (Quantity::TorqueHeld, "held"),
    (Quantity::HeatFast, "fast_s"),
    (Quantity::HeatSlow, "slow_s"),
    (Quantity::SustainedTorque, "sustained_nm"),
    (Quantity::HeatRecovery, "recovery_s"),
];
const LIMIT: [(Quantity, &str); 5] = [
    (Quantity::LimitContrast, "contrast"),
    (Quantity::LimitDelay, "late_s"),
    (Quantity::TraceDelay, "delay_s"),
    (Quantity::TraceError, "error_nm"),
    (Quantity::TraceGain, "gain"),
];

/// Figures of one table.
pub(super) fn of(table: &Value, group: &str, keys: &[(Quantity, &str)], source: &'static str) -> Vec<Truth> {
    let rows = keys
        .iter()
        .filter_map(|(quantity, key)| Some((*quantity, table[*key].as_f64()?)));
    rows.map(|(quantity, value)| Truth {
        group: group.to_owned(),
        ..Truth::of(quantity, value, source)
    })
    .collect()
}

/// Tables by the name of a group, which the scripts write with hyphens and without units.
pub(super) fn tables(known: &Value) -> impl Iterator<Item = (String, &Value)> {
    let rows = known.as_object().into_iter().flatten();
    rows.map(|(name, table)| (name.replace('-', "\u{2212}"), table))
}

fn shock(known: &Value) -> Vec<Truth> {
    let mut all = Vec::new();
    for (name, table) in tables(&known["pulses"]) {
        let mut keys = vec![(Quantity::ShockRetention, "retention")];
        if !name.contains('\u{2212}') {
            keys.push((Quantity::ShockDelay, "delay_s"));
            keys.push((Quantity::ShockWidth, "width"));
            keys.push((Quantity::ShockAfter, "after"));
        }
        all.extend(of(table, &format!("{name} N·m"), &keys, PLAYED));
    }
    for (name, table) in tables(&known["trains"]) {
        // `8 of 30 ms, 1.05 on 1.4, every 60 ms` of blocks 0.6 m apart.
        let Some((pulses, every)) = name.rsplit_once(", every ") else {
            continue;
        };
        let spacing = every.strip_suffix(" ms").and_then(|ms| ms.parse::<f64>().ok());
        let speed = 600.0 / spacing.unwrap_or(f64::NAN);
        let group = format!("kerb of 0.6 m at {speed} m/s: {pulses} N·m, every {every}");
        let keys = [(Quantity::TrainSwing, "swing"), (Quantity::TrainLeft, "left")];
        all.extend(of(table, &group, &keys, PLAYED));
    }
    all.sort_by_key(|truth| truth.quantity);
    all
}

fn resolution(known: &Value) -> Vec<Truth> {
    let mut all = Vec::new();
    let keys = [
        (Quantity::ResolutionUp, "smallest_up_nm"),
        (Quantity::ResolutionDown, "smallest_down_nm"),
        (Quantity::IncrementUp, "up"),
        (Quantity::IncrementDown, "down"),
    ];
    for (name, table) in tables(&known["changes"]) {
        all.extend(of(table, &format!("{name} N·m"), &keys, PLAYED));
    }
    // A clamped virtual unit that holds a level adds nothing to the noise of its sensor.
    if let Some(noise_nm) = known["sensor_noise_nm"].as_f64() {
        let held = "rig file: noise of the torque sensor";
        all.push(Truth::of(Quantity::GrainRms, noise_nm, held));
    }
    all.extend(sines(&known["sines"]));
    all.sort_by_key(|truth| truth.quantity);
    all
}

fn sines(known: &Value) -> Vec<Truth> {
    let keys = [(Quantity::SineGain, "gain"), (Quantity::SineDelay, "delay_s")];
    tables(known)
        .flat_map(|(name, table)| of(table, &format!("sine of {name} N·m, 5 Hz"), &keys, PLAYED))
        .collect()
}
