//! What a perfect measurement of the belt unit would find.

use serde_json::Value;
use truerim::fitting::Quantity;
use virtual_rig::parameters::RigParameters;

use super::root;

/// A known value.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// What.
    pub quantity: Quantity,
    /// Its name in tables.
    pub name: &'static str,
    /// The value, SI.
    pub value: f64,
    /// Unit in tables.
    pub unit: &'static str,
    /// Table value of one SI unit.
    pub per_si: f64,
    /// Where it comes from.
    pub source: &'static str,
}

/// The known values of the belt unit under the quick procedure.
///
/// # Errors
/// In words, when the rig file or the reference file cannot be read.
pub fn truths() -> Result<Vec<Truth>, String> {
    let file = root().join("rigs/belt.toml");
    let text = std::fs::read_to_string(&file).map_err(|error| error.to_string())?;
    let parameters = RigParameters::from_toml("belt.toml", &text, 1).map_err(|error| error.to_string())?;
    let firmware = &parameters.plant.firmware;
    let (dead_s, period_s) = (firmware.dead_time_s, firmware.period_s);
    let reference = root().join("tests/reference/plant/belt-1.4-on-1.5-every-250us.json");
    let text = std::fs::read_to_string(&reference).map_err(|error| error.to_string())?;
    let reference: Value = serde_json::from_str(&text).map_err(|error| error.to_string())?;
    let figure = |key: &str| {
        reference[key]
            .as_f64()
            .ok_or_else(|| format!("no {key} in the reference file"))
    };
    let polled = "rig file: dead time + half the polling period";
    let scipy = "independent integration, tests/reference/plant/truth.py";
    Ok(vec![
        Truth {
            quantity: Quantity::Latency,
            name: "latency",
            value: dead_s + 0.5 * period_s,
            unit: "ms",
            per_si: 1e3,
            source: polled,
        },
        Truth {
            quantity: Quantity::LatencyJitter,
            name: "latency jitter",
            value: period_s / 12.0_f64.sqrt(),
            unit: "ms",
            per_si: 1e3,
            source: "rig file: polling period / sqrt 12 (uniform wait)",
        },
        Truth {
            quantity: Quantity::PhaseDelay,
            name: "delay from phase",
            value: dead_s + 0.5 * period_s,
            unit: "ms",
            per_si: 1e3,
            source: polled,
        },
        Truth {
            quantity: Quantity::Bandwidth,
            name: "bandwidth, -3 dB",
            value: figure("minus_3_db_hz")?,
            unit: "Hz",
            per_si: 1.0,
            source: scipy,
        },
        Truth {
            quantity: Quantity::FlatBand,
            name: "flat band, +-3 dB",
            value: figure("flat_band_hz")?,
            unit: "Hz",
            per_si: 1.0,
            source: scipy,
        },
    ])
}
