//! Do several groups differ at all?

use crate::distributions::{chi_square_above, fisher_above};
use crate::{Refusal, Summary};
use serde::Serialize;

/// A test of several groups at once.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GroupTest {
    /// F, or Kruskal and Wallis' H.
    pub statistic: f64,
    /// Degrees of freedom between groups.
    pub between: f64,
    /// Degrees of freedom within; infinite for H.
    pub within: f64,
    /// Probability of a statistic at least as large if the groups do not differ.
    pub p: f64,
}

fn checked(groups: &[Vec<f64>]) -> Result<usize, Refusal> {
    Refusal::unless_enough("groups to compare", groups.len(), 2)?;
    for group in groups {
        Refusal::unless_enough("values of a group", group.len(), 2)?;
        Refusal::unless_finite("values of a group", group)?;
    }
    Ok(groups.iter().map(Vec::len).sum())
}

/// One-way analysis of variance: do means differ, given normal values of one spread?
///
/// # Errors
/// [`Refusal::TooFew`] below two groups or two values in one, [`Refusal::NonFinite`], [`Refusal::NoVariance`].
pub fn analysis_of_variance(groups: &[Vec<f64>]) -> Result<GroupTest, Refusal> {
    let count = checked(groups)? as f64;
    let all: Vec<f64> = groups.concat();
    let whole = Summary::of("values of all groups", &all)?;
    let (mut between, mut within) = (0.0, 0.0);
    for group in groups {
        let s = Summary::of("values of a group", group)?;
        between += s.n as f64 * (s.mean - whole.mean).powi(2);
        within += s.sd * s.sd * (s.n as f64 - 1.0);
    }
    if within <= 0.0 {
        return Err(Refusal::NoVariance {
            what: "values within the groups".into(),
            value: whole.mean,
        });
    }
    let dof = [groups.len() as f64 - 1.0, count - groups.len() as f64];
    let statistic = between / dof[0] / (within / dof[1]);
    Ok(GroupTest {
        statistic,
        between: dof[0],
        within: dof[1],
        p: fisher_above(statistic, dof),
    })
}

/// Kruskal and Wallis' test by ranks, with their correction for ties (JASA 47, 1952): do locations differ, whatever the
/// distribution? The chi-square approximation wants five values a group.
///
/// # Errors
/// As [`analysis_of_variance`].
pub fn kruskal_wallis(groups: &[Vec<f64>]) -> Result<GroupTest, Refusal> {
    let count = checked(groups)?;
    let mut order: Vec<(f64, usize)> = groups
        .iter()
        .enumerate()
        .flat_map(|(g, values)| values.iter().map(move |v| (*v, g)))
        .collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut ranks = vec![0.0; groups.len()];
    let (mut before, mut tied) = (0, 0.0);
    for run in order.chunk_by(|a, b| (a.0 - b.0).abs() <= 0.0) {
        let size = run.len() as f64;
        let rank = before as f64 + 0.5 * (size + 1.0);
        for (_, group) in run {
            ranks[*group] += rank;
        }
        tied += size * size * size - size;
        before += run.len();
    }
    let n = count as f64;
    let untied = 1.0 - tied / (n * n * n - n);
    if untied <= 0.0 {
        return Err(Refusal::NoVariance {
            what: "values of all groups".into(),
            value: order[0].0,
        });
    }
    let sum: f64 = ranks
        .iter()
        .zip(groups)
        .map(|(r, g)| r * r / g.len() as f64)
        .sum();
    let statistic = (12.0 / (n * (n + 1.0)) * sum - 3.0 * (n + 1.0)) / untied;
    let between = groups.len() as f64 - 1.0;
    Ok(GroupTest {
        statistic,
        between,
        within: f64::INFINITY,
        p: chi_square_above(statistic, between),
    })
}
