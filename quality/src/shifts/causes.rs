//! What goes with a shift or a drift.

use super::search::{alternatives, search};
use super::spans::{Span, effect, length};
use crate::distributions::student_quantile;
use crate::{Interval, Refusal};
use serde::Serialize;

/// Something that differs between records: bench, fixture, firmware, batch, operator.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    /// Its name.
    pub name: String,
    /// Which level each record has.
    pub levels: Vec<String>,
}

/// What kind of change goes with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Kind {
    /// Records of this level lie apart from all others.
    Shift,
    /// Records of this level change steadily with time.
    Drift,
}

/// A level of a factor that goes with a change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cause {
    /// Shift or drift.
    pub kind: Kind,
    /// The factor's name; empty for a drift of all records.
    pub factor: String,
    /// Its level; empty for a drift of all records.
    pub level: String,
    /// How many records have it.
    pub n: usize,
    /// Size of the shift, or drift per unit of time, with all other causes found accounted for.
    pub effect: f64,
    /// Interval of the effect, widened for the choice among all candidates.
    pub interval: Interval,
    /// Probability of such an effect anywhere among all candidates if there is none left.
    pub p: f64,
    /// Others that explain it nearly as well (likelihood within a factor of twenty), as "factor level": these records cannot
    /// tell them apart.
    pub instead: Vec<String>,
}

/// A candidate and its column.
struct Candidate {
    kind: Kind,
    factor: usize,
    level: String,
    n: usize,
    column: Vec<f64>,
}

/// Fewest records of a level to be judged.
const FEWEST: usize = 5;

/// Looks for levels of factors that go with a shift or a drift of `values`.
///
/// Every level of every factor is a candidate for a shift and for a drift over `time`, and so is a drift of all. Causes are
/// searched one or two at a time, those already found being in the model (two, because a step up may hide a drift down); one
/// stays only while Student's t of its effect beside all others is significant at `alpha` with Bonferroni's correction for
/// all candidates. Records without any cause yield one with a probability of at most `alpha`, if their scatter is normal and
/// independent.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::TooFew`] below twenty records, [`Refusal::NonFinite`], [`Refusal::NoVariance`],
/// [`Refusal::OutOfRange`] for `alpha`.
pub fn causes(values: &[f64], time: &[f64], factors: &[Factor], alpha: f64) -> Result<Vec<Cause>, Refusal> {
    Refusal::unless_probability("alpha", alpha)?;
    Refusal::unless_finite("the times of records", time)?;
    crate::Summary::of_spread("values of records", values, 20)?;
    for (what, length) in std::iter::once(("values and times of records".to_owned(), time.len())).chain(
        factors.iter().map(|f| {
            (
                format!("values of records and levels of {}", f.name),
                f.levels.len(),
            )
        }),
    ) {
        if length != values.len() {
            return Err(Refusal::LengthMismatch {
                what,
                left: values.len(),
                right: length,
            });
        }
    }
    let candidates = candidates(time, factors);
    let columns: Vec<&[f64]> = candidates.iter().map(|c| c.column.as_slice()).collect();
    let chosen = search(values, &columns, alpha);
    let named = |c: &Candidate| match (factors.get(c.factor), c.kind) {
        (Some(f), Kind::Shift) => format!("{} {}", f.name, c.level),
        (Some(f), Kind::Drift) => format!("drift of {} {}", f.name, c.level),
        (None, _) => "drift of all".to_owned(),
    };
    let mut found = Vec::with_capacity(chosen.len());
    for (place, at) in chosen.iter().enumerate() {
        let others = Span::beside(
            values.len(),
            chosen.iter().filter(|o| *o != at).map(|o| columns[*o]),
        );
        let candidate = &candidates[*at];
        let Some(effect) = effect(values, &candidate.column, &others) else {
            continue;
        };
        let count = candidates.len() as f64;
        let reach = student_quantile(1.0 - 0.025 / count, effect.dof) * effect.u;
        let instead = alternatives(values, &columns, &chosen, place);
        found.push(Cause {
            kind: candidate.kind,
            factor: factors
                .get(candidate.factor)
                .map_or_else(String::new, |f| f.name.clone()),
            level: candidate.level.clone(),
            n: candidate.n,
            effect: effect.value,
            interval: Interval {
                low: effect.value - reach,
                high: effect.value + reach,
                level: 0.95,
            },
            p: (count * effect.p).min(1.0),
            instead: instead.into_iter().map(|i| named(&candidates[i])).collect(),
        });
    }
    found.sort_by(|a, b| a.p.total_cmp(&b.p));
    Ok(found)
}

fn candidates(time: &[f64], factors: &[Factor]) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (factor, f) in factors.iter().enumerate() {
        let mut levels: Vec<&String> = f.levels.iter().collect();
        levels.sort();
        levels.dedup();
        for level in &levels {
            let has = |i: usize| f.levels[i] == **level;
            let n = (0..time.len()).filter(|i| has(*i)).count();
            if n < FEWEST || levels.len() < 2 {
                continue;
            }
            let centre = (0..time.len()).filter(|i| has(*i)).map(|i| time[i]).sum::<f64>() / n as f64;
            let of = |value: &dyn Fn(usize) -> f64| {
                (0..time.len())
                    .map(|i| if has(i) { value(i) } else { 0.0 })
                    .collect::<Vec<f64>>()
            };
            for (kind, column) in [
                (Kind::Shift, of(&|_| 1.0)),
                (Kind::Drift, of(&|i| time[i] - centre)),
            ] {
                // Of two levels the second alone: the first says the same.
                if kind == Kind::Shift && levels.len() == 2 && level == &levels[0] {
                    continue;
                }
                found.push(Candidate {
                    kind,
                    factor,
                    level: (*level).clone(),
                    n,
                    column,
                });
            }
        }
    }
    let centre = time.iter().sum::<f64>() / time.len() as f64;
    found.push(Candidate {
        kind: Kind::Drift,
        factor: usize::MAX,
        level: String::new(),
        n: time.len(),
        column: time.iter().map(|t| t - centre).collect(),
    });
    // Without time there is no drift.
    found.retain(|c| length(&c.column) > 0.0);
    found
}
