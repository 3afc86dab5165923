//! The smallest change of command that is told from none at a stated error rate.
//!
//! A trial reads a change of torque `x`. Without a change of command it is normal about `m` with a standard deviation `s`; with
//! one of size `d` about `m + r(d)`. A threshold at `m + z s` calls a share `α` of trials without a change changed, and misses a
//! share `α` of those of a size where `r(d) = 2 z s`, `z` the normal quantile of `1 − α`. That size is the answer: `r` is
//! measured at several sizes and straight between them.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::statistics::{MeanSd, all_finite, mean_sd};

/// One trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trial {
    /// Change of command, N·m; zero for a trial without one.
    pub size_nm: f64,
    /// Change of the mean torque, N·m.
    pub change_nm: f64,
}

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialOptions {
    /// Share of trials without a change that may be called changed, and share of changes that may be missed.
    pub error_rate: f64,
    /// Fewest trials of each size.
    pub min_trials: usize,
    /// Standard uncertainty of the sensor's gain, relative.
    pub gain_rel_u: f64,
}

impl Default for TrialOptions {
    fn default() -> Self {
        Self {
            error_rate: 0.05,
            min_trials: 4,
            gain_rel_u: 0.0,
        }
    }
}

/// What trials on one preload say.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// Smallest change upward that is told, N·m.
    pub up: Outcome,
    /// Smallest change downward, N·m, as an amount.
    pub down: Outcome,
    /// Change of torque over the largest change of command upward.
    pub share_up: Outcome,
    /// The same downward.
    pub share_down: Outcome,
    /// Change of torque that it takes, N·m.
    pub needed_nm: f64,
    /// Size, mean change and standard deviation of a trial, N·m; ascending, trials without a change among them.
    pub sizes: Vec<[f64; 3]>,
}

/// Trials of one size.
struct Size {
    nm: f64,
    stats: MeanSd,
}

/// Answer to one direction.
struct Way<'a> {
    none: &'a Size,
    /// Amount and answer of each size, from none on, ascending.
    points: Vec<(f64, f64)>,
    sizes: Vec<&'a Size>,
}

impl<'a> Way<'a> {
    fn of(sizes: &'a [Size], none: &'a Size, sign: f64) -> Self {
        let mut own: Vec<&Size> = sizes.iter().filter(|s| sign * s.nm > 0.0).collect();
        own.sort_by(|a, b| a.nm.abs().total_cmp(&b.nm.abs()));
        let answer = |s: &&Size| (s.nm.abs(), sign * (s.stats.mean - none.stats.mean));
        Self {
            none,
            points: std::iter::once((0.0, 0.0))
                .chain(own.iter().map(answer))
                .collect(),
            sizes: own,
        }
    }

    /// First of the sizes from which on every larger one is told.
    fn told_from(&self, needed_nm: f64) -> Option<usize> {
        let untold = self.points.iter().rposition(|(_, r)| *r < needed_nm)?;
        (untold + 1 < self.points.len()).then_some(untold + 1)
    }

    fn smallest(&self, (sd, dof): (f64, f64), two_z: f64, rate: f64) -> Result<Estimate, Refusal> {
        let needed = two_z * sd;
        let Some(k) = self.told_from(needed) else {
            return Err(Refusal::too_small(
                self.points.last().map_or(0.0, |p| p.1),
                sd,
                two_z,
            ));
        };
        let crossing = |(a, b): ((f64, f64), (f64, f64))| a.0 + (needed - a.1) * (b.0 - a.0) / (b.1 - a.1);
        let (left, right) = (self.points[k - 1], self.points[k]);
        let value = crossing((left, right));
        let slope = (right.1 - left.1) / (right.0 - left.0);
        let n = self.sizes[k - 1].stats.n;
        // How far a line through the next bracket would put it says how far the answer bends.
        let bend = self.points.get(k + 1).map_or(0.0, |next| {
            let other = crossing((right, *next));
            if other.is_finite() {
                (other.clamp(left.0, right.0) - value).abs()
            } else {
                0.0
            }
        });
        let means = sd * (1.0 / n as f64 + 1.0 / self.none.stats.n as f64).sqrt();
        let budget = vec![
            Contribution::type_a("means of trials", means / slope, dof),
            Contribution::type_a("noise of a trial", needed / (2.0 * dof).sqrt() / slope, dof),
            Contribution::rectangular("bend between sizes", bend),
        ];
        let method = format!(
            "answers straight between sizes, at {:.0} % false and {:.0} % missed",
            100.0 * rate,
            100.0 * rate
        );
        Estimate::from_budget(value, "N.m", n, method, budget)
    }

