//! Gain, coherence and distortion of a trace by octave.
//!
//! Records begin and end at rest, so their rates of change are zero at both ends and nothing leaks: spectra are those of
//! differences, divided by that of a difference. Within an octave the response is a constant over short bands of lines.

use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

use super::{TraceRecords, over_repeats};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::spectra::Transform;
use crate::statistics::mean_sd;

/// Lowest octave starts here, Hz; what is slower is one band.
const LOWEST_HZ: f64 = 0.5;
/// Highest frequency as a share of the sample rate.
const HIGHEST: f64 = 0.4;
/// Lines of a band, at least; and bands of an octave, at most.
const LINES: usize = 4;
const PIECES: usize = 8;
/// An octave with less than this share of the command's root mean square is left out.
const LEAST: f64 = 3e-4;
/// Coherence below which an octave has no gain.
const COHERENT: f64 = 0.5;

/// What became of one octave.
#[derive(Debug, Clone, PartialEq)]
pub struct Octave {
    /// Lowest and highest frequency, Hz; from 0 for what is slower than the lowest octave.
    pub range_hz: [f64; 2],
    /// Root mean square of the command in it, N·m.
    pub command_nm: f64,
    /// Root mean square of what follows the command over that of the command.
    pub gain: Outcome,
    /// Share of the torque's power that follows the command linearly.
    pub coherence: f64,
}

/// All octaves of a trace.
#[derive(Debug, Clone, PartialEq)]
pub struct Octaves {
    /// From the slowest on.
    pub octaves: Vec<Octave>,
    /// Root mean square of what neither follows the command linearly nor changes from repeat to repeat, over that of all
    /// torque.
    pub distortion: Outcome,
}

/// Spectra of rates divided by that of a difference: those of a record that is zero before and behind but for a step.
fn spectrum(transform: &mut Transform, x: &[f64]) -> Vec<Complex64> {
    let n = x.len() - 1;
    let rates = transform.forward(x.windows(2).map(|pair| pair[1] - pair[0]).collect());
    let turned = |k: usize| Complex64::new(1.0, 0.0) - Complex64::from_polar(1.0, -TAU * k as f64 / n as f64);
    let line = |(k, v): (usize, &Complex64)| {
        if k == 0 {
            Complex64::default()
        } else {
            v / turned(k)
        }
    };
    rates.iter().enumerate().map(line).collect()
}

/// Powers of one octave.
#[derive(Debug, Clone, Copy, Default)]
struct Powers {
    command: f64,
    torque: f64,
    follows: f64,
    /// Of the mean over repeats, what does not follow.
    beside: f64,
    mean: f64,
}

struct Spectra {
    command: Vec<Complex64>,
    torque: Vec<Vec<Complex64>>,
}

impl Spectra {
    /// Powers over lines `from..to` of the repeats named by `kept`.
    fn powers(&self, (from, to): (usize, usize), kept: &[usize]) -> Powers {
        let mut all = Powers::default();
        let pieces = ((to - from) / LINES).clamp(1, PIECES);
        for piece in 0..pieces {
            let start = from + piece * (to - from) / pieces;
            let end = from + (piece + 1) * (to - from) / pieces;
            let u = &self.command[start..end];
            let count = kept.len() as f64;
            let mean: Vec<Complex64> = (start..end)
                .map(|k| kept.iter().map(|i| self.torque[*i][k]).sum::<Complex64>() / count)
                .collect();
            let uu: f64 = u.iter().map(Complex64::norm_sqr).sum();
            let uy: Complex64 = u.iter().zip(&mean).map(|(u, y)| u.conj() * y).sum();
            if uu <= 0.0 {
                continue;
            }
            let h = uy / uu;
            let lines = (end - start) as f64;
            // One complex coefficient of `lines` is spent on the response.
            let free = lines / (lines - 1.0).max(1.0);
            let beside: f64 = u.iter().zip(&mean).map(|(u, y)| (y - h * u).norm_sqr()).sum();
            let scatter: f64 = kept
                .iter()
                .map(|i| {
                    let own = self.torque[*i][start..end].iter().zip(&mean);
                    own.map(|(y, mean)| (y - mean).norm_sqr()).sum::<f64>()
                })
                .sum();
            let power: f64 = mean.iter().map(Complex64::norm_sqr).sum();
            // Of a mean over n repeats a scatter of n - 1 degrees of freedom leaves its n-th part.
            let noise = scatter / (count - 1.0).max(1.0) / count;
            all.command += uu;
            all.follows += h.norm_sqr() * uu;
            all.torque += power + scatter / count;
            all.mean += power;
            all.beside += (beside * free - noise).max(0.0);
        }
        all
    }

    /// Powers over lines at which nothing was commanded: nothing follows.
    fn unasked(&self, (from, to): (usize, usize), kept: &[usize]) -> Powers {
        let count = kept.len() as f64;
        let (mut power, mut scatter) = (0.0, 0.0);
        for k in from..to {
            let mean = kept.iter().map(|i| self.torque[*i][k]).sum::<Complex64>() / count;
            power += mean.norm_sqr();
            scatter += kept
                .iter()
                .map(|i| (self.torque[*i][k] - mean).norm_sqr())
                .sum::<f64>();
        }
        Powers {
            beside: (power - scatter / (count - 1.0).max(1.0) / count).max(0.0),
            mean: power,
            ..Powers::default()
        }
    }
}

