//! Bootstrap: the spread of a figure when its data are drawn again.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::{Contribution, Estimate, LEVEL, Refusal};
use crate::statistics::{mean_sd, quantile};

/// Draws below which the ends of a 95 % interval rest on a handful of values.
const FEWEST_DRAWS: usize = 200;

/// Estimate of a figure of repeats for which no formula serves (a median, a quantile, a ratio), by drawing the repeats
/// again with replacement (Efron and Tibshirani, An Introduction to the Bootstrap, 1993, ch. 13): standard uncertainty from
/// the spread of the draws, interval by their quantiles, widened by `sqrt(n/(n - 1))` because draws from n values spread
/// too little by that. The same seed gives the same numbers. `others` are further contributions; the interval then is
/// widened in proportion.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below `min_repeats` (at least 5: of fewer the draws are mostly alike),
/// [`Refusal::OutOfRange`] for fewer than 200 draws, and the refusals of `figure`.
#[allow(clippy::too_many_arguments)]
pub fn bootstrap(
    repeats: &[f64],
    figure: impl Fn(&[f64]) -> Result<f64, Refusal>,
    unit: &str,
    method: &str,
    min_repeats: usize,
    draws: usize,
    seed: u64,
    others: Vec<Contribution>,
) -> Result<Estimate, Refusal> {
    let n = repeats.len();
    let needed = min_repeats.max(5);
    if n < needed {
        return Err(Refusal::TooFewRepeats {
            what: method.into(),
            got: n,
            needed,
        });
    }
    if draws < FEWEST_DRAWS {
        return Err(Refusal::OutOfRange {
            what: "the number of draws of a bootstrap".into(),
            value: draws as f64,
            low: FEWEST_DRAWS as f64,
            high: f64::INFINITY,
            unit: "1".into(),
        });
    }
    let value = figure(repeats)?;
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn = vec![0.0; n];
    let figures: Vec<f64> = (0..draws)
        .map(|_| {
            for d in &mut drawn {
                // A 64-bit number over n: the bias of the remainder is below 1e-15.
                *d = repeats[(random.next_u64() % n as u64) as usize];
            }
            figure(&drawn)
        })
        .collect::<Result<_, _>>()?;
    let wider = (n as f64 / (n as f64 - 1.0)).sqrt();
    let u = mean_sd(&figures)?.sd * wider;
    let mut budget = vec![Contribution::type_a("repeats drawn again", u, n as f64 - 1.0)];
    budget.extend(others);
    let method = format!("{method}; interval by {draws} bootstrap draws");
    let mut estimate = Estimate::from_budget(value, unit, n, method, budget)?;
    let reach = if u > 0.0 {
        wider * estimate.std_uncertainty / u
    } else {
        1.0
    };
    let tail = 0.5 * (1.0 - LEVEL);
    let end = |q: f64| -> Result<f64, Refusal> { Ok(value + reach * (quantile(&figures, q)? - value)) };
    if u > 0.0 {
        estimate.interval = [end(tail)?, end(1.0 - tail)?];
    }
    Ok(estimate)
}
