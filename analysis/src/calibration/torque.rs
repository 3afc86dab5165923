//! Characteristics and uncertainty of a torque sensor from loading series.
//!
//! With X the indication less its zero, per step: Y is the mean of the first rising series of each mounting; b the range
//! of those over Y; b' the difference of the two series in one mounting over their mean; h the mean of |X' − X| over Y
//! between falling and rising; fa = (Y − fit)/fit. They combine as
//! `w² = w_st² + (b/2√2)² + (b'/2√3)² + (fa/√6)² + 2·(r/(Y·√12))² + (h/2√3)²`, and W = 2·w (EURAMET cg-14).

use serde::{Deserialize, Serialize};

use super::series::{Readings, net};
use super::{CalibrationRefusal, class};
use crate::least_squares::Matrix;
use crate::regression;

/// Which curve through zero stands for the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Curve {
    /// `a1·T`.
    Straight,
    /// `a1·T + a2·T² + a3·T³`.
    Cubic,
}

/// What is known beside the readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// Relative standard uncertainty of the loads, 1.
    pub loads: f64,
    /// Resolution r of the indication, in its unit.
    pub resolution: f64,
    /// Greatest deviation from a straight line that the sensor's data sheet states, relative to the load, 1.
    pub linearity: f64,
    /// Greatest difference of rising and falling that it states, relative to the load, 1.
    pub hysteresis: f64,
    /// Whether reversibility is to be evaluated: every mounting's first series then needs falling readings.
    pub reversibility: bool,
    /// The curve whose deviations enter the uncertainty.
    pub curve: Curve,
}

/// One step's characteristics; relative values in percent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Load, N·m.
    pub torque_nm: f64,
    /// Y, in the indication's unit.
    pub mean: f64,
    /// Reproducibility b, over mountings.
    pub b_pct: f64,
    /// Repeatability b', in one mounting.
    pub b_prime_pct: f64,
    /// Reversibility h; `None` where it was not asked for.
    pub h_pct: Option<f64>,
    /// Deviation from the straight line.
    pub fa_pct: f64,
    /// Deviation from the cubic.
    pub fa_cubic_pct: f64,
    /// Relative expanded uncertainty W (k = 2).
    pub expanded_pct: f64,
}

/// What a calibration found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TorqueCalibration {
    /// Step by step.
    pub steps: Vec<Step>,
    /// Slope of the straight line through zero, indication per N·m.
    pub slope: f64,
    /// Coefficients a1, a2, a3 of the cubic through zero.
    pub cubic: [f64; 3],
    /// Greatest difference of the zero after and before a series over the greatest mean indication, percent.
    pub zero_pct: Option<f64>,
    /// W over the range: the greatest of the steps'.
    pub expanded_pct: f64,
    /// Class that all characteristics fit, as a number such as 0.2; `None` when none does or reversibility is missing.
    pub class: Option<f64>,
}

impl TorqueCalibration {
    /// Relative standard uncertainty of the sensitivity over the range, 1: half of W.
    #[must_use]
    pub fn gain_uncertainty(&self) -> f64 {
        self.expanded_pct * 0.5e-2
    }
}

/// Evaluates a calibration.
///
/// # Errors
/// [`CalibrationRefusal`]: readings out of order or incomplete; fewer than two mountings, or no second series in one of
/// them; and deviations or reversibility beyond what the data sheet states and the repeats explain, which a loose arm
/// makes.
pub fn evaluate(readings: &Readings, known: &Known) -> Result<TorqueCalibration, CalibrationRefusal> {
    readings.check()?;
    for (what, value) in [
        ("the loads' relative uncertainty", known.loads),
        ("the resolution", known.resolution),
        ("the stated linearity", known.linearity),
        ("the stated hysteresis", known.hysteresis),
    ] {
        CalibrationRefusal::unless(value >= 0.0, what, value, "zero or more")?;
    }
    let loads = &readings.torque_nm;
    let firsts = first_series(readings);
    if firsts.len() < 2 {
        return Err(CalibrationRefusal::TooFew {
            what: "reproducibility",
            things: "mountings",
            got: firsts.len(),
            needed: 2,
        });
    }
    let rising: Vec<Vec<f64>> = firsts.iter().map(|&at| rows(readings, at)).collect();
    let pair = repeated(readings).ok_or(CalibrationRefusal::TooFew {
        what: "repeatability",
        things: "series in one mounting",
        got: 1,
        needed: 2,
    })?;
    let repeats = pair.map(|at| rows(readings, at));
    let falling = falling(readings, &firsts, known)?;
    let mean: Vec<f64> = (0..loads.len())
        .map(|i| rising.iter().map(|row| row[i]).sum::<f64>() / rising.len() as f64)
        .collect();
    let slope = straight(loads, &mean);
    let cubic = cubic(loads, &mean)?;
    let mut steps = Vec::with_capacity(loads.len());
    for (i, &load) in loads.iter().enumerate() {
        let y = mean[i];
        let (low, high) = rising
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), row| {
                (l.min(row[i]), h.max(row[i]))
            });
        let of_repeats = (repeats[0][i] + repeats[1][i]) / 2.0;
        let h = falling.as_ref().map(|pairs| {
            let sum: f64 = pairs.iter().map(|[up, down]| (down[i] - up[i]).abs()).sum();
            100.0 * sum / pairs.len() as f64 / y.abs()
        });
        let deviation = |fit: f64| 100.0 * (y - fit) / fit;
        let mut step = Step {
            torque_nm: load,
            mean: y,
            b_pct: 100.0 * (high - low) / y.abs(),
            b_prime_pct: 100.0 * (repeats[0][i] - repeats[1][i]).abs() / of_repeats.abs(),
            h_pct: h,
            fa_pct: deviation(slope * load),
            fa_cubic_pct: deviation(load * (cubic[0] + load * (cubic[1] + load * cubic[2]))),
            expanded_pct: 0.0,
        };
        step.expanded_pct = expanded_pct(&step, known);
        steps.push(step);
    }
    explained(&steps, known)?;
    let greatest = mean.last().map_or(1.0, |y| y.abs());
    let zero_pct = readings
        .series
        .iter()
        .filter_map(|series| Some((series.zero_after? - series.zero_before).abs()))
        .reduce(f64::max)
        .map(|zero| 100.0 * zero / greatest);
    Ok(TorqueCalibration {
        class: class::of(&steps, zero_pct),
        expanded_pct: steps.iter().map(|step| step.expanded_pct).fold(0.0, f64::max),
        steps,
        slope,
        cubic,
        zero_pct,
    })
}

