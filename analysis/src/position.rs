//! What a position sensor adds to the angle it reads: its step, and its noise beside the step.

use ndarray::ArrayView1;

use crate::estimate::{Contribution, Estimate, Refusal};
use crate::statistics::mean_sd;

/// Blocks whose scatter is the uncertainty.
const BLOCKS: usize = 16;
/// Readings in a block, at least.
const READINGS: usize = 100;

/// The step in counts by which readings differ: the greatest common divisor of their differences. `None` where all are the
/// same. Readings that come with more digits than the sensor has show its step, not that of the digits.
pub fn step_counts(counts: ArrayView1<'_, i32>) -> Option<u32> {
    let mut step = 0_u32;
    for (a, b) in counts.iter().zip(counts.iter().skip(1)) {
        let (mut x, mut y) = (step, b.wrapping_sub(*a).unsigned_abs());
        while y > 0 {
            (x, y) = (y, x % y);
        }
        step = x;
        if step == 1 {
            break;
        }
    }
    (step > 0).then_some(step)
}

/// Standard deviation of one reading's noise ahead of the sensor's steps, in steps, from readings at a steady slow speed.
///
/// A reading is `floor(x + n)` in steps, with `n` normal. Wherever `x` lies between two steps, neighbouring readings then
/// differ on average in the square by `g(y) = m² (1 − f) + (m + 1)² f`, `m` and `f` the whole and the broken part of `|y|`, `y` the
/// difference of two noises and the way between the readings; its expectation over the noise is solved for the standard deviation.
/// It holds for noise far below a step, where only flicker between two counts shows it, as for noise far above.
///
/// # Errors
/// [`Refusal::TooFewSamples`]; [`Refusal::BelowNoise`] with a bound where readings flicker no more than the way between them makes
/// them.
pub fn reading_noise(steps: ArrayView1<'_, f64>) -> Result<Estimate, Refusal> {
    let n = steps.len();
    if n < READINGS * BLOCKS {
        return Err(Refusal::TooFewSamples {
            what: "noise of a position sensor".into(),
            got: n,
            needed: READINGS * BLOCKS,
        });
    }
    let way = (steps[n - 1] - steps[0]) / (n - 1) as f64;
    let squares: Vec<f64> = steps
        .iter()
        .zip(steps.iter().skip(1))
        .map(|(a, b)| (b - a) * (b - a))
        .collect();
    let blocks: Vec<f64> = squares
        .chunks(squares.len().div_ceil(BLOCKS))
        .map(|block| block.iter().sum::<f64>() / block.len() as f64)
        .collect();
    let found = mean_sd(&blocks)?;
    let u = found.sd / (found.n as f64).sqrt();
    let of = |mean: f64| solve(way, mean);
    if found.mean <= flicker(way, 0.0) + 3.0 * u {
        return Err(Refusal::BelowNoise {
            what: "noise of the position sensor, in its steps".into(),
            found: of(found.mean),
            bound: of(found.mean.max(flicker(way, 0.0)) + 1.645 * u),
            level: 0.95,
            unit: "1".into(),
        });
    }
    let sd = of(found.mean);
    let spread = 0.5 * (of(found.mean + u) - of(found.mean - u));
    let budget = vec![Contribution::type_a(
        "scatter of stretches",
        spread,
        found.n as f64 - 1.0,
    )];
    Estimate::from_budget(sd, "1", n, "flicker between neighbouring readings", budget)
}

/// Expected square of the difference of neighbouring readings, in steps, for noise of `sd`.
fn flicker(way: f64, sd: f64) -> f64 {
    let g = |y: f64| {
        let (m, f) = (y.abs().floor(), y.abs().fract());
        m * m * (1.0 - f) + (m + 1.0) * (m + 1.0) * f
    };
    let wide = sd * std::f64::consts::SQRT_2;
    if wide <= 0.0 {
        return g(way);
    }
    // Trapezoids over six standard deviations either way.
    let points = 600;
    let (mut sum, mut weights) = (0.0, 0.0);
    for k in 0..=points {
        let z = 12.0 * f64::from(k) / f64::from(points) - 6.0;
        let weight = (-0.5 * z * z).exp();
        sum += weight * g(way + wide * z);
        weights += weight;
    }
    sum / weights
}

/// The noise whose flicker is `mean`.
fn solve(way: f64, mean: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0 + mean.max(0.0).sqrt());
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if flicker(way, middle) < mean {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}
