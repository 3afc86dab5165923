//! Means of subgroups with their ranges or standard deviations.

use super::{Baseline, Chart, ChartPair, Constants, Point, RunRule, Signal, constants, signals};
use crate::capability::Spread;
use crate::{Refusal, Summary};
use serde::Serialize;

/// How the spread within subgroups is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Within {
    /// By ranges: X-bar and R, for subgroups of up to about ten.
    Range,
    /// By standard deviations: X-bar and s.
    StandardDeviation,
}

/// Points beyond their limits, for charts of spread.
pub(super) fn beyond(points: &[Point]) -> Vec<Signal> {
    let outside = |p: &Point| p.value > p.upper || p.value < p.lower;
    points
        .iter()
        .enumerate()
        .filter(|(_, p)| outside(p))
        .map(|(at, _)| Signal {
            rule: RunRule::OneBeyondThreeSigma,
            first: at,
            last: at,
        })
        .collect()
}

struct Group {
    mean: f64,
    spread: f64,
    constants: Constants,
}

/// X-bar with R or s. Subgroups may differ in size (each point then has its own limits); the spread is the mean of
/// R/d2 or s/c4, each weighted by how well it is known, which for equal sizes is R̄/d2 or s̄/c4 (Burr 1969; e-Handbook
/// 6.3.2.1).
///
/// # Errors
/// [`Refusal::TooFew`] below two subgroups in the baseline, [`Refusal::OutOfRange`] for subgroups outside 2 to 50 values or
/// a known spread that is not positive, [`Refusal::NonFinite`], [`Refusal::NoVariance`] if no subgroup spreads.
pub fn subgroups(
    groups: &[Vec<f64>],
    within: Within,
    baseline: Baseline,
    rules: &[RunRule],
) -> Result<ChartPair, Refusal> {
    Refusal::unless_enough("subgroups of a chart", groups.len(), 2)?;
    let groups: Vec<Group> = groups
        .iter()
        .map(|g| group(g, within))
        .collect::<Result<_, _>>()?;
    let (centre, sigma) = match baseline {
        Baseline::All => lines(&groups, within)?,
        Baseline::First(n) => {
            Refusal::unless_enough("subgroups of a chart", n.min(groups.len()), n.max(2))?;
            lines(&groups[..n], within)?
        }
        Baseline::Known { centre, sigma } => {
            Refusal::unless_finite("the centre line", &[centre])?;
            Refusal::unless_positive("the known spread", sigma)?;
            (centre, sigma)
        }
    };
    let error = |g: &Group| sigma / (g.constants.n as f64).sqrt();
    let z: Vec<f64> = groups.iter().map(|g| (g.mean - centre) / error(g)).collect();
    let means = groups.iter().map(|g| Point {
        value: g.mean,
        lower: centre - 3.0 * error(g),
        upper: centre + 3.0 * error(g),
    });
    let spreads: Vec<Point> = groups
        .iter()
        .map(|g| {
            let (expected, [low, high]) = expected(&g.constants, within);
            Point {
                value: g.spread,
                lower: low * expected * sigma,
                upper: high * expected * sigma,
            }
        })
        .collect();
    let expected_of_all = groups
        .iter()
        .map(|g| expected(&g.constants, within).0)
        .sum::<f64>();
    Ok(ChartPair {
        location: Chart {
            centre,
            points: means.collect(),
            signals: signals(&z, rules),
        },
        spread: Chart {
            centre: sigma * expected_of_all / groups.len() as f64,
            signals: beyond(&spreads),
            points: spreads,
        },
        sigma,
    })
}

fn group(values: &[f64], within: Within) -> Result<Group, Refusal> {
    let constants = constants(values.len())?;
    let summary = Summary::of("a subgroup", values)?;
    let spread = match within {
        Within::Range => {
            values.iter().copied().fold(f64::NEG_INFINITY, f64::max)
                - values.iter().copied().fold(f64::INFINITY, f64::min)
        }
        Within::StandardDeviation => summary.sd,
    };
    Ok(Group {
        mean: summary.mean,
        spread,
        constants,
    })
}

/// Mean of the measure of spread per sigma, and its limits over that mean.
fn expected(c: &Constants, within: Within) -> (f64, [f64; 2]) {
    match within {
        Within::Range => (c.d2, [c.lower_range(), c.upper_range()]),
        Within::StandardDeviation => (c.c4, [c.lower_spread(), c.upper_spread()]),
    }
}

/// Grand mean, and sigma from within.
fn lines(groups: &[Group], within: Within) -> Result<(f64, f64), Refusal> {
    let count: f64 = groups.iter().map(|g| g.constants.n as f64).sum();
    let centre = groups.iter().map(|g| g.constants.n as f64 * g.mean).sum::<f64>() / count;
    let (mut sum, mut weights) = (0.0, 0.0);
    for g in groups {
        let c = &g.constants;
        // Over the squared relative spread of each.
        let weight = match within {
            Within::Range => (c.d2 / c.d3).powi(2),
            Within::StandardDeviation => c.c4 * c.c4 / (1.0 - c.c4 * c.c4),
        };
        sum += weight * g.spread / expected(c, within).0;
        weights += weight;
    }
    let sigma = sum / weights;
    if sigma <= 0.0 {
        return Err(Refusal::NoVariance {
            what: "values within the subgroups".into(),
            value: centre,
        });
    }
    Ok((centre, sigma))
}

/// Pooled standard deviation within groups, with its degrees of freedom; groups of one value add none.
///
/// # Errors
/// [`Refusal::TooFew`] if no group holds two values, [`Refusal::NonFinite`], [`Refusal::NoVariance`].
pub fn pooled_spread(groups: &[Vec<f64>]) -> Result<Spread, Refusal> {
    let (mut squares, mut dof, mut mean) = (0.0, 0.0, 0.0);
    for group in groups.iter().filter(|g| !g.is_empty()) {
        let summary = Summary::of("a subgroup", group)?;
        squares += summary.sd * summary.sd * (summary.n as f64 - 1.0);
        dof += summary.n as f64 - 1.0;
        mean = summary.mean;
    }
    if dof < 1.0 {
        return Err(Refusal::TooFew {
            what: "values of a subgroup".into(),
            got: 1,
            needed: 2,
        });
    }
    if squares <= 0.0 {
        return Err(Refusal::NoVariance {
            what: "values within the subgroups".into(),
            value: mean,
        });
    }
    Ok(Spread {
        sigma: (squares / dof).sqrt(),
        dof,
    })
}
