//! Repeats of one step side by side: median and percentile band of the curve and of the measures.

use serde::{Deserialize, Serialize};

use super::{StepMeasures, StepRecord, check_record};
use crate::estimate::Refusal;
use crate::statistics::quantile;

/// Fifth, fiftieth and ninety-fifth percentile of repeats.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Percentiles {
    /// 5 %.
    pub low: f64,
    /// Median.
    pub median: f64,
    /// 95 %.
    pub high: f64,
}

impl Percentiles {
    fn of(values: &[f64]) -> Result<Self, Refusal> {
        Ok(Self {
            low: quantile(values, 0.05)?,
            median: quantile(values, 0.5)?,
            high: quantile(values, 0.95)?,
        })
    }
}

/// Percentiles of the curves of repeats; lists have one entry an instant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepBand {
    /// Instants from the setpoint coming into force, s.
    pub t_s: Vec<f64>,
    /// Torque, N·m.
    pub torque_nm: Vec<Percentiles>,
    /// Repeats behind it.
    pub n: usize,
}

/// Percentile band of the repeats of one commanded step, on the grid of the first record, over the time that all cover.
/// Between samples the torque is interpolated linearly. The band is of the repeats, not of their mean: it does not narrow with
/// more of them.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below five (of fewer the ends are the extremes), [`Refusal::RecordsDiffer`] for steps that
/// were commanded differently, the refusals of a damaged record, [`Refusal::TooShort`] when the records share no time.
pub fn step_band(steps: &[StepRecord<'_>]) -> Result<StepBand, Refusal> {
    enough(steps.len(), "a percentile band of steps")?;
    for step in steps {
        check_record(step)?;
        let (left, right) = (steps[0].to_nm - steps[0].from_nm, step.to_nm - step.from_nm);
        if (left - right).abs() > 1e-6 * left.abs() {
            return Err(Refusal::RecordsDiffer {
                what: "commanded change in N·m".into(),
                left,
                right,
            });
        }
    }
    let from = steps.iter().map(|s| s.t_s[0]).fold(f64::NEG_INFINITY, f64::max);
    let to = steps
        .iter()
        .map(|s| s.t_s[s.t_s.len() - 1])
        .fold(f64::INFINITY, f64::min);
    let t_s: Vec<f64> = steps[0]
        .t_s
        .iter()
        .copied()
        .filter(|t| (from..=to).contains(t))
        .collect();
    if t_s.len() < 2 {
        return Err(Refusal::TooShort {
            what: "the time that all repeats share".into(),
            got_s: (to - from).max(0.0),
            needed_s: steps[0].t_s[1] - steps[0].t_s[0],
        });
    }
    let at = |step: &StepRecord<'_>, t: f64| {
        let n = step.t_s.len();
        let spacing = (step.t_s[n - 1] - step.t_s[0]) / (n - 1) as f64;
        let x = ((t - step.t_s[0]) / spacing).clamp(0.0, (n - 1) as f64);
        let i = (x as usize).min(n - 2);
        step.torque_nm[i] + (x - i as f64) * (step.torque_nm[i + 1] - step.torque_nm[i])
    };
    let torque_nm = t_s
        .iter()
        .map(|t| Percentiles::of(&steps.iter().map(|s| at(s, *t)).collect::<Vec<_>>()))
        .collect::<Result<_, _>>()?;
    Ok(StepBand {
        t_s,
        torque_nm,
        n: steps.len(),
    })
}

/// Percentiles of the measures of repeats.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepSpread {
    /// Transition duration, s.
    pub transition_s: Percentiles,
    /// Half-way instant, s.
    pub t50_s: Percentiles,
    /// Overshoot, fraction of the amplitude.
    pub overshoot: Percentiles,
    /// Undershoot, fraction of the amplitude.
    pub undershoot: Percentiles,
    /// Settling time, s.
    pub settling_s: Percentiles,
    /// Steepest rate, N·m/s.
    pub steepest_nm_per_s: Percentiles,
    /// Rate kept over half the amplitude, N·m/s.
    pub sustained_nm_per_s: Percentiles,
}

/// Percentiles of the measures of repeats of one step: one size and direction.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below five.
pub fn spread_of_steps(steps: &[StepMeasures]) -> Result<StepSpread, Refusal> {
    enough(steps.len(), "percentiles of steps")?;
    let of = |pick: fn(&StepMeasures) -> f64| Percentiles::of(&steps.iter().map(pick).collect::<Vec<_>>());
    Ok(StepSpread {
        transition_s: of(|s| s.transition_s)?,
        t50_s: of(|s| s.t50_s)?,
        overshoot: of(|s| s.overshoot)?,
        undershoot: of(|s| s.undershoot)?,
        settling_s: of(|s| s.settling_s)?,
        steepest_nm_per_s: of(|s| s.steepest_nm_per_s)?,
        sustained_nm_per_s: of(|s| s.sustained_nm_per_s)?,
    })
}

fn enough(got: usize, what: &str) -> Result<(), Refusal> {
    if got < 5 {
        return Err(Refusal::TooFewRepeats {
            what: what.into(),
            got,
            needed: 5,
        });
    }
    Ok(())
}