    fn share(&self, options: &TrialOptions) -> Result<Estimate, Refusal> {
        let (Some(size), Some((nm, answer))) = (self.sizes.last(), self.points.last()) else {
            return Err(few(0, options));
        };
        let value = answer / nm;
        let none = &self.none.stats;
        let scatter = |name: &str, stats: &MeanSd| {
            let n = stats.n as f64;
            Contribution::type_a(name, stats.sd / n.sqrt() / nm, n - 1.0)
        };
        let budget = vec![
            scatter("trials with the largest change", &size.stats),
            scatter("trials without a change", none),
            Contribution::type_b("sensor gain", value.abs() * options.gain_rel_u),
        ];
        let method = "mean change less that of trials without one";
        Estimate::from_budget(value, "1", size.stats.n, method, budget)
    }
}

fn few(got: usize, options: &TrialOptions) -> Refusal {
    Refusal::TooFewRepeats {
        what: "small changes of each size, and trials without one".into(),
        got,
        needed: options.min_trials.max(2),
    }
}

/// Judges the trials on one preload.
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::TooFewRepeats`] where a size or the trials without a change have fewer than asked for,
/// [`Refusal::OutOfRange`] for an error rate that is none. A direction whose largest change is not told has a [`Refusal::TooSmall`]
/// in its place.
pub fn told(trials: &[Trial], options: &TrialOptions) -> Result<Told, Refusal> {
    all_finite("changes of command", trials.iter().map(|t| &t.size_nm))?;
    all_finite("changes of torque", trials.iter().map(|t| &t.change_nm))?;
    let rate = options.error_rate;
    let normal = Normal::standard();
    if !(rate > 0.0 && rate < 0.5) {
        return Err(Refusal::out_of_range("the error rate", rate, 0.0, 0.5, "1"));
    }
    let two_z = 2.0 * normal.inverse_cdf(1.0 - rate);
    let micro = |nm: f64| (nm * 1e6).round() as i64;
    let mut found: std::collections::BTreeMap<i64, Vec<f64>> = std::collections::BTreeMap::new();
    for trial in trials {
        found
            .entry(micro(trial.size_nm))
            .or_default()
            .push(trial.change_nm);
    }
    let fewest = found.values().map(Vec::len).min().unwrap_or(0);
    if fewest < options.min_trials.max(2) || !found.contains_key(&0) {
        return Err(few(if found.contains_key(&0) { fewest } else { 0 }, options));
    }
    let sizes: Vec<Size> = found
        .iter()
        .map(|(micro, changes)| {
            Ok(Size {
                nm: *micro as f64 * 1e-6,
                stats: mean_sd(changes)?,
            })
        })
        .collect::<Result<_, Refusal>>()?;
    let Some(none) = sizes.iter().find(|s| s.nm.abs() < 0.5e-6) else {
        return Err(few(0, options));
    };
    let ways = [1.0, -1.0].map(|sign| Way::of(&sizes, none, sign));
    // Noise from trials without a change, then from those too that it does not stand out of.
    let pooled = |to_nm: f64| -> (f64, f64) {
        let own = sizes.iter().filter(|s| s.nm.abs() <= to_nm);
        let (mut squares, mut dof) = (0.0, 0.0);
        for size in own {
            let free = size.stats.n as f64 - 1.0;
            squares += free * size.stats.sd.powi(2);
            dof += free;
        }
        ((squares / dof.max(1.0)).sqrt(), dof.max(1.0))
    };
    let first = pooled(0.0);
    let upper = |way: &Way<'_>| way.told_from(two_z * first.0).map_or(0.0, |k| way.points[k].0);
    let noise = pooled(ways.iter().map(upper).fold(0.0, f64::max));
    let [up, down] = &ways;
    Ok(Told {
        up: up.smallest(noise, two_z, rate).into(),
        down: down.smallest(noise, two_z, rate).into(),
        share_up: up.share(options).into(),
        share_down: down.share(options).into(),
        needed_nm: two_z * noise.0,
        sizes: sizes.iter().map(|s| [s.nm, s.stats.mean, s.stats.sd]).collect(),
    })
}
