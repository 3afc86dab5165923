//! The file of a calibration: who, when, what was hung, and the readings where they stand in it.

use std::f64::consts::FRAC_PI_2;
use std::path::Path;

use serde::{Deserialize, Serialize};
use settings_file::{Angle, Length, Mass, Ratio, Section, Settings, Temperature, Torque};
use truerim_analysis::calibration::series::Series;
use truerim_analysis::calibration::torque::{Curve, Known};
use truerim_analysis::calibration::weights::{
    Place, WeightUncertainty, gravity_m_s2, normal_gravity_uncertainty,
};

use super::{CalibrationError, read_text};

/// Who calibrated what, when, under which conditions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Who.
    pub by: String,
    /// Day, `YYYY-MM-DD`.
    pub date: String,
    /// Day on which the next one is due.
    pub due: String,
    /// Model of the sensor.
    pub model: String,
    /// Its serial number.
    pub serial: String,
    /// Ambient temperature, °C.
    pub ambient_degc: f64,
}

/// What hung on which arm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Loads {
    /// Mass that hung at each step, in total, kg.
    pub masses_kg: Vec<f64>,
    /// Where.
    pub place: Place,
    /// How well it is known.
    pub uncertainty: WeightUncertainty,
    /// Whether the weights turn the sensor clockwise, as the driver sees the rim.
    pub clockwise: bool,
}

/// A torque calibration's file.
#[derive(Debug, Clone, PartialEq)]
pub struct TorqueSetup {
    /// The file's name.
    pub file: String,
    /// Who, when, what.
    pub head: Head,
    /// Weights and arm.
    pub loads: Loads,
    /// Resolution, stated deviations, curve.
    pub known: Known,
    /// The readings, where they stand in the file.
    pub series: Vec<Series>,
}

/// What an angle was compared with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum AngleReadings {
    /// Counts at successive passes of the index.
    Index {
        /// Counts.
        passes: Vec<f64>,
    },
    /// Protractor angles and indications.
    Protractor {
        /// True angles, rad.
        angles_rad: Vec<f64>,
        /// Indicated angles, rad.
        indicated_rad: Vec<f64>,
        /// Standard uncertainty of a protractor angle, rad.
        uncertainty_rad: f64,
    },
}

/// An angle calibration's file.
#[derive(Debug, Clone, PartialEq)]
pub struct AngleSetup {
    /// The file's name.
    pub file: String,
    /// Who, when, what.
    pub head: Head,
    /// The readings.
    pub readings: AngleReadings,
}

fn head(s: &Section<'_>) -> Head {
    let (date, due) = (s.date("date"), s.date("due"));
    if due <= date {
        s.report(
            "due",
            "not after the day of the calibration",
            Some(format!("after {date}")),
            "usually 12 to 26 months later",
        );
    }
    Head {
        by: s.text("by"),
        date: date.to_string(),
        due: due.to_string(),
        model: s.text("model"),
        serial: s.text("serial"),
        ambient_degc: s.quantity::<Temperature>("ambient", -20.0..=60.0),
    }
}

/// Local gravity with its relative standard uncertainty: a value, or latitude and height.
fn gravity(s: &Section<'_>) -> [f64; 2] {
    if s.has("m_s2") {
        return [
            s.number("m_s2", 9.7..=9.9),
            s.quantity::<Ratio>("uncertainty", 0.0..=0.01),
        ];
    }
    let latitude = s.quantity::<Angle>("latitude", -FRAC_PI_2..=FRAC_PI_2);
    let height = s.quantity::<Length>("height", -500.0..=9_000.0);
    // Both are within the formula's ranges; a finding stands for what is not.
    let value = gravity_m_s2(latitude, height).unwrap_or(9.81);
    [value, normal_gravity_uncertainty()]
}

