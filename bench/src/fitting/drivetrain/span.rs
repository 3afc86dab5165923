//! Tension of a belt's span from what the rig file declares of it.

use bench_core::rig::Span;
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome};
use truerim_analysis::inertia::span_tension;

use super::One;
use crate::fitting::document::Quantity;
use crate::fitting::groups::with_checks;
use crate::recording::Declared;

/// The estimate, where a span is declared.
pub(super) fn of(declared: &Declared) -> Option<One> {
    let span = declared.drivetrain.as_ref()?.span?;
    let check = Check::new(
        "of one span, as declared",
        true,
        "plucked by hand on another day: nothing of this run is in it; a span of another length, a warmer belt or a tensioner that \
         moved has another tension"
            .to_owned(),
    );
    let result = with_checks(tension(&span), [check]);
    Some(One::alone(Quantity::SpanTension, result))
}

fn tension(span: &Span) -> Outcome {
    let of = |[value, u]: [f64; 2], unit: &str| {
        Estimate::from_budget(
            value,
            unit,
            1,
            "rig file",
            vec![Contribution::type_b("declared", u)],
        )
    };
    let made = of(span.mass_kg_per_m, "kg/m").and_then(|mass| {
        let length = of(span.length_m, "m")?;
        let frequency = of(span.frequency_hz, "Hz")?;
        span_tension(&mass, &length, &frequency)
    });
    made.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tension_is_four_m_l_squared_f_squared_with_its_budget() {
        // By hand: 4 · 0.04 · 0.12² · 246.5² = 140.0 N; 2 · 0.5/120 and 2 · 1.5/246.5 and 1/40 relative: 0.0083, 0.0122, 0.025.
        let outcome = tension(&Span {
            frequency_hz: [246.5, 1.5],
            length_m: [0.12, 0.0005],
            mass_kg_per_m: [0.04, 0.001],
        });
        let estimate = outcome.estimate().expect("declared values are sound");
        assert!((estimate.value - 139.997).abs() < 0.01, "{estimate:?}");
        assert!(
            (estimate.std_uncertainty / estimate.value - 0.0290).abs() < 2e-4,
            "{estimate:?}"
        );
        assert_eq!((estimate.unit.as_str(), estimate.budget.len()), ("N", 3));
    }
}
