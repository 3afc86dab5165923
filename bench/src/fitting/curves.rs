//! Curves for plots, thinned to what a picture can show.

use truerim_analysis::estimate::Outcome;
use truerim_analysis::frequency::FrequencyResponse;
use truerim_analysis::latency::SensorForm;
use truerim_analysis::multisine::BestLinear;
use truerim_analysis::statistics::quantile;

use super::FittingError;
use super::cut::{Cut, Samples};
use super::document::{Conditions, FrequencyCurve, LOWEST_DB, StepCurves};
use super::groups::Group;
use super::peaks;
use super::sensor::SensorTerms;
use super::steps::StepResults;
use crate::recording::Recording;

/// Most instants of a step overlay, and how many times as many its extremes are picked from.
const INSTANTS: usize = 600;
const FINER: usize = 8;
/// Shown before the setpoint, s.
const BEFORE_S: f64 = 0.005;
/// Coverage factor of the bands: 95 % of a normal error.
const K95: f64 = 1.96;
/// Bands on either side through whose phase the group delay is laid: an eighth of an octave of a chirp.
const SMOOTH: usize = 6;
/// Widest error band of a group delay that is shown, s.
const MOST_UNSURE_S: f64 = 5e-3;
/// Lowest gain of a band's edge, dB below the curve.
const DEEPEST_DB: f64 = 60.0;

/// Rounds to a millionth: a micro-newton-metre, a microsecond; far below noise, and it keeps the file small.
fn micro(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}

/// Overlay of the repeats of one group; `None` if none could be measured.
pub(crate) fn steps(
    recording: &Recording,
    group: &Group<'_>,
    results: &StepResults,
    sensor: &SensorTerms,
    form: SensorForm,
    thin: usize,
) -> Result<Option<StepCurves>, FittingError> {
    let Some(first) = group.cuts.first() else {
        return Ok(None);
    };
    let mean = |pick: fn(&truerim_analysis::step::StepMeasures) -> f64| {
        let n = results.measures.len() as f64;
        results.measures.iter().map(pick).sum::<f64>() / n
    };
    if results.measures.is_empty() {
        return Ok(None);
    }
    let (mut start_s, mut held_s) = (-BEFORE_S, f64::INFINITY);
    for cut in &group.cuts {
        let [first_s, last_s] = cut.span_s;
        start_s = start_s.max(first_s - sensor.delay_s);
        held_s = held_s.min(last_s - sensor.delay_s);
    }
    let end_s = (1.25 * mean(|m| m.settling_s))
        .max(4.0 * mean(|m| m.t90_s))
        .min(held_s);
    let sample_s = results.measures.first().map_or(1e-3, |m| m.sample_s);
    let step_s = sample_s.max((end_s - start_s) / (FINER * INSTANTS) as f64);
    let count = ((end_s - start_s) / step_s).floor().max(1.0) as usize;
    let fine_s: Vec<f64> = (0..=count).map(|i| micro(start_s + i as f64 * step_s)).collect();
    let mut rows: Vec<Vec<f64>> = Vec::with_capacity(group.cuts.len());
    for cut in &group.cuts {
        rows.push(resampled(&cut.samples(recording)?, sensor.delay_s, &fine_s));
    }
    let at = |q: f64| -> Vec<f64> {
        (0..fine_s.len())
            .map(|i| {
                let column: Vec<f64> = rows.iter().filter_map(|row| row.get(i).copied()).collect();
                quantile(&column, q).map_or(f64::NAN, micro)
            })
            .collect()
    };
    let (median_nm, p05_nm, p95_nm) = (at(0.5), at(0.05), at(0.95));
    // A value that is not a number cannot stand in JSON; a curve with one is no curve.
    if ![&median_nm, &p05_nm, &p95_nm]
        .iter()
        .all(|curve| curve.iter().all(|v| v.is_finite()))
    {
        return Ok(None);
    }
    let kept = peaks::rows(&[&median_nm, &p05_nm, &p95_nm], INSTANTS);
    let of = |list: &[f64]| peaks::at(list, &kept);
    let stride = rows.len().div_ceil(thin.max(1)).max(1);
    let latency_s = results.latency.latency.estimate().map(|e| e.value);
    let (model_t_s, model_nm) = model(results, latency_s, sensor, form, mean(|m| m.low_nm), first);
    Ok(Some(StepCurves {
        group: group.name.clone(),
        conditions: Conditions {
            n: results.measures.len(),
            ..group.conditions.clone()
        },
        median_nm: of(&median_nm),
        p05_nm: of(&p05_nm),
        p95_nm: of(&p95_nm),
        repeats_nm: rows
            .iter()
            .step_by(stride)
            .map(|r| of(r).into_iter().map(micro).collect())
            .collect(),
        from_nm: first.row.from_nm,
        to_nm: first.row.to_nm,
        low_nm: mean(|m| m.low_nm),
        high_nm: mean(|m| m.high_nm),
        t10_s: mean(|m| m.t10_s),
        t90_s: mean(|m| m.t90_s),
        latency_s,
        model_t_s,
        model_nm,
        t_s: of(&fine_s),
    }))
}

/// Torque at the instants `t_s` by linear interpolation; the sensor's delay taken out of its own axis.
fn resampled(cut: &Samples, delay_s: f64, t_s: &[f64]) -> Vec<f64> {
    let own: Vec<f64> = cut.t_s.iter().map(|t| t - delay_s).collect();
    let mut i = 0;
    t_s.iter()
        .map(|t| {
            while i + 2 < own.len() && own[i + 1] < *t {
                i += 1;
            }
            let share = ((t - own[i]) / (own[i + 1] - own[i])).clamp(0.0, 1.0);
            cut.torque_nm[i] + share * (cut.torque_nm[i + 1] - cut.torque_nm[i])
        })
        .collect()
}

