//! Inertia and friction of any moving axis, rotary or linear, from its motion and the torque or force that makes it.

use std::fmt::Write as _;

use ndarray::ArrayView1;
use serde::Serialize;
use truerim_analysis::estimate::{Check, Outcome, Refusal};
use truerim_analysis::friction::{Axis, InverseOptions, Motion, TorqueScale, inverse_dynamics};

use super::reading::{Reading, ShownIn};

/// Share of the fastest speeds below which rows are left out, where none is asked for.
const SLOW_SHARE: f64 = 0.1;

/// What is asked of the fit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AxisRequest {
    /// Whether positions are m and efforts N, instead of rad and N·m.
    pub linear: bool,
    /// Samples a second.
    pub fs_hz: f64,
    /// Corner of the low-pass, Hz; `None`: 20 Hz, or a fortieth of the sample rate if that is less.
    pub corner_hz: Option<f64>,
    /// Slowest speed used, rad/s or m/s; `None`: a tenth of the speed that one sample in twenty exceeds.
    pub least_speed: Option<f64>,
    /// Relative standard uncertainty of the torque or force.
    pub gain_rel_u: f64,
    /// Standard uncertainty of its zero, N·m or N.
    pub zero_u: f64,
}

/// One result, in words for a person, as an outcome for a program.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AxisResult {
    /// Short name for programs.
    pub id: &'static str,
    /// Name as shown.
    pub name: &'static str,
    /// Unit as shown.
    pub unit: &'static str,
    /// The estimate in that unit, or the refusal.
    pub result: Outcome,
}

/// What a table says of an axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AxisFit {
    /// "rotary" or "linear".
    pub axis: &'static str,
    /// The model that was fitted.
    pub model: &'static str,
    /// Where the method is from.
    pub source: &'static str,
    /// Samples a second.
    pub fs_hz: f64,
    /// Samples given.
    pub samples: usize,
    /// Rows left after filter, decimation and the least speed.
    pub rows: usize,
    /// Corner of the low-pass, Hz.
    pub corner_hz: f64,
    /// Slowest speed used, rad/s or m/s.
    pub least_speed: f64,
    /// Root mean square of what the model leaves, N·m or N.
    pub residual_rms: f64,
    /// The results.
    pub results: Vec<AxisResult>,
    /// Checks, passed or not.
    pub checks: Vec<Check>,
}

/// Fits inertia (mass), viscous and Coulomb friction by direction, and the offset.
///
/// # Errors
/// [`Refusal`] as [`inverse_dynamics`].
pub fn fit_axis(request: &AxisRequest, position: &[f64], effort: &[f64]) -> Result<AxisFit, Refusal> {
    let corner_hz = request.corner_hz.unwrap_or((request.fs_hz / 40.0).min(20.0));
    let least_speed = request
        .least_speed
        .unwrap_or_else(|| SLOW_SHARE * fast(position, request.fs_hz, corner_hz));
    let options = InverseOptions {
        axis: if request.linear {
            Axis::Linear
        } else {
            Axis::Rotary
        },
        torque: TorqueScale {
            zero_nm: 0.0,
            zero_u_nm: request.zero_u,
            gain_rel_u: request.gain_rel_u,
        },
        corner_hz,
        least_speed,
        ..InverseOptions::default()
    };
    let motion = Motion {
        fs_hz: request.fs_hz,
        position: ArrayView1::from(position),
        effort: ArrayView1::from(effort),
    };
    let fit = inverse_dynamics(&motion, &options)?;
    let (axis, inertia, units) = if request.linear {
        ("linear", "Mass", ["kg", "N·s/m", "N"])
    } else {
        ("rotary", "Inertia", ["kg·m²", "N·m·s/rad", "N·m"])
    };
    let result = |id, name, unit, result: &Outcome| AxisResult {
        id,
        name,
        unit,
        result: result.clone(),
    };
    Ok(AxisFit {
        axis,
        model: "effort = inertia · acceleration + viscous · speed + Coulomb · direction + offset",
        source: "Gautier, Janot and Vandanjon, IEEE Trans. Control Systems Technology 21 (2013) 428",
        fs_hz: request.fs_hz,
        samples: position.len(),
        rows: fit.rows,
        corner_hz,
        least_speed,
        residual_rms: fit.residual_rms,
        results: vec![
            result("inertia", inertia, units[0], &fit.inertia),
            result("viscous", "Viscous friction", units[1], &fit.viscous),
            result("coulomb", "Coulomb friction", units[2], &fit.coulomb),
            result(
                "coulomb_positive",
                "… in the positive direction",
                units[2],
                &fit.coulomb_positive,
            ),
            result(
                "coulomb_negative",
                "… in the negative direction",
                units[2],
                &fit.coulomb_negative,
            ),
            result("offset", "Offset", units[2], &fit.offset),
        ],
        checks: fit.checks,
    })
}

/// The speed that one sample in twenty exceeds, taken over half a period of the low-pass's corner.
fn fast(position: &[f64], fs_hz: f64, corner_hz: f64) -> f64 {
    let reach = ((0.5 * fs_hz / corner_hz).round() as usize).max(1);
    let mut speeds: Vec<f64> = (reach..position.len())
        .map(|i| (position[i] - position[i - reach]).abs() * fs_hz / reach as f64)
        .collect();
    speeds.sort_by(f64::total_cmp);
    speeds.get(speeds.len() * 19 / 20).copied().unwrap_or(0.0)
}

impl AxisFit {
    /// As lines for a terminal.
    #[must_use]
    pub fn table(&self) -> String {
        let mut text = format!(
            "{} axis: {} samples at {} /s, {} rows used, low-pass {} Hz, from {} {}\n\n",
            self.axis,
            self.samples,
            super::plain(self.fs_hz, 6),
            self.rows,
            super::plain(self.corner_hz, 3),
            super::plain(self.least_speed, 3),
            if self.axis == "linear" { "m/s" } else { "rad/s" },
        );
        for row in &self.results {
            let _ = match &row.result {
                Outcome::Estimate(estimate) => {
                    let reading = Reading::of(estimate, ShownIn::Plain);
                    let value = format!("{} ± {}", reading.value, reading.spread());
                    writeln!(text, "{:<28} {value:>24}  {}", row.name, row.unit)
                }
                Outcome::Refused(refused) => {
                    writeln!(
                        text,
                        "{:<28} {:>24}\n    {}",
                        row.name, "refused", refused.message
                    )
                }
            };
        }
        for check in self.checks.iter().filter(|check| !check.passed) {
            let _ = writeln!(text, "check failed, {}: {}", check.name, check.detail);
        }
        text.push_str("\n± is half of the 95 % interval.");
        text
    }
}

#[cfg(test)]
mod tests;
