//! Every quantity that two groups hold, held against each other.

use quality::compare::{Difference, Margin, equivalence, holm};
use quality::distributions::{student_quantile, student_two_sided};
use quality::{Interval, Refusal as QualityRefusal};
use truerim_analysis::estimate::{Estimate, LEVEL, Refusal};

use super::contrast::{Between, Contrast, Member, Term, contrast, within_runs};
use super::document::{
    Compared, Comparison, Known, Row, RowOutcome, SCHEMA, SCHEMA_VERSION, SpreadKind, SpreadUsed,
};
use super::group::{CompareError, Group, Remounting, check};
use super::pairing::{Held, Pair, conditions_apart, pairs};
use super::spread::{ByClamping, Pool, members};
use super::{setup, ways, words};
use crate::fitting::{FitDocument, Program, Quantity, ShownIn};

/// Temperatures further apart stand beside the result, K.
pub(crate) const WARMER_K: f64 = 3.0;
/// A value nearer to zero than this many of its standard uncertainties is no base for a percentage.
const FAR_FROM_ZERO: f64 = 10.0;
/// How often the least difference that is stated would be found.
const POWER: f64 = 0.8;
/// Significance of the two one-sided tests behind "smaller than".
const ALIKE: f64 = 0.05;

/// How to compare.
#[derive(Debug, Clone, PartialEq)]
pub struct CompareOptions {
    /// Chance of any false difference in the whole comparison; between 0 and 0.5.
    pub significance: f64,
    /// Only results that stand for their quantity: fewer looks, and so less to allow for.
    pub headline_only: bool,
    /// What is known of the rim between runs.
    pub remounting: Remounting,
}

impl Default for CompareOptions {
    fn default() -> Self {
        Self {
            significance: 0.05,
            headline_only: false,
            remounting: Remounting::AsRecorded,
        }
    }
}

/// Holds every group against the first. Each of `remounted` is a set of fits of one unit that was clamped anew before each run:
/// it only tells how far that spreads results.
///
/// # Errors
/// [`CompareError`] for fewer than two groups, an empty one, two of one name, a run that stands twice, a document of a later
/// version, or a significance outside 0 to 0.5.
pub fn compare(
    groups: &[Group],
    remounted: &[Group],
    options: &CompareOptions,
) -> Result<Comparison, CompareError> {
    check(groups)?;
    if !(options.significance > 0.0 && options.significance < 0.5) {
        return Err(CompareError::Significance {
            value: options.significance.to_string(),
        });
    }
    let mut rows = Vec::new();
    let mut clamped_alike = true;
    if let Some((then, others)) = groups.split_first() {
        for now in others {
            clamped_alike &= same_clamping(then, now, options.remounting);
            for pair in pairs(then, now) {
                let headline = [&pair.then, &pair.now].into_iter().flatten().any(|h| h.headline);
                if headline || !options.headline_only {
                    rows.extend(row([then, now], &pair, remounted, options));
                }
            }
        }
    }
    let family = allow_for_all(&mut rows, options.significance);
    let told = rows.iter().any(
        |row| matches!(&row.outcome, RowOutcome::Compared(c) if c.spread.kind == SpreadKind::Remounting),
    );
    let remount_open = !clamped_alike && !told && remounted.is_empty();
    Ok(Comparison {
        schema: SCHEMA.into(),
        schema_version: SCHEMA_VERSION,
        software: Program {
            name: crate::software().name,
            version: crate::software().version,
            build: crate::software().build,
        },
        groups: groups
            .iter()
            .map(|group| setup::group_facts(group, options.remounting))
            .collect(),
        remounted: remounted.iter().map(|set| set.documents.len()).sum(),
        significance: options.significance,
        family,
        warnings: setup::warnings(groups, remount_open),
        ways: ways::of(groups),
        rows,
    })
}

/// Whether all runs of both are known to belong to one clamping.
fn same_clamping(a: &Group, b: &Group, remounting: Remounting) -> bool {
    let all: Vec<&FitDocument> = a.documents.iter().chain(&b.documents).collect();
    ByClamping::of(&all, remounting).only().is_some()
}

/// Corrects the chances of all rows as one family, and says what would have been found.
fn allow_for_all(rows: &mut [Row], significance: f64) -> usize {
    let mut compared: Vec<&mut Compared> = rows
        .iter_mut()
        .filter_map(|row| match &mut row.outcome {
            RowOutcome::Compared(compared) => Some(compared.as_mut()),
            RowOutcome::NotCompared { .. } => None,
        })
        .collect();
    let family = compared.len();
    let chances: Vec<f64> = compared.iter().map(|c| c.chance).collect();
    // Every chance is one: Holm's method cannot refuse them.
    let adjusted = holm(&chances).unwrap_or_else(|_| vec![1.0; family]);
    for (one, adjusted) in compared.iter_mut().zip(adjusted) {
        one.chance_adjusted = adjusted;
        one.differs = adjusted <= significance;
        let dof = one.difference.dof;
        let reach =
            student_quantile(1.0 - 0.5 * significance / family as f64, dof) + student_quantile(POWER, dof);
        one.would_find = reach * one.difference.std_uncertainty;
    }
    family
}

