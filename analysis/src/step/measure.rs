//! Measures of one step.

use super::{StepMeasures, StepOptions, StepRecord, state_levels};
use crate::estimate::Refusal;
use crate::statistics::{all_finite, median};

/// Samples needed before anything can be said.
const MIN_SAMPLES: usize = 20;

/// Measures one step.
///
/// # Errors
/// Refuses a record with lengths that differ, values that are not finite, uneven time stamps, fewer than 20 samples,
/// no sample after the setpoint came into force, torque at the saturation limit, a change against the command, a
/// change too small against the noise, no settled final state, or a transition that the record does not hold.
pub fn measure_step(record: &StepRecord<'_>, options: &StepOptions) -> Result<StepMeasures, Refusal> {
    let sample_s = check_record(record)?;
    let commanded_nm = record.to_nm - record.from_nm;
    let sign = if commanded_nm < 0.0 { -1.0 } else { 1.0 };
    let t: Vec<f64> = record.t_s.to_vec();
    let y: Vec<f64> = record.torque_nm.iter().map(|v| sign * v).collect();
    if let Some(limit_nm) = options.saturation_nm {
        let value_nm = y.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
        if value_nm >= limit_nm {
            return Err(Refusal::Saturated {
                what: "the torque".into(),
                value_nm,
                limit_nm,
            });
        }
    }
    let noise_nm = noise_sd(&y)?;
    let tail = ((y.len() as f64 * options.settled_share) as usize).clamp(5, y.len() / 2);
    let end_nm = median(&y[y.len() - tail..])?;
    let start_nm = start_level(&t, &y)?;
    let needed = options.min_amplitude_to_noise;
    let change = end_nm - start_nm;
    if change.abs() < needed * noise_nm || change.abs() < 1e-12 {
        return Err(Refusal::too_small(change.abs(), noise_nm, needed));
    }
    if change < 0.0 {
        let (what, measured) = ("change of torque in N·m".into(), sign * change);
        return Err(Refusal::WrongSign {
            what,
            commanded: commanded_nm,
            measured,
        });
    }
    let levels = state_levels(&y, options.histogram_bins, noise_nm)?;
    let amplitude_nm = levels.high - levels.low;
    let band_nm = (options.settle_band * amplitude_nm).max(4.0 * noise_nm);
    if let Some(drift_nm) = drift(&t, &y, tail).filter(|d| d.abs() > band_nm) {
        return Err(Refusal::Drifting { drift_nm, band_nm });
    }
    let last_outside = y.iter().rposition(|v| (v - levels.high).abs() > band_nm);
    if let Some(i) = last_outside.filter(|i| *i + tail >= y.len()) {
        return Err(Refusal::NeverSettled {
            at_s: t[i],
            excursion_nm: (y[i] - levels.high).abs(),
            band_nm,
        });
    }
    let passage = |fraction: f64| first_passage(&t, &y, levels.low + fraction * amplitude_nm);
    let (t10_s, i10) = passage(0.1)?;
    let (t50_s, i50) = passage(0.5)?;
    let (t90_s, i90) = passage(0.9)?;
    let transition_s = t90_s - t10_s;
    let (peak, high_side) = extreme(&y[i50..], |v| v - levels.high);
    let (_, low_side) = extreme(&y[i50 + peak..], |v| levels.high - v);
    let (_, far_side) = extreme(&y[..i50], |v| levels.low - v);
    let settling_s = match last_outside {
        Some(i) if i + 1 < y.len() => {
            let edge = if y[i] > levels.high {
                levels.high + band_nm
            } else {
                levels.high - band_nm
            };
            t[i] + sample_s * (edge - y[i]) / (y[i + 1] - y[i])
        }
        _ => t90_s,
    };
    let steepest = (i10.max(1)..=i90.max(i10.max(1)).min(y.len() - 2))
        .map(|i| (y[i + 1] - y[i - 1]) / (2.0 * sample_s))
        .fold(f64::NEG_INFINITY, f64::max);
    let (low_nm, high_nm) = (sign * levels.low, sign * levels.high);
    Ok(StepMeasures {
        low_nm,
        high_nm,
        amplitude_nm,
        commanded_nm,
        t10_s,
        t50_s,
        t90_s,
        transition_s,
        slew_nm_per_s: 0.8 * amplitude_nm / transition_s,
        steepest_nm_per_s: steepest,
        sustained_nm_per_s: sustained(&t, &y, 0.5 * amplitude_nm),
        overshoot: (high_side / amplitude_nm).max(0.0),
        undershoot: (low_side / amplitude_nm).max(0.0),
        preshoot: (far_side / amplitude_nm).max(0.0),
        peak_nm: sign * y[i50 + peak],
        peak_s: t[i50 + peak],
        settling_s,
        settle_band: band_nm / amplitude_nm,
        noise_nm,
        sample_s,
    })
}

