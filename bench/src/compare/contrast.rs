//! A weighted sum of groups of estimates, from their budgets.

use std::collections::BTreeMap;

use truerim_analysis::estimate::{Contribution, Estimate, Kind, Refusal, combine};

use super::cause::Cause;
use crate::fitting::FitDocument;

/// One estimate of a group.
pub(crate) struct Member<'a> {
    pub(crate) estimate: &'a Estimate,
    pub(crate) document: &'a FitDocument,
    /// Share of the group's mean; those of one group sum to 1.
    pub(crate) weight: f64,
}

/// A group with the factor it enters by.
pub(crate) struct Term<'a> {
    pub(crate) name: &'a str,
    pub(crate) members: &'a [Member<'a>],
    pub(crate) factor: f64,
    /// What the scatter of one fit is divided by for the group's mean: the number of clampings, or of runs.
    pub(crate) count: usize,
}

impl Term<'_> {
    /// Mean of the group.
    pub(crate) fn mean(&self) -> f64 {
        self.members.iter().map(|m| m.weight * m.estimate.value).sum()
    }
}

/// Scatter from one fit to the next that stands for what repeats within a run say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Between {
    pub(crate) sd: f64,
    pub(crate) dof: f64,
}

/// A sum with what cancelled in it.
pub(crate) struct Contrast {
    pub(crate) estimate: Estimate,
    pub(crate) shared: Vec<String>,
}

/// Σ factor · mean. Shared contributions are summed with their signs, those of a group within the group, type A by quadrature
/// or replaced by `between` (JCGM 100:2008, 5.2.2 with correlation coefficients of 1 and 0).
///
/// # Errors
/// Those of [`Estimate::from_budget`].
pub(crate) fn contrast(
    terms: &[Term<'_>],
    between: Option<(Between, &str)>,
    unit: &str,
    method: &str,
) -> Result<Contrast, Refusal> {
    let mut shared: BTreeMap<String, Line> = BTreeMap::new();
    let mut of_group: BTreeMap<(usize, String), Line> = BTreeMap::new();
    let mut own: BTreeMap<(usize, String), Vec<Contribution>> = BTreeMap::new();
    for (place, term) in terms.iter().enumerate() {
        for member in term.members {
            let weight = term.factor * member.weight;
            for part in &member.estimate.budget {
                let u = weight * part.std_uncertainty;
                match Cause::of(part, member.document) {
                    Cause::Shared { key, name } => shared.entry(key).or_default().add(u, part, place, &name),
                    Cause::Group => {
                        let key = (place, part.source.clone());
                        of_group.entry(key).or_default().add(u, part, place, "");
                    }
                    Cause::Own => own
                        .entry((place, part.source.clone()))
                        .or_default()
                        .push(Contribution {
                            std_uncertainty: u.abs(),
                            ..part.clone()
                        }),
                }
            }
        }
    }
    let name = |place: usize| terms.get(place).map_or("", |term| term.name);
    let mut budget = Vec::new();
    match between {
        Some((between, words)) => {
            let share: f64 = terms
                .iter()
                .map(|t| t.factor * t.factor / t.count.max(1) as f64)
                .sum();
            budget.push(Contribution::type_a(
                words,
                between.sd * share.sqrt(),
                between.dof,
            ));
        }
        None => {
            for ((place, source), parts) in own {
                let together = combine(&parts)?;
                budget.push(Contribution::type_a(
                    format!("{source}, {}", name(place)),
                    together.std_uncertainty,
                    together.dof,
                ));
            }
        }
    }
    for ((place, source), line) in of_group {
        budget.push(line.contribution(format!("{source}, {}", name(place))));
    }
    let mut cancelled = Vec::new();
    for line in shared.into_values() {
        let words = if line.places.len() > 1 {
            cancelled.push(line.name.clone());
            format!("{}, shared by both", line.source)
        } else {
            let place = line.places.first().copied().unwrap_or(0);
            format!("{}, {}", line.source, name(place))
        };
        budget.push(line.contribution(words));
    }
    let value = terms.iter().map(|t| t.factor * t.mean()).sum();
    let n = terms
        .iter()
        .flat_map(|t| t.members)
        .map(|m| m.estimate.n)
        .min()
        .unwrap_or(0);
    cancelled.sort();
    cancelled.dedup();
    Ok(Contrast {
        estimate: Estimate::from_budget(value, unit, n, method, budget)?,
        shared: cancelled,
    })
}

/// A fully correlated sum of contributions.
#[derive(Default)]
struct Line {
    source: String,
    name: String,
    sum: f64,
    dof: Option<f64>,
    places: Vec<usize>,
}

impl Line {
    fn add(&mut self, u: f64, part: &Contribution, place: usize, name: &str) {
        if self.places.is_empty() {
            part.source.clone_into(&mut self.source);
            name.clone_into(&mut self.name);
        }
        self.sum += u;
        self.dof = match (self.dof, part.dof) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (one, other) => one.or(other),
        };
        if !self.places.contains(&place) {
            self.places.push(place);
        }
    }

    fn contribution(&self, source: String) -> Contribution {
        Contribution {
            source,
            kind: Kind::B,
            std_uncertainty: self.sum.abs(),
            dof: self.dof,
        }
    }
}

/// Standard uncertainty of Σ factor · mean from type A contributions alone, with its degrees of freedom.
///
/// # Errors
/// Those of [`combine`].
pub(crate) fn within_runs(terms: &[Term<'_>]) -> Result<Between, Refusal> {
    let parts: Vec<Contribution> = terms
        .iter()
        .flat_map(|term| term.members.iter().map(move |m| (term.factor * m.weight, m)))
        .flat_map(|(weight, member)| {
            let own = member.estimate.budget.iter().filter(|c| c.kind == Kind::A);
            own.map(move |c| Contribution {
                std_uncertainty: (weight * c.std_uncertainty).abs(),
                ..c.clone()
            })
        })
        .collect();
    let together = combine(&parts)?;
    Ok(Between {
        sd: together.std_uncertainty,
        dof: together.dof,
    })
}