/// One row, or none where neither side has the result.
fn row(
    [then, now]: [&Group; 2],
    pair: &Pair<'_>,
    remounted: &[Group],
    options: &CompareOptions,
) -> Option<Row> {
    let lead = pair.then.as_ref().or(pair.now.as_ref())?;
    let first = lead.first()?;
    let mut notes = Vec::new();
    let outcome = match (&pair.then, &pair.now) {
        (Some(a), Some(b)) => both([then, now], [a, b], remounted, options, &mut notes),
        (Some(_), None) => one_sided(&now.name, &then.name),
        (None, _) => one_sided(&then.name, &now.name),
    };
    Some(Row {
        quantity: lead.quantity,
        headline: lead.headline,
        group: lead.group.to_owned(),
        name: first.name.clone(),
        definition: first.definition.clone(),
        source: first.source.clone(),
        shown_in: first.shown_in,
        then: then.name.clone(),
        now: now.name.clone(),
        conditions: first.conditions.clone(),
        notes,
        outcome,
    })
}

fn one_sided(without: &str, with: &str) -> RowOutcome {
    RowOutcome::NotCompared {
        code: "one_sided".into(),
        reason: format!(
            "\"{without}\" has no such result, only \"{with}\": play the same procedure on both to compare it"
        ),
    }
}

fn not(code: &str, reason: String) -> RowOutcome {
    RowOutcome::NotCompared {
        code: code.into(),
        reason,
    }
}

/// Both sides have the quantity: whether it is the same one, and the difference.
fn both(
    [then, now]: [&Group; 2],
    [a, b]: [&Held<'_>; 2],
    remounted: &[Group],
    options: &CompareOptions,
    notes: &mut Vec<String>,
) -> RowOutcome {
    let (Some(first), Some(second)) = (a.first(), b.first()) else {
        return one_sided(&now.name, &then.name);
    };
    let all = || a.found.iter().chain(&b.found).map(|(_, m)| *m);
    if let Some(other) = all().find(|m| m.definition != first.definition || m.source != first.source) {
        return not(
            "defined_otherwise",
            format!(
                "the fits define {} in two ways (\"{}\" and \"{}\"): fit all recordings with one version",
                first.name, first.definition, other.definition
            ),
        );
    }
    if let Some(other) = all().find(|m| m.conditions.mounting != first.conditions.mounting) {
        return not(
            "mounted_otherwise",
            format!(
                "measured {} and {}: results of two mountings are two quantities",
                first.conditions.mounting, other.conditions.mounting
            ),
        );
    }
    notes.extend(conditions_apart(&first.conditions, &second.conditions));
    if let [Some(x), Some(y)] = [a, b].map(warmth)
        && (x - y).abs() > WARMER_K
    {
        notes.push(format!(
            "{y:.1} °C against {x:.1} °C: part of a difference may be the temperature's"
        ));
    }
    for (group, held) in [(then, a), (now, b)] {
        let known = known(held).len();
        if known == 0 {
            let refused = held.found.iter().find_map(|(_, m)| m.result.refused());
            return not(
                "refused",
                format!(
                    "refused in \"{}\": {}",
                    group.name,
                    refused.map_or("no reason is given", |r| r.message.as_str())
                ),
            );
        }
        if known < group.documents.len() {
            notes.push(format!(
                "{} of {} fits of {} have it",
                known,
                group.documents.len(),
                group.name
            ));
        }
    }
    for (group, held) in [(then, a), (now, b)] {
        let mut checks = known(held).into_iter().flat_map(|(_, e)| &e.checks);
        if let Some(doubt) = checks.find(|check| !check.passed) {
            return not(
                "check_failed",
                format!(
                    "a check of it failed in \"{}\", so its interval cannot be relied on: {}: {}",
                    group.name, doubt.name, doubt.detail
                ),
            );
        }
    }
    let spread = Sets {
        names: [&then.name, &now.name],
        held: [known(a), known(b)],
        sets: remounted
            .iter()
            .map(|set| in_set(set, a, &then.documents))
            .filter(|found| !found.is_empty())
            .collect(),
        remounting: options.remounting,
    };
    match spread.compare(first.shown_in, a.quantity) {
        Ok(compared) => RowOutcome::Compared(Box::new(compared)),
        Err(refusal) => not("no_interval", refusal),
    }
}

type Found<'a> = Vec<(&'a FitDocument, &'a Estimate)>;

fn known<'a>(held: &Held<'a>) -> Found<'a> {
    let all = held.found.iter();
    all.filter_map(|(d, m)| m.estimate().map(|e| (*d, e))).collect()
}

