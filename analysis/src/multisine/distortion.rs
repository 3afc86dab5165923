//! What of the torque was not asked for, and how much of it is noise.

use serde::{Deserialize, Serialize};

use super::MultisineOptions;
use super::period::Periods;
use crate::estimate::{Contribution, Estimate, Outcome, Refusal, coverage_factor};
use crate::statistics::mean_sd;

/// Root mean square of what is not linear, and of noise, over that of the linear response, each summed over the lines up to
/// the highest that is excited.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Distortion {
    /// Odd distortion: what the silent odd lines show, for as many odd lines as there are.
    pub odd: Outcome,
    /// Even distortion: what the even lines show.
    pub even: Outcome,
    /// Noise within one period.
    pub noise: Outcome,
    /// Silent odd lines, Hz, and the amplitude of torque there, N·m, noise taken out (0 where it is less than noise).
    pub odd_lines: Vec<[f64; 2]>,
    /// Silent even lines, likewise.
    pub even_lines: Vec<[f64; 2]>,
}

/// Reads it off the lines without power.
pub(super) fn distortion(all: &[Periods], options: &MultisineOptions, line_hz: f64) -> Distortion {
    let lines = &options.lines;
    let top = lines.excited.last().copied().unwrap_or(1);
    let first = lines.excited.first().copied().unwrap_or(1);
    let power = |p: &Periods, k: usize| p.output[k].norm_sqr() - p.noise[k];
    let linear = |p: &Periods| lines.excited.iter().map(|k| power(p, *k)).sum::<f64>();
    // Lines beyond the highest that is excited are not transformed.
    let within = |silent: &[usize]| -> Vec<usize> { silent.iter().copied().filter(|k| *k <= top).collect() };
    let (silent_odd, silent_even) = (within(&lines.silent_odd), within(&lines.silent_even));
    let level = |silent: &[usize], odd: bool| -> Outcome {
        if silent.len() < 3 {
            let what = if odd { "silent odd lines" } else { "even lines" };
            return Refusal::TooFewSamples {
                what: format!("{what} to judge distortion by"),
                got: silent.len(),
                needed: 3,
            }
            .into();
        }
        let of_all = (first..=top).filter(|k| (k % 2 == 1) == odd).count() as f64;
        let of_each: Vec<f64> = all
            .iter()
            .map(|p| {
                let mean = silent.iter().map(|k| power(p, *k)).sum::<f64>() / silent.len() as f64;
                mean * of_all / linear(p)
            })
            .collect();
        let kind = if odd { "odd" } else { "even" };
        let method = format!(
            "root of the power at {} silent {kind} lines, for all {kind} lines, over the linear response; noise taken out",
            silent.len()
        );
        root_of_mean(&of_each, method).into()
    };
    let noise: Vec<f64> = all
        .iter()
        .map(|p| {
            let periods = p.periods as f64;
            p.noise[first..=top].iter().sum::<f64>() * periods / linear(p)
        })
        .collect();
    let amplitudes = |silent: &[usize]| -> Vec<[f64; 2]> {
        silent
            .iter()
            .map(|k| {
                let mean = all.iter().map(|p| power(p, *k)).sum::<f64>() / all.len() as f64;
                [*k as f64 * line_hz, 2.0 * mean.max(0.0).sqrt()]
            })
            .collect()
    };
    Distortion {
        odd: level(&silent_odd, true),
        even: level(&silent_even, false),
        noise: root_of_mean(
            &noise,
            "root of the power that scatters between periods, over the linear response".into(),
        )
        .into(),
        odd_lines: amplitudes(&silent_odd),
        even_lines: amplitudes(&silent_even),
    }
}

/// A ratio of amplitudes from ratios of power: the interval is that of the power, cut at zero, under the root.
fn root_of_mean(powers: &[f64], method: String) -> Result<Estimate, Refusal> {
    let stats = mean_sd(powers)?;
    let n = stats.n as f64;
    let u = stats.sd / n.sqrt();
    let value = stats.mean.max(0.0).sqrt();
    let half = coverage_factor(crate::estimate::LEVEL, (n - 1.0).max(1.0))? * u;
    let low = (stats.mean - half).max(0.0).sqrt();
    let high = (stats.mean + half).max(0.0).sqrt();
    // Where the root is steep, half the interval says more than a derivative that grows without bound.
    let by_slope = if value > 0.0 {
        u / (2.0 * value)
    } else {
        f64::INFINITY
    };
    let std_uncertainty = by_slope.min(u.sqrt());
    let budget = vec![Contribution::type_a(
        "scatter of realisations",
        std_uncertainty,
        n - 1.0,
    )];
    let mut estimate = Estimate::from_budget(value, "1", stats.n, method, budget)?;
    estimate.interval = [low, high];
    Ok(estimate)
}
