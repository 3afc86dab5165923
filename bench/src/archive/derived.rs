//! Limits from a reference group, by tolerance intervals.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use quality::normality::anderson_darling;
use quality::tolerance::{Sides, free_interval, tolerance_interval};
use records::{ModelData, Series};

use super::units::written;
use super::{ArchiveError, unfit};

/// Chance of normal values' failing the test that decides how their limits are found.
const NOT_NORMAL: f64 = 0.05;

/// A measurand and the sides on which it is limited.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limited {
    /// Measurand, as in `fit.json`.
    pub id: String,
    /// Which sides.
    pub sides: Sides,
}

impl Limited {
    /// From `NAME`, `NAME:above` or `NAME:below`: the side on which is rejected.
    ///
    /// # Errors
    /// What is wrong with the word behind the colon.
    pub fn from_words(words: &str) -> Result<Self, String> {
        let (id, sides) = match words.split_once(':') {
            None => (words, Sides::Both),
            Some((id, "above")) => (id, Sides::Upper),
            Some((id, "below")) => (id, Sides::Lower),
            Some((_, other)) => {
                return Err(format!(
                    "\"{other}\" is no side; write above (rejected above), below, or nothing for both"
                ));
            }
        };
        Ok(Self {
            id: id.to_owned(),
            sides,
        })
    }
}

/// What the limits are to hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Holding {
    /// Share of all units within the limits.
    pub share: f64,
    /// Probability with which they hold it.
    pub level: f64,
}

/// A limits file whose limits hold a share of all units with a probability, from the last sound measurement of each unit of a group.
///
/// Values that pass for normal (Anderson and Darling) get mean ± k·s (ISO 16269-6), others the narrowest order statistics.
/// How each was found stands beside it.
///
/// # Errors
/// [`ArchiveError::Unfit`] when a measurand is unknown, its unit cannot be written in a limits file, or its values are too few.
pub fn derived_limits(
    data: &ModelData,
    model: &str,
    wanted: &[Limited],
    holding: Holding,
) -> Result<String, ArchiveError> {
    let wrong = |problem: String| unfit(std::path::Path::new(model), problem);
    let Holding { share, level } = holding;
    let mut text = format!(
        "# Derived from a reference group: each limit holds {} % of all units with {} % probability.\n\
         # Read what the group was before anything is judged by it.\n\
         [limits]\nname = \"{model}, from a reference group\"\nmodel = \"{model}\"\noverdue = \"refuse\"\n\n\
         [limits.rule]\nkind = \"simple\"\n",
        100.0 * share,
        100.0 * level
    );
    for one in wanted {
        let series = data.series.iter().find(|series| series.id == one.id);
        let series = series.ok_or_else(|| {
            let known: Vec<&str> = data.series.iter().map(|s| s.id.as_str()).collect();
            wrong(format!(
                "nothing was measured of \"{}\"; there is {}",
                one.id,
                known.join(", ")
            ))
        })?;
        let (unit, factor) = written(&series.unit).ok_or_else(|| {
            wrong(format!(
                "{} is in \"{}\", which no limits file has",
                one.id, series.unit
            ))
        })?;
        let values: Vec<f64> = last_of_each(data, series)
            .iter()
            .map(|value| factor * value)
            .collect();
        let refused = |refusal: quality::Refusal| wrong(format!("{}: {refusal}", one.id));
        let normal = anderson_darling(&values).map_err(refused)?;
        let (limits, how) = if normal.p >= NOT_NORMAL {
            let limits = tolerance_interval(&values, share, level, one.sides).map_err(refused)?;
            (
                limits,
                format!("normal, Anderson and Darling p = {:.3}", normal.p),
            )
        } else {
            let free = free_interval(&values, share, level, one.sides).map_err(refused)?;
            (
                free.limits,
                format!(
                    "not normal, Anderson and Darling p = {:.2e}; order statistics of rank {}",
                    normal.p, free.rank
                ),
            )
        };
        let _ = write!(
            text,
            "\n[[limits.measurand]]\nid = \"{}\"   # {} units, {how}\n",
            one.id,
            values.len()
        );
        for (key, limit) in [("reject_below", limits.lower()), ("reject_above", limits.upper())] {
            if let Some(limit) = limit {
                let _ = writeln!(text, "{key} = \"{} {unit}\"", crate::fitting::plain(limit, 5));
            }
        }
    }
    Ok(text)
}

/// One value a unit: units measured often would count for more.
fn last_of_each(data: &ModelData, series: &Series) -> Vec<f64> {
    let mut last: BTreeMap<&str, f64> = BTreeMap::new();
    // Measurements come in the order of time, points in that of measurements or not.
    let mut points: Vec<(usize, f64)> = series
        .points
        .iter()
        .filter_map(|p| Some((p.of, p.value?)))
        .collect();
    points.sort_by_key(|(of, _)| *of);
    for (of, value) in points {
        if let Some(m) = data.measurements.get(of).filter(|m| m.sound) {
            last.insert(m.serial.as_str(), value);
        }
    }
    last.into_values().collect()
}
