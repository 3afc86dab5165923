//! Phases of a multisine: how high its peak is beside its power.
//!
//! Sums are taken directly, line by line with a rotating phasor, so that nothing but sine and cosine is needed.

use std::f64::consts::{PI, TAU};

/// Phases of Schroeder (1970) for lines of the given powers, rad: a sweep through the lines, each holding it for a time in
/// proportion to its power. For N flat lines these are `-π k (k - 1)/N`, k from 1.
pub fn schroeder_phases(powers: &[f64]) -> Vec<f64> {
    let total: f64 = powers.iter().sum();
    let (mut phase, mut slope) = (0.0, 0.0);
    powers
        .iter()
        .map(|p| {
            let own = phase;
            slope += p / total;
            phase -= TAU * slope;
            own
        })
        .collect()
}

/// One period of `Σ a cos(2π k n/points + phase)`, `points` samples.
pub fn multisine(lines: &[usize], amplitudes: &[f64], phases: &[f64], points: usize) -> Vec<f64> {
    let mut out = vec![0.0; points];
    for ((k, a), phase) in lines.iter().zip(amplitudes).zip(phases) {
        let step = TAU * *k as f64 / points as f64;
        let (sin, cos) = step.sin_cos();
        let (mut im, mut re) = phase.sin_cos();
        for (n, out) in out.iter_mut().enumerate() {
            if n % RENEW == 0 {
                // The turned phasor would drift by rounding.
                (im, re) = (step * n as f64 + phase).sin_cos();
            }
            *out += a * re;
            (re, im) = (re * cos - im * sin, re * sin + im * cos);
        }
    }
    out
}

/// Samples after which a phasor is set anew.
const RENEW: usize = 512;

/// Largest magnitude over root mean square; 0 for nothing but zeros.
pub fn crest_factor(x: &[f64]) -> f64 {
    let peak = x.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    let rms = (x.iter().map(|v| v * v).sum::<f64>() / x.len().max(1) as f64).sqrt();
    if rms > 0.0 { peak / rms } else { 0.0 }
}

/// Phases with a lower crest factor, found by clipping (Van der Ouderaa, Schoukens and Renneboog 1988): the period is cut
/// off a little below its peak, the phases of what is left are taken, the amplitudes are restored, and so on. Returns
/// the best phases of all rounds and their crest factor over `points` samples; take at least four samples per period of
/// the highest line, else peaks hide between samples. Random phases as a start leave the result random enough for
/// repeated realisations to differ.
pub fn clip_phases(
    lines: &[usize],
    amplitudes: &[f64],
    start: &[f64],
    points: usize,
    rounds: usize,
) -> (Vec<f64>, f64) {
    let mut phases = start.to_vec();
    let mut best = (
        phases.clone(),
        crest_factor(&multisine(lines, amplitudes, &phases, points)),
    );
    for round in 0..rounds {
        let mut x = multisine(lines, amplitudes, &phases, points);
        let peak = x.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
        // Hard at first, ever gentler.
        let share = round as f64 / rounds as f64;
        let limit = peak * (0.75 + 0.24 * share);
        x.iter_mut().for_each(|v| *v = v.clamp(-limit, limit));
        phases = lines.iter().map(|k| phase_of(&x, *k)).collect();
        let crest = crest_factor(&multisine(lines, amplitudes, &phases, points));
        if crest < best.1 {
            best = (phases.clone(), crest);
        }
    }
    best
}

/// Phase of line `k` of a period, as a cosine's.
fn phase_of(x: &[f64], k: usize) -> f64 {
    let step = TAU * k as f64 / x.len() as f64;
    let (sin, cos) = step.sin_cos();
    let (mut re, mut im) = (1.0, 0.0);
    let (mut sum_re, mut sum_im) = (0.0, 0.0);
    for (n, v) in x.iter().enumerate() {
        if n % RENEW == 0 {
            (im, re) = (step * n as f64).sin_cos();
        }
        sum_re += v * re;
        sum_im -= v * im;
        (re, im) = (re * cos - im * sin, re * sin + im * cos);
    }
    let phase = sum_im.atan2(sum_re);
    if phase.is_finite() { phase } else { PI }
}
