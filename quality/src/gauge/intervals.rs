//! Intervals of everything a study gives.

use super::Settings;
use crate::Interval;
use crate::distributions::chi_square_quantile;
use crate::summary::quantile_of_sorted;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{ChiSquared, Distribution};

/// A mean square.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mean {
    pub(super) square: f64,
    pub(super) dof: f64,
}

/// Intervals of `all`, a function of the mean squares of parts, operators and repeatability and of the interaction.
///
/// A mean square S with ν degrees of freedom belongs to an expected one of S·ν/χ²(ν): drawn so, each set of expected mean
/// squares gives one value of every quantity, whose quantiles are the ends. The first, repeatability, has its exact
/// interval.
pub(super) fn intervals<const N: usize>(
    squares: [Mean; 3],
    interaction: Option<Mean>,
    settings: &Settings,
    all: impl Fn([f64; 3], Option<f64>) -> [f64; N],
) -> [Interval; N] {
    let mut chance = ChaCha8Rng::seed_from_u64(settings.seed);
    let mut expected = |mean: Mean| match ChiSquared::new(mean.dof) {
        Ok(chi) => mean.square * mean.dof / chi.sample(&mut chance).max(f64::MIN_POSITIVE),
        // Degrees of freedom are at least one.
        Err(_) => f64::NAN,
    };
    let mut drawn: Vec<Vec<f64>> = vec![Vec::with_capacity(settings.draws); N];
    for _ in 0..settings.draws {
        let set = squares.map(&mut expected);
        let both = interaction.map(&mut expected);
        for (list, value) in drawn.iter_mut().zip(all(set, both)) {
            list.push(value);
        }
    }
    let level = settings.level;
    let ends = [0.5 - 0.5 * level, 0.5 + 0.5 * level];
    let mut found = [Interval {
        low: f64::NAN,
        high: f64::NAN,
        level,
    }; N];
    for (interval, mut list) in found.iter_mut().zip(drawn) {
        list.sort_by(f64::total_cmp);
        [interval.low, interval.high] = ends.map(|q| quantile_of_sorted(&list, q));
    }
    let within = squares[2];
    [found[0].high, found[0].low] =
        ends.map(|q| within.square * within.dof / chi_square_quantile(q, within.dof));
    found
}