/// Mean temperature of the fits of one side, °C.
fn warmth(held: &Held<'_>) -> Option<f64> {
    let all = held.found.iter();
    let found: Vec<f64> = all
        .filter_map(|(_, m)| m.conditions.temperature.as_ref().map(|t| t.mean_degc))
        .collect();
    (!found.is_empty()).then(|| found.iter().sum::<f64>() / found.len() as f64)
}

/// The same quantity in a set of re-mounted runs of the same model.
fn in_set<'a>(set: &'a Group, held: &Held<'_>, reference: &[FitDocument]) -> Found<'a> {
    let model = |d: &FitDocument| {
        reference
            .iter()
            .all(|r| r.recording.unit.model == d.recording.unit.model)
    };
    let of = |d: &'a FitDocument| {
        let mut all = d.measurands.iter();
        all.find(|m| m.quantity == held.quantity && m.group == held.group)
            .and_then(|m| m.estimate())
            .map(|e| (d, e))
    };
    set.documents.iter().filter(|d| model(d)).filter_map(of).collect()
}

/// All estimates that bear on one row.
struct Sets<'a> {
    names: [&'a str; 2],
    held: [Found<'a>; 2],
    sets: Vec<Found<'a>>,
    remounting: Remounting,
}

impl Sets<'_> {
    fn compare(&self, shown_in: ShownIn, quantity: Quantity) -> Result<Compared, String> {
        let words = |refusal: Refusal| refusal.to_string();
        let by = [0, 1].map(|side| ByClamping::of(&documents(&self.held[side]), self.remounting));
        let parts = [0, 1].map(|side| members(&self.held[side], &by[side]));
        let (kind, between) = self.between(&by);
        let counts = [0, 1].map(|side| match kind {
            SpreadKind::Remounting => by[side].clusters.len(),
            SpreadKind::Runs | SpreadKind::WithinRuns => self.held[side].len(),
        });
        let terms = |factors: [f64; 2]| {
            [0, 1].map(|side| Term {
                name: self.names[side],
                members: &parts[side],
                factor: factors[side],
                count: counts[side],
            })
        };
        // What scatters is taken where it is wider: few fits may lie close together by chance.
        let apart = terms([-1.0, 1.0]);
        let inside = within_runs(&apart).map_err(words)?;
        let share: f64 = counts.iter().map(|n| 1.0 / *n as f64).sum();
        let between = between.filter(|b| b.sd * share.sqrt() > inside.sd);
        let kind = if between.is_some() {
            kind
        } else {
            SpreadKind::WithinRuns
        };
        let label = match kind {
            SpreadKind::Remounting => "the rim clamped anew",
            SpreadKind::Runs | SpreadKind::WithinRuns => "from run to run",
        };
        let unit = self.held[0].first().map_or("1", |(_, e)| e.unit.as_str());
        let method = method(kind);
        let sum = |terms: &[Term<'_>], unit: &str| -> Result<Contrast, String> {
            contrast(terms, between.map(|b| (b, label)), unit, method).map_err(words)
        };
        let difference = sum(&apart, unit)?;
        let known = |side: usize| -> Result<Known, String> {
            let alone = Term {
                name: self.names[side],
                members: &parts[side],
                factor: 1.0,
                count: counts[side],
            };
            let mean = sum(&[alone], unit)?.estimate;
            Ok(Known {
                value: mean.value,
                std_uncertainty: mean.std_uncertainty,
                interval: mean.interval,
                fits: self.held[side].len(),
                clampings: by[side].clusters.len(),
            })
        };
        let (then, now) = (known(0)?, known(1)?);
        let relative = if is_ratio(shown_in, quantity) && far_from_zero(&then) {
            // r = now/then − 1: its sensitivities are 1/then and −now/then² (JCGM 100:2008, 5.1.3).
            let weights = [-now.value / then.value.powi(2), 1.0 / then.value];
            Some(shifted(
                sum(&terms(weights), "1")?.estimate,
                now.value / then.value - 1.0,
            ))
        } else {
            None
        };
        let found = test(&difference.estimate)?;
        let sd = match between {
            Some(between) => between,
            None => one_fit(&parts, inside.dof),
        };
        Ok(Compared {
            then,
            now,
            relative,
            chance: found.p,
            chance_adjusted: 1.0,
            differs: false,
            smaller_than: bound(&found).map_err(|refusal| refusal.to_string())?,
            would_find: f64::NAN,
            spread: SpreadUsed {
                kind,
                sd: sd.sd,
                dof: sd.dof.is_finite().then_some(sd.dof),
                multiple: (sd.sd > 0.0).then(|| difference.estimate.value.abs() / sd.sd),
            },
            shared: difference.shared,
            difference: difference.estimate,
        })
    }

    /// The scatter between fits that applies: clampings where there are some, else runs.
    fn between(&self, by: &[ByClamping; 2]) -> (SpreadKind, Option<Between>) {
        let mut anew = Pool::default();
        let mut runs = Pool::default();
        for side in [0, 1] {
            let values = values(&self.held[side]);
            anew.add_clampings(&by[side], &values);
            runs.add_runs(&by[side], &values);
        }
        for set in &self.sets {
            let by = ByClamping::of(&documents(set), Remounting::EveryRun);
            anew.add_clampings(&by, &values(set));
        }
        let untouched = by[0].only().is_some() && by[0].only() == by[1].only();
        match (untouched, anew.between()) {
            (false, Some(between)) => (SpreadKind::Remounting, Some(between)),
            _ => (SpreadKind::Runs, runs.between()),
        }
    }
}