fn loads(root: &Section<'_>) -> Loads {
    let (arm, weights) = (root.section("arm"), root.section("weights"));
    let [gravity_m_s2, gravity_u] = gravity(&root.section("gravity"));
    let arm_m = arm.quantity::<Length>("length", 0.02..=5.0);
    let arm_u_m = arm.quantity::<Length>("uncertainty", 0.0..=0.1);
    let air_kg_m3 = weights.number_or("air_kg_m3", 0.8..=1.4, 1.2);
    let weight_kg_m3 = weights.number_or("density_kg_m3", 1_000.0..=22_000.0, 8_000.0);
    Loads {
        masses_kg: weights.quantities::<Mass>("masses", 1e-3..=500.0, 1..=40),
        place: Place {
            gravity_m_s2,
            air_kg_m3,
            weight_kg_m3,
            arm_m,
        },
        uncertainty: WeightUncertainty {
            mass: weights.quantity::<Ratio>("uncertainty", 0.0..=0.1),
            gravity: gravity_u,
            arm: arm_u_m / arm_m,
            // The air's density is good to a tenth where nobody measures pressure and humidity.
            buoyancy: 0.1 * air_kg_m3 / weight_kg_m3,
        },
        clockwise: weights
            .choice("direction", &[("clockwise", true), ("counter-clockwise", false)])
            .unwrap_or(true),
    }
}

fn series(s: &Section<'_>) -> Series {
    let torque = -2_000.0..=2_000.0;
    Series {
        mounting: u32::try_from(s.integer("mounting", 1..=20)).unwrap_or(1),
        zero_before: s.quantity::<Torque>("zero", torque.clone()),
        rising: s.quantities::<Torque>("rising", torque.clone(), 1..=40),
        falling: s
            .has("falling")
            .then(|| s.quantities::<Torque>("falling", torque.clone(), 1..=40)),
        zero_after: s.optional_quantity::<Torque>("zero_after", torque),
    }
}

/// Reads the file of a torque calibration.
///
/// # Errors
/// [`CalibrationError`] with file, line, key, value, what is allowed and what to do.
pub fn torque(path: &Path) -> Result<TorqueSetup, CalibrationError> {
    let file = path.display().to_string();
    let settings = Settings::parse(&file, &read_text(path)?)?;
    let root = settings.root();
    let (calibration, sensor) = (root.section("calibration"), root.section("sensor"));
    let loads = loads(&root);
    let value = TorqueSetup {
        head: head(&calibration),
        known: Known {
            loads: loads.uncertainty.combined(),
            resolution: sensor.quantity::<Torque>("resolution", 0.0..=10.0),
            linearity: sensor.quantity::<Ratio>("linearity", 0.0..=0.1),
            hysteresis: sensor.quantity::<Ratio>("hysteresis", 0.0..=0.1),
            reversibility: calibration.boolean_or("reversibility", true),
            curve: calibration.choice_or(
                "curve",
                &[("straight", Curve::Straight), ("cubic", Curve::Cubic)],
                Curve::Straight,
            ),
        },
        loads,
        series: root.sections("series", 0..=20).iter().map(series).collect(),
        file,
    };
    Ok(settings.finish(value)?)
}

/// Reads the file of an angle calibration.
///
/// # Errors
/// As [`torque`].
pub fn angle(path: &Path) -> Result<AngleSetup, CalibrationError> {
    let file = path.display().to_string();
    let settings = Settings::parse(&file, &read_text(path)?)?;
    let root = settings.root();
    let head = head(&root.section("calibration"));
    let readings = if let Some(index) = root.optional_section("index") {
        let entry = index.entry("passes", "[0, 4096, 8192, 12288]");
        let passes = entry.map_or(Vec::new(), |e| e.elements(1..=1_000));
        AngleReadings::Index {
            passes: passes.iter().map(|e| e.number(-1e12..=1e12)).collect(),
        }
    } else {
        let s = root.section("protractor");
        AngleReadings::Protractor {
            angles_rad: s.quantities::<Angle>("angles", -100.0..=100.0, 1..=1_000),
            indicated_rad: s.quantities::<Angle>("indicated", -100.0..=100.0, 1..=1_000),
            uncertainty_rad: s.quantity::<Angle>("uncertainty", 0.0..=0.2),
        }
    };
    Ok(settings.finish(AngleSetup { file, head, readings })?)
}
