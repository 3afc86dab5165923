//! Phases of a multisine, and how high its peak is beside its power.

use alloc::{vec, vec::Vec};
use core::f64::consts::TAU;
use num_complex::Complex64;

use super::fourier::{AnyLength, PowerOfTwo, turn};

/// Rounds of clipping; what more of them still gain is a few percent.
const ROUNDS: usize = 40;
/// Most values of all rounds, so that a long period is not waited for; it gets fewer rounds.
const MOST_VALUES: usize = ROUNDS << 14;
/// Fewest points to a period of the highest line, so that no peak hides between them.
const POINTS: usize = 5;
/// What is cut off in the first round and in the last, as shares of the peak.
const CLIPS: [f64; 2] = [0.5, 0.9];

/// Greatest magnitude over root mean square; 0 for nothing but zeros.
pub fn crest_factor(values: &[f64]) -> f64 {
    let rms = root_mean_square(values);
    if rms > 0.0 { peak(values) / rms } else { 0.0 }
}

/// Greatest magnitude; 0 for an empty list.
pub(crate) fn peak(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |most, v| v.abs().max(most))
}

/// Root mean square; 0 for an empty list.
pub(crate) fn root_mean_square(values: &[f64]) -> f64 {
    let sum: f64 = values.iter().map(|v| v * v).sum();
    libm::sqrt(sum / values.len().max(1) as f64)
}

/// Phases for `count` lines of one amplitude, rad: those of a sweep through them, `-π k (k - 1)/count` with `k` from 1
/// (Schroeder, IEEE Trans. Inf. Theory 16, 1970). The crest factor of neighbouring lines is about 1.7.
pub fn schroeder_phases(count: usize) -> Vec<f64> {
    let phase = |k: usize| {
        // Whole numbers of half turns: taken modulo a turn before a digit is lost.
        let half_turns = (k as u128 * (k as u128 + 1)) % (2 * count as u128);
        -TAU * half_turns as f64 / (2 * count) as f64
    };
    (0..count).map(phase).collect()
}

/// Phases with a low crest factor, from the given ones, by clipping (Van der Ouderaa, Schoukens and Renneboog, IEEE
/// Trans. Instrum. Meas. 37, 1988): the signal is cut off below its peak, the phases of what is left are taken, all
/// lines get their amplitude back, and so on, hard at first and then gentler. The best phases of all rounds.
pub fn clipped_phases(lines: &[u32], start: Vec<f64>) -> Vec<f64> {
    let highest = lines.iter().max().map_or(1, |k| *k as usize);
    let transform = PowerOfTwo::at_least(POINTS * highest);
    let rounds = (MOST_VALUES / transform.len()).clamp(4, ROUNDS);
    let mut phases = start;
    let mut best = (f64::INFINITY, Vec::new());
    let mut work = vec![Complex64::ZERO; transform.len()];
    for round in 0..=rounds {
        work.fill(Complex64::ZERO);
        for (line, phase) in lines.iter().zip(&phases) {
            // The conjugate makes the forward transform the sum of `cos(2π k n/len + phase)`, in the real part.
            if let Some(place) = work.get_mut(*line as usize) {
                *place = turn(-phase);
            }
        }
        transform.forward(&mut work);
        let most = work.iter().fold(0.0, |most, v| v.re.abs().max(most));
        // Its power is always the same, so the lowest peak is the lowest crest factor.
        if most < best.0 {
            best = (most, phases.clone());
        }
        if round == rounds {
            break;
        }
        let [first, last] = CLIPS;
        let limit = most * (first + (last - first) * round as f64 / rounds as f64);
        for value in &mut work {
            *value = Complex64::new(value.re.clamp(-limit, limit), 0.0);
        }
        transform.forward(&mut work);
        for (line, phase) in lines.iter().zip(&mut phases) {
            if let Some(value) = work.get(*line as usize) {
                *phase = libm::atan2(value.im, value.re);
            }
        }
    }
    best.1
}

/// Sums of lines of amplitude 1 over one period of a given number of points.
pub(super) struct Synthesis {
    transform: AnyLength,
    points: usize,
}

impl Synthesis {
    pub(super) fn new(points: usize) -> Self {
        Self {
            transform: AnyLength::new(points),
            points,
        }
    }

    /// `Σ cos(2π line n/points + phase)`; lines from 1 to half the points.
    pub(super) fn sum(&self, lines: &[u32], phases_rad: &[f64]) -> Vec<f64> {
        let mut spectrum = vec![Complex64::ZERO; self.points];
        for (line, phase) in lines.iter().zip(phases_rad) {
            if let Some(place) = spectrum.get_mut(*line as usize) {
                *place = turn(-phase);
            }
        }
        self.transform.forward(&spectrum).iter().map(|v| v.re).collect()
    }
}