/// Index of each mounting's first series.
fn first_series(readings: &Readings) -> Vec<usize> {
    let all = &readings.series;
    (0..all.len())
        .filter(|&i| all[..i].iter().all(|before| before.mounting != all[i].mounting))
        .collect()
}

/// The first two series of one mounting.
fn repeated(readings: &Readings) -> Option<[usize; 2]> {
    let all = &readings.series;
    (0..all.len()).find_map(|second| {
        let first = all[..second]
            .iter()
            .position(|s| s.mounting == all[second].mounting)?;
        Some([first, second])
    })
}

fn rows(readings: &Readings, at: usize) -> Vec<f64> {
    let series = &readings.series[at];
    net(&series.rising, series.zero_before)
}

type UpDown = [Vec<f64>; 2];

fn falling(
    readings: &Readings,
    firsts: &[usize],
    known: &Known,
) -> Result<Option<Vec<UpDown>>, CalibrationRefusal> {
    if !known.reversibility {
        return Ok(None);
    }
    let pairs = firsts.iter().map(|&at| {
        let series = &readings.series[at];
        let down = series
            .falling
            .as_ref()
            .ok_or(CalibrationRefusal::NoFalling { series: at + 1 })?;
        Ok([rows(readings, at), net(down, series.zero_before)])
    });
    pairs.collect::<Result<Vec<_>, _>>().map(Some)
}

/// Least-squares slope through zero.
fn straight(loads: &[f64], mean: &[f64]) -> f64 {
    let both: f64 = loads.iter().zip(mean).map(|(t, y)| t * y).sum();
    both / loads.iter().map(|t| t * t).sum::<f64>()
}

fn cubic(loads: &[f64], mean: &[f64]) -> Result<[f64; 3], CalibrationRefusal> {
    let mut columns = Matrix::zeros(loads.len(), 3);
    for (j, power) in [1, 2, 3].into_iter().enumerate() {
        for (place, load) in columns.col_mut(j).iter_mut().zip(loads) {
            *place = load.powi(power);
        }
    }
    let fit = regression::fit(&columns, mean).map_err(|_| CalibrationRefusal::Confounded {
        what: "the cubic through zero",
    })?;
    let [a1, a2, a3] = fit.coefficients[..] else {
        return Err(CalibrationRefusal::Confounded {
            what: "the cubic through zero",
        });
    };
    Ok([a1, a2, a3])
}

fn expanded_pct(step: &Step, known: &Known) -> f64 {
    let (two_root_two, two_root_three) = (2.0 * 2.0_f64.sqrt(), 2.0 * 3.0_f64.sqrt());
    let fa = match known.curve {
        Curve::Straight => step.fa_pct,
        Curve::Cubic => step.fa_cubic_pct,
    };
    let resolution = 100.0 * known.resolution / step.mean.abs() / 12.0_f64.sqrt();
    let parts = [
        100.0 * known.loads,
        step.b_pct / two_root_two,
        step.b_prime_pct / two_root_three,
        fa / 6.0_f64.sqrt(),
        resolution * 2.0_f64.sqrt(), // twice: of the reading and of its zero
        step.h_pct.unwrap_or(0.0) / two_root_three,
    ];
    2.0 * parts.iter().map(|part| part * part).sum::<f64>().sqrt()
}

/// Refuses what neither the data sheet nor the scatter of repeats explains.
fn explained(steps: &[Step], known: &Known) -> Result<(), CalibrationRefusal> {
    for (index, step) in steps.iter().enumerate() {
        let scatter_pct = step.b_pct.max(step.b_prime_pct) + 200.0 * known.resolution / step.mean.abs();
        let (stated_pct, found_pct) = (100.0 * known.linearity, step.fa_pct.abs());
        let step_number = index + 1;
        if found_pct > stated_pct + scatter_pct {
            return Err(CalibrationRefusal::LooseByLine {
                step: step_number,
                found_pct,
                stated_pct,
                scatter_pct,
            });
        }
        let (stated_pct, found_pct) = (100.0 * known.hysteresis, step.h_pct.unwrap_or(0.0));
        if found_pct > stated_pct + scatter_pct {
            return Err(CalibrationRefusal::LooseByHysteresis {
                step: step_number,
                found_pct,
                stated_pct,
                scatter_pct,
            });
        }
    }
    Ok(())
}
