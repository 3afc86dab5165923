//! Whether steps and chirps give the same delay.

use truerim_analysis::estimate::{self, Outcome};

use super::groups::refused;

/// Latency less the delay from phase; what both share (the declared sensor delay, the clock) cancels.
pub(crate) fn of(latency: &Outcome, phase: &Outcome) -> Outcome {
    let (Some(a), Some(b)) = (latency.estimate(), phase.estimate()) else {
        let missing = match (latency.estimate(), phase.estimate()) {
            (None, Some(_)) => "the latency",
            (Some(_), None) => "the delay from phase",
            _ => "both delays",
        };
        return refused(
            "delay_missing",
            format!(
                "two delays are needed to compare and {missing} could not be given; see the reason there"
            ),
        );
    };
    estimate::difference(a, b, ["latency", "delay from phase"], "delays agree").into()
}

#[cfg(test)]
mod tests {
    use truerim_analysis::estimate::{Contribution, Estimate};

    use super::*;

    fn estimate(value: f64, budget: Vec<Contribution>) -> Outcome {
        Estimate::from_budget(value, "s", 10, "hand", budget).into()
    }

    #[test]
    fn what_both_share_cancels() {
        let shared = || Contribution::type_b("declared sensor delay", 100e-6);
        let a = estimate(4.0e-3, vec![Contribution::type_b("shape", 3e-6), shared()]);
        let b = estimate(4.02e-3, vec![Contribution::type_b("fit", 4e-6), shared()]);
        let found = of(&a, &b);
        let e = found.estimate().unwrap();
        // Hand: √(3² + 4²) = 5 µs; −20 µs lies 4 u away.
        assert!((e.std_uncertainty - 5e-6).abs() < 1e-12);
        assert!((e.value + 20e-6).abs() < 1e-12);
        assert!(!e.checks[0].passed);
    }

    #[test]
    fn one_delay_is_not_enough() {
        let a = estimate(4.0e-3, vec![Contribution::type_b("shape", 3e-6)]);
        let found = of(&a, &refused("x", "y"));
        assert!(
            found
                .refused()
                .unwrap()
                .message
                .contains("the delay from phase could not be given")
        );
    }
}
