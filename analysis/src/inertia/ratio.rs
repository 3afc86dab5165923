//! Ratio and once-per-turn error from rotor and rim angle.

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression::{block_jackknife, fit};
use crate::statistics::{all_finite, extent};

/// What both angles say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RatioFit {
    /// Turns of the rotor per turn of the rim.
    pub ratio: Outcome,
    /// Amplitude of the error that repeats with each turn of the rim, seen at the rim, rad. It is that of both encoders
    /// and of eccentric parts together: remount the coupling turned by half a turn to tell them apart.
    pub once_per_turn: Outcome,
    /// Root mean square of what is left, at the rim, rad.
    pub residual_rms_rad: f64,
    /// Quality checks.
    pub checks: Vec<Check>,
}

const BLOCKS: usize = 24;

/// Fits `rotor = ratio · rim + offset + error of the first order`, by least squares; the covariance comes from leaving
/// out block after block, since backlash and encoder errors are not white.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`] below 240,
/// [`Refusal::NotCovered`] below a quarter of a turn. The error once a turn is refused below a whole one.
pub fn fit_ratio(rim_rad: ArrayView1<'_, f64>, rotor_rad: ArrayView1<'_, f64>) -> Result<RatioFit, Refusal> {
    let (rim, rotor) = (rim_rad.to_vec(), rotor_rad.to_vec());
    if rim.len() != rotor.len() {
        return Err(Refusal::LengthMismatch {
            what: "rim and rotor angle".into(),
            left: rim.len(),
            right: rotor.len(),
        });
    }
    all_finite("the rim angle", rim.iter())?;
    all_finite("the rotor angle", rotor.iter())?;
    let n = rim.len();
    if n < 10 * BLOCKS {
        return Err(Refusal::TooFewSamples {
            what: "a ratio".into(),
            got: n,
            needed: 10 * BLOCKS,
        });
    }
    let [low, high] = extent(rim.iter());
    let turns = (high - low) / std::f64::consts::TAU;
    if turns < 0.25 {
        return Err(Refusal::NotCovered {
            what: "travel of the rim for a ratio".into(),
            got: turns,
            needed: 0.25,
            unit: "turns".into(),
            remedy: "turn further".into(),
        });
    }
    let waves = turns >= 1.0;
    // Few readings carry all there is to know of so smooth a relation.
    let step = (n / 4000).max(1);
    let rows: Vec<usize> = (0..n).step_by(step).collect();
    let mut x = Matrix::zeros(rows.len(), if waves { 4 } else { 2 });
    for (i, k) in rows.iter().enumerate() {
        x.col_mut(0)[i] = rim[*k] - 0.5 * (low + high);
        x.col_mut(1)[i] = 1.0;
        if waves {
            let (sin, cos) = rim[*k].sin_cos();
            x.col_mut(2)[i] = cos;
            x.col_mut(3)[i] = sin;
        }
    }
    let y: Vec<f64> = rows.iter().map(|k| rotor[*k]).collect();
    let solved = fit(&x, &y)?;
    let covariance = block_jackknife(&x, &y, BLOCKS)?;
    let dof = BLOCKS as f64 - 1.0;
    let c = &solved.coefficients;
    let method = "least squares of rotor over rim angle";
    let budget = vec![Contribution::type_a(
        "scatter between blocks",
        covariance[[0, 0]].max(0.0).sqrt(),
        dof,
    )];
    let ratio = Estimate::from_budget(c[0], "1", rows.len(), method, budget)?;
    let once = if waves {
        let size = c[2].hypot(c[3]);
        let g = [c[2] / size, c[3] / size];
        let mut variance = 0.0;
        for (i, a) in g.iter().enumerate() {
            for (j, b) in g.iter().enumerate() {
                variance += a * b * covariance[[2 + i, 2 + j]];
            }
        }
        let u = variance.max(0.0).sqrt();
        if size < 3.0 * u {
            Refusal::BelowNoise {
                what: "the error once a turn".into(),
                found: size / c[0].abs(),
                bound: (size + 2.45 * u) / c[0].abs(),
                level: 0.95,
                unit: "rad".into(),
            }
            .into()
        } else {
            let budget = vec![Contribution::type_a(
                "scatter between blocks",
                u / c[0].abs(),
                dof,
            )];
            Outcome::from(Estimate::from_budget(
                size / c[0].abs(),
                "rad",
                rows.len(),
                method,
                budget,
            ))
        }
    } else {
        Refusal::NotCovered {
            what: "travel of the rim for an error once a turn".into(),
            got: turns,
            needed: 1.0,
            unit: "turns".into(),
            remedy: "turn further; the ratio may be off by what such an error does to it".into(),
        }
        .into()
    };
    let residual = solved.residual_sd / c[0].abs();
    Ok(RatioFit {
        ratio: ratio.into(),
        once_per_turn: once,
        residual_rms_rad: residual,
        checks: vec![Check::new(
            "a whole turn",
            waves,
            format!("{turns:.2} turns of the rim, 1 needed to part an error once a turn from the ratio"),
        )],
    })
}
