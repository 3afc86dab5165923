//! Measures of one step.

use super::fine::Fine;
use super::smooth::smoothed;
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
    let coarse = |fraction: f64| first_passage(&t, &y, levels.low + fraction * amplitude_nm);
    let (i10, i50, i90) = (coarse(0.1)?.1, coarse(0.5)?.1, coarse(0.9)?.1);
    // Half a period of the ringing, in samples, for what smoothing may span.
    let peak_and_bottom = |y: &[f64]| {
        let peak = i50 + extreme(&y[i50..], |v| v - levels.high).0;
        (peak, peak + extreme(&y[peak..], |v| levels.high - v).0)
    };
    let (peak, bottom) = peak_and_bottom(&y);
    let half = bottom - peak;
    let ringing = smoothed(&y, i90..i90 + (y.len() - i90) / 5, noise_nm, half / 5);
    let calm = smoothed(&y, y.len() / 3..y.len(), noise_nm, half / 3);
    let settled = |edge_nm: f64| settling(&t, &calm, levels.high, edge_nm);
    let last = settled(band_nm);
    if let Some((i, _)) = last.filter(|(i, _)| *i + tail >= y.len()) {
        return Err(Refusal::NeverSettled {
            at_s: t[i],
            excursion_nm: (calm[i] - levels.high).abs(),
            band_nm,
        });
    }
    let (peak, bottom) = peak_and_bottom(&ringing);
    let (_, far_side) = extreme(&y[..i50], |v| levels.low - v);
    // The rise and what surrounds it, between samples.
    let first = i10.saturating_sub(AROUND);
    let rise = Fine::new(&t, &y, first..(peak + AROUND).min(y.len()), sample_s);
    let passage = |fraction: f64| rise.passage(levels.low + fraction * amplitude_nm);
    let (t10_s, t50_s, t90_s) = (passage(0.1)?, passage(0.5)?, passage(0.9)?);
    let transition_s = t90_s - t10_s;
    let around = |i: usize| {
        let range = i.saturating_sub(AROUND)..(i + AROUND).min(y.len());
        Fine::new(&t, &ringing, range, sample_s)
    };
    let (hill, valley) = (around(peak), around(bottom));
    let (top, high_side) = hill.extreme(t50_s, |v| v - levels.high);
    let (_, low_side) = valley.extreme(hill.t_s[top], |v| levels.high - v);
    let entered = |last: Option<(usize, f64)>| last.map_or(t90_s, |(_, t_s)| t_s);
    let settling_s = entered(last);
    // How far the last entry moves when the edge of the band is a noise's breadth in doubt.
    let doubt = |edge_nm: f64| (entered(settled(edge_nm)) - settling_s).abs();
    let settling_doubt_s = doubt(band_nm - noise_nm).max(doubt(band_nm + noise_nm));
    let (steepest, chord) = rise.steepest((i10.saturating_sub(first), i90 + 1 - first), noise_nm);
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
        chord_nm_per_s: chord,
        sustained_nm_per_s: sustained(&rise.t_s, &rise.y_nm, 0.5 * amplitude_nm),
        overshoot: (high_side / amplitude_nm).max(0.0),
        undershoot: (low_side / amplitude_nm).max(0.0),
        preshoot: (far_side / amplitude_nm).max(0.0),
        peak_nm: sign * hill.y_nm[top],
        peak_s: hill.t_s[top],
        settling_s,
        settling_doubt_s,
        settle_band: band_nm / amplitude_nm,
        noise_nm,
        sample_s,
    })
}

/// Samples looked at beyond the part of a record that is looked at between samples.
const AROUND: usize = 6;

/// Last sample outside a band of half-width `edge_nm` about a level, and the entry behind it, s; `None` when there is none. A record
/// that ends outside enters with its last sample.
fn settling(t: &[f64], y: &[f64], level_nm: f64, edge_nm: f64) -> Option<(usize, f64)> {
    let i = y.iter().rposition(|v| (v - level_nm).abs() > edge_nm)?;
    let Some(next) = y.get(i + 1) else {
        return Some((i, t[i]));
    };
    let edge = level_nm + edge_nm.copysign(y[i] - level_nm);
    Some((i, t[i] + (t[i + 1] - t[i]) * (edge - y[i]) / (next - y[i])))
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
pub(super) fn first_passage(t: &[f64], y: &[f64], level: f64) -> Result<(f64, usize), Refusal> {
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
pub(super) fn extreme(y: &[f64], score: impl Fn(f64) -> f64) -> (usize, f64) {
    let mut best = (0, f64::NEG_INFINITY);
    for (i, v) in y.iter().enumerate() {
        if score(*v) > best.1 {
            best = (i, score(*v));
        }
    }
    if best.1.is_finite() { best } else { (0, 0.0) }
}
