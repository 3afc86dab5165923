//! One realisation over whole periods: what repeats from period to period is response, what does not is noise.

use realfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};

use super::{MultisineOptions, MultisineRecord};
use crate::estimate::Refusal;
use crate::spectra::Transform;
use crate::statistics::all_finite;

/// Mean and noise of the output's lines over the periods of one realisation, both as amplitudes of the transform over the
/// number of samples: half of a sine's amplitude.
#[derive(Debug, Clone)]
pub(crate) struct Periods {
    /// Input at each line from 0, the staircase and the delay of its hold allowed for.
    pub(crate) input: Vec<Complex64>,
    /// Mean output at each line, the sensor's delay taken out.
    pub(crate) output: Vec<Complex64>,
    /// Variance (complex) of that mean, from the scatter between periods.
    pub(crate) noise: Vec<f64>,
    /// Periods behind the mean.
    pub(crate) periods: usize,
    /// Root mean square of the difference between the first and the last period kept, less what noise makes of it, over
    /// the root mean square of the output.
    pub(crate) settling: f64,
}

/// Highest frequency as a share of the sample rate: beyond it the anti-alias filter lets images through.
const ALIAS_SHARE: f64 = 0.4;

/// Checks one record; returns samples in a period and periods kept.
pub(crate) fn check(
    record: &MultisineRecord<'_>,
    options: &MultisineOptions,
) -> Result<(usize, usize), Refusal> {
    let (n, fs_hz) = (record.input_nm.len(), record.fs_hz);
    if !fs_hz.is_finite() || fs_hz <= 0.0 {
        return Err(Refusal::out_of_range(
            "the sample rate",
            fs_hz,
            0.0,
            f64::INFINITY,
            "Hz",
        ));
    }
    if n < 16 {
        return Err(Refusal::TooFewSamples {
            what: "a period of a multisine".into(),
            got: n,
            needed: 16,
        });
    }
    all_finite("the setpoint", record.input_nm.iter())?;
    all_finite("the torque", record.output_nm.iter())?;
    let whole = record.output_nm.len() / n;
    if whole * n != record.output_nm.len() {
        return Err(Refusal::LengthMismatch {
            what: "whole periods of the input, and the output".into(),
            left: whole * n,
            right: record.output_nm.len(),
        });
    }
    let periods = whole.saturating_sub(options.discard);
    if periods < 2 {
        return Err(Refusal::TooFewRepeats {
            what: format!("periods of a multisine after the first {}", options.discard),
            got: periods,
            needed: 2,
        });
    }
    let Some(last) = options.lines.excited.last() else {
        return Err(Refusal::out_of_range(
            "the number of excited lines",
            0.0,
            1.0,
            f64::INFINITY,
            "1",
        ));
    };
    let (f_max_hz, limit_hz) = (*last as f64 * fs_hz / n as f64, ALIAS_SHARE * fs_hz);
    if f_max_hz > limit_hz {
        return Err(Refusal::Aliasing {
            f_max_hz,
            limit_hz,
            fs_hz,
        });
    }
    if !(0.0..=1.0 / fs_hz).contains(&record.input_age_s) {
        let what = "age of an input value when first sampled";
        return Err(Refusal::out_of_range(
            what,
            record.input_age_s,
            0.0,
            1.0 / fs_hz,
            "s",
        ));
    }
    if let Some(limit_nm) = options.saturation_nm {
        let value_nm = record.output_nm.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
        if value_nm >= limit_nm {
            return Err(Refusal::Saturated {
                what: "the torque".into(),
                value_nm,
                limit_nm,
            });
        }
    }
    Ok((n, periods))
}

/// Transforms each period kept.
pub(crate) fn periods(record: &MultisineRecord<'_>, options: &MultisineOptions) -> Result<Periods, Refusal> {
    let (n, count) = check(record, options)?;
    let top = options.lines.excited.last().copied().unwrap_or(1);
    let lines = top.min(n / 2) + 1;
    let mut plan = Transform::new(n);
    let scale = 1.0 / n as f64;
    let mut spectrum = |x: Vec<f64>| -> Vec<Complex64> {
        let mut out = plan.forward(x);
        out.truncate(lines);
        out.iter_mut().for_each(|v| *v *= scale);
        out
    };
    let spacing_hz = record.fs_hz / n as f64;
    let mut input = spectrum(record.input_nm.to_vec());
    let hold_s = 1.0 / record.fs_hz;
    for (k, u) in input.iter_mut().enumerate().skip(1) {
        // A held value is a staircase; see the response to sweeps.
        let f = k as f64 * spacing_hz;
        let x = PI * f * hold_s;
        *u *= Complex64::from_polar(x.sin() / x, TAU * f * (record.input_age_s - 0.5 * hold_s));
    }
    let first = options.discard * n;
    let each: Vec<Vec<Complex64>> = (0..count)
        .map(|p| {
            let from = first + p * n;
            spectrum(record.output_nm.slice(ndarray::s![from..from + n]).to_vec())
        })
        .collect();
    let many = count as f64;
    let mut output = Vec::with_capacity(lines);
    let mut noise = Vec::with_capacity(lines);
    for k in 0..lines {
        let mean = each.iter().map(|y| y[k]).sum::<Complex64>() / many;
        let scatter: f64 = each.iter().map(|y| (y[k] - mean).norm_sqr()).sum();
        noise.push(scatter / (many - 1.0) / many);
        output.push(mean * Complex64::from_polar(1.0, TAU * k as f64 * spacing_hz * options.output_delay_s));
    }
    let total: f64 = output[1..].iter().map(Complex64::norm_sqr).sum();
    let apart: f64 = (1..lines)
        .map(|k| (each[0][k] - each[count - 1][k]).norm_sqr())
        .sum();
    let expected: f64 = 2.0 * many * noise[1..].iter().sum::<f64>();
    // Two periods alone have no scatter but that difference itself.
    let excess = if count > 2 {
        (apart - expected).max(0.0)
    } else {
        0.0
    };
    let settling = if total > 0.0 { (excess / total).sqrt() } else { 0.0 };
    Ok(Periods {
        input,
        output,
        noise,
        periods: count,
        settling,
    })
}
