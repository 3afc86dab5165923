//! Calibration of an angle: counts a turn from an index, or offset, scale and once-per-turn error from a protractor.

use serde::{Deserialize, Serialize};

use super::CalibrationRefusal;
use crate::estimate::coverage_factor;
use crate::least_squares::Matrix;
use crate::regression;

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Value {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Half width of the 95 % interval.
    pub expanded: f64,
}

/// Counts at successive passes of the index mark, always in one direction, give the counts of a turn.
///
/// The value is the mean difference, (last − first)/(n − 1); its uncertainty that of two counts rounded down,
/// √2/√12/(n − 1), with the scatter of the differences about it, which is that of where the index is found.
///
/// # Errors
/// [`CalibrationRefusal`] below four passes (three turns), when the turns are not all of one sign, or a turn deviates
/// from their median by more than a tenth (a pass was missed or counted twice).
pub fn counts_per_turn(passes: &[f64]) -> Result<Value, CalibrationRefusal> {
    if passes.len() < 4 {
        return Err(CalibrationRefusal::TooFew {
            what: "counts a turn",
            things: "passes of the index",
            got: passes.len(),
            needed: 4,
        });
    }
    let turns: Vec<f64> = passes.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let mut sorted = turns.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    for turn in &turns {
        CalibrationRefusal::unless(
            (turn - median).abs() <= 0.1 * median.abs() && median.abs() > 0.0,
            "the counts of one turn",
            *turn,
            "within a tenth of the others' median: turn one way, and list every pass once",
        )?;
    }
    let n = turns.len() as f64;
    let mean = turns.iter().sum::<f64>() / n;
    // Differences of passes that scatter by s each have a variance of 2 s²; the mean of n rests on the ends alone.
    let scatter = turns.iter().map(|turn| (turn - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let u = (scatter + 2.0 / 12.0).sqrt() / n;
    Ok(Value {
        value: mean,
        u,
        expanded: factor(n - 1.0) * u,
    })
}

/// What a protractor series showed: indication = offset + scale·θ + once-per-turn error.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Protractor {
    /// Indication at the protractor's zero, rad; with the once-per-turn error's mean taken out.
    pub offset_rad: Value,
    /// Indicated over true angle.
    pub scale: Value,
    /// Amplitude of the once-per-turn error, rad; `None` when the series spans too little of a turn to tell.
    pub once_per_turn_rad: Option<Value>,
    /// Angle at which the once-per-turn error is greatest, rad, 0 to 2π.
    pub once_per_turn_at_rad: Option<f64>,
    /// Standard deviation of what is left, rad.
    pub residual_rad: f64,
}

/// Least span that tells a once-per-turn error from a scale, rad (300°).
pub const WHOLE_TURN_RAD: f64 = 5.235_987_755_982_988;
const LEAST_POINTS: usize = 8;

/// Evaluates a series of protractor angles and indications, both rad. `protractor_u_rad` is the standard uncertainty of
/// a protractor reading: as its errors may run with the angle, that of the scale takes it over the span in full.
///
/// # Errors
/// [`CalibrationRefusal`] below eight points, for angles that do not rise or occur twice, or for a span of less than 60°.
pub fn protractor(
    angles_rad: &[f64],
    indicated_rad: &[f64],
    protractor_u_rad: f64,
) -> Result<Protractor, CalibrationRefusal> {
    let n = angles_rad.len();
    if n < LEAST_POINTS || indicated_rad.len() != n {
        return Err(CalibrationRefusal::TooFew {
            what: "a protractor series",
            things: "pairs of angle and indication",
            got: n.min(indicated_rad.len()),
            needed: LEAST_POINTS,
        });
    }
    CalibrationRefusal::unless(
        protractor_u_rad >= 0.0,
        "the protractor's uncertainty in rad",
        protractor_u_rad,
        "zero or more",
    )?;
    for pair in angles_rad.windows(2) {
        CalibrationRefusal::unless(
            pair[1] > pair[0],
            "a protractor angle in rad",
            pair[1],
            "above the one before: list them rising, each once",
        )?;
    }
    let span = angles_rad[n - 1] - angles_rad[0];
    CalibrationRefusal::unless(
        span >= std::f64::consts::FRAC_PI_3,
        "the span of the series in rad",
        span,
        "π/3 or more",
    )?;
    let whole = span >= WHOLE_TURN_RAD;
    let mut columns = Matrix::zeros(n, if whole { 4 } else { 2 });
    for (i, angle) in angles_rad.iter().enumerate() {
        columns.col_mut(0)[i] = 1.0;
        columns.col_mut(1)[i] = *angle;
        if whole {
            columns.col_mut(2)[i] = angle.sin();
            columns.col_mut(3)[i] = angle.cos();
        }
    }
    let fit = regression::fit(&columns, indicated_rad).map_err(|_| CalibrationRefusal::Confounded {
        what: "offset, scale and once-per-turn error",
    })?;
    let k = factor(fit.dof as f64);
    let value = |i: usize, more: f64| {
        let u = fit.white_sd(i).hypot(more);
        Value {
            value: fit.coefficients[i],
            u,
            expanded: k * u,
        }
    };
    let once = whole.then(|| {
        let (s, c) = (fit.coefficients[2], fit.coefficients[3]);
        let u = ((fit.white_sd(2).powi(2) + fit.white_sd(3).powi(2)) / 2.0).sqrt();
        let amplitude = Value {
            value: s.hypot(c),
            u: u.hypot(protractor_u_rad),
            expanded: k * u.hypot(protractor_u_rad),
        };
        (amplitude, s.atan2(c).rem_euclid(std::f64::consts::TAU))
    });
    Ok(Protractor {
        offset_rad: value(0, protractor_u_rad),
        scale: value(1, 2.0_f64.sqrt() * protractor_u_rad / span),
        once_per_turn_rad: once.map(|(amplitude, _)| amplitude),
        once_per_turn_at_rad: once.map(|(_, at)| at),
        residual_rad: fit.residual_sd,
    })
}

/// Student's factor at 95 %, for one degree of freedom or more.
fn factor(dof: f64) -> f64 {
    coverage_factor(crate::estimate::LEVEL, dof).unwrap_or(12.71)
}
