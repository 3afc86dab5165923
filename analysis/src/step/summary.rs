//! Steps of one kind summarised over repeats.

use serde::{Deserialize, Serialize};

use super::StepMeasures;
use super::fine::PARTS;
use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::statistics::mean_sd;

/// What the summary adds to the scatter of the repeats.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SummaryOptions {
    /// Relative standard uncertainty of the torque sensor's gain.
    pub gain_rel_u: f64,
    /// Standard uncertainty of the torque zero, N·m.
    pub zero_u_nm: f64,
    /// Resolution of the rig's clock, s.
    pub tick_s: f64,
    /// Fewest repeats.
    pub min_repeats: usize,
}

impl Default for SummaryOptions {
    fn default() -> Self {
        Self {
            gain_rel_u: 0.0,
            zero_u_nm: 0.0,
            tick_s: 1e-6,
            min_repeats: 2,
        }
    }
}

/// Means over repeats, each with its uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepSummary {
    /// Amplitude, N·m.
    pub amplitude: Outcome,
    /// Transition duration 10–90 %, s.
    pub transition: Outcome,
    /// Half-way instant from the setpoint coming into force, s.
    pub t50: Outcome,
    /// Slew `0.8 amplitude / transition`, N·m/s.
    pub slew: Outcome,
    /// Steepest rate, N·m/s.
    pub steepest: Outcome,
    /// Rate kept over half the amplitude, N·m/s.
    pub sustained: Outcome,
    /// Overshoot, fraction of the amplitude.
    pub overshoot: Outcome,
    /// Undershoot after the first peak, fraction of the amplitude.
    pub undershoot: Outcome,
    /// Settling time from the setpoint coming into force, s.
    pub settling: Outcome,
    /// Largest torque, N·m.
    pub peak: Outcome,
}

/// What interpolation leaves of an instant on a rise, for samples that far apart: the chord error of linear interpolation is bounded by
/// an eighth of its length for any smooth rise that has at least two of them in it. Instants are looked for on a grid eight times as fine
/// as the samples; what a polynomial through those leaves is taken as large as that once more.
pub fn between_samples(sample_s: f64) -> Contribution {
    Contribution::rectangular(
        "interpolation between samples",
        2.0 * 0.125 / PARTS as f64 * sample_s,
    )
}

/// Summarises repeats of one step: mean, scatter (type A), and what sampling, clock and sensor leave open (type B).
///
/// `again` are the same steps with the sensor's filter let act once more ([`super::filtered_again`]): what that does to a shape
/// is about what it has done already. Empty where there is no filter.
pub fn summarise_steps(
    steps: &[StepMeasures],
    again: &[StepMeasures],
    options: &SummaryOptions,
) -> StepSummary {
    let filter = |pick: fn(&StepMeasures) -> f64| {
        let moved = if steps.len() == again.len() {
            mean(again, pick) - mean(steps, pick)
        } else {
            0.0
        };
        Contribution::rectangular("filter of the sensor", moved)
    };
    let of =
        |pick: fn(&StepMeasures) -> f64, unit: &str, what: &str, parts: &dyn Fn(f64) -> Vec<Contribution>| {
            Outcome::from(summarise(steps, options, pick, unit, what, parts))
        };
    let sample_s = steps.iter().map(|s| s.sample_s).fold(0.0, f64::max);
    let instant = between_samples(sample_s);
    let clock = Contribution::rectangular("clock resolution", 0.5 * options.tick_s);
    let gain = |value: f64| Contribution::type_b("torque gain", options.gain_rel_u * value.abs());
    let zero = Contribution::type_b("torque zero", options.zero_u_nm);
    let times = |_: f64| vec![instant.clone(), clock.clone()];
    // The doubt of single steps lies to one side: their mean is in the middle of it.
    let half_mean = |pick| 0.5 * mean(steps, pick);
    let chords = Contribution::rectangular("chords between samples", half_mean(|s| s.chord_nm_per_s));
    let edge = Contribution::rectangular("noise at the edge of the band", half_mean(|s| s.settling_doubt_s));
    StepSummary {
        amplitude: of(
            |s| s.amplitude_nm,
            "N.m",
            "amplitude between histogram modes",
            &|v| vec![gain(v)],
        ),
        transition: of(|s| s.transition_s, "s", "transition duration 10 to 90 %", &|_| {
            vec![instant.clone(), clock.clone(), filter(|s| s.transition_s)]
        }),
        t50: of(|s| s.t50_s, "s", "first passage of 50 %", &times),
        slew: of(
            |s| s.slew_nm_per_s,
            "N.m/s",
            "0.8 amplitude over transition duration",
            &|v| vec![gain(v), filter(|s| s.slew_nm_per_s)],
        ),
        steepest: of(|s| s.steepest_nm_per_s, "N.m/s", "steepest slope", &|v| {
            vec![gain(v), chords.clone(), filter(|s| s.steepest_nm_per_s)]
        }),
        sustained: of(
            |s| s.sustained_nm_per_s,
            "N.m/s",
            "rate kept over half the amplitude",
            &|v| vec![gain(v), filter(|s| s.sustained_nm_per_s)],
        ),
        undershoot: of(
            |s| s.undershoot,
            "1",
            "largest excursion short of the level after the peak",
            &|_| vec![filter(|s| s.undershoot)],
        ),
        overshoot: of(|s| s.overshoot, "1", "largest excursion over amplitude", &|_| {
            vec![filter(|s| s.overshoot)]
        }),
        settling: of(
            |s| s.settling_s,
            "s",
            "last entry into the settling band",
            &|_| vec![instant.clone(), clock.clone(), edge.clone()],
        ),
        peak: of(|s| s.peak_nm, "N.m", "largest excursion", &|v| {
            vec![gain(v), zero.clone()]
        }),
    }
}

fn mean(steps: &[StepMeasures], pick: fn(&StepMeasures) -> f64) -> f64 {
    steps.iter().map(pick).sum::<f64>() / steps.len().max(1) as f64
}

fn summarise(
    steps: &[StepMeasures],
    options: &SummaryOptions,
    pick: fn(&StepMeasures) -> f64,
    unit: &str,
    what: &str,
    parts: &dyn Fn(f64) -> Vec<Contribution>,
) -> Result<Estimate, Refusal> {
    let needed = options.min_repeats.max(2);
    if steps.len() < needed {
        return Err(Refusal::TooFewRepeats {
            what: what.into(),
            got: steps.len(),
            needed,
        });
    }
    let values: Vec<f64> = steps.iter().map(pick).collect();
    let stats = mean_sd(&values)?;
    let n = stats.n as f64;
    let mut budget = vec![Contribution::type_a(
        "scatter of repeats",
        stats.sd / n.sqrt(),
        n - 1.0,
    )];
    budget.extend(parts(stats.mean));
    Estimate::from_budget(
        stats.mean,
        unit,
        stats.n,
        format!("mean over repeats of the {what}"),
        budget,
    )
}