/// The fitted rise on the axis of the overlay. Its own zero is the onset; a filter in the sensor is part of its shape
/// and so must be taken out like that of the measured curve, a pure delay is not part of it.
fn model(
    results: &StepResults,
    latency_s: Option<f64>,
    sensor: &SensorTerms,
    form: SensorForm,
    low_nm: f64,
    first: &Cut,
) -> (Vec<f64>, Vec<f64>) {
    let Some(latency_s) = latency_s else {
        return (Vec::new(), Vec::new());
    };
    let sign = (first.row.to_nm - first.row.from_nm).signum();
    let shift = if form == SensorForm::Pure {
        0.0
    } else {
        sensor.delay_s
    };
    let fit = &results.latency;
    fit.curve_t_s
        .iter()
        .zip(&fit.curve_model_nm)
        .filter(|(t, nm)| t.is_finite() && nm.is_finite())
        .map(|(t, nm)| (micro(latency_s + t - shift), micro(low_nm + sign * nm)))
        .unzip()
}

/// Frequency response with its error band; `delay_s` is what is removed for the second phase curve.
pub(crate) fn frequency(
    group: &Group<'_>,
    response: &FrequencyResponse,
    reference_hz: [f64; 2],
    least_coherence: f64,
    [bandwidth, flat_band, delay, resonance]: [&Outcome; 4],
) -> FrequencyCurve {
    let value = |outcome: &Outcome| outcome.estimate().map(|e| e.value);
    let db = |gain: f64| 20.0 * gain.max(1e-9).log10();
    let gain = response.gain();
    let phase = response.phase_rad();
    let mut curve = FrequencyCurve {
        group: group.name.clone(),
        excitation: group
            .cuts
            .first()
            .map_or_else(String::new, |cut| cut.row.excitation.clone()),
        conditions: group.conditions.clone(),
        least_coherence,
        bandwidth_hz: value(bandwidth),
        flat_band_hz: value(flat_band),
        resonance_hz: resonance
            .estimate()
            .map(|e| [e.interval[0], e.value, e.interval[1]]),
        ..FrequencyCurve::default()
    };
    let delay_s = value(delay);
    let mut bare = Vec::new();
    for i in 0..response.f_hz.len() {
        let (f, u) = (response.f_hz[i], K95 * response.gain_rel_u[i]);
        if !(gain[i] > 0.0 && gain[i].is_finite() && phase[i].is_finite() && f.is_finite()) {
            continue;
        }
        let centre = db(gain[i]);
        let u = if u.is_finite() { u } else { 1e3 };
        curve.f_hz.push(f);
        curve.gain_db.push(micro(centre));
        curve
            .gain_low_db
            .push(micro(db(gain[i] * (1.0 - u).max(0.0)).max(centre - DEEPEST_DB)));
        curve.gain_high_db.push(micro(db(gain[i] * (1.0 + u))));
        let degrees = phase[i].to_degrees();
        curve.phase_deg.push(micro(degrees));
        let wide = (K95 * response.phase_u_rad[i]).to_degrees();
        curve
            .phase_band_deg
            .push(micro(if wide.is_finite() { wide.min(180.0) } else { 180.0 }));
        curve.coherence.push(micro(response.coherence[i].clamp(0.0, 1.0)));
        if let Some(delay_s) = delay_s {
            bare.push(micro(degrees + 360.0 * f * delay_s));
        }
    }
    curve.phase_without_delay_deg = delay_s.map(|_| bare);
    for at in response.group_delay(SMOOTH) {
        // Where the slope is not known to a few milliseconds it would only spoil the axis.
        if K95 * at.u_s < MOST_UNSURE_S {
            curve.group_delay.f_hz.push(at.f_hz);
            curve.group_delay.delay_s.push(micro(at.delay_s));
            curve.group_delay.band_s.push(micro(K95 * at.u_s));
        }
    }
    let inside = |f: f64| (reference_hz[0]..=reference_hz[1]).contains(&f);
    let reference: Vec<f64> = response
        .f_hz
        .iter()
        .zip(&gain)
        .filter(|(f, g)| inside(**f) && g.is_finite())
        .map(|(_, g)| *g)
        .collect();
    if !reference.is_empty() {
        curve.reference_db = Some(micro(db(reference.iter().sum::<f64>() / reference.len() as f64)));
    }
    curve
}

/// Adds what distortion and noise put on the response, at the frequencies that the curve kept.
pub(crate) fn levels(curve: &mut FrequencyCurve, linear: &BestLinear) {
    // Standard deviation of a complex number from that of each of its parts.
    let db = |part: f64| micro((20.0 * (part * std::f64::consts::SQRT_2).log10()).max(LOWEST_DB));
    let kept = |list: &[f64]| -> Vec<f64> {
        let of = |f: &f64| {
            linear
                .f_hz
                .iter()
                .position(|g| g.total_cmp(f).is_eq())
                .and_then(|i| list.get(i))
        };
        curve
            .f_hz
            .iter()
            .map(|f| of(f).map_or(LOWEST_DB, |part| db(*part)))
            .collect()
    };
    let (distortion, noise) = (kept(&linear.distortion_sd), kept(&linear.noise_sd));
    curve.distortion_db = Some(distortion);
    curve.noise_db = Some(noise);
}
