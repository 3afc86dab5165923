//! A gauge study under way: what of its plan was measured, what comes next, and what it says once it is whole.

use quality::conformity;
use quality::gauge::{Crossed, Fitness, GaugeStudy, Plan, Settings, Variation, study, study_by_ranges};
use records::{Measurement, ModelData};
use serde::Serialize;

use super::sheet::StudyBy;

/// Who measures what in a study.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Studied {
    /// Serial numbers of the units, in the order of the plan.
    pub units: Vec<String>,
    /// Benches or operators, in the order of the plan.
    pub by: Vec<String>,
    /// Which of the two they are.
    pub crossed: StudyBy,
    /// Measurand, as in `fit.json`.
    pub measurand: String,
}

/// One step of a plan, with what became of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// Serial number.
    pub unit: String,
    /// Bench or operator.
    pub by: String,
    /// Which repeat, from 1.
    pub repeat: usize,
    /// The recording's entry and its value, SI, once it was measured.
    pub measured: Option<(i64, f64)>,
}

/// Where a study stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Progress {
    /// The plan's steps, in order.
    pub steps: Vec<Step>,
    /// The first that was not measured yet.
    pub next: Option<usize>,
    /// SI unit of the measurand; empty until it was measured.
    pub unit: String,
    /// Measurements that belong to no step: somebody measured once too often.
    pub surplus: Vec<i64>,
}

/// Holds the records against a plan. Of a unit, by one bench or operator, the first measurement is the first repeat, whatever
/// was to be measured before it.
#[must_use]
pub fn progress(plan: &Plan, studied: &Studied, data: &ModelData) -> Progress {
    let who = |m: &Measurement| match studied.crossed {
        StudyBy::Bench => m.bench.clone(),
        StudyBy::Operator => m.operator.clone(),
    };
    let count = |s: &&records::Series| s.points.iter().filter(|p| p.value.is_some()).count();
    let series = data.series.iter().filter(|series| series.id == studied.measurand);
    let series = series.max_by_key(count);
    let of_cell = |unit: &str, by: &str| -> Vec<(i64, f64)> {
        let points = series.iter().flat_map(|series| &series.points);
        points
            .filter_map(|point| Some((data.measurements.get(point.of)?, point.value?)))
            .filter(|(m, _)| m.serial == unit && who(m) == by)
            .map(|(m, value)| (m.recording, value))
            .collect()
    };
    let steps: Vec<Step> = plan
        .steps
        .iter()
        .filter_map(|step| {
            let (unit, by) = (studied.units.get(step.part)?, studied.by.get(step.operator)?);
            Some(Step {
                unit: unit.clone(),
                by: by.clone(),
                repeat: step.repeat + 1,
                measured: of_cell(unit, by).get(step.repeat).copied(),
            })
        })
        .collect();
    let used: Vec<i64> = steps
        .iter()
        .filter_map(|step| step.measured)
        .map(|(entry, _)| entry)
        .collect();
    let surplus = studied
        .units
        .iter()
        .flat_map(|unit| studied.by.iter().flat_map(|by| of_cell(unit, by)))
        .map(|(entry, _)| entry)
        .filter(|entry| !used.contains(entry))
        .collect();
    Progress {
        next: steps.iter().position(|step| step.measured.is_none()),
        unit: series.map(|series| series.unit.clone()).unwrap_or_default(),
        steps,
        surplus,
    }
}

/// What a whole study says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Computed {
    /// By analysis of variance.
    pub anova: GaugeStudy,
    /// By ranges.
    pub ranges: Variation,
    /// Width of the limits, SI, where there are any on both sides.
    pub tolerance: Option<f64>,
    /// The gauge's share: of the tolerance, or without one of the variation seen, per cent, by analysis of variance.
    pub share: f64,
    /// What that makes of it.
    pub fitness: Fitness,
}

/// Computes a study by both methods.
///
/// # Errors
/// What the study lacks.
pub fn computed(
    progress: &Progress,
    studied: &Studied,
    limits: Option<&conformity::Limits>,
) -> Result<Computed, quality::Refusal> {
    let cell = |unit: &String, by: &String| -> Vec<f64> {
        let steps = progress
            .steps
            .iter()
            .filter(|step| step.unit == *unit && step.by == *by);
        steps.filter_map(|step| Some(step.measured?.1)).collect()
    };
    let cells: Vec<Vec<Vec<f64>>> = studied
        .units
        .iter()
        .map(|unit| studied.by.iter().map(|by| cell(unit, by)).collect())
        .collect();
    let crossed = Crossed::new(&cells)?;
    let anova = study(&crossed, &Settings::default())?;
    let ranges = study_by_ranges(&crossed)?;
    let tolerance = limits.and_then(|limits| Some(limits.upper()? - limits.lower()?));
    let v = &anova.variation;
    let share = match tolerance {
        Some(width) => v.percent_tolerance(&v.gauge, width)?,
        None => v.percent_study(&v.gauge),
    };
    Ok(Computed {
        share,
        fitness: Fitness::of(share),
        anova,
        ranges,
        tolerance,
    })
}

#[cfg(test)]
mod tests;
