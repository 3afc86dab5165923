//! Delay times a rational transfer function, fitted to the headline chirps.

use truerim_analysis::estimate::Outcome;
use truerim_analysis::frequency::FrequencyResponse;
use truerim_analysis::rational::{RationalFit, RationalOptions, ResponseLines, Root, fit_rational};

use super::document::{Measurand, ModelFacts, Quantity, RootFacts};
use super::groups::{Group, refused};

/// Relative error that is allowed for beside noise: curvature within a band, a record that does not end at rest, a firmware
/// that polls.
const FLOOR_REL: f64 = 1e-3;

/// The model of a group's response, and the delay that it leaves.
pub(crate) fn of(
    group: &Group<'_>,
    response: &FrequencyResponse,
    options: &RationalOptions,
) -> (Option<ModelFacts>, Measurand) {
    let n = group.cuts.len();
    let options = RationalOptions {
        floor_rel: options.floor_rel.max(FLOOR_REL),
        ..options.clone()
    };
    let fitted = ResponseLines::of_sweeps(response, [0.0, f64::INFINITY])
        .and_then(|lines| fit_rational(&lines, &options));
    match fitted {
        Ok(fit) => (
            Some(facts(group, &fit)),
            group.measurand(Quantity::ModelDelay, n, delay(&fit)),
        ),
        Err(refusal) => (None, group.measurand(Quantity::ModelDelay, n, refusal.into())),
    }
}

/// What a model says that misses the response by more than its errors has no uncertainty worth stating.
fn delay(fit: &RationalFit) -> Outcome {
    match fit.checks.iter().find(|check| !check.passed) {
        None => fit.delay().into(),
        Some(failed) => refused("model_misfit", format!("{}: {}", failed.name, failed.detail)),
    }
}

fn facts(group: &Group<'_>, fit: &RationalFit) -> ModelFacts {
    let (poles, zeros) = fit.model.orders();
    let of = |kind: &str, roots: Result<Vec<Root>, _>| -> Vec<RootFacts> {
        let roots: Vec<Root> = roots.unwrap_or_default();
        roots
            .into_iter()
            .map(|root| RootFacts {
                kind: kind.into(),
                pair: root.at_rad_s.im > 0.0,
                frequency: root.frequency.into(),
                damping: root.damping.into(),
            })
            .collect()
    };
    let mut roots = of("pole", fit.poles());
    roots.extend(of("zero", fit.zeros()));
    ModelFacts {
        group: group.name.clone(),
        conditions: group.conditions.clone(),
        poles,
        zeros,
        range_hz: fit.range_hz,
        residual: fit.residual.sqrt(),
        lines: fit.lines,
        orders_tried: fit.scores.len(),
        gain: Outcome::from(fit.gain()),
        delay: Outcome::from(fit.delay()),
        roots,
        checks: fit.checks.clone(),
    }
}

#[cfg(test)]
mod tests {
    use truerim_analysis::rational::{Factor, RationalModel};

    use super::*;

    /// A first-order lag with a delay of 4 ms, off by 2 % of itself either way, and errors told as so large a share.
    fn fitted(told: f64) -> RationalFit {
        let truth = RationalModel {
            gain: 0.9,
            delay_s: 4e-3,
            poles: vec![Factor::Real { corner_hz: 30.0 }],
            zeros: Vec::new(),
        };
        let f_hz: Vec<f64> = (1..=60).map(f64::from).collect();
        let off = (0..60_u32).map(|i| if i * i % 7 < 3 { 0.02 } else { -0.02 });
        let h: Vec<_> = f_hz
            .iter()
            .zip(off)
            .map(|(f, off)| truth.at(*f) * (1.0 + off))
            .collect();
        let data = ResponseLines {
            u: h.iter().map(|h| told * h.norm()).collect(),
            f_hz,
            h,
            repeats: Vec::new(),
            delay_budget: Vec::new(),
        };
        let options = RationalOptions {
            orders: [1, 1],
            excess: [1, 1],
            ..RationalOptions::default()
        };
        fit_rational(&data, &options).unwrap()
    }

    #[test]
    fn a_model_that_misses_the_response_states_no_delay() {
        let outcome = delay(&fitted(0.02));
        let estimate = outcome.estimate().unwrap();
        assert!(
            (estimate.value - 4e-3).abs() < 3.0 * estimate.std_uncertainty,
            "{estimate:?}"
        );
        let outcome = delay(&fitted(0.004));
        let refused = outcome.refused().unwrap();
        assert_eq!(refused.code, "model_misfit");
        assert!(
            refused.message.contains("times the errors given"),
            "{}",
            refused.message
        );
    }
}