/// Gain and coherence by octave, and distortion over all of them; `shift_s` is the delay that is taken out.
///
/// # Errors
/// As [`TraceRecords::check`].
pub fn octaves(records: &TraceRecords, shift_s: f64) -> Result<Octaves, Refusal> {
    records.check()?;
    let (n, fs_hz) = (records.command_nm.len(), records.fs_hz);
    let mut transform = Transform::new(n - 1);
    let mut torque = Vec::new();
    for arrived in &records.arrived_nm {
        torque.push(spectrum(
            &mut transform,
            &super::shifted(arrived, shift_s, n, fs_hz),
        ));
    }
    let spectra = Spectra {
        command: spectrum(&mut transform, &records.command_nm),
        torque,
    };
    let line_hz = fs_hz / (n - 1) as f64;
    let index = |f: f64| ((f / line_hz).ceil() as usize).clamp(1, spectra.command.len());
    let every: Vec<usize> = (0..spectra.torque.len()).collect();
    let mut edges = vec![0.0, LOWEST_HZ];
    while edges.last().is_some_and(|f| 2.0 * f <= HIGHEST * fs_hz) {
        edges.push(edges.last().copied().unwrap_or(LOWEST_HZ) * 2.0);
    }
    let ranges: Vec<([f64; 2], (usize, usize))> = edges
        .windows(2)
        .map(|pair| ([pair[0], pair[1]], (index(pair[0]), index(pair[1]))))
        .filter(|(_, (from, to))| to - from >= 2)
        .collect();
    let whole: f64 = ranges
        .iter()
        .map(|(_, lines)| spectra.powers(*lines, &every).command)
        .sum();
    let told: Vec<([f64; 2], (usize, usize))> = ranges
        .iter()
        .copied()
        .filter(|(_, lines)| spectra.powers(*lines, &every).command > LEAST * LEAST * whole)
        .collect();
    // Both sides of the spectrum, over the samples.
    let rms = |power: f64| (2.0 * power).sqrt() / n as f64;
    let octaves = told
        .iter()
        .map(|(range_hz, lines)| {
            let powers = spectra.powers(*lines, &every);
            let coherence = (powers.follows / powers.torque.max(f64::MIN_POSITIVE)).min(1.0);
            Octave {
                range_hz: *range_hz,
                command_nm: rms(powers.command),
                gain: gain(records, &spectra, *lines, (coherence, range_hz[0])).into(),
                coherence,
            }
        })
        .collect();
    // Torque where nothing was commanded is distortion too, all of it that every repeat has.
    let share = |kept: &[usize]| {
        let all: Vec<Powers> = ranges
            .iter()
            .map(|(_, lines)| {
                let powers = spectra.powers(*lines, kept);
                if powers.command > LEAST * LEAST * whole {
                    powers
                } else {
                    spectra.unasked(*lines, kept)
                }
            })
            .collect();
        let sum = |f: fn(&Powers) -> f64| all.iter().map(f).sum::<f64>();
        (sum(|p| p.beside) / sum(|p| p.mean).max(f64::MIN_POSITIVE)).sqrt()
    };
    Ok(Octaves {
        octaves,
        distortion: jackknife(&every, share).into(),
    })
}

fn gain(
    records: &TraceRecords,
    spectra: &Spectra,
    lines: (usize, usize),
    (coherence, f_hz): (f64, f64),
) -> Result<Estimate, Refusal> {
    if coherence < COHERENT {
        return Err(Refusal::LowCoherence {
            f_hz,
            coherence,
            limit: COHERENT,
        });
    }
    let each: Vec<f64> = (0..spectra.torque.len())
        .map(|i| {
            let powers = spectra.powers(lines, &[i]);
            (powers.follows / powers.command).sqrt()
        })
        .collect();
    let mean = mean_sd(&each)?.mean;
    let declared = Contribution::type_b("declared gain of the sensor", mean * records.gain_rel_u);
    over_repeats(
        &each,
        (
            "1",
            "root mean square of what follows the command over that of the command",
        ),
        [declared],
    )
}

/// A value of all repeats, its scatter by leaving out one at a time (Efron and Tibshirani, An Introduction to the Bootstrap,
/// ch. 11).
fn jackknife(every: &[usize], value: impl Fn(&[usize]) -> f64) -> Result<Estimate, Refusal> {
    let n = every.len();
    let without: Vec<f64> = every
        .iter()
        .map(|left_out| {
            value(
                &every
                    .iter()
                    .copied()
                    .filter(|i| i != left_out)
                    .collect::<Vec<_>>(),
            )
        })
        .collect();
    let sd = mean_sd(&without)?.sd;
    let count = n as f64;
    let u = sd * (count - 1.0) / count.sqrt();
    let budget = vec![Contribution::type_a("repeats", u, count - 1.0)];
    let method = "what a response constant over short bands leaves of the mean over repeats, less its noise";
    let check = Check::new(
        "repeats",
        n > 2,
        format!("{n} repeats, three or more tell distortion from noise"),
    );
    Estimate::from_budget(value(every), "1", n, method, budget).map(|e| e.with_checks([check]))
}
