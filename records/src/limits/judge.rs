//! What limits make of a fit.

use quality::Refusal;
use quality::conformity::{self, Decision, GuardBand};

use super::{Limit, Limits, MeasurandLimits, Rule, WhenOverdue};
use crate::content::{Fit, Judged, Judgement, Measured, Verdict};
use crate::error::RecordsError;

/// Judges a fit. `overdue`: whether the calibration had run out when the recording was made.
///
/// # Errors
/// [`RecordsError::Refused`] for a limit of another kind than its measurand.
pub fn judge(limits: &Limits, fit: &Fit, overdue: bool) -> Result<Judgement, RecordsError> {
    let measurands = limits.measurands.iter().map(|one| {
        let measured = fit.measured.iter().find(|measured| measured.id == one.id);
        judged(&limits.text.name, one, measured)
    });
    let measurands = measurands.collect::<Result<Vec<Judged>, RecordsError>>()?;
    let worst = measurands
        .iter()
        .map(|one| one.verdict)
        .max()
        .unwrap_or(Verdict::Undecided);
    let mut reasons = Vec::new();
    if overdue && limits.overdue == WhenOverdue::Refuse {
        reasons.push("the calibration of the torque sensor had run out".to_owned());
    }
    if !fit.sound {
        let failed = match fit.failed_checks.is_empty() {
            true => "the run did not end as planned".to_owned(),
            false => format!("failed checks: {}", fit.failed_checks.join(", ")),
        };
        reasons.push(format!("the recording is not sound ({failed})"));
    }
    Ok(Judgement {
        fit: fit.key(),
        limits: limits.text.key(),
        verdict: if reasons.is_empty() {
            worst
        } else {
            Verdict::Undecided
        },
        warning: measurands.iter().any(|one| one.warning),
        reason: reasons.join("; "),
        measurands,
    })
}

fn judged(limits: &str, one: &MeasurandLimits, measured: Option<&Measured>) -> Result<Judged, RecordsError> {
    let mut judged = Judged {
        id: one.id.clone(),
        verdict: Verdict::Undecided,
        warning: false,
        value: None,
        u: None,
        low: one.reject_below.map(|limit| limit.value),
        high: one.reject_above.map(|limit| limit.value),
        guard: 0.0,
        conformance: None,
        reason: String::new(),
    };
    let Some(measured) = measured else {
        judged.reason = "it was not measured".to_owned();
        return Ok(judged);
    };
    let (Some(value), Some(u)) = (measured.value, measured.u) else {
        let why = measured.refused.as_deref().unwrap_or("no uncertainty");
        judged.reason = format!("there is no value: {why}");
        return Ok(judged);
    };
    let all = [one.reject_below, one.reject_above, one.warn_below, one.warn_above];
    if let Some(limit) = all
        .into_iter()
        .flatten()
        .find(|limit| limit.unit != measured.unit)
    {
        return Err(RecordsError::Refused {
            what: format!("a judgement by \"{limits}\""),
            why: format!(
                "{} is in {}, its limit is in {}; correct the limits file",
                one.id, measured.unit, limit.unit
            ),
        });
    }
    (judged.value, judged.u) = (Some(value), Some(u));
    let beyond = |limit: Option<Limit>, above: bool| {
        limit.is_some_and(|limit| match above {
            true => value > limit.value,
            false => value < limit.value,
        })
    };
    judged.warning = beyond(one.warn_below, false) || beyond(one.warn_above, true);
    if judged.low.is_none() && judged.high.is_none() {
        // Nothing to reject by: a warning is all that these limits can say.
        judged.verdict = Verdict::Pass;
        return Ok(judged);
    }
    match decided(&judged, value, u, one.rule) {
        Ok((decision, guard)) => {
            judged.guard = guard;
            judged.conformance = Some(decision.probability);
            judged.verdict = match decision.verdict {
                conformity::Verdict::Conforms => Verdict::Pass,
                conformity::Verdict::DoesNotConform => Verdict::Fail,
                conformity::Verdict::Undecided => Verdict::Undecided,
            };
        }
        Err(refusal) => judged.reason = refusal.to_string(),
    }
    Ok(judged)
}

/// The decision and the width of its guard band. What was measured is all that is known of the unit: no spread of others enters.
fn decided(judged: &Judged, value: f64, u: f64, rule: Rule) -> Result<(Decision, f64), Refusal> {
    let limits = conformity::Limits::new(judged.low, judged.high)?;
    let guard = match rule {
        Rule::Simple => GuardBand::None,
        Rule::GuardBand(factor) => GuardBand::OfUncertainty(factor),
    };
    Ok((
        conformity::decide(value, u, &limits, guard, None)?,
        guard.width(u)?,
    ))
}