fn documents<'a>(found: &Found<'a>) -> Vec<&'a FitDocument> {
    found.iter().map(|(d, _)| *d).collect()
}

fn values(found: &Found<'_>) -> Vec<f64> {
    found.iter().map(|(_, e)| e.value).collect()
}

fn method(kind: SpreadKind) -> &'static str {
    match kind {
        SpreadKind::Remounting => {
            "difference of the groups' means; scatter from runs with the rim clamped anew, pooled; what both owe to one \
             certificate or rig cancels"
        }
        SpreadKind::Runs => {
            "difference of the groups' means; scatter from run to run, pooled; what both owe to one certificate or rig cancels"
        }
        SpreadKind::WithinRuns => {
            "difference of the groups' means; scatter from repeats within the runs; what both owe to one certificate or rig \
             cancels"
        }
    }
}

/// Standard deviation that repeats within a run leave of one fit: root of the mean of the squares over all fits.
fn one_fit(parts: &[Vec<Member<'_>>; 2], dof: f64) -> Between {
    let of = |m: &Member<'_>| -> f64 {
        let own = m.estimate.budget.iter();
        own.filter(|c| c.kind == truerim_analysis::estimate::Kind::A)
            .map(|c| c.std_uncertainty.powi(2))
            .sum()
    };
    let all: Vec<f64> = parts.iter().flatten().map(of).collect();
    let mean = all.iter().sum::<f64>() / all.len().max(1) as f64;
    Between { sd: mean.sqrt(), dof }
}

/// Whether a percentage of it says something.
fn is_ratio(shown_in: ShownIn, quantity: Quantity) -> bool {
    !words::is_signed(quantity)
        && matches!(
            shown_in,
            ShownIn::Hertz
                | ShownIn::NewtonMetres
                | ShownIn::NewtonMetresPerMillisecond
                | ShownIn::NewtonMetresPerRadian
                | ShownIn::NewtonMetreSecondsPerRadian
                | ShownIn::KilogramSquareMetres
        )
}

fn far_from_zero(known: &Known) -> bool {
    known.value.abs() > FAR_FROM_ZERO * known.std_uncertainty && known.value.abs() > 0.0
}

/// The same estimate around another value: a sum of sensitivities gives the uncertainty of a ratio, not the ratio.
fn shifted(estimate: Estimate, value: f64) -> Estimate {
    let by = value - estimate.value;
    Estimate {
        value,
        interval: estimate.interval.map(|end| end + by),
        ..estimate
    }
}

/// Student's test of a difference against zero.
fn test(estimate: &Estimate) -> Result<Difference, String> {
    if estimate.std_uncertainty <= 0.0 {
        return Err(
            "neither side states an uncertainty that does not cancel, so nothing tells whether they differ"
                .into(),
        );
    }
    let t = estimate.value / estimate.std_uncertainty;
    Ok(Difference {
        value: estimate.value,
        std_error: estimate.std_uncertainty,
        dof: estimate.dof,
        interval: Interval {
            low: estimate.interval[0],
            high: estimate.interval[1],
            level: LEVEL,
        },
        t,
        p: student_two_sided(t, estimate.dof),
    })
}

/// The least margin within which two one-sided tests would call both alike.
fn bound(found: &Difference) -> Result<f64, QualityRefusal> {
    let margin = Margin::both_sides(found.value.abs() + found.std_error)?;
    let interval = equivalence(found, &margin, ALIKE)?.interval;
    Ok(interval.low.abs().max(interval.high.abs()))
}