/// Lengths, finite values, even spacing; returns the sample interval.
pub(crate) fn check_record(record: &StepRecord<'_>) -> Result<f64, Refusal> {
    let n = record.t_s.len();
    if n != record.torque_nm.len() {
        let (left, right) = (n, record.torque_nm.len());
        return Err(Refusal::LengthMismatch {
            what: "time and torque".into(),
            left,
            right,
        });
    }
    if n < MIN_SAMPLES {
        return Err(Refusal::TooFewSamples {
            what: "a step".into(),
            got: n,
            needed: MIN_SAMPLES,
        });
    }
    all_finite("the time", record.t_s.iter())?;
    all_finite("the torque", record.torque_nm.iter())?;
    all_finite("the commanded torque", [record.from_nm, record.to_nm].iter())?;
    let expected_s = (record.t_s[n - 1] - record.t_s[0]) / (n - 1) as f64;
    for i in 1..n {
        let step_s = record.t_s[i] - record.t_s[i - 1];
        if step_s <= 0.0 || (step_s - expected_s).abs() > 1e-3 * expected_s {
            return Err(Refusal::UnevenTime {
                index: i,
                step_s,
                expected_s,
            });
        }
    }
    let end = record.t_s[n - 1];
    if end <= 0.0 {
        return Err(Refusal::TooShort {
            what: "the part after the setpoint".into(),
            got_s: 0.0,
            needed_s: expected_s,
        });
    }
    Ok(expected_s)
}

/// Noise from second differences: blind to slow change, and robust against the transition through the median.
/// Second differences of white noise have standard deviation `sqrt(6)` times its own.
pub(crate) fn noise_sd(y: &[f64]) -> Result<f64, Refusal> {
    let second: Vec<f64> = y.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).abs()).collect();
    Ok(median(&second)? * 1.482_602_218_505_602 / 6.0_f64.sqrt())
}

/// Multiple of its standard error that a slope must exceed to count as drift.
const DRIFTS: f64 = 6.0;

/// Drift over the record: a slope that the base before the setpoint and the settled end both have, in the same direction
/// and clear of noise, times the length of the record; the smaller of both counts. One alone is ringing or settling.
fn drift(t: &[f64], y: &[f64], tail: usize) -> Option<f64> {
    let before = t.iter().take_while(|t| **t <= 0.0).count();
    let base = slope(&t[..before], &y[..before])?;
    let end = slope(&t[t.len() - tail..], &y[y.len() - tail..])?;
    let least = if base.abs() < end.abs() { base } else { end };
    (base * end > 0.0).then_some(least * (t[t.len() - 1] - t[0]))
}

/// Slope of the straight line through the points, if it is clear of their scatter about it.
fn slope(t: &[f64], y: &[f64]) -> Option<f64> {
    if t.len() < 10 {
        return None;
    }
    let n = t.len() as f64;
    let (mean_t, mean_y) = (t.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let sxx: f64 = t.iter().map(|t| (t - mean_t).powi(2)).sum();
    let slope = t
        .iter()
        .zip(y)
        .map(|(t, y)| (t - mean_t) * (y - mean_y))
        .sum::<f64>()
        / sxx;
    let rest: f64 = t
        .iter()
        .zip(y)
        .map(|(t, y)| (y - mean_y - slope * (t - mean_t)).powi(2))
        .sum();
    let error = (rest / (n - 2.0) / sxx).sqrt();
    (slope.abs() > DRIFTS * error).then_some(slope)
}

/// `rise` over the shortest time in which `y` rises by it; the chord between samples is interpolated.
fn sustained(t: &[f64], y: &[f64], rise: f64) -> f64 {
    let mut shortest = f64::INFINITY;
    for i in 0..y.len() - 1 {
        // Only a start that is left upward can begin the shortest time.
        if y[i + 1] <= y[i] {
            continue;
        }
        let goal = y[i] + rise;
        let found = (i + 1..y.len())
            .take_while(|j| t[*j] - t[i] < shortest + (t[1] - t[0]))
            .find(|j| y[*j] >= goal);
        if let Some(j) = found {
            let share = ((goal - y[j - 1]) / (y[j] - y[j - 1])).clamp(0.0, 1.0);
            shortest = shortest.min(t[j - 1] + share * (t[j] - t[j - 1]) - t[i]);
        }
    }
    rise / shortest
}

/// Level before the setpoint came into force, or the first samples if none were kept.
fn start_level(t: &[f64], y: &[f64]) -> Result<f64, Refusal> {
    let before = t.iter().take_while(|t| **t <= 0.0).count();
    median(&y[..before.max(1)])
}

/// First upward passage of `level`, with linear interpolation; and the index of the sample after it.
fn first_passage(t: &[f64], y: &[f64], level: f64) -> Result<(f64, usize), Refusal> {
    match y.iter().position(|v| *v >= level) {
        Some(i) if i > 0 => Ok((
            t[i - 1] + (t[i] - t[i - 1]) * (level - y[i - 1]) / (y[i] - y[i - 1]),
            i,
        )),
        _ => Err(Refusal::TooShort {
            what: "the transition from one level to the other".into(),
            got_s: t[t.len() - 1] - t[0],
            needed_s: 2.0 * (t[t.len() - 1] - t[0]),
        }),
    }
}

/// Index and value of the largest `score`; zero for an empty slice.
fn extreme(y: &[f64], score: impl Fn(f64) -> f64) -> (usize, f64) {
    let mut best = (0, f64::NEG_INFINITY);
    for (i, v) in y.iter().enumerate() {
        if score(*v) > best.1 {
            best = (i, score(*v));
        }
    }
    if best.1.is_finite() { best } else { (0, 0.0) }
}
