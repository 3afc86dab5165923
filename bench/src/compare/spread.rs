//! How far the same thing measured again lies: runs without touching the fixture, and runs with the rim clamped anew.

use super::contrast::{Between, Member};
use super::group::{Clamping, Remounting, clusters};
use crate::fitting::FitDocument;

/// Values of one quantity in one group, by clamping.
pub(crate) struct ByClamping {
    /// Clamping, and places of its members in the list given.
    pub(crate) clusters: Vec<(Clamping, Vec<usize>)>,
}

impl ByClamping {
    pub(crate) fn of(documents: &[&FitDocument], remounting: Remounting) -> Self {
        Self {
            clusters: clusters(documents, remounting),
        }
    }

    /// Weights of the members: every clamping counts the same, and within it every run.
    pub(crate) fn weights(&self, count: usize) -> Vec<f64> {
        let mut weights = vec![0.0; count];
        for (_, members) in &self.clusters {
            for member in members {
                if let Some(weight) = weights.get_mut(*member) {
                    *weight = 1.0 / (self.clusters.len() * members.len()) as f64;
                }
            }
        }
        weights
    }

    /// Means of the clampings.
    fn means(&self, values: &[f64]) -> Vec<f64> {
        let mean = |members: &Vec<usize>| {
            let own: Vec<f64> = members.iter().filter_map(|m| values.get(*m).copied()).collect();
            own.iter().sum::<f64>() / own.len().max(1) as f64
        };
        self.clusters.iter().map(|(_, members)| mean(members)).collect()
    }

    /// The one clamping that all share, if it is stated.
    pub(crate) fn only(&self) -> Option<&Clamping> {
        match self.clusters.as_slice() {
            [(clamping @ Clamping::Named(_), _)] => Some(clamping),
            _ => None,
        }
    }
}

/// Sums of squares about means, pooled.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Pool {
    squares: f64,
    dof: usize,
}

impl Pool {
    fn add(&mut self, values: &[f64]) {
        if values.len() < 2 {
            return;
        }
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        self.squares += values.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
        self.dof += values.len() - 1;
    }

    /// Adds the clampings of one group: what lies between them.
    pub(crate) fn add_clampings(&mut self, by: &ByClamping, values: &[f64]) {
        self.add(&by.means(values));
    }

    /// Adds the runs of one group: what lies between runs of one clamping.
    pub(crate) fn add_runs(&mut self, by: &ByClamping, values: &[f64]) {
        for (_, members) in &by.clusters {
            let own: Vec<f64> = members.iter().filter_map(|m| values.get(*m).copied()).collect();
            self.add(&own);
        }
    }

    /// The pooled standard deviation, if there is a degree of freedom.
    pub(crate) fn between(&self) -> Option<Between> {
        (self.dof > 0).then(|| Between {
            sd: (self.squares / self.dof as f64).sqrt(),
            dof: self.dof as f64,
        })
    }
}

/// Members of a group with the weights of its clampings.
pub(crate) fn members<'a>(
    found: &[(&'a FitDocument, &'a truerim_analysis::estimate::Estimate)],
    by: &ByClamping,
) -> Vec<Member<'a>> {
    let weights = by.weights(found.len());
    found
        .iter()
        .zip(weights)
        .map(|((document, estimate), weight)| Member {
            estimate,
            document,
            weight,
        })
        .collect()
}
